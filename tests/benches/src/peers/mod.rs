//! The same records through what a developer would pick instead.
//!
//! Each peer keeps one document, a map of records, each a map of its fields. It has no database: to be
//! as durable as Pointdown it appends each change to a file and waits for the disk. It keeps no
//! totals either; to show a day it walks its records. Between two of them each side knows what the
//! other has, which is the least that can travel.

mod automerge;
mod loro;
mod rows;
mod yrs;

use std::fs::File;
use std::io::Write;
use std::path::Path;

use pointdown_core::record::Fields;

use crate::Outcome;
use crate::family::Family;
use crate::figures::{Figures, median, timed};
use crate::ours::APART;

/// One document of a general library.
pub trait Peer: Sized {
    /// The library.
    const NAME: &'static str;
    /// What one side knows of the other.
    type Seen;
    /// An empty document of an actor.
    fn fresh(actor: u64) -> Outcome<Self>;
    /// One record, as one change of its own.
    fn add(&mut self, id: &str, fields: &Fields) -> Outcome<()>;
    /// Everything in it.
    fn save(&mut self) -> Outcome<Vec<u8>>;
    /// A document as it was saved.
    fn load(actor: u64, saved: &[u8]) -> Outcome<Self>;
    /// Eggs gathered on a day, from all records.
    fn gathered(&mut self, day: &str) -> Outcome<i64>;
    /// What is in it now.
    fn seen(&mut self) -> Self::Seen;
    /// What came since.
    fn since(&mut self, seen: &Self::Seen) -> Outcome<Vec<u8>>;
    /// Takes what another had.
    fn take(&mut self, changes: &[u8]) -> Outcome<()>;
}

/// A record of the workload: its name and fields, lists and maps as text.
pub type Facts = (String, Fields);

/// All peers, with the family's own records.
pub fn everything(family: &Family, disk: &Path, runs: usize, figures: &mut Figures) -> Outcome<()> {
    let records = facts(family)?;
    rows::insert(&records, disk, runs, family.years, figures)?;
    of::<automerge::Plain>(&records, disk, runs, family.years, figures)?;
    of::<loro::Document>(&records, disk, runs, family.years, figures)?;
    of::<yrs::Document>(&records, disk, runs, family.years, figures)
}

fn facts(family: &Family) -> Outcome<Vec<Facts>> {
    let phone = family.afresh("facts")?.phone(0)?;
    let mut all: Vec<Facts> = phone
        .list(&Default::default())?
        .into_iter()
        .map(|row| {
            let fields = row
                .fields
                .into_iter()
                .map(
                    |(name, value)| match value.is_object() || value.is_array() {
                        true => (name, value.to_string().into()),
                        false => (name, value),
                    },
                )
                .collect();
            (row.id.to_string(), fields)
        })
        .collect();
    all.sort_by(|a, b| a.0.cmp(&b.0));
    Ok(all)
}

fn of<P: Peer>(
    records: &[Facts],
    disk: &Path,
    runs: usize,
    years: u32,
    figures: &mut Figures,
) -> Outcome<()> {
    let here = (P::NAME, years);
    let mut document = P::fresh(1)?;
    for (id, fields) in records {
        document.add(id, fields)?;
    }
    let saved = document.save()?;
    if years > 0 {
        figures.note(
            ("g", "the changes in it"),
            here,
            (saved.len() as f64, "bytes"),
            1,
        );
    }
    let day = records
        .last()
        .and_then(|(_, fields)| fields["at"].as_str())
        .map_or(String::new(), |at| at.chars().take(10).collect());
    let sample = |n: usize| -> (String, Fields) {
        let (_, fields) = &records[n % records.len()];
        (format!("new{n:019}"), fields.clone())
    };

    // (a)
    let mut log = File::create(disk.join("peer.log"))?;
    let mut each = Vec::new();
    for n in 0..runs * 20 {
        let (id, fields) = sample(n);
        let (spent, done) = timed(|| -> Outcome<()> {
            let seen = document.seen();
            document.add(&id, &fields)?;
            log.write_all(&document.since(&seen)?)?;
            Ok(log.sync_data()?)
        });
        done?;
        each.push(spent);
    }
    let n = each.len();
    figures.note(
        ("a", "log one record, durable"),
        here,
        (median(each), "ms"),
        n,
    );

    // (b)
    let file = disk.join("peer.saved");
    std::fs::write(&file, &saved)?;
    let mut each = Vec::new();
    for _ in 0..runs.min(5) {
        let (spent, done) =
            timed(|| -> Outcome<i64> { P::load(2, &std::fs::read(&file)?)?.gathered(&day) });
        done?;
        each.push(spent);
    }
    let n = each.len();
    figures.note(
        ("b", "open, and show today's sheet"),
        here,
        (median(each), "ms"),
        n,
    );

    // (c)
    let (mut one, mut other) = (P::load(3, &saved)?, P::load(4, &saved)?);
    let (mut spent, mut up, mut down) = (vec![], vec![], vec![]);
    for run in 0..runs.min(5) {
        let (a, b) = (one.seen(), other.seen());
        for n in 0..APART {
            let (id, fields) = sample(100_000 + run * 1000 + n);
            one.add(&id, &fields)?;
            let (id, fields) = sample(200_000 + run * 1000 + n);
            other.add(&id, &fields)?;
        }
        let (time, done) = timed(|| -> Outcome<(usize, usize)> {
            let (sent, received) = (one.since(&a)?, other.since(&b)?);
            one.take(&received)?;
            other.take(&sent)?;
            Ok((sent.len(), received.len()))
        });
        let (sent, received) = done?;
        spent.push(time);
        up.push(sent as f64);
        down.push(received as f64);
    }
    let n = spent.len();
    figures.note(
        ("c", "30 up and 30 down: sent"),
        here,
        (median(up), "bytes"),
        n,
    );
    figures.note(
        ("c", "30 up and 30 down: received"),
        here,
        (median(down), "bytes"),
        n,
    );
    figures.note(
        ("c", "30 up and 30 down: without a wire"),
        here,
        (median(spent), "ms"),
        n,
    );
    drop((one, other));

    // (d)
    if years > 0 {
        let (time, done) = timed(|| P::load(5, &saved)?.gathered(&day));
        done?;
        figures.note(
            ("d", "a new phone: received"),
            here,
            (saved.len() as f64, "bytes"),
            1,
        );
        figures.note(
            ("d", "a new phone: everything, without a wire"),
            here,
            (time, "ms"),
            1,
        );
    }

    // (e)
    let mut hub = P::load(9, &saved)?;
    let mut phones: Vec<P> = (10..18)
        .map(|n| P::load(n, &saved))
        .collect::<Outcome<_>>()?;
    let before: Vec<P::Seen> = phones.iter_mut().map(P::seen).collect();
    for (p, phone) in phones.iter_mut().enumerate() {
        for n in 0..APART + 5 {
            let (id, fields) = sample(300_000 + p * 1000 + n);
            phone.add(&id, &fields)?;
        }
    }
    let (time, done) = timed(|| -> Outcome<()> {
        let was = hub.seen();
        for (phone, seen) in phones.iter_mut().zip(&before) {
            hub.take(&phone.since(seen)?)?;
        }
        let all = hub.since(&was)?;
        phones.iter_mut().try_for_each(|phone| phone.take(&all))
    });
    done?;
    figures.note(("e", "merge 8 phones after a week"), here, (time, "ms"), 1);
    Ok(())
}
