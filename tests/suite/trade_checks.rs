//! The figures of the trade: all of them agree, and the page that shows them is the one in the
//! checkout.

use std::collections::BTreeSet;

use pointdown_tests::checks::{Check, Kind, all, json, markdown, table};

#[test]
fn every_figure_agrees_with_its_source() {
    let rows = all();
    let wrong: Vec<&Check> = rows.iter().filter(|row| !row.ok).collect();
    assert!(wrong.is_empty(), "{}", table(&rows));
    let published = rows.iter().filter(|r| r.kind == Kind::Published).count();
    assert!(rows.len() >= 120, "{} rows", rows.len());
    assert!(published >= 80, "{published} published");
}

#[test]
fn every_row_has_a_name_of_its_own_and_a_source() {
    let rows = all();
    let names: BTreeSet<&str> = rows.iter().map(|r| r.name.as_str()).collect();
    assert_eq!(names.len(), rows.len());
    assert!(rows.iter().all(|r| !r.source.is_empty()));
}

#[test]
fn a_wrong_or_missing_figure_does_not_agree() {
    let row = |expected, got| Check::new("x", "y", Kind::Memory, expected, 0.1, got).ok;
    assert!(row(1.0, 1.05));
    assert!(!row(1.0, 1.2));
    assert!(!row(1.0, f64::NAN));
    assert!(!row(f64::NAN, f64::NAN));
}

#[test]
fn the_page_is_up_to_date() {
    let page = include_str!("../checks.md");
    assert!(
        page == markdown(&all()),
        "tests/checks.md is out of date; write it with \
         `cargo run -p pointdown-tests --bin checks -- --page`"
    );
}

#[test]
fn the_json_has_every_field() {
    let value: serde_json::Value = serde_json::from_str(&json(&all())).unwrap();
    for row in value["checks"].as_array().unwrap() {
        assert!(row["name"].is_string() && row["source"].is_string() && row["ok"] == true);
        let kind = row["kind"].as_str().unwrap();
        assert!(["published", "common practice", "memory"].contains(&kind));
        assert!(row["expected"].is_number() && row["got"].is_number());
        assert!(row["tolerance"].is_number());
    }
}
