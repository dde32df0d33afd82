use std::fs;

use crate::phone::Phone;

/// A farm under rules, with a carton of hen eggs packed today.
fn packed() -> (Phone, String) {
    let phone = Phone::with_farm();
    let who = phone.ask("status");
    let farm = who["farm"]["id"].as_str().expect("an id").to_string();
    let block = "producer=Willow Farm, 4 Example Lane";
    phone
        .run(&["amend", &farm, "rule_pack=us_federal", block])
        .good();
    phone
        .say("log headcount coop=North species=hen birds=20")
        .good();
    phone
        .say("log gather coop=North species=hen count=12")
        .good();
    let run = "carton parts=today/hen=12 from=basket species=hen eggs_per_carton=12 cartons=1 packed=today";
    let id = phone.log(run);
    (phone, id)
}

#[test]
fn labels_are_written_to_a_page_and_cautions_are_said_aloud() {
    let (phone, run) = packed();
    let page = phone.text_path("labels.html");
    let said = phone
        .run(&[
            "print", "labels", &run, "--sheet", "a4-3x7", "--first", "20", "--out", &page,
        ])
        .good();
    assert!(
        said.contains("State and local egg laws") && said.contains("100 %"),
        "{said}"
    );
    let html = fs::read_to_string(&page).expect("the page");
    assert!(
        html.contains("12 eggs") && html.contains("Keep Refrigerated"),
        "{html}"
    );
    assert_eq!(html.matches("class=\"free\"").count(), 19);
    let asked = phone
        .run(&["print", "labels", &run, "--out", &page, "--json"])
        .json();
    // Paper as is usual under the rules; what one label holds, one label says.
    assert_eq!(
        (&asked["sheets"], &asked["labels_per_carton"]),
        (&1.into(), &1.into())
    );
    let html = fs::read_to_string(&page).expect("the page");
    assert!(html.contains("size: 215.9mm 279.4mm"));
}

#[test]
fn what_cannot_be_printed_is_named() {
    let (phone, run) = packed();
    let page = phone.text_path("labels.html");
    let first = [
        "print", "labels", &run, "--first", "99", "--out", &page, "--json",
    ];
    let error = phone.run(&first).failed(1);
    assert_eq!(
        (&error["field"], &error["value"]),
        (&"first".into(), &"99".into())
    );
    let sheet = [
        "print", "labels", &run, "--sheet", "a9", "--out", &page, "--json",
    ];
    assert_eq!(phone.run(&sheet).failed(1)["field"], "sheet");
    let claim = [
        "print",
        "labels",
        &run,
        "--claim",
        "Jumbo eggs",
        "--out",
        &page,
        "--json",
    ];
    assert!(
        phone.run(&claim).failed(1)["field"]
            .to_string()
            .contains("claim")
    );
    let none = ["print", "labels", "2026-001-hen", "--out", &page, "--json"];
    assert_eq!(phone.run(&none).failed(3)["error"], "not_found");
    assert!(
        !phone.path("labels.html").exists(),
        "a refusal writes nothing"
    );
    let nowhere = phone.text_path("no/such/folder.html");
    assert_eq!(
        phone
            .run(&["print", "day-sheet", "--out", &nowhere, "--json"])
            .failed(4)["error"],
        "storage"
    );
}

#[test]
fn sheets_and_trends_are_written_too() {
    let (phone, _) = packed();
    for (words, holds) in [
        ("print day-sheet --paper a4", "size: 210mm 297mm"),
        ("print day-sheet --day yesterday --to today", "2 days"),
        ("print gather-sheet --coop North", "leave the line empty"),
        ("print gather-sheet --days 3 --rounds 4", "South"),
        ("print trends --by day --coop North", "How they lay"),
    ] {
        let page = phone.text_path("page.html");
        let said = phone.say(&format!("{words} --out {page}")).good();
        assert!(said.contains("page.html"), "{said}");
        let html = fs::read_to_string(&page).expect("the page");
        assert!(html.contains(holds), "{words}");
    }
}

#[test]
fn trends_are_a_table_data_and_a_picture() {
    let (phone, _) = packed();
    let picture = phone.text_path("trends.svg");
    let said = phone
        .say(&format!("trends --by day --from today --svg {picture}"))
        .good();
    for words in [
        "North, hen eggs",
        "60.0",
        "unknown",
        "veterinarian",
        "trends.svg",
    ] {
        assert!(said.contains(words), "{words} in {said}");
    }
    assert!(
        fs::read_to_string(&picture)
            .expect("the picture")
            .starts_with("<svg")
    );
    let data = phone.ask("trends --by week --coop North");
    let hens = data["flocks"].as_array().expect("flocks");
    let hens = hens
        .iter()
        .find(|f| f["species"] == "hen")
        .expect("the hens");
    let week = hens["spans"]
        .as_array()
        .and_then(|all| all.last())
        .expect("a week");
    assert_eq!(
        (&week["eggs"], &week["rate"]["hen_days"]),
        (&12.into(), &20.into())
    );
    assert_eq!(
        phone
            .say("trends --from tomorrow --to today --json")
            .failed(1)["field"],
        "to"
    );
    assert_eq!(phone.say("trends --by fortnight").code, 2);
}

#[test]
fn the_call_back_list_is_printed_from_a_coop_or_a_record() {
    let (phone, run) = packed();
    phone
        .run(&["add", "outlet", "Roadside stand", "contact=555 0101"])
        .good();
    let gone = [
        "log",
        "out",
        "way=sold",
        "parts=today/hen=12",
        "cartons=1",
        "outlet=Roadside stand",
    ];
    let carton = format!("carton={run}");
    phone.run(&[&gone[..], &[&carton]].concat()).good();
    let page = phone.text_path("call-back.html");
    for words in ["--coop North --from today", &run] {
        phone
            .say(&format!("print call-back {words} --paper a4 --out {page}"))
            .good();
        let html = fs::read_to_string(&page).expect("the page");
        for holds in [
            "Roadside stand",
            "555 0101",
            "2. Phone: 1 call<",
            "1 carton (12 eggs)",
            "doctor",
        ] {
            assert!(html.contains(holds), "{holds} in {html}");
        }
        assert!(html.contains("Nothing of it is on the farm any more."));
    }
    assert_eq!(phone.say(&format!("print call-back --out {page}")).code, 2);
    let geese = format!("print call-back --from today --species goat --out {page} --json");
    assert_eq!(phone.say(&geese).failed(1)["field"], "species");
}
