//! Copies of a database: each writes under an actor of its own, and all of them merge.

use std::path::Path;

use pointdown_core::farm::{Farm, Location};
use pointdown_core::record::Id;
use pointdown_tests::phone::{Phone, TestEnv, at, gather};

fn start(path: &Path) -> Phone {
    let phone = Phone::first_at(
        path.into(),
        "Ada",
        "2026-05-01T12:00:00Z",
        "America/Chicago",
    );
    phone.gather("Orchard", "hen", 11);
    phone
}

fn open(path: &Path, seed: u64) -> Farm {
    // Far from the seeds that phones get by themselves: chance must not repeat.
    let env = TestEnv::new(at("2026-05-02T12:00:00Z"), 1_000_000 + seed);
    Farm::open(&Location::from(path), env).expect("it opens")
}

fn log(farm: &Farm, count: u32) -> Id {
    farm.log(gather("Orchard", "hen", count))
        .expect("a gather")
        .id
}

fn exchange(one: &Farm, other: &Farm) {
    for (from, to) in [(one, other), (other, one)] {
        to.import(&from.export().expect("an export"))
            .expect("an import");
    }
}

/// Both log apart, both keep everything after they meet.
fn apart_then_together(one: &Farm, other: &Farm) {
    let mine: Vec<Id> = (1..5).map(|n| log(one, n)).collect();
    let theirs: Vec<Id> = (11..15).map(|n| log(other, n)).collect();
    exchange(one, other);
    for id in mine.iter().chain(&theirs) {
        for farm in [one, other] {
            assert!(farm.record(*id).expect("a look").is_some(), "{id} is lost");
        }
    }
    assert_eq!(one.view().expect("a view"), other.view().expect("a view"));
    for farm in [one, other] {
        assert_eq!(farm.check().expect("a check").wrong, Vec::<String>::new());
    }
    // And once more, since the second change of a shared actor would clash as well.
    log(one, 20);
    log(other, 21);
    exchange(one, other);
    assert_eq!(one.view().expect("a view"), other.view().expect("a view"));
}

#[test]
fn a_backup_opened_elsewhere_writes_as_someone_else() {
    let folder = tempfile::tempdir().expect("a folder");
    let (first, copy) = (folder.path().join("a.db"), folder.path().join("copy.db"));
    let phone = start(&first);
    phone.farm.back_up(&copy).expect("a backup");
    phone.farm.back_up(&copy).expect_err("there is one already");
    // The old phone is still there, and comes back beside the restored one.
    apart_then_together(&phone.farm, &open(&copy, 2));
}

#[test]
fn a_backup_put_back_in_its_place_writes_as_someone_else() {
    let folder = tempfile::tempdir().expect("a folder");
    let (path, copy) = (folder.path().join("a.db"), folder.path().join("copy.db"));
    let phone = start(&path);
    phone.farm.back_up(&copy).expect("a backup");
    // Logged after the copy in the same opening, and seen by another phone: must not clash.
    let lost = phone.gather("Orchard", "hen", 7);
    let ben = phone.another("Ben");
    drop(phone);
    std::fs::remove_file(&path).expect("the old file");
    std::fs::copy(&copy, &path).expect("put back");
    let farm = open(&path, 3);
    assert!(farm.record(lost).expect("a look").is_none());
    apart_then_together(&farm, &ben.farm);
    assert!(
        farm.record(lost).expect("a look").is_some(),
        "it comes back from Ben"
    );
}

#[test]
fn an_old_copy_written_over_the_file_writes_as_someone_else() {
    let folder = tempfile::tempdir().expect("a folder");
    let (path, copy) = (folder.path().join("a.db"), folder.path().join("copy.db"));
    let phone = start(&path).reopen().expect("it opens");
    drop(phone);
    std::fs::copy(&path, &copy).expect("a copy of a closed file");
    let farm = open(&path, 4);
    let lost = log(&farm, 9);
    let ben = Farm::from_export(
        &Location::Memory,
        TestEnv::new(at("2026-05-02T12:00:00Z"), 1_000_005),
        &farm.export().expect("an export"),
    )
    .expect("another phone");
    ben.write_as(farm.person().expect("a person"))
        .expect("a person");
    drop(farm);
    // In place: the file keeps its inode.
    std::fs::copy(&copy, &path).expect("written over");
    let farm = open(&path, 6);
    assert!(farm.record(lost).expect("a look").is_none());
    apart_then_together(&farm, &ben);
}

#[test]
fn a_folder_copied_whole_writes_as_someone_else() {
    let folder = tempfile::tempdir().expect("a folder");
    let other = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.db");
    drop(start(&path));
    for entry in std::fs::read_dir(folder.path()).expect("a folder") {
        let entry = entry.expect("an entry");
        std::fs::copy(entry.path(), other.path().join(entry.file_name())).expect("a copy");
    }
    assert!(other.path().join("a.db-mark").exists());
    apart_then_together(&open(&path, 7), &open(&other.path().join("a.db"), 8));
}

#[test]
fn a_moved_file_keeps_everything() {
    let folder = tempfile::tempdir().expect("a folder");
    let (path, moved) = (folder.path().join("a.db"), folder.path().join("moved.db"));
    let phone = start(&path);
    let (view, other) = (phone.view(), phone.another("Ben"));
    drop(phone);
    std::fs::rename(&path, &moved).expect("moved");
    let farm = open(&moved, 9);
    assert_eq!(farm.view().expect("a view"), view);
    apart_then_together(&farm, &other.farm);
    drop(farm);
    assert!(
        Farm::open(
            &Location::from(path.as_path()),
            TestEnv::new(at("2026-05-02T12:00:00Z"), 1)
        )
        .is_err()
    );
    assert!(!path.exists(), "looking for a farm makes no file");
}

#[test]
fn opening_again_keeps_the_actor() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.db");
    let mut phone = start(&path);
    for n in 0..4 {
        phone.gather("Orchard", "hen", n);
        phone = phone.reopen().expect("it opens");
    }
    let actors: std::collections::BTreeSet<Vec<u8>> = pointdown_tests::raw::changes(&phone.farm)
        .iter()
        .map(|c| {
            automerge::Change::try_from(c.bytes.as_slice())
                .expect("a change")
                .actor_id()
                .to_bytes()
                .to_vec()
        })
        .collect();
    assert_eq!(actors.len(), 1, "one installation, one actor");
}
