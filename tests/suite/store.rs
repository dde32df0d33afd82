//! The database file: old layouts, newer ones, other programs', damaged, read-only, in use, full.

use std::path::{Path, PathBuf};

use pointdown_core::farm::{ErrorKind, Farm, Location};
use pointdown_core::store::VERSION;
use pointdown_tests::phone::{Phone, TestEnv, at, gather, meet};
use pointdown_tests::raw::changes;
use rusqlite::Connection;

pub(crate) fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder")
}

pub(crate) fn on_file(path: &Path) -> Phone {
    Phone::first_at(
        path.into(),
        "Ada",
        "2026-05-01T12:00:00Z",
        "America/Chicago",
    )
}

pub(crate) fn open(path: &Path) -> Result<Farm, pointdown_core::farm::FarmError> {
    Farm::open(
        &Location::from(path),
        TestEnv::new(at("2026-05-02T12:00:00Z"), 99),
    )
}

fn refused(path: &Path) -> pointdown_core::farm::FarmError {
    match open(path) {
        Ok(_) => panic!("{} opens", path.display()),
        Err(e) => e,
    }
}

/// Every byte of a file and of what stands beside it.
fn bytes(path: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut all: Vec<_> = std::fs::read_dir(path.parent().expect("a folder"))
        .expect("a folder")
        .map(|e| e.expect("an entry").path())
        .map(|p| (p.clone(), std::fs::read(&p).expect("a file")))
        .collect();
    all.sort();
    all
}

#[test]
fn a_newer_layout_is_refused_and_left_as_it_is() {
    let folder = folder();
    let path = folder.path().join("a.db");
    drop(on_file(&path));
    let connection = Connection::open(&path).expect("a database");
    // A newer version may keep its journal in another way: even that is left alone.
    connection
        .execute_batch("PRAGMA journal_mode = DELETE; PRAGMA user_version = 99")
        .expect("newer");
    drop(connection);
    let before = bytes(&path);
    let error = refused(&path);
    assert_eq!(error.kind, ErrorKind::TooNew);
    assert!(
        error.message.contains("newer") && error.message.contains("99"),
        "{error}"
    );
    assert_eq!(before, bytes(&path));
}

#[test]
fn another_programs_file_is_refused_and_left_as_it_is() {
    for version in [0, 1, VERSION, 99] {
        let folder = folder();
        let path = folder.path().join("theirs.db");
        let connection = Connection::open(&path).expect("a database");
        connection
            .execute_batch(&format!(
                "CREATE TABLE songs (name TEXT); INSERT INTO songs VALUES ('Lark');
                 PRAGMA user_version = {version}"
            ))
            .expect("their tables");
        drop(connection);
        let before = bytes(&path);
        let error = refused(&path);
        assert_eq!(
            error.kind,
            ErrorKind::Damaged,
            "user_version {version}: {error}"
        );
        assert_eq!(before, bytes(&path), "user_version {version}");
    }
    for text in [
        "no database at all, only some text that is long enough to be one",
        "x",
    ] {
        let folder = folder();
        let path = folder.path().join("notes.db");
        std::fs::write(&path, text.repeat(100)).expect("a file");
        let before = bytes(&path);
        assert_eq!(refused(&path).kind, ErrorKind::Damaged);
        assert_eq!(before, bytes(&path));
    }
}

#[test]
fn a_damaged_file_is_named_as_damaged_and_nothing_panics() {
    let folder = folder();
    let path = folder.path().join("a.db");
    let phone = on_file(&path);
    for n in 0..240 {
        phone.gather("Orchard", "hen", n);
    }
    drop(phone);
    let whole = std::fs::read(&path).expect("a file");
    let mut found = 0;
    let mut tried = 0;
    for at in (0..whole.len()).step_by(whole.len() / 40) {
        let mut damaged = whole.clone();
        let end = (at + 300).min(damaged.len());
        damaged[at..end].fill(0xa5);
        std::fs::write(&path, &damaged).expect("a file");
        tried += 1;
        let looked =
            std::panic::catch_unwind(|| -> Result<bool, pointdown_core::farm::FarmError> {
                let farm = open(&path)?;
                farm.list(&Default::default())?;
                Ok(farm.check()?.wrong.is_empty())
            });
        match looked.expect("nothing panics") {
            // Bytes that no page uses may hold anything.
            Ok(true) => {}
            Ok(false) => found += 1,
            Err(e) => {
                found += 1;
                assert!(
                    matches!(e.kind, ErrorKind::Damaged | ErrorKind::Storage),
                    "{at}: {e}"
                );
            }
        }
        for end in ["-wal", "-shm"] {
            let _ = std::fs::remove_file(folder.path().join(format!("a.db{end}")));
        }
    }
    assert!(found * 2 > tried, "{found} of {tried}");
    for length in [0, 50, 4096, whole.len() / 2, whole.len() - 100] {
        std::fs::write(&path, &whole[..length]).expect("a file");
        let looked = open(&path).and_then(|farm| Ok(farm.check()?.wrong.is_empty()));
        assert!(!matches!(looked, Ok(true)), "cut at {length}");
        for end in ["-wal", "-shm"] {
            let _ = std::fs::remove_file(folder.path().join(format!("a.db{end}")));
        }
    }
}

#[test]
fn a_view_that_is_wrong_is_found_and_made_anew() {
    for change in [
        "UPDATE line SET n = n + 1 WHERE measure = 'gathered'",
        "UPDATE balance SET eggs = eggs + 1 WHERE place = 'basket'",
        "DELETE FROM balance",
        "DELETE FROM line",
        "DELETE FROM change WHERE doc <> 'farm'",
    ] {
        let folder = folder();
        let path = folder.path().join("a.db");
        let phone = on_file(&path);
        phone.gather("Orchard", "hen", 11);
        let phone = phone.reopen().expect("it opens");
        let whole = phone.view();
        drop(phone);
        Connection::open(&path)
            .and_then(|c| c.execute_batch(change))
            .expect(change);
        let farm = open(&path).expect("it opens");
        assert!(!farm.check().expect("a check").wrong.is_empty(), "{change}");
        if !change.contains("FROM change") {
            farm.rebuild().expect("a rebuild");
            assert_eq!(farm.check().expect("a check").wrong, Vec::<String>::new());
            assert_eq!(farm.view().expect("a view"), whole);
        }
    }
}

#[test]
fn a_file_that_is_open_is_in_use_for_everyone_else() {
    let folder = folder();
    let path = folder.path().join("a.db");
    let phone = on_file(&path);
    phone.gather("Orchard", "hen", 11);
    let began = std::time::Instant::now();
    let error = refused(&path);
    assert_eq!(error.kind, ErrorKind::InUse, "{error}");
    assert!(began.elapsed().as_secs() < 3, "{:?}", began.elapsed());
    phone.gather("Orchard", "hen", 12);
    let view = phone.view();
    drop(phone);
    assert_eq!(
        open(&path).expect("free again").view().expect("a view"),
        view
    );
}

#[test]
fn a_full_disk_refuses_the_log_and_changes_nothing() {
    let folder = folder();
    let path = folder.path().join("a.db");
    let phone = on_file(&path);
    // The smallest cap is the present size; pages in use fill up within some records.
    phone.farm.cap(1).expect("a cap");
    let mut full = 0;
    let mut acknowledged = Vec::new();
    let note = "n".repeat(400);
    for n in 0..120 {
        let before = phone.view();
        match phone
            .farm
            .log(gather("Orchard", "hen", n).with("note", note.clone()))
        {
            Ok(logged) => acknowledged.push(logged.id),
            Err(e) => {
                assert_eq!(e.kind, ErrorKind::DiskFull, "{e}");
                assert_eq!(before, phone.view());
                full += 1;
            }
        }
    }
    assert!(full > 10, "{full}");
    // Room again: it goes on where it was, under the same actor, with nothing lost.
    phone.farm.cap(u32::MAX / 2).expect("room");
    acknowledged.push(phone.gather("Orchard", "hen", 1));
    assert_eq!(
        phone.farm.check().expect("a check").wrong,
        Vec::<String>::new()
    );
    let phone = phone.reopen().expect("it opens");
    for id in acknowledged {
        assert!(phone.farm.record(id).expect("a look").is_some());
    }
    let other = phone.another("Ben");
    assert_eq!(changes(&other.farm).len(), changes(&phone.farm).len() + 2);
}

#[test]
fn a_note_that_cannot_be_left_refuses_the_log_and_the_next_one_is_whole() {
    let folder = folder();
    let path = folder.path().join("a.db");
    let phone = on_file(&path);
    phone.gather("Orchard", "hen", 1);
    // A folder where the note beside the file should be: it cannot be written, even by root.
    let note = folder.path().join("a.db-mark");
    std::fs::remove_file(&note).expect("a note");
    std::fs::create_dir(&note).expect("a folder");
    let error = phone.refused(gather("Orchard", "hen", 2));
    assert_eq!(error.kind, ErrorKind::Storage, "{error}");
    std::fs::remove_dir(&note).expect("a folder");
    phone.gather("Orchard", "hen", 3);
    assert_eq!(
        phone.farm.check().expect("a check").wrong,
        Vec::<String>::new()
    );
    let phone = phone.reopen().expect("it opens");
    assert_eq!(phone.farm.record_count().expect("a count"), 2);
    phone.gather("Orchard", "hen", 4);
}

#[test]
fn folding_keeps_the_view_and_late_changes_and_meetings_work() {
    let ada = Phone::first("Ada", "2026-05-01T12:00:00Z", "America/Chicago");
    let ben = ada.another("Ben");
    meet(&ada, &ben);
    for n in 0..270 {
        ada.gather("Orchard", "hen", n % 30);
    }
    let late = ben.gather("Pond", "duck", 4);
    let view = ada.view();
    ada.farm.tidy().expect("folded");
    assert_eq!(view, ada.view());
    assert_eq!(
        ada.farm.check().expect("a check").wrong,
        Vec::<String>::new()
    );
    // What is folded is known: taking it again adds nothing.
    let all: Vec<_> = changes(&ada.farm)
        .into_iter()
        .map(|c| (c.doc, c.bytes))
        .collect();
    assert_eq!(ada.farm.take(&all).expect("again").changes, 0);
    meet(&ada, &ben);
    assert!(ada.farm.record(late).expect("a look").is_some());
    ada.gather("Orchard", "hen", 1);
    ada.farm.tidy().expect("folded");
    ben.farm.tidy().expect("folded");
    meet(&ben, &ada);
    assert_eq!(ada.view(), ben.view());
    ada.farm.rebuild().expect("a rebuild");
    assert_eq!(ada.view(), ben.view());
    let third = ada.another("Cleo");
    meet(&third, &ada);
    assert_eq!(third.view(), ada.view());
}

/// Opens the file named by the variable as whoever runs this, and says how that went.
#[test]
#[ignore = "run by the next test, as a user who may not write"]
fn child_opens_a_file_that_it_may_not_write() {
    let path = PathBuf::from(std::env::var("READ_ONLY_DB").expect("a path"));
    let error = refused(&path);
    assert_eq!(error.kind, ErrorKind::Storage, "{error}");
    assert!(error.message.contains("cannot be written"), "{error}");
}

#[cfg(unix)]
#[test]
fn a_file_that_may_not_be_written_is_refused_and_left_as_it_is() {
    use std::os::unix::fs::{MetadataExt, PermissionsExt};
    use std::os::unix::process::CommandExt;
    let folder = folder();
    let path = folder.path().join("a.db");
    drop(on_file(&path));
    let mode = |path: &Path, mode| {
        let mode = std::fs::Permissions::from_mode(mode);
        std::fs::set_permissions(path, mode).expect("permissions");
    };
    for (file, _) in bytes(&path) {
        mode(&file, 0o444);
    }
    mode(folder.path(), 0o555);
    let before = bytes(&path);
    let root = std::fs::metadata(folder.path()).expect("a folder").uid() == 0;
    let exe = std::env::current_exe().expect("this program");
    let mut child = std::process::Command::new(&exe);
    child
        .args([
            "--exact",
            "store::child_opens_a_file_that_it_may_not_write",
            "--ignored",
        ])
        .env("READ_ONLY_DB", &path)
        .current_dir("/");
    if root {
        // Root may write anything: be nobody.
        child.uid(65534).gid(65534);
    }
    let done = match child.output() {
        Ok(done) => done,
        Err(e) => {
            eprintln!(
                "SKIPPED: this test cannot run {} as another user: {e}",
                exe.display()
            );
            return;
        }
    };
    let said = String::from_utf8_lossy(&done.stdout);
    assert!(done.status.success() && said.contains("1 passed"), "{said}");
    assert_eq!(before, bytes(&path));
    mode(folder.path(), 0o755);
}
