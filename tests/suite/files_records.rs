//! Records as CSV and JSON Lines: out, wiped, in again, and the book is the same.

use std::io::Write as _;
use std::process::{Command, Stdio};

use pointdown_core::farm::{ErrorKind, Farm, Location};
use pointdown_core::files::{Format, columns};
use pointdown_core::ledger::Document;
use pointdown_core::record::{Actor, DocName, Draft, Fields, Id, Kind, encode};
use pointdown_tests::phone::{Phone, TestEnv, at, gather, meet};
use pointdown_tests::raw::id;
use serde_json::{Value, json};

use crate::records::{NOW, draft, farm, sample};

const FORMS: [Format; 2] = [Format::Csv, Format::JsonLines];

/// Every kind with every field, amended, voided, amended apart by two people, and what a newer
/// version wrote.
fn full() -> Phone {
    let (ada, run) = farm();
    let mut last = run;
    for kind in Kind::ALL.iter().copied().filter(|k| !k.is_edit()) {
        let fields = sample(kind).expect("a sample");
        let note = "a note; with, separators,\n\"quotes\" and =formulas";
        last = ada.log(draft(kind, fields).with("note", note));
    }
    let set = |name: &str, value: Value| {
        let mut set = Fields::new();
        set.insert(name.into(), value);
        set
    };
    let ben = ada.another("Ben");
    let shared = ada.gather("Orchard", "hen", 40);
    meet(&ada, &ben);
    let amended = ada
        .farm
        .amend(shared, set("count", 41.into()), Some("recounted"));
    amended.expect("an amendment");
    ben.farm
        .amend(shared, set("count", 39.into()), None)
        .expect("an amendment");
    meet(&ada, &ben);
    let moved = ada.gather("Orchard", "hen", 3);
    let yesterday = set("at", "2026-05-01T07:00:00Z".into());
    ada.farm
        .amend(moved, yesterday, None)
        .expect("an amendment");
    let coop = ada.farm.find(Kind::Coop, "Pond").expect("a coop");
    let named = ada.farm.amend(coop, set("name", "Lower pond".into()), None);
    let named = named.expect("an amendment").id;
    ada.farm
        .void(named, "it is still the pond")
        .expect("a void");
    let void = ada.farm.void(last, "twice").expect("a void").id;
    ada.farm.void(void, "not twice after all").expect("a void");
    ada.farm.void(moved, "on paper only").expect("a void");

    let month: DocName = "2026-05".parse().expect("a month");
    let mut foreign = Document::new(ada.farm.id(), month.clone(), Actor([9; 16]));
    for (n, value) in [
        json!({"kind": "egg_song", "pitch": [1, {"deep": null}], "note": "what is this"}),
        json!({"kind": "gather", "coop": "nowhere", "species": "hen", "count": -3}),
        json!({"kind": "supply", "item": "other", "colour": "green"}),
    ]
    .into_iter()
    .enumerate()
    {
        let fields = value.as_object().expect("fields").clone();
        let id = id("2026-05-02T10:00:00Z", n as u64 + 1);
        let change = foreign.append(&[(id, encode(&fields))], 1_777_716_000);
        let bytes = change.expect("a change").0.bytes;
        ada.farm
            .take(&[(month.clone(), bytes)])
            .expect("it is taken");
    }
    ada
}

/// The book without who wrote which change when: columns `op`, `actor`, `hash`, `made_at` of the
/// records. A text file does not hold these, and the changes after an import are other ones.
fn book(view: &[String]) -> Vec<String> {
    let row = |text: &String| {
        let cells: Vec<&str> = text.split('|').collect();
        match cells[0] {
            "record" => [&cells[..13], &cells[17..]].concat().join("|"),
            _ => text.clone(),
        }
    };
    view.iter().map(row).collect()
}

fn fresh(file: &[u8]) -> Farm {
    let env = TestEnv::new(at(NOW), 77);
    let (farm, report) = Farm::from_records(&Location::Memory, env, file).expect("a farm");
    assert_eq!(report.errors, [], "{report:?}");
    assert_eq!((report.added, report.skipped), (report.read, 0));
    farm
}

#[test]
fn out_wiped_and_in_again_is_the_same_book() {
    let phone = full();
    let due = phone.view();
    assert!(
        due.iter().any(|row| row.starts_with("record|")),
        "a view to compare"
    );
    for form in FORMS {
        let file = phone.farm.export_records(form, None).expect("a file");
        let again = fresh(&file);
        let view = again.view().expect("a view");
        assert_eq!(book(&view), book(&due), "{form:?}");
        assert_eq!(again.id(), phone.farm.id());
        assert_eq!(again.check().expect("a check").wrong, Vec::<String>::new());
        // The same file once more, byte for byte, and nothing new in it.
        let second = again.export_records(form, None).expect("a file");
        assert!(second == file, "{form:?}");
        let report = again.import_records(&file, false).expect("a report");
        assert_eq!((report.added, report.skipped), (0, report.read));
        assert_eq!(again.view().expect("a view"), view);
        let report = phone.farm.import_records(&file, false).expect("a report");
        assert_eq!(report.added, 0);
        assert_eq!(phone.view(), due);
    }
}

#[test]
fn the_new_phone_and_the_old_one_meet_without_harm() {
    let phone = full();
    let file = phone
        .farm
        .export_records(Format::Csv, None)
        .expect("a file");
    let again = fresh(&file);
    again
        .write_as(phone.farm.person().expect("a person"))
        .expect("a writer");
    again.log(gather("Orchard", "hen", 6)).expect("a gather");
    phone.gather("Orchard", "hen", 8);
    for (from, to) in [(&again, &phone.farm), (&phone.farm, &again)] {
        to.import(&from.export().expect("an export"))
            .expect("an import");
    }
    assert_eq!(again.view().expect("a view"), phone.view());
    for farm in [&again, &phone.farm] {
        assert_eq!(farm.check().expect("a check").wrong, Vec::<String>::new());
        assert_eq!(farm.strays().expect("a list"), [], "the same facts twice");
    }
}

#[test]
fn one_kind_alone_has_its_own_columns() {
    let phone = full();
    for kind in Kind::ALL {
        let file = phone.farm.export_records(Format::Csv, Some(*kind));
        let text = String::from_utf8(file.expect("a file")).expect("text");
        let heading: Vec<&str> = text.lines().next().expect("a heading").split(',').collect();
        let due: Vec<&str> = columns(Some(*kind)).iter().map(|c| c.name).collect();
        assert_eq!(heading, due);
        let again = phone.farm.import_records(text.as_bytes(), false);
        let again = again.expect("a report");
        assert!(
            again.read > 0 && again.read == again.skipped,
            "{kind:?}: {again:?}"
        );
    }
}

#[test]
fn what_does_not_fit_is_named_by_row_and_nothing_of_it_is_taken() {
    let phone = Phone::first("Ada", NOW, "America/Chicago");
    let first = phone.gather("Orchard", "hen", 12);
    let file = phone.farm.export_records(Format::Csv, Some(Kind::Gather));
    let text = String::from_utf8(file.expect("a file")).expect("text");
    let before = phone.view();
    let (heading, row) = text.trim_end().split_once("\r\n").expect("two lines");
    let other = |id: Id| row.replacen(&first.to_string(), &id.to_string(), 1);
    let fresh = id("2026-05-02T12:00:00Z", 200);
    let june = id("2026-06-02T12:00:00Z", 201);
    let mut farms = row.split(',');
    let farm = farms.next().expect("a farm");
    for (row, why) in [
        (
            row.replace(",12,", ",13,"),
            "another record stands under the id",
        ),
        (other(fresh).replace(",12,", ",99999,"), "count"),
        (other(fresh).replace(",12,", ",,"), "count"),
        (other(fresh).replace("hen", "gull"), "species"),
        (other(fresh).replace("gather", "gathering"), "kind"),
        (other(june), "at "),
        (other(june).replacen(&before_at(row), "", 1), "doc 2026-05"),
        (row.replacen(&first.to_string(), "", 1), "id must be given"),
        (row.replacen(farm, &fresh.to_string(), 1), "farm"),
        (format!("{row},more"), "cells"),
    ] {
        let good = other(id("2026-05-02T12:00:00Z", 202));
        let file = format!("{heading}\r\n{good}\r\n{row}\r\n");
        let report = phone.farm.import_records(file.as_bytes(), true);
        let report = report.expect("a report");
        assert_eq!((report.read, report.added), (2, 1), "{row}: {report:?}");
        assert_eq!(report.errors[0].row, 3, "{row}");
        assert!(report.errors[0].why.contains(why), "{row}: {report:?}");
        assert_eq!(phone.view(), before, "a dry run changes nothing");
    }
    let lines = format!("{{\"farm\":\"{farm}\"}}\nno JSON\n\n[1]\n");
    let report = phone.farm.import_records(lines.as_bytes(), false);
    let rows: Vec<usize> = report
        .expect("a report")
        .errors
        .iter()
        .map(|e| e.row)
        .collect();
    assert_eq!(rows, [1, 2, 4]);
    assert_eq!(phone.view(), before);
}

/// The cell with the time of the event.
fn before_at(row: &str) -> String {
    row.split(',').nth(3).expect("a time").to_string()
}

#[test]
fn a_file_of_another_farm_is_refused_as_a_whole() {
    let phone = full();
    let other = Phone::first("Eve", NOW, "America/Chicago");
    let before = other.view();
    for form in FORMS {
        let file = phone.farm.export_records(form, None).expect("a file");
        let e = other
            .farm
            .import_records(&file, false)
            .expect_err("a stranger");
        assert_eq!(e.kind, ErrorKind::OtherFarm);
    }
    assert_eq!(other.view(), before);
    // Without the farm's own record nothing can begin.
    let gathers = phone.farm.export_records(Format::Csv, Some(Kind::Gather));
    let env = TestEnv::new(at(NOW), 78);
    let e = Farm::from_records(&Location::Memory, env, &gathers.expect("a file"));
    assert_eq!(e.err().expect("no farm").kind, ErrorKind::NotFound);
}

/// RFC 4180 by another reader: Python's csv module, in its strict mode.
#[test]
fn another_reader_of_csv_reads_the_same_cells() {
    const READER: &str = "import csv, io, json, sys\n\
        text = io.TextIOWrapper(sys.stdin.buffer, encoding='utf-8', newline='').read()\n\
        assert all(line.endswith('\\r') for line in text.split('\\n')[:1])\n\
        print(json.dumps(list(csv.DictReader(io.StringIO(text, newline=''), strict=True))))\n";
    let phone = full();
    let csv = phone
        .farm
        .export_records(Format::Csv, None)
        .expect("a file");
    let lines = phone.farm.export_records(Format::JsonLines, None);
    let lines = String::from_utf8(lines.expect("a file")).expect("text");
    let python = Command::new("python3")
        .args(["-c", READER])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn();
    let mut python = match python {
        Ok(python) => python,
        Err(e) => {
            eprintln!("SKIPPED: CSV was not read by another program, there is no python3: {e}");
            return;
        }
    };
    let mut input = python.stdin.take().expect("a pipe");
    let writer = std::thread::spawn(move || input.write_all(&csv).expect("written"));
    let output = python.wait_with_output().expect("it ends");
    writer.join().expect("all was read");
    assert!(output.status.success());
    let rows: Vec<Fields> = serde_json::from_slice(&output.stdout).expect("JSON");
    let due: Vec<Fields> = lines
        .lines()
        .map(|line| serde_json::from_str(line).expect("JSON"))
        .collect();
    assert_eq!(rows.len(), due.len());
    let mut compared = 0;
    for (row, due) in rows.iter().zip(&due) {
        for name in [
            "farm", "doc", "id", "at", "note", "to", "name", "price", "why",
        ] {
            let cell = row[name].as_str().expect("text");
            assert_eq!(
                cell,
                due.get(name).and_then(Value::as_str).unwrap_or_default()
            );
            compared += usize::from(!cell.is_empty());
        }
        for name in ["count", "birds", "kg", "air_c", "water_end_c"] {
            let cell = row[name].as_str().expect("text");
            let number: Option<f64> = cell.parse().ok();
            assert_eq!(number, due.get(name).and_then(Value::as_f64), "{row:?}");
        }
        let raw: Option<Value> = serde_json::from_str(row["raw"].as_str().expect("text")).ok();
        assert_eq!(raw.as_ref(), due.get("raw"));
    }
    assert!(compared > 4 * rows.len(), "{compared} cells");
    assert!(rows.iter().any(|r| {
        r["note"]
            .as_str()
            .is_some_and(|n| n.contains("\n\"quotes\""))
    }));
}

#[test]
fn many_records_of_one_month_travel_on() {
    let phone = Phone::first("Ada", NOW, "America/Chicago");
    let coop = phone.farm.find(Kind::Coop, "Orchard").expect("a coop");
    let mut lines = String::new();
    for n in 0..1000u32 {
        let mut random = [7; 10];
        random[6..].copy_from_slice(&n.to_be_bytes());
        let id = Id::at(
            at("2026-04-03T12:00:00Z").ms() + i64::from(n) * 60_000,
            random,
        );
        let draft = Draft::new(Kind::Gather).with("count", n % 40);
        let mut line = draft.fields;
        line.insert("kind".into(), "gather".into());
        line.insert("species".into(), "hen".into());
        line.insert("coop".into(), coop.to_string().into());
        line.insert("farm".into(), phone.farm.id().to_string().into());
        line.insert("doc".into(), "2026-04".into());
        line.insert("id".into(), id.to_string().into());
        lines.push_str(&format!("{}\n", Value::Object(line)));
    }
    let report = phone.farm.import_records(lines.as_bytes(), false);
    assert_eq!(report.expect("a report").added, 1000);
    let ben = phone.another("Ben");
    meet(&phone, &ben);
    assert_eq!(phone.view(), ben.view());
    let held = pointdown_tests::raw::changes(&phone.farm)
        .iter()
        .filter(|c| c.doc.as_str() == "2026-04")
        .count();
    assert_eq!(held, 5, "two hundred records to a change");
}
