//! The farm day by the rules of the IANA time zone database.

use chrono::{NaiveDate, NaiveTime};
use jiff::tz::TimeZone;
use pointdown_core::record::{Draft, Fields, Instant, Kind, Zone};
use pointdown_tests::phone::{Phone, at, gather, meet};
use proptest::prelude::*;

fn zone(name: &str) -> Zone {
    name.parse().expect(name)
}

fn day(text: &str) -> NaiveDate {
    text.parse().expect(text)
}

/// Days of other lengths, by the rules that the IANA database gives (version 2025b and later agree
/// on all of these).
#[test]
fn days_of_23_and_25_hours_and_odder_ones() {
    let rows = [
        // United States: second Sunday of March, first Sunday of November (Energy Policy Act of 2005).
        ("America/New_York", "2026-03-08", 23 * 60),
        ("America/New_York", "2026-11-01", 25 * 60),
        ("America/New_York", "2026-06-01", 24 * 60),
        // Arizona has no daylight-saving time.
        ("America/Phoenix", "2026-03-08", 24 * 60),
        // Europe: last Sundays of March and October (Directive 2000/84/EC).
        ("Europe/London", "2026-03-29", 23 * 60),
        ("Europe/London", "2026-10-25", 25 * 60),
        // Lord Howe Island moves its clocks by half an hour.
        ("Australia/Lord_Howe", "2026-04-05", 24 * 60 + 30),
        ("Australia/Lord_Howe", "2026-10-04", 23 * 60 + 30),
        // Brazil began summer time at midnight, so that the day began at one o'clock.
        ("America/Sao_Paulo", "2018-11-04", 23 * 60),
        ("America/Sao_Paulo", "2019-02-16", 25 * 60),
        // Egypt begins at midnight on the last Friday of April, ends at the last Thursday's.
        ("Africa/Cairo", "2026-04-24", 23 * 60),
        ("Africa/Cairo", "2026-10-29", 25 * 60),
        // Samoa went over the date line and had no 30 December 2011.
        ("Pacific/Apia", "2011-12-30", 0),
        ("Pacific/Apia", "2011-12-31", 24 * 60),
    ];
    for (name, date, minutes) in rows {
        assert_eq!(zone(name).day_minutes(day(date)), minutes, "{name} {date}");
    }
}

#[test]
fn a_day_that_has_no_midnight_begins_at_its_first_moment() {
    let rows = [
        // The first moment of the day, worked out by hand from the offsets before and after.
        ("America/Sao_Paulo", "2018-11-04", "2018-11-04T03:00:00Z"),
        ("Africa/Cairo", "2026-04-24", "2026-04-23T22:00:00Z"),
        ("America/Sao_Paulo", "2019-02-17", "2019-02-17T03:00:00Z"),
        ("America/New_York", "2026-03-08", "2026-03-08T05:00:00Z"),
        ("America/New_York", "2026-03-09", "2026-03-09T04:00:00Z"),
    ];
    for (name, date, begins) in rows {
        let zone = zone(name);
        let first = zone.day_begins(day(date));
        assert_eq!(first, at(begins), "{name} {date}");
        assert_eq!(zone.day(first), day(date));
        assert_eq!(
            zone.day(first.plus_ms(-1)),
            day(date).pred_opt().expect("a day")
        );
    }
}

/// 36 hours are elapsed time: worked out with another language's standard time-zone library.
#[test]
fn thirty_six_hours_over_a_clock_change() {
    let rows = [
        (
            "America/New_York",
            "2026-03-07",
            "18:00",
            "2026-03-09T07:00:00-04:00",
        ),
        (
            "America/New_York",
            "2026-10-31",
            "07:00",
            "2026-11-01T18:00:00-05:00",
        ),
        (
            "America/Phoenix",
            "2026-03-07",
            "18:00",
            "2026-03-09T06:00:00-07:00",
        ),
        (
            "Europe/London",
            "2026-03-28",
            "12:00",
            "2026-03-30T01:00:00+01:00",
        ),
    ];
    for (name, date, time, later) in rows {
        let zone = zone(name);
        let time = NaiveTime::parse_from_str(time, "%H:%M").expect("a time");
        let laid = zone.moment(day(date), time).expect("a moment");
        assert_eq!(
            zone.local(laid.plus_ms(36 * 3_600_000)),
            later,
            "{name} {date}"
        );
    }
}

const ZONES: [&str; 24] = [
    "America/New_York",
    "America/Chicago",
    "America/Denver",
    "America/Los_Angeles",
    "America/Anchorage",
    "America/Phoenix",
    "America/St_Johns",
    "America/Sao_Paulo",
    "America/Havana",
    "America/Santiago",
    "Europe/London",
    "Europe/Dublin",
    "Europe/Berlin",
    "Europe/Lisbon",
    "Africa/Cairo",
    "Africa/Casablanca",
    "Asia/Kolkata",
    "Asia/Kathmandu",
    "Asia/Tehran",
    "Asia/Tokyo",
    "Australia/Lord_Howe",
    "Australia/Adelaide",
    "Pacific/Auckland",
    "Pacific/Apia",
];

proptest! {
    #![proptest_config(ProptestConfig { cases: 3000, ..Default::default() })]

    /// Held against jiff, which reads the same database with code of its own. Up to the end of 2025:
    /// the editions that the two libraries carry (2025b, 2026f) tell later years differently for
    /// Morocco and Cuba.
    #[test]
    fn another_library_finds_the_same_day(
        which in 0..ZONES.len(), ms in 946_684_800_000i64..1_767_225_600_000,
    ) {
        let (ours, theirs) = (zone(ZONES[which]), TimeZone::get(ZONES[which]).expect("a zone"));
        let moment = jiff::Timestamp::from_millisecond(ms).expect("a moment");
        let zoned = moment.to_zoned_datetime(theirs);
        let today = ours.day(Instant::from_ms(ms));
        prop_assert_eq!(today.to_string(), zoned.date().to_string());
        let begins = zoned.start_of_day().expect("a day").timestamp().as_millisecond();
        prop_assert_eq!(ours.day_begins(today).ms(), begins);
        let tomorrow = zoned.tomorrow().expect("a day").start_of_day().expect("a day");
        let minutes = (tomorrow.timestamp().as_millisecond() - begins) / 60_000;
        if ZONES[which] != "Pacific/Apia" {
            prop_assert_eq!(ours.day_minutes(today), minutes);
        }
        let local = zoned.strftime("%Y-%m-%dT%H:%M:%S").to_string();
        prop_assert!(ours.local(Instant::from_ms(ms)).starts_with(&local));
    }
}

#[test]
fn the_farms_zone_decides_and_not_where_a_phone_is() {
    // A moment that is the next day in Tokyo and the day before in Chicago.
    let ada = Phone::first("Ada", "2026-05-01T03:00:00Z", "America/Chicago");
    let ben = ada.another("Ben");
    // The facade is handed moments only: what zone a device shows its owner never reaches it. Both
    // clocks say the same moment in other words.
    assert_eq!(
        at("2026-05-01T12:00:00+09:00"),
        at("2026-04-30T22:00:00-05:00")
    );
    ada.log(gather("Orchard", "hen", 11).at(at("2026-05-01T12:00:00+09:00")));
    ben.log(gather("Orchard", "hen", 5).at(at("2026-04-30T22:00:00-05:00")));
    meet(&ada, &ben);
    for phone in [&ada, &ben] {
        assert_eq!(phone.farm.today().expect("a day"), day("2026-04-30"));
        let sheet = phone
            .farm
            .sheet(day("2026-04-30"), day("2026-04-30"))
            .expect("a sheet");
        assert_eq!(sheet.gathered.eggs, 16);
        let lots = &sheet.on_hand[0].lots;
        assert_eq!(
            lots.keys().next().expect("a lot").to_string(),
            "2026-04-30/hen"
        );
    }
}

#[test]
fn another_zone_for_the_farm_counts_everything_anew() {
    let ada = Phone::first("Ada", "2026-05-01T03:00:00Z", "America/Chicago");
    let ben = ada.another("Ben");
    for hours in 0..30 {
        let moment = at("2026-05-01T03:00:00Z").plus_ms(-hours * 3_600_000);
        ada.log(gather("Orchard", "hen", 1 + hours as u32).at(moment));
    }
    ada.log(
        Draft::new(Kind::Recount)
            .with("station", "basket")
            .with("species", "hen")
            .with("counted", 100),
    );
    meet(&ada, &ben);
    let before = ada.view();
    let mut set = Fields::new();
    set.insert("zone".into(), "Asia/Tokyo".into());
    let amended = ada
        .farm
        .amend(ada.farm.id(), set, Some("moved"))
        .expect("another zone")
        .id;
    assert_eq!(ada.farm.zone().expect("a zone"), zone("Asia/Tokyo"));
    // Midnight in Tokyo is 15:00 UTC: of the hours 27, 28 ... 32 counted back from 03:00 UTC, twelve
    // lie after it.
    let sheet = ada
        .farm
        .sheet(day("2026-05-01"), day("2026-05-01"))
        .expect("a sheet");
    assert_eq!(sheet.gathered.eggs, (1..=13).sum::<i64>());
    let after = ada.view();
    ada.farm.rebuild().expect("a rebuild");
    assert_eq!(after, ada.view());
    assert_eq!(
        ada.farm.check().expect("a check").wrong,
        Vec::<String>::new()
    );
    // A phone that logs under the old zone meanwhile ends alike.
    ben.log(gather("Pond", "duck", 4).at(at("2026-04-30T16:00:00Z")));
    meet(&ada, &ben);
    assert_eq!(ada.view(), ben.view());
    ada.farm
        .void(amended, "we did not move after all")
        .expect("a void");
    assert_eq!(ada.farm.zone().expect("a zone"), zone("America/Chicago"));
    ada.farm.rebuild().expect("a rebuild");
    meet(&ada, &ben);
    assert_eq!(ada.view(), ben.view());
    let counted = |view: &[String]| view.iter().filter(|l| l.starts_with("line|")).count();
    assert_eq!(
        counted(&ada.view()),
        counted(&before) + 2,
        "as before, and Ben's ducks"
    );
}

#[test]
fn two_zones_said_apart_are_a_conflict_and_one_of_them_everywhere() {
    let ada = Phone::first("Ada", "2026-05-01T03:00:00Z", "America/Chicago");
    let ben = ada.another("Ben");
    meet(&ada, &ben);
    for (phone, name) in [(&ada, "America/Denver"), (&ben, "America/New_York")] {
        let mut set = Fields::new();
        set.insert("zone".into(), name.into());
        phone
            .farm
            .amend(phone.farm.id(), set, None)
            .expect("a zone");
        phone.gather("Orchard", "hen", 3);
    }
    meet(&ada, &ben);
    assert_eq!(ada.view(), ben.view());
    let row = ada
        .farm
        .record(ada.farm.id())
        .expect("a look")
        .expect("the farm");
    assert_eq!(row.conflicts.len(), 1);
    assert_eq!(row.conflicts[0].field, "zone");
    assert_eq!(
        ada.farm.zone().expect("a zone"),
        ben.farm.zone().expect("a zone")
    );
}
