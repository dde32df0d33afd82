//! Plans under whole rule packs: what the pack says of size and age, and what the house adds.

use std::time::Instant;

use chrono::{Days, NaiveDate};
use pointdown_core::trade::cartons::{
    Capacities, Egg, LeftOver, LeftOverReason, Plan, classes, plan_by_pack,
};
use pointdown_core::trade::label::{LabelRequest, Part, Producer, SizeWords, label};
use pointdown_core::trade::rules::{HousePolicy, RulePack};
use pointdown_core::trade::size;
use pointdown_core::trade::units::Grams;
use pointdown_core::trade::{Finding, Mark, Species};

use super::{Numbers, hens};

fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 3, 20).unwrap()
}

fn days_ago(days: u64) -> Option<NaiveDate> {
    today().checked_sub_days(Days::new(days))
}

fn fresh(weights: &[f64]) -> Vec<Egg> {
    let laid = |egg| Egg {
        lay_day: days_ago(0),
        ..egg
    };
    hens(weights).into_iter().map(laid).collect()
}

fn random(count: usize, low: u64, high: u64, seed: u64) -> Vec<f64> {
    let mut numbers = Numbers(seed);
    let tenth = |_| numbers.within(low * 10, high * 10) as f64 / 10.0;
    (0..count).map(tenth).collect()
}

fn planned(
    eggs: &[Egg],
    sizes: &[u16],
    step_down: bool,
    pack: &RulePack,
    house: &HousePolicy,
) -> Finding<Plan> {
    let capacities = Capacities::new(sizes).unwrap();
    plan_by_pack(eggs, &capacities, today(), step_down, pack, house).unwrap()
}

fn packed(plan: &Plan) -> usize {
    plan.groups.iter().map(|group| group.measure.packed).sum()
}

/// Both packs, and the other published schemes as packs of the farm's own.
fn packs() -> Vec<RulePack> {
    let own = |scheme| RulePack {
        sizes: Some(scheme),
        ..RulePack::custom(&RulePack::us_federal(), "own")
    };
    let mut packs = vec![RulePack::us_federal(), RulePack::eu()];
    packs.extend([size::canada(), size::new_zealand(), size::australia()].map(own));
    packs
}

/// The scheme itself, which knows nothing of plans, is asked about every carton.
#[test]
fn every_carton_meets_its_class_under_every_pack() {
    let house = HousePolicy::default();
    for pack in packs() {
        let scheme = pack.sizes.as_ref().unwrap();
        let (mut cartons, mut stepped) = (0, 0);
        for seed in 0..12 {
            let eggs = fresh(&random(90, 33, 80, seed));
            for step_down in [false, true] {
                let plan = planned(&eggs, &[6, 10], step_down, &pack, &house).value;
                for group in &plan.groups {
                    let class = scheme.class(group.code.as_deref().unwrap()).unwrap();
                    assert_eq!(class.name, group.class);
                    for carton in &group.cartons {
                        let weights: Vec<Grams> = carton.eggs.iter().map(|e| e.weight).collect();
                        let weight = scheme.carton(class, &weights).unwrap();
                        assert!(weight.meets, "{}: {weight:?}", group.class);
                        cartons += 1;
                        let own = |g| scheme.class_of_egg(Species::Hen, g).unwrap().value;
                        let single = class.single_min.unwrap_or(class.min);
                        assert!(weights.iter().all(|g| g.0 >= single.0));
                        stepped += weights
                            .iter()
                            .filter(|g| own(**g).is_some_and(|c| c.min.0 > class.min.0))
                            .count();
                    }
                }
            }
        }
        assert!(cartons > 100, "{cartons}");
        // Only the scheme of minimums lets a heavier egg stand in a lighter class.
        assert_eq!(
            stepped > 0,
            scheme.code == "us",
            "{}: {stepped}",
            scheme.code
        );
    }
}

#[test]
fn what_a_class_leaves_over_goes_down_only_where_it_may() {
    let house = HousePolicy::default();
    let (us, eu) = (RulePack::us_federal(), RulePack::eu());
    for seed in 0..12 {
        let eggs = fresh(&random(75, 45, 78, 100 + seed));
        let with = |step_down, pack| planned(&eggs, &[12], step_down, pack, &house);
        assert!(packed(&with(true, &us).value) >= packed(&with(false, &us).value) + 12);
        assert_eq!(with(true, &eu).value, with(false, &eu).value);
    }
    let eggs = fresh(&[55.0; 12]);
    let with = |step_down, pack| planned(&eggs, &[12], step_down, pack, &house);
    assert_eq!(packed(&with(false, &us).value), 0);
    let down = with(true, &us);
    let full = |plan: &Plan| {
        let group = plan.groups.iter().find(|g| g.measure.cartons == 1);
        group.and_then(|g| g.code.clone())
    };
    assert_eq!(full(&down.value), Some("medium".to_owned()));
    assert!(down.value.left_over.is_empty());
    let says = |found: &Finding<Plan>, text| found.why.iter().any(|r| r.rule.contains(text));
    assert!(says(&down, "may stand in a lighter class"));
    assert!(says(&with(true, &eu), "may not stand in a lighter class"));
    assert!(!says(&with(false, &us), "lighter class"));
}

/// 7 CFR 56.1: 21 days; summary of Reg. (EC) 589/2008: 10 days; Reg. (EU) 2022/2258: 28 days.
#[test]
fn eggs_past_the_age_of_the_pack_stay_behind() {
    let house = HousePolicy::default();
    let (us, eu) = (RulePack::us_federal(), RulePack::eu());
    for (pack, species, last) in [
        (&us, Species::Hen, Some(21)),
        (&us, Species::Duck, None),
        (&eu, Species::Hen, Some(10)),
        (&eu, Species::Duck, Some(28)),
    ] {
        let aged = |age| -> Vec<Egg> {
            let of = |egg| Egg {
                species,
                lay_day: days_ago(age),
                ..egg
            };
            hens(&[65.0; 6]).into_iter().map(of).collect()
        };
        let plan = |age| planned(&aged(age), &[6], false, pack, &house).value;
        match last {
            Some(last) => {
                assert_eq!(packed(&plan(last)), 6, "{species:?}");
                let old = plan(last + 1);
                assert_eq!(packed(&old), 0, "{species:?}");
                assert!(
                    old.left_over
                        .iter()
                        .all(|l| l.reason == LeftOverReason::TooOld)
                );
            }
            None => assert_eq!(packed(&plan(100)), 6),
        }
    }
    let unknown = planned(&hens(&[65.0; 6]), &[6], false, &eu, &house).value;
    assert!(
        unknown
            .left_over
            .iter()
            .all(|l| l.reason == LeftOverReason::UnknownAge)
    );
}

/// The most eggs in full dozens, for every way to divide days into neighbouring spans.
fn most(of_day: &[usize], apart: usize) -> usize {
    (1..=of_day.len().min(apart + 1))
        .map(|n| of_day[..n].iter().sum::<usize>() / 6 * 6 + most(&of_day[n..], apart))
        .max()
        .unwrap_or(0)
}

#[test]
fn the_house_keeps_ages_together() {
    let pack = RulePack::us_federal();
    let mut numbers = Numbers(5);
    for round in 0..60 {
        let apart = round % 4;
        let of_day: Vec<usize> = (0..7).map(|_| numbers.within(1, 9) as usize).collect();
        let ages = of_day.iter().zip(0..).flat_map(|(&n, age)| vec![age; n]);
        let eggs: Vec<Egg> = ages
            .zip(0..)
            .map(|(age, tag)| Egg {
                tag,
                species: Species::Duck,
                weight: Grams(60.0 + numbers.within(0, 99) as f64 / 10.0),
                lay_day: days_ago(age),
            })
            .collect();
        let house = HousePolicy {
            ages_apart_max_days: Some(apart as u32),
            ..HousePolicy::default()
        };
        let found = planned(&eggs, &[6], false, &pack, &house);
        assert_eq!(
            packed(&found.value),
            most(&of_day, apart),
            "{of_day:?} {apart}"
        );
        assert!(found.why.iter().any(|reason| reason.mark == Mark::House));
        for carton in found.value.groups.iter().flat_map(|g| &g.cartons) {
            let day = |tag: u64| eggs[tag as usize].lay_day.unwrap();
            let days = carton.eggs.iter().map(|e| day(e.tag));
            let span = days.clone().max().unwrap() - days.min().unwrap();
            assert!(span.num_days() <= apart as i64);
        }
        let mut unknown = eggs;
        unknown[3].lay_day = None;
        let left = planned(&unknown, &[6], false, &pack, &house)
            .value
            .left_over;
        assert!(
            left.iter()
                .any(|l| l.tag == 3 && l.reason == LeftOverReason::UnknownAge)
        );
    }
}

#[test]
fn other_species_go_by_count_and_a_plan_says_why() {
    let (pack, house) = (RulePack::us_federal(), HousePolicy::default());
    let mut eggs = fresh(&[65.0; 6]);
    eggs.extend(fresh(&[62.0; 6]).into_iter().map(|egg| Egg {
        tag: egg.tag + 6,
        species: Species::Duck,
        ..egg
    }));
    let found = planned(&eggs, &[6], true, &pack, &house);
    let codes: Vec<_> = found
        .value
        .groups
        .iter()
        .map(|g| g.code.as_deref())
        .collect();
    assert_eq!(codes, [Some("extra_large"), None]);
    let says = |text| found.why.iter().any(|r| r.rule.contains(text));
    assert!(says("no classes for duck eggs") && says("pointed end down"));
    assert!(found.why.iter().any(|r| r.source.contains("7 Pa. Code")));
    assert!(found.caution.contains("decide"), "{}", found.caution);
    assert_eq!(classes(pack.sizes.as_ref(), Species::Hen).len(), 6);
    assert_eq!(classes(None, Species::Hen)[0].code, None);

    // What a group is called goes straight onto its label, under either pack.
    for pack in [pack.clone(), RulePack::eu()] {
        for group in planned(&eggs, &[6], true, &pack, &house).value.groups {
            let size = group.code.map_or(SizeWords::Unsized, SizeWords::Class);
            let request = LabelRequest {
                species: group.species,
                eggs: 6,
                size,
                weighed: true,
                grade: None,
                graded: false,
                pack_day: today(),
                oldest_lay: group.cartons[0].oldest.unwrap(),
                best_by: None,
                producer: Some(Producer {
                    name: "Example Farm".into(),
                    address: vec!["1 Example Lane".into()],
                    code: None,
                }),
                lot: None,
                claims: Vec::new(),
            };
            let lines = label(&request, &pack, &house).unwrap().value;
            let line = lines.iter().find(|line| line.part == Part::Count).unwrap();
            let classed = group.species == Species::Hen;
            assert_eq!(line.text.contains(&group.class), classed, "{}", line.text);
        }
    }

    // One tag on a hen's and a duck's egg is as wrong as on two of one species.
    eggs[7].tag = 0;
    let six = Capacities::new(&[6]).unwrap();
    let refused = plan_by_pack(&eggs, &six, today(), true, &pack, &house).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "tag is 0 on more than one egg; allowed is each tag once"
    );
}

#[test]
fn three_thousand_eggs_under_a_pack_take_no_time() {
    let house = HousePolicy {
        ages_apart_max_days: Some(2),
        ..HousePolicy::default()
    };
    let mut eggs = fresh(&random(3000, 35, 80, 9));
    for (egg, age) in eggs.iter_mut().zip((0..10).cycle()) {
        egg.lay_day = days_ago(age);
    }
    for pack in packs() {
        for house in [&HousePolicy::default(), &house] {
            let start = Instant::now();
            let plan = planned(&eggs, &Capacities::STANDARD, true, &pack, house).value;
            let took = start.elapsed();
            println!(
                "{} apart {:?}: {took:?}",
                pack.name, house.ages_apart_max_days
            );
            let light = |l: &&LeftOver| l.reason == LeftOverReason::TooLight;
            let light = plan.left_over.iter().filter(light).count();
            assert!(packed(&plan) + light > 2700, "{} {light}", packed(&plan));
            // A few tens of milliseconds in a release build; this one is not optimised.
            assert!(took.as_millis() < 4000, "{took:?}");
        }
    }
}
