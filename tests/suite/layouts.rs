//! Databases that earlier versions left behind: each opens, is brought to today's layout, and goes on.

use std::path::{Path, PathBuf};

use pointdown_core::store::{VERSION, migrate_to};
use pointdown_tests::phone::gather;
use rusqlite::Connection;

use crate::store::{folder, on_file, open};

/// The rows of a database of an old layout, as SQL text.
fn fixture(version: u32) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("data/layout_{version}.sql"))
}

fn dump(connection: &Connection) -> String {
    let mut text = String::new();
    for table in [
        "meta", "doc", "change", "actor", "outbox", "record", "stray", "move", "balance", "line",
    ] {
        let mut statement = connection
            .prepare(&format!("SELECT * FROM {table}"))
            .expect("a table");
        let columns: Vec<String> = statement.column_names().map(str::to_string).collect();
        let mut rows = statement.query([]).expect("rows");
        while let Some(row) = rows.next().expect("a row") {
            let values: Vec<String> = (0..columns.len())
                .map(|c| match row.get_ref(c).expect("a value") {
                    rusqlite::types::ValueRef::Null => "NULL".into(),
                    rusqlite::types::ValueRef::Integer(n) => n.to_string(),
                    rusqlite::types::ValueRef::Real(x) => x.to_string(),
                    rusqlite::types::ValueRef::Text(t) => {
                        format!("'{}'", String::from_utf8_lossy(t).replace('\'', "''"))
                    }
                    rusqlite::types::ValueRef::Blob(b) => {
                        let hex: String = b.iter().map(|b| format!("{b:02x}")).collect();
                        format!("x'{hex}'")
                    }
                })
                .collect();
            text += &format!(
                "INSERT INTO {table} ({}) VALUES ({});\n",
                columns.join(", "),
                values.join(", ")
            );
        }
    }
    text
}

/// Writes the rows of today's layout as a fixture; run by hand when a new layout is made, before it:
/// `cargo test -p pointdown-tests -- --ignored write_the_fixture`.
#[test]
#[ignore = "writes a file into the repository"]
fn write_the_fixture() {
    let folder = folder();
    let path = folder.path().join("a.db");
    let phone = on_file(&path);
    let first = phone.gather("Orchard", "hen", 11);
    phone.gather("Pond", "duck", 4);
    let mut set = pointdown_core::record::Fields::new();
    set.insert("count".into(), 12.into());
    phone
        .farm
        .amend(first, set, Some("one more"))
        .expect("an amendment");
    drop(phone);
    let text = dump(&Connection::open(&path).expect("a database"));
    std::fs::create_dir_all(fixture(1).parent().expect("a folder")).expect("a folder");
    std::fs::write(fixture(VERSION), text).expect("the fixture");
}

#[test]
fn a_database_of_each_old_layout_opens() {
    for version in 1..=VERSION {
        let rows = std::fs::read_to_string(fixture(version))
            .unwrap_or_else(|e| panic!("layout {version} has no fixture: {e}"));
        let folder = folder();
        let path = folder.path().join("old.db");
        let mut connection = Connection::open(&path).expect("a database");
        migrate_to(&mut connection, version).expect("the old layout");
        connection.execute_batch(&rows).expect("its rows");
        let now: u32 = connection
            .query_row("PRAGMA user_version", [], |row| row.get(0))
            .expect("a version");
        assert_eq!(now, version);
        drop(connection);

        let farm = open(&path).expect("it opens");
        assert_eq!(farm.check().expect("a check").wrong, Vec::<String>::new());
        let day = "2026-05-01".parse().expect("a day");
        let sheet = farm.sheet(day, day).expect("a sheet");
        assert_eq!(sheet.gathered.eggs, 16);
        assert_eq!(farm.record_count().expect("a count"), 3);
        let view = farm.view().expect("a view");
        farm.rebuild().expect("a rebuild");
        assert_eq!(view, farm.view().expect("a view"));
        farm.log(gather("Orchard", "hen", 5)).expect("it goes on");
        drop(farm);
        let farm = open(&path).expect("it opens again");
        assert_eq!(farm.record_count().expect("a count"), 4);
    }
}
