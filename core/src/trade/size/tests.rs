use super::*;

fn of_carton(eggs: &[f64]) -> Option<String> {
    let eggs: Vec<Grams> = eggs.iter().copied().map(Grams).collect();
    let found = us().class_of_carton(Species::Hen, &eggs).unwrap();
    found.value.map(|c| c.code)
}

#[test]
fn a_dozen_can_make_its_net_weight_and_still_hold_eggs_too_light() {
    let mut eggs = [58.0; 12];
    eggs[3] = 53.0;
    eggs[9] = 53.0;
    let masses: Vec<Grams> = eggs.iter().copied().map(Grams).collect();
    let scheme = us();
    let large = scheme.class("large").unwrap();
    let weight = scheme.carton(large, &masses).unwrap();
    assert!(weight.net.0 > weight.needed.0);
    assert_eq!(weight.light, vec![3, 9]);
    assert!(!weight.meets);
    assert_eq!(of_carton(&eggs), Some("medium".to_owned()));
}

#[test]
fn weights_are_compared_unrounded() {
    assert_eq!(of_carton(&[56.6; 12]), Some("medium".to_owned()));
    assert_eq!(of_carton(&[56.7; 12]), Some("large".to_owned()));
    let exactly = Grams::from_ounces(2.0).0;
    assert_eq!(of_carton(&[exactly; 12]), Some("large".to_owned()));
}

#[test]
fn no_class_for_a_duck_and_none_below_peewee() {
    assert_eq!(
        us().class_of_egg(Species::Duck, Grams(70.0)).unwrap().value,
        None
    );
    assert_eq!(
        us().class_of_egg(Species::Hen, Grams(20.0)).unwrap().value,
        None
    );
    assert!(us().class_of_egg(Species::Hen, Grams(0.9)).is_err());
    assert!(us().class_of_egg(Species::Hen, Grams(f64::NAN)).is_err());
}

#[test]
fn every_scheme_is_in_order() {
    for scheme in schemes() {
        scheme.validate().unwrap();
    }
}

/// An EU class ends where the next begins (M is at least 53 g and under 63 g); a US class does not.
#[test]
fn a_heavier_egg_stands_in_a_lighter_class_only_where_it_may() {
    let one_heavy = |heavy: f64| {
        let mut eggs = [Grams(58.0); 12];
        eggs[7] = Grams(heavy);
        eggs
    };
    let (us, eu) = (us(), eu());
    let of = |scheme: &SizeScheme, heavy| {
        let found = scheme.class_of_carton(Species::Hen, &one_heavy(heavy));
        found.unwrap().value.map(|c| c.code)
    };
    assert_eq!(of(&eu, 62.9), Some("m".to_owned()));
    assert_eq!(of(&eu, 63.0), None);
    assert_eq!(of(&us, 75.0), Some("large".to_owned()));
    let m = eu.class("m").unwrap();
    assert_eq!(eu.carton(m, &one_heavy(63.0)).unwrap().heavy, [7]);
    assert_eq!(eu.below(m), Some(Grams(63.0)));
    assert_eq!(eu.below(eu.class("xl").unwrap()), None);
    assert_eq!(us.below(us.class("medium").unwrap()), None);
}
