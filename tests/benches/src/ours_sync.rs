//! The work between phones and server through Pointdown.

use pointdown_core::farm::Farm;
use pointdown_tests::history::gather;

use crate::Outcome;
use crate::family::Family;
use crate::figures::{Figures, median, timed};
use crate::ours::US;
use crate::server::Server;

/// Records logged out of reach between two exchanges, each way.
pub const APART: usize = 30;
/// Phones that were a week apart.
pub const PHONES: usize = 8;
/// Records that each of them logged.
pub const A_WEEK: usize = 35;

/// All of it, on copies of the family's files.
pub fn everything(family: &Family, runs: usize, figures: &mut Figures) -> Outcome<()> {
    exchange(family, runs, figures)?;
    if family.years > 0 {
        first_sync(family, runs, figures)?;
    }
    merge(family, PHONES, runs, figures)
}

/// (c) Thirty records up, and thirty each way.
fn exchange(family: &Family, runs: usize, figures: &mut Figures) -> Outcome<()> {
    let family = family.afresh("exchange")?;
    let server = family.server()?;
    let (one, other) = (family.phone(0)?, family.phone(1)?);
    // A copied file writes under a fresh actor; the server hears of it before the measured rounds.
    for phone in [&one, &other, &one, &other] {
        phone.log(gather(0, 0))?;
        phone.sync()?;
    }
    let (mut spent, mut up, mut down, mut rounds) = (vec![], vec![], vec![], vec![]);
    let (mut mine, mut theirs, mut quiet_up, mut quiet_down) = (vec![], vec![], vec![], vec![]);
    for run in 0..runs {
        for n in 0..APART {
            family.env.pass_ms(1000);
            other.log(gather(n, run as i64))?;
            one.log(gather(n + 1, run as i64))?;
        }
        other.sync()?;
        server.wire.passed.take();
        let (time, done) = timed(|| one.sync());
        let done = done?;
        let passed = server.wire.passed.take();
        spent.push(time);
        up.push(passed.up as f64);
        down.push(passed.down as f64);
        mine.push(passed.up_bodies as f64);
        theirs.push(passed.down_bodies as f64);
        rounds.push(f64::from(done.rounds));
        other.sync()?;
        server.wire.passed.take();
        other.sync()?;
        let passed = server.wire.passed.take();
        quiet_up.push(passed.up as f64);
        quiet_down.push(passed.down as f64);
    }
    let here = (US, family.years);
    let slow = median(rounds.clone()) * 200.0
        + (median(up.clone()) + median(down.clone())) * 8.0 / 100.0
        + median(spent.clone());
    figures.median(("c", "30 up and 30 down: sent"), here, mine, "bytes");
    figures.median(("c", "30 up and 30 down: received"), here, theirs, "bytes");
    figures.median(("c", "the same sent, with HTTP heads"), here, up, "bytes");
    figures.median(
        ("c", "the same received, with HTTP heads"),
        here,
        down,
        "bytes",
    );
    figures.median(("c", "nothing new: sent, all"), here, quiet_up, "bytes");
    figures.median(
        ("c", "nothing new: received, all"),
        here,
        quiet_down,
        "bytes",
    );
    figures.median(
        ("c", "30 up and 30 down: round trips"),
        here,
        rounds,
        "trips",
    );
    figures.median(("c", "30 up and 30 down: loopback"), here, spent, "ms");
    figures.note(
        ("c", "30 up and 30 down: 200 ms, 100 kbit/s"),
        here,
        (slow, "ms computed"),
        runs,
    );
    drop((one, other));
    server.stop()?;
    family.done()
}

/// (d) A phone that is new here.
fn first_sync(family: &Family, runs: usize, figures: &mut Figures) -> Outcome<()> {
    let (mut spent, mut up, mut down) = (vec![], vec![], vec![]);
    let (mut shown, mut passed, mut trips) = (vec![], vec![], vec![]);
    for _ in 0..runs.min(3) {
        let family = family.afresh("first")?;
        let server = family.server()?;
        let old = family.phone(0)?;
        old.sync()?;
        let day = old.today()?;
        let wanted = totals(&old, day)?;
        let place = family.place("Neu");
        server.wire.passed.take();
        let (time, done) = timed(|| server.new_phone(old.id(), &place, "Neu"));
        let new = done?;
        let traffic = server.wire.passed.take();
        if new.sheet_hash(day, day)? != old.sheet_hash(day, day)?
            || new.record_count()? < old.record_count()?
        {
            return Err("the new phone does not hold what the old one holds".into());
        }
        spent.push(time);
        up.push(traffic.up as f64);
        down.push(traffic.down as f64);
        let (time, bytes, rounds) = totals_first(&family, &server, &old, &wanted, day)?;
        shown.push(time);
        passed.push(bytes);
        trips.push(rounds);
        drop((old, new));
        server.stop()?;
        family.done()?;
    }
    let here = (US, family.years);
    figures.median(("d", "a new phone: everything"), here, spent, "ms");
    figures.median(("d", "a new phone: sent"), here, up, "bytes");
    figures.median(("d", "a new phone: received"), here, down, "bytes");
    figures.median(("d", "a new phone: today's totals"), here, shown, "ms");
    figures.median(("d", "today's totals: passed"), here, passed, "bytes");
    figures.median(("d", "today's totals: round trips"), here, trips, "trips");
    Ok(())
}

/// The totals of a day's work. What is on hand at its end follows from all moves of every lot that is
/// still about, so it is settled only when the months of these lots are here.
fn totals(farm: &Farm, day: chrono::NaiveDate) -> Outcome<String> {
    let sheet = farm.sheet(day, day)?;
    Ok(format!(
        "{:?} {:?} {:?} {:?} {:?} {:?}",
        sheet.gathered, sheet.pulled, sheet.washed, sheet.candled, sheet.cartoned, sheet.out
    ))
}

/// How much has passed when a new phone can show a day: time, bytes, round trips.
fn totals_first(
    family: &Family,
    server: &Server,
    old: &Farm,
    wanted: &str,
    day: chrono::NaiveDate,
) -> Outcome<(f64, f64, f64)> {
    let mut new = server.by_hand(old.id(), &family.place("by-hand"))?;
    let (mut rounds, mut spent, mut passed) = (0.0, 0.0, 0);
    loop {
        let (time, done) = timed(|| new.round());
        let (sent, received, again) = done?;
        rounds += 1.0;
        spent += time;
        passed += sent + received;
        if totals(&new.farm, day)? == wanted {
            return Ok((spent, passed as f64, rounds));
        }
        if !again {
            return Err("the new phone never shows the day".into());
        }
    }
}

/// (e) Several phones after a week apart.
pub fn merge(family: &Family, count: usize, runs: usize, figures: &mut Figures) -> Outcome<()> {
    let mut each = Vec::new();
    for _ in 0..runs.min(3) {
        let family = family.afresh("merge")?;
        let server = family.server()?;
        let mut phones: Vec<Farm> = (0..count.min(4))
            .map(|n| family.phone(n))
            .collect::<Outcome<_>>()?;
        let farm = phones[0].id();
        for n in phones.len()..count {
            let name = format!("Helper {n}");
            phones.push(server.new_phone(farm, &family.place(&name), &name)?);
        }
        // Everyone has written once, so that the server knows all actors.
        for phone in &phones {
            phone.log(gather(0, 0))?;
        }
        for phone in phones.iter().chain(&phones) {
            phone.sync()?;
        }
        for day in 0..7 {
            for (n, phone) in phones.iter().enumerate() {
                for round in 0..A_WEEK / 7 {
                    family.env.pass_ms(60_000);
                    phone.log(gather(round + n, day))?;
                }
            }
            family.env.pass_ms(12 * 3_600_000);
        }
        let (spent, done) = timed(|| -> Outcome<()> {
            for phone in phones.iter().chain(&phones) {
                phone.sync()?;
            }
            Ok(())
        });
        done?;
        each.push(spent);
        let first = phones[0].view()?;
        for phone in &phones {
            if phone.view()? != first {
                return Err("the phones do not hold the same".into());
            }
        }
        drop(phones);
        server.stop()?;
        family.done()?;
    }
    let what = match count {
        PHONES => "merge 8 phones after a week".to_owned(),
        n => format!("merge {n} phones after a week"),
    };
    figures.median(("e", what.as_str()), (US, family.years), each, "ms");
    Ok(())
}
