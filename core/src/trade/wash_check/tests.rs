use super::*;

fn good() -> WashDone {
    WashDone {
        cleaner: Some(Cleaner::Water),
        egg: Some(Celsius(20.0)),
        water_start: Some(Celsius(38.0)),
        water_end: Some(Celsius(35.0)),
        rinse: Some(Celsius(38.0)),
        sanitiser_ppm: Some(150.0),
        water_age: Some(Minutes(60.0)),
        baskets: Some(2),
        sink_cleaned_first: Some(true),
        ..WashDone::with(Species::Hen, Means::Spray)
    }
}

fn faults(done: &WashDone) -> Vec<WashFault> {
    let pack = RulePack::us_federal();
    let found = check_wash(done, &pack, &HousePolicy::default()).unwrap();
    assert!(
        found
            .iter()
            .all(|f| !f.why.is_empty() && !f.caution.is_empty())
    );
    found.into_iter().map(|f| f.value).collect()
}

#[test]
fn each_limit_on_both_sides() {
    use WashFault as F;
    assert_eq!(faults(&good()), vec![]);
    let f = |t: f64| Some(Celsius::from_fahrenheit(t));
    let cases: Vec<(WashDone, Vec<F>)> = vec![
        (
            WashDone {
                water_end: f(90.0),
                egg: f(70.0),
                rinse: f(90.0),
                ..good()
            },
            vec![],
        ),
        (
            WashDone {
                water_end: f(89.9),
                egg: f(70.0),
                ..good()
            },
            vec![F::WaterTooCold],
        ),
        (
            WashDone {
                water_start: f(95.0),
                water_end: f(89.9),
                egg: f(60.0),
                ..good()
            },
            vec![F::WaterTooCold],
        ),
        (
            WashDone {
                water_start: f(110.1),
                egg: f(70.0),
                ..good()
            },
            vec![F::WaterTooHot],
        ),
        (
            WashDone {
                egg: f(45.0),
                ..good()
            },
            vec![F::EggTooCold],
        ),
        (
            WashDone {
                rinse: Some(Celsius(35.0)),
                ..good()
            },
            vec![],
        ),
        (
            WashDone {
                rinse: Some(Celsius(34.9)),
                ..good()
            },
            vec![F::RinseTooCold],
        ),
        (
            WashDone {
                sanitiser_ppm: Some(100.0),
                ..good()
            },
            vec![],
        ),
        (
            WashDone {
                sanitiser_ppm: Some(99.0),
                ..good()
            },
            vec![F::SanitiserTooWeak],
        ),
        (
            WashDone {
                sanitiser_ppm: Some(200.0),
                ..good()
            },
            vec![],
        ),
        (
            WashDone {
                sanitiser_ppm: Some(201.0),
                ..good()
            },
            vec![F::SanitiserTooStrong],
        ),
        (
            WashDone {
                water_age: Some(Minutes(240.0)),
                ..good()
            },
            vec![],
        ),
        (
            WashDone {
                water_age: Some(Minutes(241.0)),
                ..good()
            },
            vec![F::WaterTooOld],
        ),
        (
            WashDone {
                baskets: Some(5),
                ..good()
            },
            vec![],
        ),
        (
            WashDone {
                baskets: Some(6),
                ..good()
            },
            vec![F::TooManyBaskets],
        ),
        (
            WashDone {
                sink_cleaned_first: Some(false),
                ..good()
            },
            vec![F::SinkNotCleaned],
        ),
        (
            WashDone {
                means: Means::Sponge,
                ..good()
            },
            vec![F::Means],
        ),
        (
            WashDone {
                cleaner: Some(Cleaner::Household),
                ..good()
            },
            vec![F::Cleaner],
        ),
        (
            WashDone {
                means: Means::Basin,
                in_water: Some(Minutes(3.0)),
                ..good()
            },
            vec![F::Soaked],
        ),
        (
            WashDone {
                egg: None,
                ..good()
            },
            vec![F::NotMeasured],
        ),
    ];
    for (done, expected) in cases {
        assert_eq!(faults(&done), expected, "{done:?}");
    }
}

/// Water runs off under a spray; under every other wet means a minute in the water is a soak.
#[test]
fn only_a_spray_is_no_soak() {
    for means in Means::ALL.into_iter().filter(|means| means.is_wet()) {
        let done = WashDone {
            means,
            in_water: Some(Minutes(1.0)),
            ..good()
        };
        let soaked = faults(&done).contains(&WashFault::Soaked);
        assert_eq!(soaked, means != Means::Spray, "{means:?}");
    }
}

#[test]
fn dry_cleaning_needs_no_water() {
    assert_eq!(faults(&WashDone::with(Species::Hen, Means::Dry)), vec![]);
    let dry = WashDone::with(Species::Hen, Means::Dry);
    let eu = check_wash(&dry, &RulePack::eu(), &HousePolicy::default()).unwrap();
    assert_eq!(eu[0].value, WashFault::LosesClass);
}

#[test]
fn impossible_readings_are_errors() {
    let pack = RulePack::us_federal();
    let house = HousePolicy::default();
    let hot = WashDone {
        water_start: Some(Celsius(101.0)),
        ..good()
    };
    let error = check_wash(&hot, &pack, &house).unwrap_err().to_string();
    assert_eq!(
        error,
        "water temperature at the start is 101 °C; allowed is 0 to 100 °C"
    );
    let nan = WashDone {
        egg: Some(Celsius(f64::NAN)),
        ..good()
    };
    assert!(check_wash(&nan, &pack, &house).is_err());
}
