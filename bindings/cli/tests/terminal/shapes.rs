use serde_json::Value;

use crate::phone::{Phone, Said};

#[track_caller]
fn has(value: &Value, names: &[&str]) {
    let object = value.as_object().expect("an object");
    let found: Vec<_> = object.keys().map(String::as_str).collect();
    for name in names {
        assert!(found.contains(name), "{name} in {found:?}");
    }
}

#[test]
fn every_command_has_its_json_shape() {
    let phone = Phone::new();
    let begin = [
        "begin",
        "--json",
        "--name",
        "F",
        "--zone",
        "Europe/Dublin",
        "--person",
        "Ada",
        "--device",
        "d",
    ];
    let who = ["farm", "zone", "person", "device", "db"];
    let begun = phone.run(&begin).json();
    has(&begun, &who);
    assert_eq!(begun["farm"]["name"], "F");
    assert_eq!(begun["zone"], "Europe/Dublin");

    let record = ["id", "doc", "kind", "at", "day", "standing", "fields"];
    let coop = phone.ask("add coop North species=hen");
    has(&coop, &["id", "record"]);
    has(&coop["record"], &record);
    let gather = phone.ask("log gather coop=North species=hen count=12");
    let id = gather["id"].as_str().expect("an id").to_string();
    has(
        &phone.ask("log wash parts=oldest:2/hen means=dry"),
        &["id", "record", "chosen"],
    );
    has(
        &phone.ask(&format!("amend {id} count=13 --why again")),
        &["id", "record", "target"],
    );
    has(
        &phone.ask(&format!("void {id} --why twice")),
        &["id", "record", "target"],
    );
    has(
        &phone.ask(&format!("show {id}")),
        &[&record[..], &["why"]].concat(),
    );

    let list = phone.ask("list --all");
    assert_eq!(list.as_array().map(Vec::len), Some(8));
    list.as_array()
        .into_iter()
        .flatten()
        .for_each(|row| has(row, &record));
    assert_eq!(phone.ask("list --most 2").as_array().map(Vec::len), Some(2));
    assert_eq!(phone.ask("list feed"), serde_json::json!([]));

    let sheet = [
        "from",
        "to",
        "gathered",
        "pulled",
        "washed",
        "candled",
        "cartoned",
        "out",
        "unaccounted",
        "mean_grams",
        "on_hand",
    ];
    for line in [
        "today",
        "sheet --day yesterday",
        "range --from yesterday --to today",
    ] {
        let found = phone.ask(line);
        let more = [
            "by_day",
            "laying",
            "laying_by_species",
            "weights",
            "caution",
        ];
        let more = if line.starts_with("range") {
            &more[..]
        } else {
            &[]
        };
        has(&found, &[&sheet[..], more].concat());
        has(
            &found["gathered"],
            &["eggs", "floor_laid", "by_coop", "by_species", "by_person"],
        );
    }
    has(
        &phone.ask("on-hand")[0],
        &["station", "species", "eggs", "lots"],
    );
    let status = phone.ask("status");
    has(&status, &[&who[..], &["records", "status"]].concat());
    has(
        &status["status"],
        &[
            "server",
            "waiting",
            "heard_at",
            "offset_ms",
            "agreed",
            "refused",
        ],
    );

    let file = phone.text_path("f.bundle");
    has(&phone.ask(&format!("export {file}")), &["file", "bytes"]);
    has(
        &phone.ask(&format!("import {file}")),
        &[&who[..], &["changes", "records"]].concat(),
    );
    has(&phone.ask("check"), &["records", "wrong", "strays"]);
    has(&phone.ask("rebuild"), &["records"]);
    has(
        &phone.ask(&format!("back-up {}", phone.text_path("copy.db"))),
        &["farm", "name", "records", "bytes", "made", "file"],
    );
    let who_now = phone.ask("write-as ada --device Tablet");
    assert_eq!(who_now["device"]["name"], "Tablet");

    let fields = phone.ask("fields gather");
    has(&fields[0], &["kind", "fields"]);
    has(
        &fields[0]["fields"][0],
        &["name", "required", "meaning", "allowed"],
    );
    assert_eq!(phone.ask("log gather --fields"), fields);
    assert!(
        phone
            .ask("fields")
            .as_array()
            .is_some_and(|all| all.len() > 20)
    );
}

#[test]
fn tables_fit_eighty_columns_in_a_pipe() {
    let phone = Phone::with_farm();
    let words = ["log", "gather", "coop=North", "species=hen", "count=12"];
    let note = format!("note={}", "a long note about a windy morning ".repeat(6));
    phone.run(&[&words[..], &[&note]].concat()).good();
    let id = phone.ask("list gather")[0]["id"]
        .as_str()
        .expect("an id")
        .to_string();
    for line in [
        "list",
        "today",
        "range --from yesterday",
        "on-hand",
        "fields",
        "fields farm",
        &format!("show {id}"),
    ] {
        let text = phone.say(line).good();
        let wide = text.lines().find(|line| line.chars().count() > 80);
        assert_eq!(wide, None, "{line}");
    }
    let shown = phone.say("list").good();
    assert!(
        shown.contains(&id[16..]) && shown.contains("North"),
        "{shown}"
    );
    for n in 0..31 {
        phone.run(&["log", "feed", &format!("kg={n}")]).good();
    }
    assert!(
        phone
            .say("list feed")
            .good()
            .contains("There are older ones")
    );
    assert!(
        !phone
            .say("list feed --most 31")
            .good()
            .contains("older ones")
    );
}

#[cfg(unix)]
#[test]
fn a_reader_that_stops_early_is_no_panic() {
    let phone = Phone::with_farm();
    for n in 0..3 {
        phone.run(&["log", "feed", &format!("kg={n}")]).good();
    }
    for line in ["fields", "list --all", "--help"] {
        let words: Vec<_> = line.split(' ').collect();
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        let output = phone
            .command(&words)
            .stdout(writer)
            .output()
            .expect("it runs");
        let said = Said::from(output);
        assert_eq!((said.code, said.err.as_str()), (0, ""), "{line}");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn output_that_cannot_be_written_is_said() {
    let phone = Phone::with_farm();
    let full = std::fs::OpenOptions::new()
        .write(true)
        .open("/dev/full")
        .expect("a full device");
    let output = phone
        .command(&["log", "feed", "kg=1", "--json"])
        .stdout(full)
        .output()
        .expect("it runs");
    let error = Said::from(output).failed(4);
    assert_eq!(error["error"], "output");
    assert_eq!(
        phone.ask("list feed").as_array().map(Vec::len),
        Some(1),
        "it was done"
    );
}
