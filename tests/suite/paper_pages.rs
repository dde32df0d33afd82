//! Pages for print: nothing foreign in them, nothing foreign out of them, and what they say.

use data_encoding::BASE64;
use pointdown_core::book::trends::Step;
use pointdown_core::farm::LabelWish;
use pointdown_core::paper::{CallBack, Got, Page, Paper, StillHere, ToCall, call_back_page};
use pointdown_core::record::{Draft, Kind};
use pointdown_tests::phone::{Phone, at};
use sha2::{Digest, Sha256};

use crate::paper_labels::{packed, stock};

const NASTY: &str = "<script>alert(1)</script>\"'&</style>";

/// A farm whose every name would do harm in a page that did not take care.
pub(crate) fn nasty() -> Phone {
    let phone = Phone::first("Ada", "2026-11-24T08:00:00Z", "Europe/Dublin");
    phone.log(
        Draft::new(Kind::Coop)
            .with("name", NASTY)
            .with("species", "hen"),
    );
    phone.log(Draft::new(Kind::Person).with("name", NASTY));
    let person = phone.farm.find(Kind::Person, NASTY).unwrap();
    phone.farm.write_as(person).unwrap();
    phone.gather(NASTY, "hen", 11);
    let mut set = pointdown_core::record::Fields::new();
    set.insert("name".into(), NASTY.into());
    phone.farm.amend(phone.farm.id(), set, None).unwrap();
    phone
}

pub(crate) fn call_back(name: &str) -> CallBack {
    let got = |what: &str, code: &str, all| Got {
        day: "2026-11-24".parse().unwrap(),
        way: "sold".into(),
        what: what.into(),
        code: Some(code.into()),
        all,
    };
    CallBack {
        farm: name.into(),
        asked: format!("Eggs of {name}, gathered 2026-11-20 to 2026-11-22"),
        said: vec!["Eggs were pooled: every egg in question is in these cartons.".into()],
        here: vec![StillHere {
            code: "2026-326-hen".into(),
            place: "in cartons".into(),
            left: "3 cartons".into(),
            all: false,
        }],
        people: vec![
            ToCall {
                who: Some(name.into()),
                contact: Some("555 0101".into()),
                got: vec![
                    got("2 cartons", "2026-326-hen", false),
                    got("4 cartons", "2026-325-hen", true),
                ],
                came_back: Some(format!("6 eggs of {name} came back.")),
            },
            ToCall {
                who: None,
                contact: None,
                got: vec![got("1 carton", "2026-326-hen", false)],
                came_back: None,
            },
        ],
        pulled: vec!["2 eggs fed to the birds".into()],
        cautions: vec!["A food authority may have to be told.".into()],
        printed: "2026-11-25 19:40".into(),
    }
}

/// Every kind of page of a farm.
fn every_page(phone: &Phone) -> Vec<Page> {
    let farm = &phone.farm;
    let today = farm.today().unwrap();
    let span = (today - chrono::Days::new(6), today);
    let mut all = vec![call_back_page(&call_back(NASTY), Paper::A4)];
    for paper in Paper::ALL {
        all.push(farm.day_sheet_page(today, today, paper).unwrap());
        all.push(farm.day_sheet_page(span.0, span.1, paper).unwrap());
        all.push(farm.gather_sheet_page(None, today, (7, 2), paper).unwrap());
        all.push(farm.trend_page(span, Step::Day, None, paper).unwrap());
    }
    all
}

#[test]
fn no_name_of_a_farm_gets_out_of_its_text() {
    let phone = nasty();
    let mut all = every_page(&phone);
    let labelled = packed("us_federal", None, None);
    let wish = LabelWish {
        claims: vec![NASTY.into()],
        ..LabelWish::new(labelled.hens, stock("a4-2x4"))
    };
    all.push(labelled.phone.farm.label_page(&wish).unwrap().page);
    for page in all {
        let html = &page.html;
        assert!(
            html.contains("&lt;script&gt;alert(1)&lt;/script&gt;"),
            "{}",
            page.title
        );
        assert!(
            !html.contains("<script") && !html.contains("alert(1)<"),
            "{}",
            page.title
        );
        assert_eq!(
            html.matches("<style>").count(),
            html.matches("</style>").count()
        );
        // Nothing is fetched, nothing is run, and no element brings a style of its own.
        for not in [
            "src=",
            "href=",
            "style=\"",
            "@import",
            " on",
            "javascript:",
            "<link",
            "<iframe",
        ] {
            let found = html.match_indices(not).find(|(at, _)| {
                // Within a tag, not in a sentence.
                html[..*at].rfind('<') > html[..*at].rfind('>')
            });
            assert!(found.is_none(), "{not} in {}", page.title);
        }
        for (at, _) in html.match_indices("url(") {
            assert!(html[at..].starts_with("url(#"), "{}", &html[at..at + 40]);
        }
    }
}

// Content Security Policy Level 3: a style element is allowed by 'sha256-' and the base 64 of the
// SHA-256 of its text.
#[test]
fn each_page_allows_its_own_style_and_nothing_more() {
    for page in every_page(&nasty()) {
        let policy = format!(
            "<meta http-equiv=\"Content-Security-Policy\" content=\"{}\">",
            page.policy
        );
        assert!(page.html.contains(&policy), "{policy}");
        assert!(
            page.policy
                .starts_with("default-src 'none'; style-src 'sha256-")
        );
        assert!(!page.policy.contains("unsafe"));
        for style in page.html.split("<style>").skip(1) {
            let text = style.split("</style>").next().unwrap();
            let hash = BASE64.encode(&Sha256::digest(text.as_bytes()));
            assert!(
                page.policy.contains(&format!("'sha256-{hash}'")),
                "{}",
                page.title
            );
        }
    }
}

#[test]
fn a_style_depends_on_the_kind_of_page_and_not_on_the_farm() {
    let other = Phone::first("Ben", "2026-11-24T08:00:00Z", "UTC");
    let (mine, theirs) = (every_page(&nasty()), every_page(&other));
    // The trends of a farm without any headcount have the same pictures' style too.
    for (mine, theirs) in mine.iter().zip(&theirs) {
        assert_eq!(mine.policy, theirs.policy, "{}", mine.title);
    }
}

#[test]
fn the_day_sheet_tells_unknown_from_none() {
    let phone = Phone::first("Ada", "2026-11-24T08:00:00Z", "Europe/Dublin");
    let today = phone.farm.today().unwrap();
    let html = phone
        .farm
        .day_sheet_page(today, today, Paper::A4)
        .unwrap()
        .html;
    assert!(html.contains("not known"), "nobody gathered yet");
    phone.gather("Orchard", "hen", 0);
    phone.gather("Pond", "duck", 7);
    let html = phone
        .farm
        .day_sheet_page(today, today, Paper::A4)
        .unwrap()
        .html;
    assert!(
        html.contains(">7</b>") && html.contains("and 1 flock day unknown"),
        "{html}"
    );
    let row = |coop: &str, species: &str| {
        let rows = html.split("<tr>").filter(|row| row.contains(coop));
        let mut rows = rows.filter(|row| row.contains(&format!("<td>{species}</td>")));
        rows.next().unwrap().to_owned()
    };
    assert!(row("Orchard", "hen").contains("<td class=\"num\">0</td>"));
    assert!(row("Pond", "hen").contains("unknown"));
    assert!(html.contains("Tuesday 24 November 2026") && html.contains("2026-328-duck (7)"));
    assert!(html.contains("size: 210mm 297mm"));
    // What waits for a decision stands on paper too.
    phone.log(
        Draft::new(Kind::Wash)
            .with("parts", "2026-11-24/duck=9")
            .with("means", "dry"),
    );
    let html = phone
        .farm
        .day_sheet_page(today, today, Paper::Letter)
        .unwrap()
        .html;
    assert!(html.contains("overdraw: 1 on the review list"));
    assert!(html.contains("size: 215.9mm 279.4mm"));
}

// The columns that a household's log has: date, coop, species, eggs, weights, birds.
#[test]
fn a_gather_sheet_has_the_columns_of_a_households_log() {
    let phone = Phone::first("Ada", "2026-11-24T08:00:00Z", "Europe/Dublin");
    let today = phone.farm.today().unwrap();
    let sheet = |coop, size| phone.farm.gather_sheet_page(coop, today, size, Paper::A4);
    let page = sheet(None, (7, 2)).unwrap();
    // One page for each flock: hens in the orchard, hens and ducks by the pond.
    assert_eq!(page.html.matches("<section class=\"page\">").count(), 3);
    assert_eq!(page.html.matches("<tr class=\"line").count(), 3 * 14);
    let head = page
        .html
        .split("<thead>")
        .nth(1)
        .unwrap()
        .split("</thead>")
        .next()
        .unwrap();
    for column in ["date", "coop", "species", "eggs", "birds", "weights"] {
        let as_heading = format!("scope=\"col\">{column}<");
        assert!(
            head.contains(&as_heading) || head.contains(&format!("<code>{column}</code>")),
            "{column} in {head}"
        );
    }
    for given in [
        "2026-11-24",
        "2026-11-30",
        "Orchard",
        "duck",
        "write 0",
        "leave the line empty",
    ] {
        assert!(page.html.contains(given), "{given}");
    }
    assert!(page.html.contains("size: 297mm 210mm"), "it lies across");
    let pond = phone.farm.find(Kind::Coop, "Pond").unwrap();
    let page = sheet(Some(pond), (1, 6)).unwrap();
    assert_eq!(page.html.matches("<tr class=\"line").count(), 2 * 6);
    for (size, field) in [
        ((0, 2), "days"),
        ((15, 1), "days"),
        ((7, 0), "rounds"),
        ((7, 3), "rounds"),
    ] {
        assert_eq!(sheet(None, size).unwrap_err().invalid.unwrap().field, field);
    }
    // A coop that was given up hangs no sheet.
    let mut set = pointdown_core::record::Fields::new();
    set.insert("retired".into(), "2026-11-23".into());
    phone.farm.amend(pond, set, None).unwrap();
    assert_eq!(
        sheet(Some(pond), (7, 2))
            .unwrap_err()
            .invalid
            .unwrap()
            .field,
        "coop"
    );
}

#[test]
fn the_call_back_list_is_one_call_for_each_person() {
    let html = call_back_page(&call_back("Roadside stand"), Paper::A4).html;
    assert!(html.contains("2. Phone: 2 calls"));
    assert_eq!(html.matches("<h3>Roadside stand</h3>").count(), 1);
    let (person, rest) = html.split_once("<h3>Nobody written down</h3>").unwrap();
    assert!(person.contains("2026-326-hen") && person.contains("2026-325-hen"));
    assert!(person.contains("555 0101") && rest.contains("no number written down"));
    assert!(person.contains("all of it") && rest.contains("may be among it"));
    // What is here still comes before the calls, and what is gone altogether is not among it.
    let (here, _) = html.split_once("2. Phone").unwrap();
    assert!(here.contains("2026-326-hen") && !here.contains("2026-325-hen"));
    for words in [
        "put up a notice",
        "2 eggs fed to the birds",
        "Do not eat",
        "ask a doctor",
        "food authority",
        "local codes decide",
    ] {
        assert!(html.contains(words), "{words}");
    }
    let nothing = call_back_page(&CallBack::default(), Paper::Letter).html;
    assert!(nothing.contains("Nothing of it has left the farm."));
    assert!(nothing.contains("Nothing of it is on the farm any more."));
}

#[test]
fn trends_stand_in_a_table_beside_their_picture() {
    let phone = nasty();
    let coop = phone.farm.find(Kind::Coop, NASTY).unwrap();
    let birds = Draft::new(Kind::Headcount)
        .with("coop", NASTY)
        .with("species", "hen");
    phone.log(birds.with("birds", 12));
    phone.env.set(at("2026-11-26T09:00:00Z"));
    phone.gather(NASTY, "hen", 9);
    let (from, to) = ("2026-11-24".parse().unwrap(), "2026-11-26".parse().unwrap());
    let page = phone
        .farm
        .trend_page((from, to), Step::Day, Some(coop), Paper::A4)
        .unwrap();
    let html = &page.html;
    assert_eq!(
        (
            html.matches("<figure>").count(),
            html.matches("role=\"img\"").count()
        ),
        (1, 1)
    );
    let table = html
        .split("<tbody>")
        .nth(1)
        .unwrap()
        .split("</tbody>")
        .next()
        .unwrap();
    let rows: Vec<&str> = table.split("<tr>").skip(1).collect();
    assert_eq!(rows.len(), 3);
    assert!(
        rows[0].contains("2026-11-24") && rows[0].contains(">11<") && rows[0].contains(">91.7<")
    );
    assert!(
        rows[1].contains("2026-11-25") && rows[1].contains("unknown") && !rows[1].contains(">0.0<")
    );
    assert!(rows[2].contains(">9<") && rows[2].contains(">75.0<"));
    assert!(html.contains("Some counts follow an unknown day"));
}
