//! Tracing on a farm: from the code on a carton to the nests, and back to everyone who has one.

use pointdown_core::book::trace::{CallBack, Question, Share};
use pointdown_core::farm::ErrorKind;
use pointdown_core::record::{Draft, Id, Kind};
use pointdown_tests::phone::{Phone, at, gather, meet};

fn start() -> Phone {
    let phone = Phone::first("Ada", "2026-05-01T06:00:00Z", "Etc/UTC");
    phone.env.set(at("2026-05-09T20:00:00Z"));
    phone
}

fn carton(parts: &str, code: &str, when: &str) -> Draft {
    let eggs: u32 = parts
        .split(',')
        .map(|part| part.rsplit('=').next().unwrap().parse::<u32>().unwrap())
        .sum();
    Draft::new(Kind::Carton)
        .with("parts", parts)
        .with("from", "basket")
        .with("species", "hen")
        .with("eggs_per_carton", eggs)
        .with("cartons", 1)
        .with("packed", when.get(..10).unwrap())
        .with("code", code)
        .at(at(when))
}

fn out(parts: &str, run: Option<Id>, to: &str, when: &str) -> Draft {
    let draft = Draft::new(Kind::Out)
        .with("way", "sold")
        .with("parts", parts)
        .with("to", to)
        .at(at(when));
    match run {
        Some(run) => draft.with("carton", run.to_string()).with("cartons", 1),
        None => draft,
    }
}

fn of_day(first: &str) -> Question {
    Question::Coop {
        coop: None,
        species: None,
        first: first.parse().unwrap(),
        last: first.parse().unwrap(),
    }
}

fn codes(list: &CallBack) -> Vec<(String, Share)> {
    let runs = list.runs.iter();
    let mut all: Vec<_> = runs
        .map(|r| (r.run.code.clone().unwrap(), r.share))
        .collect();
    all.sort();
    all
}

fn called(list: &CallBack) -> Vec<(String, Share, u32)> {
    let people = list.people.iter();
    people
        .map(|p| (p.who.clone().unwrap_or_default(), p.share, p.eggs))
        .collect()
}

/// Batch dispersion after Journal of Food Engineering 70:333-339 (2005), known from memory; the
/// example of gatherings A, B, C and cartons 1 {A}, 2 {A, B}, 3 {B, C}, 4 {C} was worked out by
/// hand: links downward 2, 2, 2, upward 1, 2, 2, 1, six in all; a recall of B holds cartons 2, 3.
#[test]
fn a_recall_of_one_gathering_holds_two_of_four_cartons() {
    let phone = start();
    for day in ["01", "02", "03"] {
        phone.log(gather("Orchard", "hen", 12).at(at(&format!("2026-05-{day}T08:00:00Z"))));
    }
    let (a, b, c) = ("2026-05-01/hen", "2026-05-02/hen", "2026-05-03/hen");
    let parts = [
        format!("{a}=6"),
        format!("{a}=6,{b}=6"),
        format!("{b}=6,{c}=6"),
        format!("{c}=6"),
    ];
    let mut runs = Vec::new();
    for (n, parts) in parts.iter().enumerate() {
        let code = format!("carton {}", n + 1);
        runs.push(phone.log(carton(parts, &code, &format!("2026-05-04T08:0{n}:00Z"))));
    }
    let upward: Vec<usize> = (1..=4)
        .map(|n| {
            let trails = phone.farm.trace(&format!("carton {n}")).unwrap();
            assert_eq!(trails.len(), 1);
            trails[0].rounds.len()
        })
        .collect();
    assert_eq!(upward, [1, 2, 2, 1]);
    let downward: Vec<usize> = ["01", "02", "03"]
        .iter()
        .map(|day| {
            let list = phone
                .farm
                .call_back(of_day(&format!("2026-05-{day}")))
                .unwrap();
            list.runs.len()
        })
        .collect();
    assert_eq!(downward, [2, 2, 2]);
    let of_b = phone.farm.call_back(of_day("2026-05-02")).unwrap();
    assert_eq!(
        codes(&of_b),
        [
            ("carton 2".into(), Share::May),
            ("carton 3".into(), Share::May)
        ]
    );
    let of_a = phone.farm.call_back(of_day("2026-05-01")).unwrap();
    assert_eq!(codes(&of_a)[0], ("carton 1".into(), Share::All));
}

#[test]
fn what_was_packed_before_a_round_came_holds_none_of_it() {
    let phone = start();
    let lot = "2026-05-01/hen";
    let early = phone.log(gather("Orchard", "hen", 12).at(at("2026-05-01T07:00:00Z")));
    let first = phone.log(carton(&format!("{lot}=6"), "first", "2026-05-01T08:00:00Z"));
    phone.log(gather("Pond", "hen", 6).at(at("2026-05-01T12:00:00Z")));
    let second = phone.log(carton(
        &format!("{lot}=6"),
        "second",
        "2026-05-01T13:00:00Z",
    ));
    phone.log(out(
        &format!("{lot}=6"),
        Some(first),
        "Cora",
        "2026-05-02T09:00:00Z",
    ));
    phone.log(out(
        &format!("{lot}=6"),
        Some(second),
        "Dan",
        "2026-05-02T09:30:00Z",
    ));
    let trail = &phone.farm.trace("FIRST").unwrap()[0];
    let rounds: Vec<_> = trail.rounds.iter().map(|r| (r.record, r.share)).collect();
    assert_eq!(rounds, [(early, Share::All)]);
    assert_eq!(trail.outs[0].who.as_deref(), Some("Cora"));
    // Of Pond's eggs only the second carton can hold any, and what stands in the basket.
    let pond = Question::Coop {
        coop: Some(phone.farm.find(Kind::Coop, "Pond").unwrap()),
        species: None,
        first: "2026-05-01".parse().unwrap(),
        last: "2026-05-01".parse().unwrap(),
    };
    let list = phone.farm.call_back(pond.clone()).unwrap();
    assert_eq!(called(&list), [("Dan".into(), Share::May, 6)]);
    assert_eq!(list.standing.len(), 1);
    assert_eq!(
        (list.standing[0].eggs, list.standing[0].share),
        (6, Share::May)
    );
    // A third phone hears of everything in another order and says the same.
    let other = phone.another("Ben");
    let late = phone.log(
        Draft::new(Kind::Cull)
            .with("station", "basket")
            .with("parts", format!("{lot}=6"))
            .with("reason", "leaker")
            .with("use", "compost")
            .at(at("2026-05-01T08:30:00Z")),
    );
    meet(&phone, &other);
    let list = phone.farm.call_back(pond.clone()).unwrap();
    assert_eq!(list, other.farm.call_back(pond.clone()).unwrap());
    // The basket was empty before Pond's round, so the second carton is of it for certain.
    assert_eq!(called(&list), [("Dan".into(), Share::All, 6)]);
    phone.farm.void(late, "another basket").unwrap();
    assert_eq!(
        called(&phone.farm.call_back(pond).unwrap())[0].1,
        Share::May
    );
}

#[test]
fn washes_holds_and_coolers_lead_to_the_same_doors() {
    let phone = start();
    let lot = "2026-05-01/hen";
    phone.log(Draft::new(Kind::Cooler).with("name", "Cellar"));
    phone.log(
        Draft::new(Kind::Outlet)
            .with("name", "Stall")
            .with("contact", "555-0100"),
    );
    phone.log(gather("Orchard", "hen", 20).at(at("2026-05-01T07:00:00Z")));
    let wash = |eggs: u32, when: &str| {
        Draft::new(Kind::Wash)
            .with("parts", format!("{lot}={eggs}"))
            .with("means", "spray")
            .with("water_start_c", 36)
            .at(at(when))
    };
    let first = phone.log(wash(10, "2026-05-01T08:00:00Z"));
    let run =
        |code: &str, when: &str| carton(&format!("{lot}=10"), code, when).with("from", "clean");
    let one = phone.log(run("one", "2026-05-01T09:00:00Z"));
    let second = phone.log(wash(10, "2026-05-01T10:00:00Z"));
    phone.log(run("two", "2026-05-01T11:00:00Z"));
    let reading = |air: i32, when: &str| {
        Draft::new(Kind::Reading)
            .with("cooler", "Cellar")
            .with("air_c", air)
            .at(at(when))
    };
    phone.log(reading(5, "2026-05-02T08:00:00Z"));
    phone.log(
        out(&format!("{lot}=10"), Some(one), "x", "2026-05-02T07:00:00Z").with("outlet", "Stall"),
    );
    let warm = phone.log(reading(15, "2026-05-03T08:00:00Z"));
    phone.log(reading(5, "2026-05-04T08:00:00Z"));
    let asked = |record: Id| phone.farm.call_back(Question::Record { record }).unwrap();

    let of_first = asked(first);
    assert_eq!(codes(&of_first), [("one".into(), Share::All)]);
    assert_eq!(called(&of_first), [("Stall".into(), Share::All, 10)]);
    assert_eq!(of_first.people[0].contact.as_deref(), Some("555-0100"));
    assert_eq!(of_first.runs[0].left, (0, 0));
    let of_second = asked(second);
    assert_eq!(codes(&of_second), [("two".into(), Share::All)]);
    assert!(of_second.people.is_empty());
    assert_eq!(
        (of_second.runs[0].left, of_second.runs[0].cartons_left),
        ((10, 10), 1)
    );

    // The first carton had left before the last good reading; the second stood there.
    assert_eq!(codes(&asked(warm)), [("two".into(), Share::All)]);
    let trail = &phone.farm.trace("one").unwrap()[0];
    assert_eq!(trail.washes.len(), 1);
    assert_eq!(trail.washes[0].wash.water_start_c, Some(36.0));
    assert!(
        trail.readings.is_empty(),
        "all had left before the readings"
    );
    let trail = &phone.farm.trace("two").unwrap()[0];
    assert_eq!(trail.readings.len(), 3);

    let hold = phone.log(
        Draft::new(Kind::Hold)
            .with("from", "2026-05-01")
            .with("cause", "medicine")
            .with("coop", "Orchard"),
    );
    let held = asked(hold);
    assert_eq!(codes(&held).len(), 2);
    assert_eq!(called(&held), [("Stall".into(), Share::All, 10)]);
    assert!(!held.cautions.is_empty());
    assert_eq!(
        phone.farm.trace("two").unwrap()[0].holds[0].share,
        Share::All
    );
    let runs = phone.farm.trace("2026-121-hen").unwrap();
    assert_eq!(runs.len(), 2, "the lot code is on both");
    let coop = phone.farm.find(Kind::Coop, "Pond").unwrap();
    let error = phone
        .farm
        .call_back(Question::Record { record: coop })
        .unwrap_err();
    assert_eq!(error.kind, ErrorKind::Invalid);
    assert_eq!(
        phone.farm.trace("no such").unwrap_err().kind,
        ErrorKind::NotFound
    );
}

#[test]
fn records_that_contradict_one_another_widen_the_answer_and_it_says_so() {
    let phone = start();
    let lot = "2026-05-01/hen";
    phone.log(gather("Orchard", "hen", 6).at(at("2026-05-01T07:00:00Z")));
    let run = phone.log(carton(&format!("{lot}=12"), "both", "2026-05-01T08:00:00Z"));
    phone.log(gather("Pond", "hen", 6).at(at("2026-05-01T12:00:00Z")));
    let trail = &phone.farm.trace(&run.to_string()).unwrap()[0];
    assert_eq!(
        trail.rounds.len(),
        2,
        "the time of one of them must be wrong"
    );
    assert_eq!(trail.contradicting.len(), 1);
    assert!(trail.said.iter().any(|s| s.contains("contradict")));
    let list = phone.farm.call_back(of_day("2026-05-01")).unwrap();
    assert_eq!(list.contradicting.len(), 1);
    assert_eq!(list.runs.len(), 1);
}

/// How long a trace takes with years behind it; run by hand:
/// `cargo test -p pointdown-tests -- --ignored --nocapture years_behind`.
#[test]
#[ignore = "measures, and takes minutes"]
fn years_behind_cost_nothing() {
    let phone = Phone::first("Ada", "2020-01-01T06:00:00Z", "Etc/UTC");
    let mut at_ms = at("2020-01-01T07:00:00Z").ms();
    for year in 1..=4 {
        for _ in 0..365 {
            let when = pointdown_core::record::Instant::from_ms(at_ms);
            phone.env.set(when.plus_ms(43_200_000));
            let lot = format!("{}/hen", &when.to_string()[..10]);
            phone.log(gather("Orchard", "hen", 12).at(when));
            let text = when.plus_ms(7_200_000).to_string();
            let run = phone.log(carton(&format!("{lot}=12"), &lot, &text));
            let text = when.plus_ms(14_400_000).to_string();
            phone.log(out(&format!("{lot}=12"), Some(run), "Cora", &text));
            at_ms += 86_400_000;
        }
        let last = pointdown_core::record::Instant::from_ms(at_ms - 86_400_000).to_string();
        let code = format!("{}/hen", &last[..10]);
        let time = |what: &str, work: &dyn Fn()| {
            let start = std::time::Instant::now();
            (0..20).for_each(|_| work());
            println!("year {year}: {what} {:?}", start.elapsed() / 20);
        };
        time("trace by code", &|| drop(phone.farm.trace(&code).unwrap()));
        time("call-back of a day", &|| {
            drop(phone.farm.call_back(of_day(&last[..10])).unwrap());
        });
        time("now", &|| drop(phone.farm.now().unwrap()));
    }
}
