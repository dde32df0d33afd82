use serde_json::json;

use crate::phone::Phone;

#[test]
fn a_farm_goes_by_file_to_a_second_phone_and_back() {
    let ada = Phone::with_farm();
    ada.log("gather coop=North species=hen count=12");
    let file = ada.text_path("one.bundle");
    let said = ada.ask(&format!("export {file}"));
    assert_eq!(
        said["bytes"],
        std::fs::metadata(&file).expect("the file").len()
    );

    let ben = Phone::new();
    let missing = ben.say(&format!("import {file} --json")).failed(1);
    assert_eq!(missing["field"], "person");
    assert!(!ben.db().exists());
    let taken = ben.ask(&format!("import {file} --person ben --device tablet"));
    assert_eq!(
        taken["person"]["name"], "Ben",
        "the person that is known already"
    );
    assert_eq!(taken["records"], 1);
    assert_eq!(ben.ask("today"), ada.ask("today"));

    ben.log("gather coop=South species=hen count=7");
    let back = ben.text_path("two.bundle");
    ben.ask(&format!("export {back}"));
    // Ben's device record and his gather.
    assert_eq!(ada.ask(&format!("import {back}"))["changes"], 2);
    assert_eq!(ada.ask(&format!("import {back}"))["changes"], 0);
    assert_eq!(ben.ask(&format!("import {file}"))["changes"], 0);
    assert_eq!(
        ada.ask("today")["gathered"]["by_person"],
        json!({"Ada": 12, "Ben": 7})
    );
    assert_eq!(ada.ask("today"), ben.ask("today"));
    assert!(
        ada.say(&format!("import {back}"))
            .good()
            .starts_with("Nothing new")
    );
}

#[test]
fn a_damaged_or_foreign_file_changes_nothing() {
    let phone = Phone::with_farm();
    phone.log("gather coop=North species=hen count=12");
    let good = phone.text_path("good.bundle");
    phone.ask(&format!("export {good}"));
    let before = phone.everything();
    let bytes = std::fs::read(&good).expect("the file");
    let bad = phone.text_path("bad.bundle");
    let new = Phone::new();
    for cut in [0, 7, 16, 40, bytes.len() / 2, bytes.len() - 1] {
        std::fs::write(&bad, &bytes[..cut]).expect("written");
        for line in [
            format!("import {bad} --json"),
            format!("import {bad} --person A --device d --json"),
        ] {
            assert_eq!(
                phone.say(&line).failed(4)["error"],
                "damaged",
                "cut at {cut}"
            );
        }
        let line = format!("import {bad} --person A --device d --json");
        assert_eq!(new.say(&line).failed(4)["error"], "damaged", "cut at {cut}");
    }
    for at in (0..bytes.len()).step_by(bytes.len() / 20) {
        let mut other = bytes.clone();
        other[at] ^= 0x10;
        std::fs::write(&bad, other).expect("written");
        phone.say(&format!("import {bad} --json")).failed(4);
    }
    assert!(!new.db().exists(), "no database is left behind");
    assert_eq!(phone.everything(), before);

    let other = Phone::with_farm();
    let before = other.everything();
    assert_eq!(
        other.say(&format!("import {good} --json")).failed(1)["error"],
        "other_farm"
    );
    assert_eq!(other.everything(), before);
    let again = phone.say(&format!("export {good} --json")).failed(1);
    assert_eq!(again["field"], "file");
    assert_eq!(std::fs::read(&good).expect("the file"), bytes);
}

#[test]
fn a_copy_is_a_whole_book() {
    let phone = Phone::with_farm();
    phone.log("gather coop=North species=hen count=12");
    let copy = phone.text_path("copy.db");
    phone.ask(&format!("back-up {copy}"));
    phone.say(&format!("back-up {copy} --json")).failed(1);
    let sheet = phone.ask("today");
    assert_eq!(phone.ask(&format!("today --db {copy}")), sheet);
    phone.ask(&format!(
        "log gather coop=South species=hen count=1 --db {copy}"
    ));
    assert_eq!(phone.ask("today"), sheet, "the first book is another one");
    assert_eq!(phone.ask(&format!("check --db {copy}"))["wrong"], json!([]));
}

#[test]
fn a_database_that_cannot_be_used_is_code_4_and_left_alone() {
    let phone = Phone::with_farm();
    let before = phone.everything();
    let sql = rusqlite::Connection::open(phone.db()).expect("the file");
    let layout: u32 = sql
        .query_row("PRAGMA user_version", [], |row| row.get(0))
        .expect("a layout");
    sql.pragma_update(None, "user_version", 999).expect("set");
    drop(sql);
    for line in ["today", "log feed kg=1"] {
        let error = phone.say(&format!("{line} --json")).failed(4);
        assert_eq!(error["error"], "too_new");
        assert!(error["message"].as_str().expect("words").contains("999"));
    }
    let sql = rusqlite::Connection::open(phone.db()).expect("the file");
    sql.pragma_update(None, "user_version", layout)
        .expect("set");
    drop(sql);
    assert_eq!(phone.everything(), before);

    let other = phone.text_path("other.db");
    let sql = rusqlite::Connection::open(&other).expect("a file");
    sql.execute_batch("CREATE TABLE poem (line TEXT)")
        .expect("made");
    drop(sql);
    assert_eq!(
        phone.say(&format!("today --db {other} --json")).failed(4)["error"],
        "damaged"
    );
    let text = phone.text_path("text.db");
    std::fs::write(
        &text,
        "no database at all, but long enough to look at ".repeat(40),
    )
    .expect("written");
    assert_eq!(
        phone.say(&format!("today --db {text} --json")).failed(4)["error"],
        "damaged"
    );
    let folder = phone.folder().to_str().expect("a plain path");
    assert_eq!(
        phone.say(&format!("today --db {folder} --json")).failed(4)["error"],
        "storage"
    );
}

#[cfg(unix)]
#[test]
fn a_file_that_may_not_be_written_is_code_4() {
    use std::os::unix::fs::PermissionsExt;
    use std::os::unix::process::CommandExt;
    let phone = Phone::with_farm();
    let before = phone.everything();
    let db = phone.db();
    let mode = |mode: u32| {
        std::fs::set_permissions(&db, std::fs::Permissions::from_mode(mode)).expect("set");
    };
    mode(0o444);
    let mut log = phone.command(&["log", "feed", "kg=1", "--json"]);
    if std::fs::OpenOptions::new().append(true).open(&db).is_ok() {
        // The superuser writes anyway, so the program runs as nobody, who may look and not touch.
        let open = std::fs::Permissions::from_mode(0o755);
        std::fs::set_permissions(phone.folder(), open).expect("set");
        log.uid(65534).gid(65534);
    }
    match log.output() {
        Ok(output) => {
            let said = crate::phone::Said::from(output);
            assert_eq!(said.failed(4)["error"], "storage");
        }
        Err(e) => eprintln!("not checked: nobody may not run the program ({e})"),
    }
    mode(0o644);
    let mark = phone.path("farm.db-mark");
    std::fs::remove_file(&mark).expect("the mark");
    std::fs::create_dir(&mark).expect("a folder in its place");
    assert_eq!(
        phone.say("log feed kg=1 --json").failed(4)["error"],
        "storage"
    );
    std::fs::remove_dir(&mark).expect("removed");
    assert_eq!(phone.everything(), before);
}

/// A limit on the size of files, with the signal for it ignored, is a disk that takes no more.
#[cfg(target_os = "linux")]
#[test]
fn where_nothing_more_fits_nothing_is_half_done() {
    let phone = Phone::with_farm();
    let before = phone.everything();
    let script = format!(
        "trap '' XFSZ; ulimit -f 1; exec '{}' log feed kg=1 --json",
        env!("CARGO_BIN_EXE_pointdown")
    );
    let output = std::process::Command::new("sh")
        .args(["-c", &script])
        .env("POINTDOWN_DB", phone.db())
        .output()
        .expect("a shell");
    let error = crate::phone::Said::from(output).failed(4);
    assert!(
        ["storage", "disk_full"].contains(&error["error"].as_str().expect("a kind")),
        "{error}"
    );
    assert_eq!(phone.everything(), before);
    phone.log("feed kg=1");
}
