//! The work through Pointdown.

use std::fs;
use std::process::Command;

use pointdown_core::farm::{Farm, Location};
use pointdown_core::record::{Draft, Kind};
use pointdown_core::trade::cartons::{self, Egg};

use crate::Outcome;
use crate::family::{Family, Server, gather};
use crate::figures::{Figures, median, timed};

/// The name under which the figures stand.
pub const US: &str = "Pointdown";
/// Records logged out of reach between two exchanges, each way.
pub const APART: usize = 30;

/// All of it, on copies of the family's files.
pub fn everything(family: &Family, runs: usize, figures: &mut Figures) -> Outcome<()> {
    log(family, runs, figures)?;
    open(family, runs, figures)?;
    exchange(family, runs, figures)?;
    if family.years > 0 {
        first_sync(family, figures)?;
        look(family, runs, figures)?;
        size(family, figures)?;
    }
    merge(family, figures)
}

/// (a) One record, durable when the call returns.
fn log(family: &Family, runs: usize, figures: &mut Figures) -> Outcome<()> {
    let family = family.afresh("log")?;
    let phone = family.phone(0)?;
    // The first one loads the month's document; a phone in use has it.
    phone.log(gather(0, 0))?;
    let mut each = Vec::new();
    for n in 0..runs * 20 {
        family.env.pass_ms(1000);
        let draft = gather(n, n as i64);
        let (spent, done) = timed(|| phone.log(draft));
        done?;
        each.push(spent);
    }
    let n = each.len();
    figures.note(
        ("a", "log one record, durable"),
        (US, family.years),
        (median(each), "ms"),
        n,
    );
    Ok(())
}

/// (b) A farm opened by a program that did not know it, and today's sheet.
fn open(family: &Family, runs: usize, figures: &mut Figures) -> Outcome<()> {
    let family = family.afresh("open")?;
    let mut each = Vec::new();
    for _ in 0..runs {
        let (spent, done) = timed(|| -> Outcome<()> {
            let phone = family.phone(0)?;
            let today = phone.today()?;
            phone.sheet(today, today)?;
            Ok(())
        });
        done?;
        each.push(spent);
    }
    let n = each.len();
    figures.note(
        ("b", "open, and show today's sheet"),
        (US, family.years),
        (median(each), "ms"),
        n,
    );
    Ok(())
}

/// (c) Thirty records each way.
fn exchange(family: &Family, runs: usize, figures: &mut Figures) -> Outcome<()> {
    let family = family.afresh("exchange")?;
    let server = family.server()?;
    let (one, other) = (family.phone(0)?, family.phone(1)?);
    // A copied file writes under a fresh actor; the server hears of it once, before the measured rounds.
    for phone in [&one, &other, &one, &other] {
        phone.sync()?;
    }
    let (mut spent, mut up, mut down, mut rounds) = (vec![], vec![], vec![], vec![]);
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
        let (sent, received) = server.wire.passed.take();
        spent.push(time);
        up.push(sent as f64);
        down.push(received as f64);
        rounds.push(f64::from(done.rounds));
        other.sync()?;
    }
    let here = (US, family.years);
    let (up, down, rounds) = (median(up), median(down), median(rounds));
    figures.note(("c", "30 up and 30 down: sent"), here, (up, "bytes"), runs);
    figures.note(
        ("c", "30 up and 30 down: received"),
        here,
        (down, "bytes"),
        runs,
    );
    figures.note(
        ("c", "30 up and 30 down: round trips"),
        here,
        (rounds, "trips"),
        runs,
    );
    figures.note(
        ("c", "30 up and 30 down: loopback"),
        here,
        (median(spent.clone()), "ms"),
        runs,
    );
    let slow = rounds * 200.0 + (up + down) * 8.0 / 100.0 + median(spent);
    figures.note(
        ("c", "30 up and 30 down: 200 ms, 100 kbit/s"),
        here,
        (slow, "ms computed"),
        runs,
    );
    server.stop()
}

/// (d) A phone that is new here.
fn first_sync(family: &Family, figures: &mut Figures) -> Outcome<()> {
    let family = family.afresh("first")?;
    let server = family.server()?;
    let old = family.phone(0)?;
    old.sync()?;
    let today = old.today()?.pred_opt().unwrap_or_default();
    let wanted = old.sheet_hash(today, today)?;
    let here = (US, family.years);
    // By hand first, to see after which answer the day's totals stand; then by the driver.
    server.wire.passed.take();
    let (spent, done) = timed(|| family.another(&server, "Neu"));
    let new = done?;
    let (sent, received) = server.wire.passed.take();
    if new.sheet_hash(today, today)? != wanted || new.record_count()? < old.record_count()? {
        return Err("the new phone does not hold what the old one holds".into());
    }
    figures.note(("d", "a new phone: everything"), here, (spent, "ms"), 1);
    figures.note(("d", "a new phone: sent"), here, (sent as f64, "bytes"), 1);
    figures.note(
        ("d", "a new phone: received"),
        here,
        (received as f64, "bytes"),
        1,
    );
    totals_first(&family, &server, &wanted, today, figures)?;
    server.stop()
}

/// How much has passed when a new phone can show the day.
fn totals_first(
    family: &Family,
    server: &Server,
    wanted: &str,
    day: chrono::NaiveDate,
    figures: &mut Figures,
) -> Outcome<()> {
    let mut new = server.by_hand(family)?;
    let here = (US, family.years);
    let (mut rounds, mut spent, mut passed) = (0, 0.0, 0);
    loop {
        let (time, done) = timed(|| new.round());
        let (sent, received, again) = done?;
        rounds += 1;
        spent += time;
        passed += sent + received;
        if new.farm.sheet_hash(day, day)? == wanted {
            break;
        }
        if !again {
            return Err("the new phone never shows the day".into());
        }
    }
    figures.note(("d", "a new phone: today's totals"), here, (spent, "ms"), 1);
    figures.note(
        ("d", "a new phone: today's totals, passed"),
        here,
        (passed as f64, "bytes"),
        1,
    );
    figures.note(
        ("d", "a new phone: today's totals, trips"),
        here,
        (f64::from(rounds), "trips"),
        1,
    );
    Ok(())
}

/// (e) Eight phones after a week apart.
fn merge(family: &Family, figures: &mut Figures) -> Outcome<()> {
    let family = family.afresh("merge")?;
    let server = family.server()?;
    let mut phones: Vec<Farm> = (0..4).map(|n| family.phone(n)).collect::<Outcome<_>>()?;
    for name in ["Ana", "Bo", "Cleo", "Dag"] {
        phones.push(family.another(&server, name)?);
    }
    for phone in phones.iter().chain(&phones) {
        phone.sync()?;
    }
    for day in 0..7 {
        for (n, phone) in phones.iter().enumerate() {
            for round in 0..5 {
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
    let first = phones[0].view()?;
    if phones
        .iter()
        .any(|p| p.view().is_ok_and(|view| view != first))
    {
        return Err("eight phones do not hold the same".into());
    }
    figures.note(
        ("e", "merge 8 phones after a week"),
        (US, family.years),
        (spent, "ms"),
        1,
    );
    server.stop()
}

/// (f) What a screen asks for.
fn look(family: &Family, runs: usize, figures: &mut Figures) -> Outcome<()> {
    let family = family.afresh("look")?;
    let phone = family.phone(0)?;
    let today = phone.today()?;
    let here = (US, family.years);
    let year = today - chrono::Days::new(364);
    let mut note = |what: &'static str, work: &dyn Fn() -> Outcome<()>| -> Outcome<()> {
        let mut each = Vec::new();
        for _ in 0..runs {
            let (spent, done) = timed(work);
            done?;
            each.push(spent);
        }
        figures.note(("f", what), here, (median(each), "ms"), runs);
        Ok(())
    };
    note("the sheet of a day", &|| {
        Ok(phone.sheet(today, today).map(drop)?)
    })?;
    note("the sheet of a year", &|| {
        Ok(phone.sheet(year, today).map(drop)?)
    })?;
    note("the review list", &|| Ok(phone.review().map(drop)?))?;
    note("what is on hand", &|| Ok(phone.on_hand().map(drop)?))?;
    Ok(())
}

/// (g) On disk and in memory.
fn size(family: &Family, figures: &mut Figures) -> Outcome<()> {
    let family = family.afresh("size")?;
    let here = (US, family.years);
    let phone = family.phone(0)?;
    phone.tidy()?;
    let compact = yardstick(&phone)?;
    drop(phone);
    let file = fs::metadata(family.file(0))?.len();
    let database = rusqlite::Connection::open(family.file(0))?;
    let changes: i64 = database.query_row(
        "SELECT (SELECT coalesce(sum(length(bytes)), 0) FROM change) + (SELECT coalesce(sum(length(saved)), 0) FROM doc)",
        [],
        |row| row.get(0),
    )?;
    figures.note(("g", "the database"), here, (file as f64, "bytes"), 1);
    figures.note(
        ("g", "the changes in it"),
        here,
        (changes as f64, "bytes"),
        1,
    );
    figures.note(
        ("g", "the same records, on one disk page after another"),
        ("postcard + zstd 19", family.years),
        (compact as f64, "bytes"),
        1,
    );
    let me = std::env::current_exe()?;
    let output = Command::new(me)
        .env("POINTDOWN_BENCH_MEMORY", family.file(0))
        .output()?;
    let kb: f64 = String::from_utf8(output.stdout)?.trim().parse()?;
    figures.note(
        ("g", "memory after opening and a sheet"),
        here,
        (kb / 1024.0, "MiB"),
        1,
    );
    Ok(())
}

/// The peak memory of a program that opens a farm and shows a sheet, in kB, as the system counts it.
pub fn memory(file: &str) -> Outcome<()> {
    let env = std::sync::Arc::new(pointdown_core::farm::System);
    let phone = Farm::open(&Location::File(file.into()), env)?;
    let today = phone.today()?;
    phone.sheet(today, today)?;
    let status = fs::read_to_string("/proc/self/status")?;
    let peak = status
        .lines()
        .find_map(|line| line.strip_prefix("VmHWM:"))
        .and_then(|rest| rest.split_whitespace().next())
        .ok_or("this system does not say")?;
    println!("{peak}");
    Ok(())
}

/// All records in a compact form, packed as hard as is usual: what a byte can cost at the least.
fn yardstick(phone: &Farm) -> Outcome<usize> {
    let rows = phone.list(&Default::default())?;
    let all: Vec<(String, Vec<(String, String)>)> = rows
        .iter()
        .map(|row| {
            let fields = row.fields.iter();
            (
                row.id.to_string(),
                fields.map(|(k, v)| (k.clone(), v.to_string())).collect(),
            )
        })
        .collect();
    Ok(zstd::encode_all(postcard::to_stdvec(&all)?.as_slice(), 19)?.len())
}
