//! `cargo xtask demo`: a family's two weeks, really logged on four phones and really synced.
//!
//! The server runs in this process with its database in a folder of its own, on a real port; each
//! phone is a facade with a database file of its own and speaks real HTTP.

mod serving;
mod story;

use std::error::Error;
use std::io::Write;
use std::path::Path;
use std::process::{Command, ExitCode};

use chrono::NaiveDate;
use pointdown_core::book::Sheet;
use pointdown_server::store::Role;
use serde::Serialize;

use serving::Serving;
use story::Story;

type Result<T> = std::result::Result<T, Box<dyn Error>>;

/// What `--once --json` prints.
#[derive(Serialize)]
struct Outcome {
    farm_day: NaiveDate,
    converged: bool,
    devices: Vec<Device>,
    server: serving::Held,
    totals: Sheet,
}

/// One phone in the end.
#[derive(Serialize)]
struct Device {
    name: &'static str,
    records: u64,
    gathered: i64,
    sheet_hash: String,
}

fn main() -> ExitCode {
    let (mut once, mut json) = (false, false);
    for word in std::env::args().skip(1) {
        match word.as_str() {
            "--once" => once = true,
            "--json" => json = true,
            _ => {
                let _ = writeln!(
                    std::io::stderr(),
                    "demo: {word} is not known; allowed are --once (do not keep serving) and \
                     --json (print one JSON object)"
                );
                return ExitCode::from(2);
            }
        }
    }
    match run(once, json) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(e) => {
            let _ = writeln!(std::io::stderr(), "demo: {e}");
            ExitCode::FAILURE
        }
    }
}

/// Tells the story; whether everyone held the same in the end.
fn run(once: bool, json: bool) -> Result<bool> {
    let mut out = std::io::stdout();
    let folder = tempfile::Builder::new()
        .prefix("pointdown-demo-")
        .tempdir()?;
    let clock = std::sync::Arc::<story::StoryClock>::default();
    Story::first_morning(&clock)?;
    let server = Serving::start(&folder.path().join("server"), clock.clone(), once)?;
    if !json {
        writeln!(out, "The server listens at {}.", server.url)?;
        writeln!(
            out,
            "Four people log for {} days on a phone each, mostly without a signal ...",
            story::DAYS
        )?;
    }
    let story = Story::begin(
        folder.path(),
        &server.url,
        &server.invite(None)?,
        clock.clone(),
    )?;
    let told = story.tell()?;
    clock.come_back();

    let day = story.day(story::DAYS - 1);
    let first = &story.phones[0].farm;
    let held = server.held(first.id(), day)?;
    let mut devices = Vec::new();
    for phone in &story.phones {
        let sheet = phone.farm.sheet(day, day)?;
        devices.push(Device {
            name: phone.name,
            records: phone.farm.record_count()?,
            gathered: sheet.gathered.eggs,
            sheet_hash: phone.farm.sheet_hash(day, day)?,
        });
    }
    let views: Vec<Vec<String>> = story
        .phones
        .iter()
        .map(|p| p.farm.view())
        .collect::<std::result::Result<_, _>>()?;
    let same_view = views.windows(2).all(|pair| pair[0] == pair[1]);
    let same_sheet = devices.iter().all(|d| {
        d.sheet_hash == held.sheet_hash && d.records == held.records && d.gathered == held.gathered
    });
    let nothing_waits = story
        .phones
        .iter()
        .all(|p| p.farm.status().is_ok_and(|s| s.waiting == 0));
    let outcome = Outcome {
        farm_day: day,
        converged: same_view && same_sheet && nothing_waits,
        devices,
        server: held,
        totals: first.sheet(day, day)?,
    };
    let converged = outcome.converged;
    let code = story.newest_code()?;
    if json {
        writeln!(out, "{}", serde_json::to_string(&outcome)?)?;
    } else {
        show(&mut out, &told, &outcome, story, folder.path())?;
    }
    if !once {
        let join = server.invite(Some(outcome.server.farm))?;
        // So that the screen can show all that there is.
        let screen = server.invite_as(Some(outcome.server.farm), Role::Owner)?;
        // Standard output may be for a program; what people need to go on stands beside it.
        let mut aside = std::io::stderr();
        writeln!(
            aside,
            "Kitchen screen: open {}/#invite={screen}",
            server.url
        )?;
        if pointdown_server::carries_phone_app() {
            let phone = server.invite(Some(outcome.server.farm))?;
            writeln!(
                aside,
                "Phone app:      open {}/phone/#invite={phone}",
                server.url
            )?;
        }
        writeln!(
            aside,
            "Another phone:  {} --db phone.db join {} {join} --person Ana --device 'Ana phone'",
            terminal().map_or_else(|| "pointdown".into(), |p| p.display().to_string()),
            server.url
        )?;
        writeln!(
            aside,
            "There, labels:  {} --db phone.db print labels {code} --sheet a4-2x4",
            terminal().map_or_else(|| "pointdown".into(), |p| p.display().to_string()),
        )?;
        writeln!(
            aside,
            "Each code lets one device in. Ctrl-C ends the demo; its data go with it."
        )?;
        server.wait_for_ctrl_c()?;
    }
    server.stop()?;
    Ok(converged)
}

/// The day sheet as the terminal client prints it, from the first phone's own database.
fn show(
    out: &mut impl Write,
    told: &[String],
    outcome: &Outcome,
    story: Story,
    folder: &Path,
) -> Result<()> {
    for line in told {
        writeln!(out, "  {line}.")?;
    }
    // A database is open in one program at a time.
    drop(story);
    writeln!(out)?;
    match terminal() {
        Some(terminal) => {
            out.flush()?;
            let printed = Command::new(terminal)
                .arg("--db")
                .arg(folder.join("marit.db"))
                .arg("today")
                .output()?;
            out.write_all(&printed.stdout)?;
            std::io::stderr().write_all(&printed.stderr)?;
        }
        None => writeln!(out, "{}", serde_json::to_string_pretty(&outcome.totals)?)?,
    }
    writeln!(
        out,
        "\nEveryone holds the same: {}",
        if outcome.converged { "yes" } else { "NO" }
    )?;
    let rows = outcome
        .devices
        .iter()
        .map(|d| (d.name, d.records, d.gathered, &d.sheet_hash))
        .chain([(
            "server",
            outcome.server.records,
            outcome.server.gathered,
            &outcome.server.sheet_hash,
        )]);
    for (name, records, gathered, hash) in rows {
        writeln!(
            out,
            "  {name:<8}{records:>5} records  {gathered:>4} eggs today  {}",
            &hash[..16]
        )?;
    }
    writeln!(out)?;
    Ok(())
}

/// The terminal client, where it was built beside this program.
fn terminal() -> Option<std::path::PathBuf> {
    let here = std::env::current_exe().ok()?;
    let beside = here.with_file_name(format!("pointdown{}", std::env::consts::EXE_SUFFIX));
    beside.is_file().then_some(beside)
}
