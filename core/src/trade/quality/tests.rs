use super::*;
use crate::trade::rules::RulePack;

fn us(seen: &Seen) -> Quality {
    let scheme = RulePack::us_federal().quality.unwrap();
    scheme.judge(Species::Hen, seen).unwrap().value
}

fn grade(code: &str) -> Quality {
    Quality::Grade(code.to_owned())
}

#[test]
fn the_worst_factor_decides() {
    let good = Seen::candled(Millimetres(3.0), White::Firm, Yolk::Slight);
    assert_eq!(us(&good), grade("aa"));
    let yolk = Seen {
        yolk: Some(Yolk::Plain),
        ..good.clone()
    };
    assert_eq!(us(&yolk), grade("b"));
    let shell = Seen {
        shell: Shell::Abnormal,
        ..good.clone()
    };
    assert_eq!(us(&shell), grade("b"));
    let bubbly = Seen {
        air_cell_moves: true,
        ..good.clone()
    };
    assert_eq!(us(&bubbly), grade("aa"));
    let spot = Spots {
        size: Millimetres(2.0),
        in_white: false,
    };
    assert_eq!(
        us(&Seen {
            spots: Some(spot),
            ..good.clone()
        }),
        grade("b")
    );
    let bloody = Spots {
        in_white: true,
        ..spot
    };
    assert_eq!(
        us(&Seen {
            spots: Some(bloody),
            ..good
        }),
        Quality::Loss
    );
}

#[test]
fn air_cell_limits_hold_on_both_sides() {
    for (inches, expected) in [(0.125, "aa"), (0.1251, "a"), (0.1875, "a"), (0.1876, "b")] {
        let depth = Millimetres::from_inches(inches);
        let seen = Seen::candled(depth, White::Firm, Yolk::Slight);
        assert_eq!(us(&seen), grade(expected), "{inches} in");
    }
}

#[test]
fn stains_by_share_and_place() {
    let good = Seen::candled(Millimetres(3.0), White::Firm, Yolk::Slight);
    let stained = |tone, share, scattered| {
        us(&Seen {
            stain: Some(Stain {
                tone,
                share,
                scattered,
            }),
            ..good.clone()
        })
    };
    assert_eq!(stained(StainTone::Specks, 0.01, false), grade("aa"));
    assert_eq!(stained(StainTone::Slight, 0.2, true), grade("b"));
    assert_eq!(stained(StainTone::Moderate, 1.0 / 32.0, false), grade("b"));
    assert_eq!(stained(StainTone::Moderate, 0.0313, false), Quality::Dirty);
    assert_eq!(stained(StainTone::Moderate, 1.0 / 16.0, true), grade("b"));
    assert_eq!(stained(StainTone::Moderate, 0.0626, true), Quality::Dirty);
    assert_eq!(stained(StainTone::Prominent, 0.001, false), Quality::Dirty);
}

#[test]
fn nobody_looked_and_no_grades_are_answers() {
    let unseen = Seen::clean_outside();
    assert!(matches!(us(&unseen), Quality::NotCandled(missing) if missing.len() == 3));
    let scheme = RulePack::us_federal().quality.unwrap();
    let good = Seen::candled(Millimetres(3.0), White::Firm, Yolk::Slight);
    let duck = scheme.judge(Species::Duck, &good).unwrap().value;
    assert_eq!(duck, Quality::NoGrades);
    let cracked = Seen {
        shell: Shell::Cracked,
        ..good
    };
    let duck = scheme.judge(Species::Duck, &cracked).unwrap().value;
    assert_eq!(duck, Quality::Check);
    let impossible = Seen::candled(Millimetres(40.1), White::Firm, Yolk::Slight);
    assert!(scheme.judge(Species::Hen, &impossible).is_err());
}

#[test]
fn eu_class_a_is_not_washed_and_its_air_cell_stands_still() {
    let scheme = RulePack::eu().quality.unwrap();
    let judge = |seen: &Seen| scheme.judge(Species::Hen, seen).unwrap().value;
    let good = Seen::candled(Millimetres(4.0), White::Firm, Yolk::Slight);
    assert_eq!(judge(&good), grade("extra"));
    let five = Seen {
        air_cell: Some(Millimetres(4.1)),
        ..good.clone()
    };
    assert_eq!(judge(&five), grade("a"));
    assert_eq!(
        judge(&Seen {
            air_cell: Some(Millimetres(6.1)),
            ..good.clone()
        }),
        grade("b")
    );
    assert_eq!(
        judge(&Seen {
            cleaned: true,
            ..good.clone()
        }),
        grade("b")
    );
    assert_eq!(
        judge(&Seen {
            air_cell_moves: true,
            ..good
        }),
        grade("b")
    );
}

#[test]
fn each_factor_alone_lowers_the_grade() {
    let good = Seen::candled(Millimetres(3.0), White::Firm, Yolk::Slight);
    let with = |change: fn(&mut Seen)| {
        let mut seen = good.clone();
        change(&mut seen);
        us(&seen)
    };
    assert_eq!(with(|s| s.white = Some(White::ReasonablyFirm)), grade("a"));
    assert_eq!(with(|s| s.white = Some(White::Weak)), grade("b"));
    assert_eq!(with(|s| s.yolk = Some(Yolk::Fair)), grade("a"));
    assert_eq!(with(|s| s.germ = Germ::Visible), grade("b"));
    assert_eq!(with(|s| s.germ = Germ::Blood), Quality::Inedible);
    assert_eq!(with(|s| s.rotten = true), Quality::Inedible);
    assert_eq!(with(|s| s.shell = Shell::Smashed), Quality::Loss);
    assert_eq!(with(|s| s.shell = Shell::Leaking), Quality::Leaker);
    assert_eq!(with(|s| s.adhering_dirt = true), Quality::Dirty);
    assert_eq!(with(|s| s.cleaned = true), grade("aa"));
    let both = with(|s| {
        s.adhering_dirt = true;
        s.shell = Shell::Cracked;
    });
    assert_eq!(both, Quality::Check, "a check is ranked below a dirty");
}

#[test]
fn a_haugh_unit_grades_the_white_of_hens_only() {
    let scheme = RulePack::us_federal().quality.unwrap();
    let white = |species, unit| {
        let found = scheme.white_grade(species, unit).unwrap();
        found.map(|g| g.code.clone())
    };
    for (unit, expected) in [
        (72.0, "aa"),
        (71.9, "a"),
        (60.0, "a"),
        (59.9, "b"),
        (-5.0, "b"),
    ] {
        assert_eq!(
            white(Species::Hen, unit).as_deref(),
            Some(expected),
            "{unit}"
        );
    }
    assert_eq!(white(Species::Duck, 80.0), None);
    assert!(scheme.white_grade(Species::Hen, 151.0).is_err());
}
