//! Logs of a household's own, records as files, the record book and backups, from the terminal.

use serde_json::{Value, json};

use crate::phone::Phone;

const MAP: &str = "date=Date,coop=Henhouse,species=Birds,eggs=Count,weights=Weights,birds=Hens";

const LOG: &str = "Count;Hens;Date;Henhouse;Weights;Birds\r\n\
    12;20;01/02/2026;North;58;hen\r\n\
    3;;01/02/2026;North;70,5 71;ducks\r\n\
    14;20;02/02/2026;north;\"58;60,5\";hen\r\n\
    0;18;04/02/2026;North;;hen\r\n\
    2;;14/02/2026;Barn;;hen\r\n\
    ;;15/02/2026;North;;hen\r\n\
    many;;16/02/2026;North;;hen\r\n";

fn written(phone: &Phone, name: &str, text: &str) -> String {
    std::fs::write(phone.path(name), text).expect("written");
    phone.text_path(name)
}

fn import(phone: &Phone, file: &str, more: &[&str]) -> Value {
    let words = ["import", file, "--map", MAP, "--json"];
    phone.run(&[&words[..], more].concat()).json()
}

#[test]
fn a_log_is_looked_at_taken_and_taken_again() {
    let phone = Phone::with_farm();
    let file = written(&phone, "log.csv", LOG);
    let before = phone.everything();
    let dry = import(&phone, &file, &["--dry-run"]);
    let due = json!({
        "read": 7, "added": 4, "skipped": 1,
        "errors": [
            {"row": 6, "why": "coop \"Barn\" is not known; the farm knows North, South"},
            {"row": 8, "why": "eggs \"many\" is not allowed; allowed are whole numbers from 0"},
        ],
    });
    assert_eq!(dry, due);
    assert_eq!(phone.everything(), before, "a dry run changes nothing");
    assert_eq!(import(&phone, &file, &[]), due);
    let after = phone.everything();
    let again = import(&phone, &file, &["--dates", "day-first"]);
    assert_eq!((&again["added"], &again["skipped"]), (&json!(0), &json!(5)));
    assert_eq!(phone.everything(), after);
    assert_eq!(import(&phone, &file, &["--new-coops"])["added"], 1);

    let range = phone.ask("range --from 2026-02-01 --to 2026-02-05 --sizes eu");
    let flock = |day: usize, name: &str, species: &str| {
        let flocks = range["by_day"][day]["flocks"].as_array().expect("flocks");
        let found = flocks
            .iter()
            .find(|f| f["name"] == name && f["species"] == species);
        found.expect("a flock").clone()
    };
    assert_eq!(flock(0, "North", "hen")["eggs"], 12);
    assert_eq!(flock(0, "North", "hen")["hen_day_percent"], 60.0);
    assert_eq!(
        flock(2, "North", "hen")["eggs"],
        Value::Null,
        "unknown, not zero"
    );
    assert_eq!(flock(2, "North", "hen")["birds"], 20);
    assert_eq!(flock(3, "North", "hen")["eggs"], 0);
    assert_eq!(range["by_day"][2]["eggs"], Value::Null);
    let laying = range["laying"].as_array().expect("flocks");
    let north = laying
        .iter()
        .find(|l| l["name"] == "North" && l["species"] == "hen");
    let north = north.expect("a flock");
    assert_eq!(north["hen_days"], 20 + 20 + 18);
    assert_eq!(north["days"], json!({"known": 3, "zero": 1, "unknown": 2}));
    let hens = &range["weights"][0];
    assert_eq!(
        (&hens["eggs"], &hens["mean_grams"]),
        (&json!(3), &json!(58.83))
    );
    assert_eq!(
        hens["classes"][0]["counts"],
        json!({"xl": 0, "l": 0, "m": 3, "s": 0})
    );
    let text = phone
        .say("range --from 2026-02-01 --to 2026-02-05 --sizes eu")
        .good();
    assert!(text.contains("44.8 %"), "26 eggs of 58 hen-days: {text}");
    let wrong = phone
        .say("range --from today --sizes mars --json")
        .failed(1);
    assert_eq!(wrong["field"], "sizes");
    assert_eq!(phone.ask("check")["wrong"], json!([]));
}

#[test]
fn what_is_wrong_with_a_map_is_said() {
    let phone = Phone::with_farm();
    let file = written(&phone, "log.csv", LOG);
    for (map, field) in [
        ("date=Day,eggs=Count", "map"),
        ("date=Date", "map: eggs"),
        ("eggs=Count", "map: date"),
        ("date=Date,egg=Count", "map"),
    ] {
        let words = ["import", &file, "--map", map, "--json"];
        assert_eq!(phone.run(&words).failed(1)["field"], field, "{map}");
    }
    let words = ["import", &file, "--json"];
    let error = phone.run(&words).failed(4);
    assert!(
        error["message"].as_str().expect("words").contains("--map"),
        "{error}"
    );
    let error = phone
        .say(&format!("import {file} --coop North --json"))
        .failed(2);
    assert_eq!(error["error"], "usage", "a coop is of use with a map only");
    let text = phone.run(&["import", &file, "--map", MAP]).good();
    assert!(
        text.starts_with("Read 7 rows: added 4, 1 bring nothing new, 2 cannot"),
        "{text}"
    );
    assert!(text.contains("log recount station=basket"), "{text}");
}

#[test]
fn records_go_out_and_come_back_into_an_empty_place() {
    let phone = Phone::with_farm();
    let id = phone.log("gather coop=North species=hen count=12");
    phone.ask(&format!("amend {id} count=13 --why recounted"));
    for end in ["csv", "jsonl"] {
        let file = phone.text_path(&format!("all.{end}"));
        phone.ask(&format!("export {file}"));
        let new = Phone::new();
        let missing = new.say(&format!("import {file} --json")).failed(1);
        assert_eq!(missing["field"], "person");
        let dry = new.ask(&format!("import {file} --person Ada --device d --dry-run"));
        assert!(!new.db().exists(), "a dry run begins nothing");
        let taken = new.ask(&format!("import {file} --person Ada --device d"));
        assert_eq!(taken, dry);
        assert_eq!(taken["errors"], json!([]));
        assert_eq!(new.ask("today"), phone.ask("today"));
        let again = phone.ask(&format!("import {file}"));
        assert_eq!(
            (&again["added"], &again["skipped"]),
            (&json!(0), &taken["read"])
        );
    }
    let file = phone.text_path("gathers.csv");
    phone.ask(&format!("export {file} --kind gather"));
    let text = std::fs::read_to_string(&file).expect("the file");
    assert!(
        text.starts_with("farm,doc,id,at,kind,by,device,note,coop,species,count,"),
        "{text}"
    );
    let columns = phone.ask("columns gather");
    let names: Vec<&str> = columns
        .as_array()
        .expect("columns")
        .iter()
        .map(|c| c["name"].as_str().expect("a name"))
        .collect();
    assert_eq!(names.join(","), text.lines().next().expect("a heading"));
    let refused = phone
        .say(&format!("export {file}.bundle --kind gather --json"))
        .failed(1);
    assert_eq!(refused["field"], "kind");
    let text = phone.say("columns").good();
    assert!(
        text.lines().all(|line| line.chars().count() <= 80),
        "{text}"
    );
}

#[test]
fn the_record_book_is_text_a_table_and_a_page() {
    let phone = Phone::with_farm();
    phone.log("gather coop=North species=hen count=12");
    phone.log("wash parts=today/hen=12 means=spray");
    let error = phone.say("record-book --json").failed(1);
    assert_eq!(error["field"], "from");
    let (html, csv) = (phone.text_path("book.html"), phone.text_path("book.csv"));
    let said = phone
        .say(&format!(
            "record-book --from today --html {html} --csv {csv}"
        ))
        .good();
    assert!(
        said.contains("Missing: Wet cleaning without a water temperature at the start"),
        "{said}"
    );
    let page = std::fs::read_to_string(html).expect("the page");
    assert!(
        page.starts_with("<!doctype html>") && !page.contains("<script"),
        "{page}"
    );
    assert!(
        std::fs::read_to_string(csv)
            .expect("the table")
            .starts_with("kind,when")
    );
    let text = phone.say("record-book --from today").good();
    assert!(
        text.contains("gather (1)") && text.contains("Your local codes decide"),
        "{text}"
    );
    assert_eq!(
        phone.ask("record-book --from today")["sections"][0][0],
        "gather"
    );
}

#[test]
fn a_backup_is_looked_over_and_put_on_a_new_phone() {
    let phone = Phone::with_farm();
    phone.log("gather coop=North species=hen count=12");
    let copy = phone.text_path("copy.db");
    let made = phone.ask(&format!("back-up {copy}"));
    assert_eq!(made["name"], "Willow Farm");
    let new = Phone::new();
    assert_eq!(new.ask(&format!("restore {copy} --check")), made);
    assert!(!new.db().exists());
    assert_eq!(new.ask(&format!("restore {copy}")), made);
    assert_eq!(new.ask("today"), phone.ask("today"));
    let there = new.say(&format!("restore {copy} --json")).failed(1);
    assert_eq!(there["field"], "file");
    // Both go on and meet.
    new.log("gather coop=North species=hen count=1");
    phone.log("gather coop=North species=hen count=2");
    let bundle = new.text_path("new.bundle");
    new.ask(&format!("export {bundle}"));
    assert_eq!(phone.ask(&format!("import {bundle}"))["changes"], 1);
    assert_eq!(phone.ask("today")["gathered"]["eggs"], 15);

    let bytes = std::fs::read(&copy).expect("the backup");
    let bad = phone.text_path("bad.db");
    std::fs::write(&bad, &bytes[..bytes.len() / 2]).expect("written");
    let third = Phone::new();
    let error = third.say(&format!("restore {bad} --json")).failed(4);
    assert_eq!(error["error"], "damaged");
    assert_eq!(
        std::fs::read_dir(third.folder()).expect("a folder").count(),
        0
    );
}
