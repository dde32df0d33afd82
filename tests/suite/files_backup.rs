//! A backup is read back before it counts, and a damaged one is refused with reasons.

use std::fs;
use std::path::{Path, PathBuf};

use pointdown_core::farm::{ErrorKind, Farm, Location};
use pointdown_core::record::Draft;
use pointdown_core::record::Kind;
use pointdown_tests::phone::{Phone, TestEnv, at, gather};
use tempfile::TempDir;

const NOW: &str = "2026-05-01T12:00:00Z";

struct Shelf {
    folder: TempDir,
    phone: Phone,
}

impl Shelf {
    fn new() -> Shelf {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.db");
        let phone = Phone::first_at(Location::File(path), "Ada", NOW, "America/Chicago");
        for n in 0..40 {
            phone.gather("Orchard", "hen", n);
        }
        phone.log(
            Draft::new(Kind::Recount)
                .with("station", "basket")
                .with("species", "hen")
                .with("counted", 9),
        );
        Shelf { folder, phone }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn files(&self) -> Vec<String> {
        let entries = fs::read_dir(self.folder.path()).expect("a folder");
        let mut names: Vec<String> = entries
            .map(|e| e.expect("an entry").file_name().to_string_lossy().into())
            .collect();
        names.sort();
        names
    }
}

fn open(path: &Path) -> Farm {
    let env = TestEnv::new(at("2026-05-02T12:00:00Z"), 2_000_000);
    Farm::open(&Location::from(path), env).expect("it opens")
}

#[test]
fn a_backup_is_whole_and_comes_back_beside_the_old_phone() {
    let shelf = Shelf::new();
    let (backup, new) = (shelf.path("backup.db"), shelf.path("new.db"));
    let made = shelf.phone.farm.back_up(&backup).expect("a backup");
    assert_eq!(made.name.as_deref(), Some("Larkmeadow"));
    assert!(made.made.is_some() && made.records > 40, "{made:?}");
    let bytes = fs::read(&backup).expect("the file");
    assert_eq!(made.bytes, bytes.len() as u64);
    assert_eq!(Farm::verify_backup(&backup).expect("whole"), made);

    let restored = Farm::restore(&backup, &new).expect("restored");
    assert_eq!(restored.records, made.records);
    assert_eq!(
        fs::read(&backup).expect("the file"),
        bytes,
        "the backup is as it was"
    );
    let farm = open(&new);
    assert_eq!(farm.view().expect("a view"), shelf.phone.view());
    // Both go on, meet, and hold all that either logged.
    let mine = shelf.phone.gather("Orchard", "hen", 100);
    let theirs = farm
        .log(gather("Orchard", "hen", 200))
        .expect("a gather")
        .id;
    for (from, to) in [(&farm, &shelf.phone.farm), (&shelf.phone.farm, &farm)] {
        to.import(&from.export().expect("an export"))
            .expect("an import");
    }
    for farm in [&farm, &shelf.phone.farm] {
        for id in [mine, theirs] {
            assert!(farm.record(id).expect("a look").is_some());
        }
        assert_eq!(farm.check().expect("a check").wrong, Vec::<String>::new());
    }
    assert_eq!(farm.view().expect("a view"), shelf.phone.view());
    drop(farm);
    // A database that was opened is a live one again: its old seal does not speak of it.
    let plain = shelf.path("plain.db");
    let again = Farm::restore(&new, &plain).expect("a plain copy of a closed database");
    assert_eq!(again.made, None);
}

#[test]
fn nothing_that_is_there_is_written_over() {
    let shelf = Shelf::new();
    let backup = shelf.path("backup.db");
    shelf.phone.farm.back_up(&backup).expect("a backup");
    let before = fs::read(&backup).expect("the file");
    let e = shelf.phone.farm.back_up(&backup).expect_err("it is there");
    assert_eq!(e.kind, ErrorKind::Invalid);
    assert_eq!(fs::read(&backup).expect("the file"), before);
    let view = shelf.phone.view();
    for name in ["a.db", "backup.db"] {
        let e = Farm::restore(&backup, &shelf.path(name)).expect_err("it is there");
        assert_eq!(e.invalid.expect("a field").field, "file");
    }
    // A log left behind by another database would be played into the new one.
    fs::write(shelf.path("new.db-wal"), "left behind").expect("written");
    let e = Farm::restore(&backup, &shelf.path("new.db")).expect_err("a log");
    assert!(e.message.contains("new.db-wal"), "{e}");
    assert!(!shelf.path("new.db").exists());
    assert_eq!(shelf.phone.view(), view);
    let e = shelf.phone.farm.back_up(&shelf.path("no/such/folder.db"));
    assert_eq!(e.expect_err("no folder").kind, ErrorKind::NotFound);
}

#[test]
fn a_damaged_backup_is_refused_with_reasons_and_leaves_nothing() {
    let shelf = Shelf::new();
    let (backup, bad, new) = (
        shelf.path("backup.db"),
        shelf.path("bad.db"),
        shelf.path("new.db"),
    );
    shelf.phone.farm.back_up(&backup).expect("a backup");
    let bytes = fs::read(&backup).expect("the file");
    let refused = |what: &str, bytes: &[u8]| {
        fs::write(&bad, bytes).expect("written");
        let files = shelf.files();
        let e = Farm::restore(&bad, &new).expect_err(what);
        assert!(!e.message.is_empty() && !new.exists(), "{what}: {e}");
        assert_eq!(shelf.files(), files, "{what}");
        e
    };
    assert_eq!(refused("empty", b"").kind, ErrorKind::Damaged);
    let e = refused("text", b"no database at all, but long enough to look at");
    assert!(e.message.contains("no database"), "{e}");
    for part in [2, 3, 4] {
        let cut = bytes.len() * (part - 1) / part;
        assert_eq!(refused("cut short", &bytes[..cut]).kind, ErrorKind::Damaged);
    }
    // One bit in what the tables hold: found by SQLite, by a document's own sum, or by the seal.
    let mut found = 0;
    for at in (4096 + 64..bytes.len()).step_by(bytes.len() / 40) {
        let mut other = bytes.clone();
        other[at] ^= 0x04;
        fs::write(&bad, &other).expect("written");
        match Farm::verify_backup(&bad) {
            Err(e) => {
                found += 1;
                assert!(!e.message.is_empty());
            }
            // A byte that belongs to no row.
            Ok(_) => assert_eq!(rows(&bad), rows(&backup), "byte {at} is part of a row"),
        }
    }
    assert!(found > 10, "only {found} of 40 were in use");
    // A row that was changed as SQLite itself would change it.
    fs::copy(&backup, &bad).expect("a copy");
    let sql = rusqlite::Connection::open(&bad).expect("the file");
    sql.execute("UPDATE meta SET value = '\"x\"' WHERE key = 'mark'", [])
        .expect("changed");
    drop(sql);
    let e = Farm::restore(&bad, &new).expect_err("another row");
    assert!(e.message.contains("not those that were sealed"), "{e}");
    let e = Farm::restore(&shelf.path("nowhere.db"), &new).expect_err("no file");
    assert_eq!(e.kind, ErrorKind::NotFound);
}

/// Everything that the tables hold.
fn rows(path: &Path) -> Vec<String> {
    let sql = rusqlite::Connection::open(path).expect("the file");
    let mut tables = sql
        .prepare("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name")
        .expect("tables");
    let names: Vec<String> = tables
        .query_map([], |row| row.get(0))
        .expect("names")
        .map(|name| name.expect("a name"))
        .collect();
    let mut all = Vec::new();
    for name in names {
        let mut statement = sql
            .prepare(&format!("SELECT * FROM \"{name}\""))
            .expect("a table");
        let columns = statement.column_count();
        let mut rows = statement.query([]).expect("rows");
        while let Some(row) = rows.next().expect("a row") {
            let cells = (0..columns).map(|n| format!("{:?}", row.get_ref(n).expect("a cell")));
            all.push(format!("{name}{:?}", cells.collect::<Vec<_>>()));
        }
    }
    all.sort();
    all
}
