//! A recount is absolute at its instant, whatever arrives later; what it misses is shown.

use pointdown_core::farm::Farm;
use pointdown_core::record::{Draft, Fields, Kind};
use pointdown_core::trade::Species;
use pointdown_tests::phone::{Phone, at, gather, meet};

const DAY: &str = "2026-05-01";
const LOT: &str = "2026-05-01/hen";

/// An hour of the day, in UTC; the farm keeps UTC days here.
fn hour(hour: u32) -> pointdown_core::record::Instant {
    at(&format!("{DAY}T{hour:02}:00:00Z"))
}

fn start() -> Phone {
    Phone::first("Ada", "2026-05-01T00:30:00Z", "Etc/UTC")
}

fn recount(station: &str, whose: (&str, &str), counted: u32) -> Draft {
    Draft::new(Kind::Recount)
        .with("station", station)
        .with(whose.0, whose.1)
        .with("counted", counted)
}

fn eggs(farm: &Farm, station: &str) -> i64 {
    let on_hand = farm.on_hand().expect("on hand");
    on_hand
        .iter()
        .filter(|o| o.station.code() == station)
        .map(|o| o.eggs)
        .sum()
}

/// Unaccounted hen eggs of the day.
fn missed(farm: &Farm) -> i64 {
    let day = DAY.parse().expect("a day");
    let sheet = farm.sheet(day, day).expect("a sheet");
    sheet.unaccounted.get(&Species::Hen).copied().unwrap_or(0)
}

fn lots(farm: &Farm, station: &str) -> Vec<(String, i64)> {
    let on_hand = farm.on_hand().expect("on hand");
    on_hand
        .iter()
        .filter(|o| o.station.code() == station)
        .flat_map(|o| o.lots.iter().map(|(lot, n)| (lot.to_string(), *n)))
        .collect()
}

fn clean(farm: &Farm) {
    assert_eq!(farm.check().expect("a check").wrong, Vec::<String>::new());
    let view = farm.view().expect("a view");
    farm.rebuild().expect("a rebuild");
    assert_eq!(view, farm.view().expect("a view"));
}

#[test]
fn a_late_record_dated_before_changes_what_was_missed_and_not_what_was_found() {
    let (ada, ben) = {
        let a = start();
        let b = a.another("Ben");
        (a, b)
    };
    for phone in [&ada, &ben] {
        phone.env.set(hour(20));
    }
    ada.log(gather("Orchard", "hen", 20).at(hour(7)));
    ada.log(recount("basket", ("species", "hen"), 18).at(hour(12)));
    assert_eq!((eggs(&ada.farm, "basket"), missed(&ada.farm)), (18, 2));
    // Ben gathered 5 at eight, culled 3 at nine and gathered 4 at two, without a signal.
    ben.log(gather("Pond", "hen", 5).at(hour(8)));
    ben.log(
        Draft::new(Kind::Cull)
            .with("station", "basket")
            .with("parts", format!("{LOT}=3"))
            .with("reason", "leaker")
            .with("use", "compost")
            .at(hour(9)),
    );
    ben.log(gather("Pond", "hen", 4).at(hour(14)));
    meet(&ada, &ben);
    for phone in [&ada, &ben] {
        // 20 + 5 - 3 = 22 expected at noon, 18 found: 4 missed. Then 4 more came: 22.
        assert_eq!((eggs(&phone.farm, "basket"), missed(&phone.farm)), (22, 4));
        clean(&phone.farm);
    }
    assert_eq!(ada.view(), ben.view());
}

#[test]
fn each_recount_starts_from_the_one_before() {
    let ada = start();
    ada.env.set(hour(23));
    ada.log(gather("Orchard", "hen", 30).at(hour(6)));
    let noon = ada.log(recount("basket", ("species", "hen"), 25).at(hour(12)));
    let lot = ada.log(recount("basket", ("lot", LOT), 24).at(hour(15)));
    let evening = ada.log(recount("basket", ("species", "hen"), 26).at(hour(18)));
    assert_eq!(
        (eggs(&ada.farm, "basket"), missed(&ada.farm)),
        (26, 5 + 1 - 2)
    );
    // One at ten, logged last: the others move on from it.
    ada.log(recount("basket", ("species", "hen"), 29).at(hour(10)));
    assert_eq!(
        (eggs(&ada.farm, "basket"), missed(&ada.farm)),
        (26, 1 + 4 + 1 - 2)
    );
    // Without the last one the shelf is as the one before left it.
    ada.farm
        .void(evening, "counted the wrong shelf")
        .expect("a void");
    assert_eq!((eggs(&ada.farm, "basket"), missed(&ada.farm)), (24, 6));
    // Moved in time behind: now it is the last.
    let set: Fields = [("at".to_string(), hour(19).to_string().into())]
        .into_iter()
        .collect();
    ada.farm.amend(noon, set, None).expect("an amendment");
    assert_eq!((eggs(&ada.farm, "basket"), missed(&ada.farm)), (25, 5));
    // At another station it speaks of other eggs.
    let set: Fields = [("station".to_string(), "clean".into())]
        .into_iter()
        .collect();
    ada.farm.amend(lot, set, None).expect("an amendment");
    assert_eq!(
        (eggs(&ada.farm, "basket"), eggs(&ada.farm, "clean")),
        (25, 24)
    );
    assert_eq!(missed(&ada.farm), 30 - 25 - 24);
    clean(&ada.farm);
}

#[test]
fn missing_eggs_are_missed_from_the_oldest_lot_and_found_ones_laid_to_the_newest() {
    let ada = start();
    ada.log(gather("Orchard", "hen", 4).at(at("2026-04-29T08:00:00Z")));
    ada.log(gather("Orchard", "hen", 6).at(at("2026-04-30T08:00:00Z")));
    ada.env.set(hour(20));
    ada.log(recount("basket", ("species", "hen"), 5).at(hour(10)));
    assert_eq!(lots(&ada.farm, "basket"), [("2026-04-30/hen".into(), 5)]);
    ada.log(recount("basket", ("species", "hen"), 8).at(hour(11)));
    assert_eq!(lots(&ada.farm, "basket"), [("2026-04-30/hen".into(), 8)]);
    // Found where nothing was expected: the day's own lot.
    ada.log(recount("clean", ("species", "duck"), 3).at(hour(12)));
    assert_eq!(lots(&ada.farm, "clean"), [("2026-05-01/duck".into(), 3)]);
    ada.log(recount("clean", ("species", "duck"), 0).at(hour(13)));
    assert_eq!(lots(&ada.farm, "clean"), []);
    clean(&ada.farm);
}

#[test]
fn more_leaving_than_ever_came_is_shown_below_zero() {
    let ada = start();
    ada.env.set(hour(20));
    ada.gather("Orchard", "hen", 5);
    let wash = ada.log(
        Draft::new(Kind::Wash)
            .with("parts", format!("{LOT}=12"))
            .with("means", "spray"),
    );
    assert_eq!(
        (eggs(&ada.farm, "basket"), eggs(&ada.farm, "clean")),
        (-7, 12)
    );
    assert_eq!(lots(&ada.farm, "basket"), [(LOT.to_string(), -7)]);
    // The late gather that explains it makes it whole; nothing was clamped on the way.
    ada.gather("Pond", "hen", 7);
    assert_eq!(
        (eggs(&ada.farm, "basket"), eggs(&ada.farm, "clean")),
        (0, 12)
    );
    ada.farm.void(wash, "logged twice").expect("a void");
    assert_eq!(
        (eggs(&ada.farm, "basket"), eggs(&ada.farm, "clean")),
        (12, 0)
    );
    clean(&ada.farm);
}

#[test]
fn a_recount_over_an_overdraw_settles_it_openly() {
    let ada = start();
    ada.env.set(hour(20));
    ada.log(
        Draft::new(Kind::Cull)
            .with("station", "basket")
            .with("parts", format!("{LOT}=4"))
            .with("reason", "broken")
            .with("use", "compost")
            .at(hour(9)),
    );
    assert_eq!(eggs(&ada.farm, "basket"), -4);
    ada.log(recount("basket", ("lot", LOT), 6).at(hour(10)));
    assert_eq!((eggs(&ada.farm, "basket"), missed(&ada.farm)), (6, -10));
    // The gather of the morning arrives: four of the ten are explained.
    ada.log(gather("Orchard", "hen", 4).at(hour(7)));
    assert_eq!((eggs(&ada.farm, "basket"), missed(&ada.farm)), (6, -6));
    clean(&ada.farm);
}

/// By the lots: in = stations + out + pulled + unaccounted, each from the view's own rows.
#[test]
fn every_lots_eggs_are_accounted_for() {
    let ada = start();
    ada.env.set(hour(20));
    let mut gathered = 0i64;
    for n in 0..12u32 {
        ada.log(gather("Orchard", "hen", n + 3).at(hour(n)));
        gathered += i64::from(n + 3);
    }
    let draft = |kind: Kind, n: u32| Draft::new(kind).with("parts", format!("{LOT}={n}"));
    ada.log(draft(Kind::Wash, 50).with("means", "dry"));
    ada.log(
        draft(Kind::Cull, 7)
            .with("station", "clean")
            .with("reason", "stain")
            .with("use", "home"),
    );
    ada.log(
        draft(Kind::Carton, 36)
            .with("from", "clean")
            .with("species", "hen")
            .with("eggs_per_carton", 12)
            .with("cartons", 3)
            .with("packed", DAY),
    );
    ada.log(draft(Kind::Out, 24).with("way", "sold"));
    ada.log(draft(Kind::Out, 12).with("way", "returned"));
    ada.log(recount("cartoned", ("species", "hen"), 20));
    ada.log(recount("basket", ("lot", LOT), 60));
    let day = DAY.parse().expect("a day");
    let sheet = ada.farm.sheet(day, day).expect("a sheet");
    let stations: i64 = sheet.on_hand.iter().map(|o| o.eggs).sum();
    let out: i64 = sheet.out.eggs["sold"] - sheet.out.eggs["returned"];
    let missed = sheet.unaccounted[&Species::Hen];
    assert_eq!(gathered, stations + out + sheet.pulled.eggs + missed);
    // 50 washed, 7 pulled, 36 packed; 24 sold, 12 back: 24 expected, 20 found.
    assert_eq!(eggs(&ada.farm, "clean"), 7);
    assert_eq!(eggs(&ada.farm, "cartoned"), 20);
    assert_eq!(missed, (gathered - 50 - 60) + 4);
    clean(&ada.farm);
}

#[test]
fn what_is_logged_later_at_the_same_moment_counts_later() {
    let ada = start();
    ada.env.set(hour(20));
    // Given to the minute, as people do: gather, count, gather, count, all at seven.
    for round in 1..=20u32 {
        ada.log(gather("Orchard", "hen", 5).at(hour(7)));
        ada.log(recount("basket", ("species", "hen"), round * 5 - 1).at(hour(7)));
        assert_eq!(eggs(&ada.farm, "basket"), i64::from(round) * 5 - 1);
        // One was missed in the first round; then each gather of five makes it whole again.
        assert_eq!(missed(&ada.farm), 1);
    }
    clean(&ada.farm);
}
