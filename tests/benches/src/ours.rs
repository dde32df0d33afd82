//! The work of one phone through Pointdown.

use std::fs;
use std::process::Command;

use pointdown_core::farm::{Farm, Location};
use pointdown_core::record::Kind;
use pointdown_core::trade::Species;
use pointdown_tests::history::gather;

use crate::Outcome;
use crate::family::Family;
use crate::figures::{Figures, timed};

/// The name under which the figures stand.
pub const US: &str = "Pointdown";

/// All of it, on copies of the family's files.
pub fn everything(family: &Family, runs: usize, figures: &mut Figures) -> Outcome<()> {
    log(family, runs, figures)?;
    open(family, runs, figures)?;
    look(family, runs, figures)?;
    if family.years > 0 {
        size(family, figures)?;
    }
    Ok(())
}

/// (a) One record, durable when the call returns.
fn log(family: &Family, runs: usize, figures: &mut Figures) -> Outcome<()> {
    let family = family.afresh("log")?;
    let phone = family.phone(0)?;
    // The first one loads the month's document; a phone in use has it.
    let (first, done) = timed(|| phone.log(gather(0, 0)));
    done?;
    let mut each = Vec::new();
    for n in 0..runs * 20 {
        family.env.pass_ms(1000);
        let draft = gather(n, n as i64);
        let (spent, done) = timed(|| phone.log(draft));
        done?;
        each.push(spent);
    }
    let here = (US, family.years);
    figures.median(("a", "log one record, durable"), here, each, "ms");
    figures.note(("a", "the first after opening"), here, (first, "ms"), 1);
    drop(phone);
    family.done()
}

/// (b) A farm opened by a program that did not know it, and today's sheet.
fn open(family: &Family, runs: usize, figures: &mut Figures) -> Outcome<()> {
    let family = family.afresh("open")?;
    let mut each = Vec::new();
    for _ in 0..runs {
        let (spent, done) = timed(|| -> Outcome<Farm> {
            let phone = family.phone(0)?;
            let today = phone.today()?;
            phone.sheet(today, today)?;
            Ok(phone)
        });
        // Closing is not opening.
        drop(done?);
        each.push(spent);
    }
    let here = (US, family.years);
    figures.median(("b", "open, and show today's sheet"), here, each, "ms");
    family.done()
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
        figures.median(("f", what), here, each, "ms");
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
    note("what is due", &|| Ok(phone.now().map(drop)?))?;
    if family.years > 0 {
        let cartons = phone.list(&pointdown_core::farm::Filter {
            kind: Some(Kind::Carton),
            most: Some(1),
            ..Default::default()
        })?;
        let carton = cartons
            .first()
            .and_then(|row| row.fields.get("code")?.as_str())
            .ok_or("no carton was packed")?
            .to_owned();
        note("the trace of a carton", &|| {
            Ok(phone.trace(&carton).map(drop)?)
        })?;
    }
    let grams = weights(3000);
    note("a carton plan of 3,000 eggs", &|| {
        Ok(phone
            .even_cartons(Species::Hen, &grams, &[12, 18], true)
            .map(drop)?)
    })?;
    drop(phone);
    family.done()
}

/// Weights of single eggs between 43 and 75 g, spread evenly in a fixed disorder.
fn weights(n: u32) -> Vec<f64> {
    (0..n)
        .map(|i| 43.0 + f64::from(i.wrapping_mul(2_654_435_761) % 3201) / 100.0)
        .collect()
}

/// (g) On disk and in memory.
fn size(family: &Family, figures: &mut Figures) -> Outcome<()> {
    let family = family.afresh("size")?;
    let here = (US, family.years);
    let phone = family.phone(0)?;
    phone.tidy()?;
    let compact = yardstick(&phone)?;
    drop(phone);
    let database = rusqlite::Connection::open(family.file(0))?;
    let bytes = |sql: &str| database.query_row(sql, [], |row| row.get::<_, i64>(0));
    let kept = bytes("SELECT coalesce(sum(length(saved)), 0) FROM doc")?;
    let loose = bytes("SELECT coalesce(sum(length(bytes)), 0) FROM change")?;
    drop(database);
    let file = fs::metadata(family.file(0))?.len();
    let mut note = |what, through, value: f64, unit| {
        figures.note(("g", what), (through, here.1), (value, unit), 1);
    };
    note("records", US, family.records as f64, "records");
    note("the database", US, file as f64, "bytes");
    note("the changes in it", US, (kept + loose) as f64, "bytes");
    note("of these, not yet folded", US, loose as f64, "bytes");
    note("the same facts, packed", YARDSTICK, compact as f64, "bytes");
    let me = std::env::current_exe()?;
    let output = Command::new(me)
        .env("POINTDOWN_BENCH_MEMORY", family.file(0))
        .output()?;
    let kb: f64 = String::from_utf8(output.stdout)?.trim().parse()?;
    note("peak memory, open and a sheet", US, kb / 1024.0, "MiB");
    family.done()
}

/// The name of the physical yardstick of sizes.
pub const YARDSTICK: &str = "postcard + zstd 19";

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

/// All records in a compact form, packed as hard as is usual: about the least that they can cost.
fn yardstick(phone: &Farm) -> Outcome<usize> {
    let rows = phone.list(&Default::default())?;
    let all: Vec<([u8; 16], Vec<(String, String)>)> = rows
        .iter()
        .map(|row| {
            let fields = row.fields.iter();
            (
                *row.id.bytes(),
                fields.map(|(k, v)| (k.clone(), v.to_string())).collect(),
            )
        })
        .collect();
    Ok(zstd::encode_all(postcard::to_stdvec(&all)?.as_slice(), 19)?.len())
}
