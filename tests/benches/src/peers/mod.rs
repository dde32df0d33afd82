//! The same records through what a developer would pick instead.
//!
//! Each library here keeps one document, a map of records, each a map of its fields. It has no
//! database: to be as durable as Pointdown it appends each change to a file and waits for the disk. It
//! keeps no totals either; to show a day it walks its records. Between two of them each side knows
//! what the other has, which is the least that can travel, and nothing but a function call lies
//! between, so that the time for HTTP and a server's database is theirs to the good.

mod automerge;
mod javascript;
mod loro;
mod rows;
mod yrs;

use std::fs::File;
use std::io::Write;
use std::path::Path;

use pointdown_core::record::Fields;
use pointdown_tests::history::gather;

pub use self::javascript::script;
pub use self::rows::ROWS;
use crate::Outcome;
use crate::family::Family;
use crate::figures::{Figures, timed};
use crate::ours_sync::{A_WEEK, APART, PHONES};

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

/// What the peers are given.
pub struct Workload {
    /// Years of history.
    pub years: u32,
    /// The family's own records.
    pub records: Vec<Facts>,
    /// A gather of today.
    pub gather: Fields,
    /// Today.
    pub day: String,
}

impl Workload {
    /// Another gather of today.
    fn another(&self, n: usize) -> Facts {
        let mut fields = self.gather.clone();
        fields.insert("count".into(), (n % 20).into());
        // As random as the ids of records are, and not found twice.
        let mixed = (n as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        (format!("~{n:05}{mixed:016x}"), fields)
    }
}

/// All peers, with the family's own records.
pub fn everything(
    family: &Family,
    scripts: Option<&Path>,
    disk: &Path,
    runs: usize,
    figures: &mut Figures,
) -> Outcome<()> {
    let work = workload(family)?;
    rows::insert(&work, disk, runs, figures)?;
    of::<automerge::Plain>(&work, disk, runs, figures)?;
    of::<loro::Document>(&work, disk, runs, figures)?;
    of::<yrs::Document>(&work, disk, runs, figures)?;
    match scripts {
        Some(scripts) => javascript::everything(&work, scripts, disk, runs, figures),
        None => {
            eprintln!("!!! SKIPPED the JavaScript peers with {} years", work.years);
            Ok(())
        }
    }
}

fn workload(family: &Family) -> Outcome<Workload> {
    let family = family.afresh("facts")?;
    let phone = family.phone(0)?;
    let flat = |row: pointdown_core::farm::Row| -> Facts {
        let flat = |(name, value): (String, serde_json::Value)| match value {
            value if value.is_object() || value.is_array() => (name, value.to_string().into()),
            value => (name, value),
        };
        let mut fields: Fields = row.fields.into_iter().map(flat).collect();
        fields.insert("kind".into(), row.kind.into());
        fields.insert("day".into(), row.day.into());
        (row.id.to_string(), fields)
    };
    let rows = phone.list(&Default::default())?;
    let mut records: Vec<Facts> = rows.into_iter().map(flat).collect();
    records.sort_by(|a, b| a.0.cmp(&b.0));
    let day = phone.today()?.to_string();
    let gather = match records.iter().rev().find(|r| r.1["kind"] == "gather") {
        Some((_, fields)) => fields.clone(),
        None => flat(phone.log(gather(0, 0))?.record).1,
    };
    drop(phone);
    let years = family.years;
    family.done()?;
    Ok(Workload {
        years,
        records,
        gather,
        day,
    })
}

/// Appends, and waits for the disk.
fn keep(log: &mut File, bytes: &[u8]) -> Outcome<()> {
    log.write_all(bytes)?;
    Ok(log.sync_data()?)
}

fn of<P: Peer>(work: &Workload, disk: &Path, runs: usize, figures: &mut Figures) -> Outcome<()> {
    let here = (P::NAME, work.years);
    let mut document = P::fresh(1)?;
    for (id, fields) in &work.records {
        document.add(id, fields)?;
    }
    let saved = document.save()?;
    if work.years > 0 {
        let size = saved.len() as f64;
        figures.note(("g", "the changes in it"), here, (size, "bytes"), 1);
    }
    log(&mut document, work, disk, runs, figures)?;
    drop(document);
    open::<P>(&saved, work, disk, runs, figures)?;
    exchange::<P>(&saved, work, disk, runs, figures)?;
    merge::<P>(&saved, work, disk, runs, figures)
}

/// (a)
fn log<P: Peer>(
    document: &mut P,
    work: &Workload,
    disk: &Path,
    runs: usize,
    figures: &mut Figures,
) -> Outcome<()> {
    let mut log = File::create(disk.join("peer.log"))?;
    let mut each = Vec::new();
    for n in 0..runs * 20 {
        let (id, fields) = work.another(n);
        let (spent, done) = timed(|| -> Outcome<()> {
            let seen = document.seen();
            document.add(&id, &fields)?;
            keep(&mut log, &document.since(&seen)?)
        });
        done?;
        each.push(spent);
    }
    let here = (P::NAME, work.years);
    figures.median(("a", "log one record, durable"), here, each, "ms");
    Ok(())
}

/// (b) and (d): to open one and to take one from another phone is the same work here, but that the
/// new phone keeps it.
fn open<P: Peer>(
    saved: &[u8],
    work: &Workload,
    disk: &Path,
    runs: usize,
    figures: &mut Figures,
) -> Outcome<()> {
    let here = (P::NAME, work.years);
    let file = disk.join(format!("{}.saved", P::NAME));
    std::fs::write(&file, saved)?;
    let (mut opened, mut taken) = (vec![], vec![]);
    for _ in 0..runs.min(5) {
        let (spent, done) =
            timed(|| -> Outcome<i64> { P::load(2, &std::fs::read(&file)?)?.gathered(&work.day) });
        done?;
        opened.push(spent);
        let (spent, done) = timed(|| -> Outcome<i64> {
            let mut document = P::load(5, saved)?;
            keep(&mut File::create(disk.join("peer.new"))?, saved)?;
            document.gathered(&work.day)
        });
        done?;
        taken.push(spent);
    }
    figures.median(("b", "open, and show today's sheet"), here, opened, "ms");
    if work.years > 0 {
        let size = saved.len() as f64;
        figures.note(("d", "a new phone: received"), here, (size, "bytes"), 1);
        figures.median(("d", "a new phone: everything"), here, taken, "ms");
    }
    Ok(())
}

/// (c)
fn exchange<P: Peer>(
    saved: &[u8],
    work: &Workload,
    disk: &Path,
    runs: usize,
    figures: &mut Figures,
) -> Outcome<()> {
    let (mut one, mut other) = (P::load(3, saved)?, P::load(4, saved)?);
    let mut mine = File::create(disk.join("peer.mine"))?;
    let mut theirs = File::create(disk.join("peer.theirs"))?;
    let (mut spent, mut up, mut down) = (vec![], vec![], vec![]);
    for run in 0..runs.min(5) {
        let (a, b) = (one.seen(), other.seen());
        for n in 0..APART {
            let (id, fields) = work.another(10_000 + run * 100 + n);
            one.add(&id, &fields)?;
            let (id, fields) = work.another(20_000 + run * 100 + n);
            other.add(&id, &fields)?;
        }
        let (time, done) = timed(|| -> Outcome<(usize, usize)> {
            let (sent, received) = (one.since(&a)?, other.since(&b)?);
            other.take(&sent)?;
            keep(&mut theirs, &sent)?;
            one.take(&received)?;
            keep(&mut mine, &received)?;
            Ok((sent.len(), received.len()))
        });
        let (sent, received) = done?;
        spent.push(time);
        up.push(sent as f64);
        down.push(received as f64);
    }
    let here = (P::NAME, work.years);
    figures.median(("c", "30 up and 30 down: sent"), here, up, "bytes");
    figures.median(("c", "30 up and 30 down: received"), here, down, "bytes");
    figures.median(("c", "30 up and 30 down: loopback"), here, spent, "ms");
    Ok(())
}

/// (e)
fn merge<P: Peer>(
    saved: &[u8],
    work: &Workload,
    disk: &Path,
    runs: usize,
    figures: &mut Figures,
) -> Outcome<()> {
    let mut logs = (0..=PHONES)
        .map(|n| File::create(disk.join(format!("peer.{n}"))))
        .collect::<Result<Vec<_>, _>>()?;
    let mut hub = P::load(9, saved)?;
    let mut phones: Vec<P> = (10..10 + PHONES as u64)
        .map(|n| P::load(n, saved))
        .collect::<Outcome<_>>()?;
    let mut each = Vec::new();
    for run in 0..runs.min(3) {
        let before: Vec<P::Seen> = phones.iter_mut().map(P::seen).collect();
        for (p, phone) in phones.iter_mut().enumerate() {
            for n in 0..A_WEEK {
                let (id, fields) = work.another(30_000 + run * 1000 + p * 100 + n);
                phone.add(&id, &fields)?;
            }
        }
        let (time, done) = timed(|| -> Outcome<()> {
            let was = hub.seen();
            for (phone, seen) in phones.iter_mut().zip(&before) {
                let sent = phone.since(seen)?;
                hub.take(&sent)?;
                keep(&mut logs[PHONES], &sent)?;
            }
            let all = hub.since(&was)?;
            for (phone, log) in phones.iter_mut().zip(&mut logs) {
                phone.take(&all)?;
                keep(log, &all)?;
            }
            Ok(())
        });
        done?;
        each.push(time);
    }
    let here = (P::NAME, work.years);
    figures.median(("e", "merge 8 phones after a week"), here, each, "ms");
    Ok(())
}
