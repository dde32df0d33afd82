//! The record book for an inspector: what happened, what was said later, what is missing.

use pointdown_core::files::{RecordBook, as_csv, as_text, page};
use pointdown_core::record::{Draft, Fields, Kind};
use pointdown_tests::phone::{Phone, at, gather};

fn phone() -> Phone {
    let phone = Phone::first("Ada", "2026-05-01T12:00:00Z", "America/Chicago");
    let mut rules = Fields::new();
    rules.insert("rule_pack".into(), "us_federal".into());
    rules.insert("temperature".into(), "F".into());
    let farm = phone.farm.id();
    phone.farm.amend(farm, rules, None).expect("an amendment");
    phone.log(Draft::new(Kind::Cooler).with("name", "Cellar"));
    phone
}

fn book(phone: &Phone, from: &str, to: &str) -> RecordBook {
    let day = |text: &str| Some(text.parse().expect("a day"));
    phone.farm.record_book(day(from), day(to)).expect("a book")
}

#[test]
fn first_values_later_ones_and_voids_are_all_shown() {
    let phone = phone();
    let count = phone.gather("Orchard", "hen", 42);
    phone.log(
        Draft::new(Kind::Wash)
            .with("parts", "2026-05-01/hen=12")
            .with("means", "spray")
            .with("water_start_c", "110F"),
    );
    phone.log(
        Draft::new(Kind::Wash)
            .with("parts", "2026-05-01/hen=5")
            .with("means", "brush"),
    );
    phone.log(
        Draft::new(Kind::Wash)
            .with("parts", "2026-05-01/hen=3")
            .with("means", "dry"),
    );
    phone.env.set(at("2026-05-03T12:00:00Z"));
    let set = |name: &str, value: &str| {
        let mut set = Fields::new();
        set.insert(name.into(), value.into());
        set
    };
    phone
        .farm
        .amend(count, set("count", "40"), Some("counted <again>"))
        .expect("it");
    let slip = phone
        .farm
        .amend(count, set("count", "4"), None)
        .expect("it")
        .id;
    phone.farm.void(slip, "a zero was lost").expect("a void");
    let twice = phone.log(gather("Orchard", "hen", 9).at(at("2026-05-02T12:00:00Z")));
    phone.farm.void(twice, "logged twice").expect("a void");
    // Moved out of the span by a later word: the book of the day it was first logged for has it.
    let moved = phone.log(gather("Orchard", "hen", 7).at(at("2026-05-01T20:00:00Z")));
    phone
        .farm
        .amend(moved, set("at", "2026-05-03T11:00:00Z"), None)
        .expect("it");

    let book = book(&phone, "2026-05-01", "2026-05-02");
    let gathers = &book
        .sections
        .iter()
        .find(|(k, _)| *k == Kind::Gather)
        .expect("gathers")
        .1;
    assert_eq!(gathers.len(), 3);
    let first = gathers
        .iter()
        .find(|row| row.id == count)
        .expect("the count");
    assert_eq!(first.when, "2026-05-01 07:00 -05:00");
    assert_eq!(
        (first.by.as_str(), first.place.as_str()),
        ("Ada", "Orchard")
    );
    assert!(
        first.values.contains(&("count".into(), "42".into())),
        "{first:?}"
    );
    let what: Vec<(&str, bool)> = first
        .said
        .iter()
        .map(|s| (s.what.as_str(), s.taken_back))
        .collect();
    assert_eq!(what[0], ("count: first 42, then 40", false));
    assert_eq!(what[1], ("count: first 42, then 4", true));
    assert!(what[2].0.starts_with("took back #"), "{what:?}");
    assert_eq!(first.said[0].why.as_deref(), Some("counted <again>"));
    assert_eq!(first.said[0].by, "Ada");
    let voided = gathers
        .iter()
        .find(|row| row.id == twice)
        .expect("the void");
    assert_eq!(voided.standing, "voided");
    assert_eq!(voided.said[0].why.as_deref(), Some("logged twice"));
    assert_eq!(voided.entered.as_deref(), Some("2026-05-03 07:00 -05:00"));
    assert!(gathers.iter().any(|row| row.id == moved));

    let missing = book.missing.join("\n");
    for due in [
        "Wet cleaning without a water temperature at the start on 1 day (2026-05-01).",
        "Wet cleaning without an egg temperature on 1 day",
        "No producer block is set",
        "Orchard, hen: no gather on 1 day (2026-05-02); these days are unknown, not zero.",
        "Pond, duck: no gather on 2 days (2026-05-01 to 2026-05-02)",
        "Cooler Cellar: no temperature read on 2 days",
    ] {
        assert!(missing.contains(due), "{due}\n{missing}");
    }
    // 7 CFR 57.200 (2015 edition): two years.
    assert!(
        book.rules.contains("24 months (7 CFR 57.200"),
        "{}",
        book.rules
    );

    let text = as_text(&book);
    assert!(text.contains("water start 43.33 °C (110.0 °F)"), "{text}");
    assert!(
        text.contains("Ada: count: first 42, then 40 (why: counted <again>)"),
        "{text}"
    );
    let csv = String::from_utf8(as_csv(&book).expect("a table")).expect("text");
    assert!(csv.starts_with("kind,when,entered,who,where,values,standing,later,id\r\n"));
    assert!(csv.contains("logged twice"), "{csv}");
}

#[test]
fn the_page_needs_nothing_and_runs_nothing() {
    let phone = phone();
    let nasty = "<script>alert(1)</script> & \"quoted\" 'so'";
    phone.log(gather("Orchard", "hen", 3).with("note", nasty));
    let book = book(&phone, "2026-05-01", "2026-05-01");
    let html = page(&book);
    assert!(
        html.contains(
            "&lt;script&gt;alert(1)&lt;/script&gt; &amp; &quot;quoted&quot; &#39;so&#39;"
        )
    );
    for never in [
        "<script", "<img", "<link", "http://", "https://", "url(", "onload", "@import",
    ] {
        assert!(!html.contains(never), "{never}");
    }
    // Every element that is opened is closed.
    for tag in ["table", "tr", "td", "div", "span", "ul", "li", "h2", "p"] {
        let count = |what: &str| html.matches(what).count();
        let opened = count(&format!("<{tag}>")) + count(&format!("<{tag} "));
        assert_eq!(opened, count(&format!("</{tag}>")), "{tag}");
    }
}

#[test]
fn the_span_follows_from_the_rules_or_must_be_given() {
    let phone = phone();
    let book = phone.farm.record_book(None, None).expect("a book");
    assert_eq!(
        (book.from.to_string(), book.to.to_string()),
        ("2024-05-01".into(), "2026-05-01".into())
    );
    assert!(
        book.missing[0].contains("before 2026-05-01") || book.missing[0].contains("at all"),
        "{:?}",
        book.missing
    );
    let other = Phone::first("Eve", "2026-05-01T12:00:00Z", "UTC");
    let e = other.farm.record_book(None, None).expect_err("no rules");
    assert_eq!(e.invalid.expect("a field").field, "from");
    let day = |text: &str| Some(text.parse().expect("a day"));
    let e = other.farm.record_book(day("2026-05-02"), day("2026-05-01"));
    assert_eq!(
        e.expect_err("turned round").invalid.expect("a field").field,
        "to"
    );
}
