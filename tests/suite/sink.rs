//! The sink's advice through the facade: the farm's own rules decide, and nothing is logged.

use pointdown_core::farm::{Bowl, ErrorKind, Sink, Verdict};
use pointdown_core::record::Fields;
use pointdown_core::trade::{Means, Species, WashFault};
use pointdown_tests::phone::Phone;
use serde_json::json;

fn spray(egg_c: f64, water_c: Option<f64>) -> Sink {
    Sink {
        species: Species::Hen,
        means: Means::Spray,
        egg_c,
        water_c,
        water_end_c: None,
        rinse_c: None,
        sanitiser_ppm: None,
        minutes: None,
        sink_cleaned: None,
        bowl: None,
    }
}

fn choose(phone: &Phone, set: serde_json::Value) {
    let set: Fields = set.as_object().cloned().unwrap();
    phone.farm.amend(phone.farm.id(), set, None).unwrap();
}

#[test]
fn the_water_is_judged_by_the_rules_that_the_farm_chose() {
    let phone = Phone::first("Ada", "2026-05-01T08:00:00Z", "Etc/UTC");
    choose(&phone, json!({ "rule_pack": null }));
    assert_eq!(phone.farm.sink(&spray(20.0, Some(38.0))).unwrap(), None);

    choose(&phone, json!({ "rule_pack": "us_federal" }));
    let records = phone.farm.record_count().unwrap();
    // The pack's figures: 90 °F or 20 °F above the egg, at most 40 °F above it.
    for (water, verdict, faults) in [
        (Some(32.0), Verdict::Cold, vec![WashFault::WaterTooCold]),
        (Some(32.3), Verdict::Right, vec![]),
        (Some(42.1), Verdict::Right, vec![]),
        (Some(42.4), Verdict::Hot, vec![WashFault::WaterTooHot]),
        (None, Verdict::Unknown, vec![WashFault::NotMeasured]),
    ] {
        let advice = phone.farm.sink(&spray(20.0, water)).unwrap().unwrap();
        let found: Vec<WashFault> = advice.faults.iter().map(|f| f.value).collect();
        assert_eq!((advice.verdict, found), (verdict, faults), "{water:?}");
        assert!(!advice.why.is_empty() && !advice.caution.is_empty());
        assert_eq!(advice.capacity, None);
    }
    let cold = phone.farm.sink(&spray(4.0, Some(38.0))).unwrap().unwrap();
    assert!(cold.window.is_none() && (cold.temper.unwrap().0 - 10.0).abs() < 1e-9);
    assert_eq!(cold.verdict, Verdict::Unknown);

    choose(&phone, json!({ "house": { "keep_bloom": true } }));
    let dry = phone.farm.sink(&spray(20.0, Some(38.0))).unwrap().unwrap();
    assert_eq!((dry.window, dry.verdict), (None, Verdict::Unknown));
    assert!(dry.faults.iter().any(|f| f.value == WashFault::NotAllowed));
    assert_eq!(phone.farm.record_count().unwrap(), records);
}

#[test]
fn a_basin_is_reckoned_only_where_its_water_is_right() {
    let phone = Phone::first("Ada", "2026-05-01T08:00:00Z", "Etc/UTC");
    choose(&phone, json!({ "rule_pack": "us_federal" }));
    let bowl = |litres| {
        Some(Bowl {
            litres,
            room_c: 18.0,
            each: 0.5,
            grams: 60.0,
        })
    };
    let with = |litres, water| Sink {
        bowl: bowl(litres),
        ..spray(20.0, Some(water))
    };
    let takes = |sink| phone.farm.sink(&sink).unwrap().unwrap().capacity;
    let (small, large) = (
        takes(with(5.0, 38.0)).unwrap(),
        takes(with(10.0, 38.0)).unwrap(),
    );
    assert!(0 < small.eggs && small.eggs < large.eggs);
    assert_eq!(takes(with(10.0, 25.0)), None);

    let refused = phone.farm.sink(&with(0.0, 38.0)).unwrap_err();
    assert_eq!(refused.kind, ErrorKind::Invalid);
    let wrong = refused.invalid.unwrap();
    assert_eq!(wrong.field, "water in the basin");
    assert_eq!(wrong.allowed, "allowed are 0.5 to 500 L");
}
