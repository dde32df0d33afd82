//! A real process, really killed: whatever it acknowledged is there afterwards.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

use pointdown_core::farm::{Farm, Location, System};
use pointdown_core::record::Id;
use pointdown_tests::phone::{Phone, at, gather};

/// How long the killing goes on.
const LONG: Duration = Duration::from_secs(9);

#[test]
fn what_was_acknowledged_survives_a_kill_at_any_moment() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.db");
    let now = chrono::Utc::now().to_rfc3339();
    let phone = Phone::first_at(path.as_path().into(), "Ada", &now, "America/Chicago");
    let ben = phone.another("Ben");
    assert!(
        phone.farm.today().expect("a day")
            >= phone
                .farm
                .zone()
                .expect("a zone")
                .day(at("2025-01-01T00:00:00Z"))
    );
    drop(phone);

    let began = Instant::now();
    let mut acknowledged: BTreeMap<Id, usize> = BTreeMap::new();
    let mut kills = 0;
    // Steps of 0.37 ms walk through every moment of a log, which takes a few milliseconds.
    while began.elapsed() < LONG || kills < 8 {
        let mut child = Command::new(env!("CARGO_BIN_EXE_crash_child"))
            .arg(&path)
            .stdout(Stdio::piped())
            .spawn()
            .expect("a child");
        let mut lines = BufReader::new(child.stdout.take().expect("its words")).lines();
        assert_eq!(lines.next().expect("a line").expect("text"), "up");
        let life = Duration::from_micros(300 + 370 * (kills * 7 % 160));
        std::thread::sleep(life);
        // On Unix this is SIGKILL: nothing of the process gets to run any more.
        child.kill().expect("a kill");
        child.wait().expect("its end");
        for line in lines {
            let line = line.expect("text");
            // The last line may be cut short: then it was not heard, so not acknowledged.
            if let Ok(id) = line.parse::<Id>() {
                *acknowledged.entry(id).or_default() += 1;
            }
        }
        kills += 1;

        let farm = Farm::open(&Location::from(path.as_path()), Arc::new(System)).expect("it opens");
        for id in acknowledged.keys() {
            assert!(
                farm.record(*id).expect("a look").is_some(),
                "{id} is lost after kill {kills}"
            );
        }
        if kills % 5 == 1 {
            assert_eq!(farm.check().expect("a check").wrong, Vec::<String>::new());
        }
    }
    let farm = Farm::open(&Location::from(path.as_path()), Arc::new(System)).expect("it opens");
    assert_eq!(farm.check().expect("a check").wrong, Vec::<String>::new());
    let view = farm.view().expect("a view");
    farm.rebuild().expect("a rebuild");
    assert_eq!(view, farm.view().expect("a view"));
    assert!(
        acknowledged.len() > 50,
        "{} acknowledged in {kills} lives",
        acknowledged.len()
    );
    // It still travels: no number of a change was used twice in all those lives.
    ben.farm
        .import(&farm.export().expect("an export"))
        .expect("an import");
    for id in acknowledged.keys() {
        assert!(
            ben.farm.record(*id).expect("a look").is_some(),
            "{id} did not travel"
        );
    }
    eprintln!(
        "{kills} kills, {} records acknowledged, none lost",
        acknowledged.len()
    );
}

#[test]
fn what_was_taken_survives_a_kill_and_half_a_file_is_never_there() {
    let folder = tempfile::tempdir().expect("a folder");
    let (path, files) = (folder.path().join("a.db"), folder.path().join("files"));
    let ben = Phone::first("Ben", "2026-05-01T12:00:00Z", "America/Chicago");
    let farm = Farm::make(&path.as_path().into(), Arc::new(System), ben.farm.id());
    drop(farm.expect("an empty phone"));
    std::fs::create_dir(&files).expect("a folder");
    // Each file holds eight more records than the one before.
    let mut views = vec![Vec::new()];
    for n in 0..40u32 {
        for k in 0..8 {
            ben.log(gather("Orchard", "hen", (n + k) % 30));
        }
        views.push(ben.view());
        let file = ben.farm.export().expect("an export");
        std::fs::write(files.join(n.to_string()), file).expect("a file");
    }
    let (mut kills, mut taken) = (0u64, 0usize);
    let began = Instant::now();
    while kills < 60 && began.elapsed() < LONG {
        let mut child = Command::new(env!("CARGO_BIN_EXE_crash_child"))
            .arg(&path)
            .arg(&files)
            .stdout(Stdio::piped())
            .spawn()
            .expect("a child");
        let mut lines = BufReader::new(child.stdout.take().expect("its words")).lines();
        assert_eq!(lines.next().expect("a line").expect("text"), "up");
        std::thread::sleep(Duration::from_micros(500 + 1_370 * (kills * 11 % 90)));
        child.kill().expect("a kill");
        child.wait().expect("its end");
        for line in lines {
            if let Ok(n) = line.expect("text").parse::<usize>() {
                taken = taken.max(n + 1);
            }
        }
        kills += 1;
        let farm = Farm::open(&Location::from(path.as_path()), Arc::new(System)).expect("it opens");
        // The book is as after one of the files, and not before the last that was acknowledged.
        let view = farm.view().expect("a view");
        let at = views.iter().position(|v| *v == view);
        let at = at.unwrap_or_else(|| panic!("half a file after kill {kills}"));
        assert!(at >= taken, "file {at} of {taken} after kill {kills}");
    }
    assert!(taken > 0, "no file was ever taken");
    let farm = Farm::open(&Location::from(path.as_path()), Arc::new(System)).expect("it opens");
    farm.import(&ben.farm.export().expect("an export"))
        .expect("an import");
    assert_eq!(farm.view().expect("a view"), ben.view());
    assert_eq!(farm.check().expect("a check").wrong, Vec::<String>::new());
    eprintln!("{kills} kills while taking, {taken} of 40 files acknowledged, none lost");
}
