//! Trends: gaps stay gaps, rates are those of the handbooks, and what changed is told.

use chrono::NaiveDate;
use pointdown_core::book::trends::{Birds, Step, Trend, TrendInput, Trends, trends};
use pointdown_core::book::{Flock, Line, Measure, Names};
use pointdown_core::paper::trend_chart;
use pointdown_core::record::{Draft, Id, Kind};
use pointdown_core::trade::Species;
use pointdown_tests::phone::{Phone, at};

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn coop(n: u8) -> Id {
    Id::at(1_780_000_000_000, [n; 10])
}

/// A flock of hens in one coop, with eggs by day; days that are left out are unknown.
struct Hens {
    input: TrendInput,
}

impl Hens {
    fn new(step: Step, from: &str, to: &str, birds: &[(&str, u32)]) -> Hens {
        let (from, to) = (day(from), day(to));
        let mut names = Names::new();
        names.insert(coop(1), "North".into());
        Hens {
            input: TrendInput {
                from,
                to,
                step,
                lines: Vec::new(),
                flocks: vec![Flock {
                    coop: coop(1),
                    species: Species::Hen,
                    first: birds.first().map_or(from, |(first, _)| day(first)),
                    last: None,
                }],
                birds: birds
                    .iter()
                    .map(|(from, birds)| Birds {
                        day: day(from),
                        coop: coop(1),
                        species: Species::Hen,
                        birds: *birds,
                    })
                    .collect(),
                names,
                coop: None,
            },
        }
    }

    fn line(mut self, date: NaiveDate, measure: Measure, detail: &str, n: i64) -> Hens {
        self.input.lines.push(Line {
            day: date,
            measure,
            coop: (measure != Measure::Pulled).then(|| coop(1)),
            species: Species::Hen,
            by: None,
            detail: detail.into(),
            n,
        });
        self
    }

    fn eggs(self, date: NaiveDate, n: i64) -> Hens {
        let round = self.line(date, Measure::Rounds, "", 1);
        // A round that found nothing leaves no line of eggs.
        if n == 0 {
            round
        } else {
            round.line(date, Measure::Gathered, "", n)
        }
    }

    fn pulled(self, date: NaiveDate, detail: &str, n: i64) -> Hens {
        self.line(date, Measure::Pulled, detail, n)
    }

    fn trends(&self) -> Trends {
        trends(&self.input)
    }

    fn north(&self) -> Trend {
        self.trends().flocks.remove(0)
    }
}

fn days(from: &str, n: usize) -> impl Iterator<Item = NaiveDate> {
    day(from).iter_days().take(n)
}

// An agricultural arithmetic textbook: 345,000 hens, May of 31 days, 9,090,750 eggs: 10,695,000
// hen-days, 85.0 %.
#[test]
fn a_month_of_the_textbook_gives_its_rate() {
    let mut hens = Hens::new(
        Step::Month,
        "2026-05-01",
        "2026-05-31",
        &[("2026-05-01", 345_000)],
    );
    for date in days("2026-05-01", 31) {
        hens = hens.eggs(date, 9_090_750 / 31);
    }
    let rest = 9_090_750 % 31;
    let hens = hens.line(day("2026-05-31"), Measure::Gathered, "", rest);
    let trend = hens.north();
    assert_eq!(trend.spans.len(), 1);
    let rate = trend.spans[0].rate.unwrap();
    assert_eq!((rate.eggs, rate.hen_days), (9_090_750, 10_695_000));
    assert!((rate.per_hen_day - 0.85).abs() < 1e-9);
}

// The same textbook: 200 birds, 4 gone on the 12th, 10 more on the 16th of March, 3,852 eggs. With a
// headcount on the day of each change its birds count from that day on: the 10 new ones one day
// longer than in the book's own convention, 6,270 + 10 hen-days.
#[test]
fn a_headcount_counts_from_its_day_on() {
    let birds = [
        ("2026-03-01", 200),
        ("2026-03-12", 196),
        ("2026-03-16", 206),
    ];
    let mut hens = Hens::new(Step::Month, "2026-03-01", "2026-03-31", &birds);
    for date in days("2026-03-01", 31) {
        hens = hens.eggs(date, 124);
    }
    let hens = hens.line(day("2026-03-02"), Measure::Gathered, "", 3_852 - 31 * 124);
    let rate = hens.north().spans[0].rate.unwrap();
    assert_eq!((rate.eggs, rate.hen_days), (3_852, 6_280));
}

// Wilson's interval of 23 in 60, by the proportion_confint of a statistics library: 0.2709–0.5098.
#[test]
fn a_day_without_a_gather_is_a_gap_and_no_zero() {
    let hens = Hens::new(
        Step::Week,
        "2026-11-16",
        "2026-11-29",
        &[("2026-11-01", 12)],
    )
    .eggs(day("2026-11-16"), 9)
    .eggs(day("2026-11-17"), 7)
    .eggs(day("2026-11-19"), 7)
    .eggs(day("2026-11-20"), 0)
    .eggs(day("2026-11-22"), 0);
    let trend = hens.north();
    let [week, next] = trend.spans.as_slice() else {
        panic!("two weeks, not {}", trend.spans.len());
    };
    assert_eq!((week.label.as_str(), week.eggs), ("2026-W47", Some(23)));
    assert_eq!(
        (
            week.days.known,
            week.days.zero,
            week.days.unknown,
            week.after_gap
        ),
        (5, 2, 2, 3)
    );
    let rate = week.rate.unwrap();
    assert_eq!((rate.eggs, rate.hen_days), (23, 60));
    let range = rate.interval.unwrap();
    assert!((range.low - 0.2709).abs() < 5e-5 && (range.high - 0.5098).abs() < 5e-5);
    // The Sunday before, Wednesday and Saturday are unknown: three counts may hold their eggs too.
    // A week that nobody knows about has neither eggs nor a rate.
    assert_eq!((next.eggs, next.rate, next.days.unknown), (None, None, 7));
    // The picture breaks its line and hatches the gap, and the file says so aloud.
    let picture = trend_chart(&hens.trends()).unwrap();
    assert_eq!(picture.matches("class=\"mark\"").count(), 1);
    assert!(
        picture.contains("23 eggs gathered in all; 9 days unknown."),
        "{picture}"
    );
    assert!(picture.matches("class=\"gap\"").count() >= 3);
}

#[test]
fn without_a_headcount_there_are_eggs_but_no_rate() {
    let hens = Hens::new(Step::Day, "2026-11-24", "2026-11-25", &[("2026-11-25", 12)])
        .eggs(day("2026-11-24"), 9)
        .eggs(day("2026-11-25"), 9);
    let spans = hens.north().spans;
    assert_eq!((spans[0].eggs, spans[0].rate), (Some(9), None));
    assert_eq!(spans[1].rate.unwrap().hen_days, 12);
    // More eggs than hens is a rate, but no share of anything.
    let hens = hens.eggs(day("2026-11-25"), 9);
    let rate = hens.north().spans[1].rate.unwrap();
    assert_eq!((rate.per_hen_day, rate.interval), (1.5, None));
}

#[test]
fn before_a_coop_was_there_nothing_is_unknown() {
    let hens = Hens::new(
        Step::Week,
        "2026-11-02",
        "2026-11-15",
        &[("2026-11-11", 12)],
    )
    .eggs(day("2026-11-11"), 9);
    let spans = hens.north().spans;
    assert_eq!(spans[0].days.unknown, 0);
    assert_eq!((spans[1].days.known, spans[1].days.unknown), (1, 4));
}

#[test]
fn pulled_eggs_stand_where_their_lots_do() {
    let hens = Hens::new(
        Step::Week,
        "2026-11-16",
        "2026-11-29",
        &[("2026-11-01", 30)],
    );
    let hens = days("2026-11-16", 14).fold(hens, |hens, date| hens.eggs(date, 20));
    let hens = hens
        .pulled(day("2026-11-20"), "mud/home", 3)
        .pulled(day("2026-11-24"), "mud/home", 2)
        .pulled(day("2026-11-25"), "hairline_crack/feed", 21);
    // The lots are of all coops together: of the only flock, or of nobody can tell which.
    assert_eq!(hens.north().spans[0].pulled["mud"], 3);
    let mut hens = hens;
    hens.input.flocks.push(Flock {
        coop: coop(2),
        ..hens.input.flocks[0]
    });
    let all = hens.trends();
    assert!(
        all.flocks[0]
            .spans
            .iter()
            .all(|span| span.pulled.is_empty())
    );
    let species = &all.species[0];
    assert_eq!(species.spans[0].pulled["mud"], 3);
    assert_eq!(species.spans[1].pulled["hairline_crack"], 21);
    let cracks = &species
        .changes
        .iter()
        .find(|c| c.name.starts_with("hairline crack"))
        .unwrap();
    assert!(cracks.more_than_luck, "{}", cracks.why);
    let mud = &species
        .changes
        .iter()
        .find(|c| c.name.starts_with("mud"))
        .unwrap();
    assert!(!mud.more_than_luck, "{}", mud.why);
}

#[test]
fn a_drop_is_watched_for_and_a_steady_flock_is_let_be() {
    let steady = |drop: i64| {
        let hens = Hens::new(
            Step::Week,
            "2026-10-01",
            "2026-11-25",
            &[("2026-09-01", 30)],
        );
        days("2026-09-16", 71)
            .enumerate()
            .fold(hens, |hens, (n, date)| {
                let usual = 24 + [0, 1, -1, 2, 0, -2, 1][n % 7];
                let less = if date >= day("2026-11-18") { drop } else { 0 };
                hens.eggs(date, usual - less)
            })
    };
    let watch = steady(0).north().watch.unwrap();
    assert_eq!(
        (watch.alarm, watch.since.is_some()),
        (Some(false), watch.since.is_some())
    );
    let watch = steady(9).north().watch.unwrap();
    assert_eq!(
        (watch.alarm, watch.since),
        (Some(true), Some(day("2026-11-18")))
    );
    assert!(watch.caution.contains("veterinarian"));
    let few = Hens::new(Step::Day, "2026-11-25", "2026-11-25", &[("2026-11-20", 4)]).north();
    assert_eq!(few.watch.unwrap().alarm, None);
}

#[test]
fn a_picture_says_what_it_shows_and_holds_nothing_foreign() {
    let mut hens = Hens::new(Step::Day, "2026-11-20", "2026-11-25", &[("2026-11-01", 12)]);
    hens.input
        .names
        .insert(coop(1), "<script>alert('x')</script> & \"Co\"".into());
    let hens = days("2026-11-20", 6).fold(hens, |hens, date| hens.eggs(date, 9));
    let picture = trend_chart(&hens.trends()).unwrap();
    for has in [
        "role=\"img\"",
        "<title id=",
        "<desc id=",
        "aria-labelledby=",
        "prefers-color-scheme: dark",
    ] {
        assert!(picture.contains(has), "{has}");
    }
    for not in [
        "<script",
        "style=\"",
        "href",
        "@import",
        "http://www.w3.org/1999",
    ] {
        assert!(!picture.contains(not), "{not}");
    }
    assert!(picture.contains("&lt;script&gt;"));
    let long = Hens::new(Step::Day, "2020-01-01", "2026-11-25", &[]);
    assert!(
        trend_chart(&long.trends())
            .unwrap_err()
            .to_string()
            .contains("400")
    );
}

#[test]
fn the_facade_gives_trends_of_what_was_logged() {
    let phone = Phone::first("Ada", "2026-11-16T08:00:00Z", "Europe/Dublin");
    let birds = |coop: &str, n: u32| {
        Draft::new(Kind::Headcount)
            .with("coop", coop)
            .with("species", "hen")
            .with("birds", n)
    };
    phone.log(birds("Orchard", 12));
    for n in 0..7 {
        phone.env.set(at(&format!("2026-11-{}T09:00:00Z", 16 + n)));
        if n != 3 {
            phone.gather("Orchard", "hen", 9);
        }
    }
    let orchard = phone.farm.find(Kind::Coop, "Orchard").unwrap();
    let (from, to) = (day("2026-11-16"), day("2026-11-22"));
    let all = phone
        .farm
        .trends(from, to, Step::Week, Some(orchard))
        .unwrap();
    assert!(all.species.is_empty());
    let week = &all.flocks[0].spans[0];
    assert_eq!((week.eggs, week.days.unknown), (Some(54), 1));
    assert_eq!(week.rate.unwrap().hen_days, 72);
    // The pond has ducks and hens that nobody gathered from.
    let all = phone.farm.trends(from, to, Step::Week, None).unwrap();
    assert_eq!(all.flocks.len(), 3);
    assert_eq!(
        all.species
            .iter()
            .map(|t| t.spans[0].eggs)
            .collect::<Vec<_>>(),
        [Some(54), None]
    );
    let back = phone.farm.trends(to, from, Step::Week, None).unwrap_err();
    assert_eq!(back.invalid.unwrap().field, "to");
}
