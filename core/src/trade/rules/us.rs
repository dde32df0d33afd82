//! The baseline of the United States. The CFR texts were read in the 2015 annual edition; check
//! the current one. State rules differ in strength, temperatures and labels.

use super::super::day_limit::{Counting, DayLimit, FromDay};
use super::super::finding::Mark;
use super::super::quality::{Germ, GradeCriteria, QualityScheme, Shell, StainTone, White, Yolk};
use super::super::size;
use super::super::species::Species;
use super::super::tolerance::{LotTolerances, Stage};
use super::super::units::{Celsius, CelsiusDelta, Millimetres, Minutes};
use super::{
    ChillRules, CleaningRules, DateRules, LabelRules, Permission, Rule, RulePack, Threshold,
};

/// The statement of 21 CFR 101.17(h), letter for letter.
const SAFE_HANDLING: &str = "SAFE HANDLING INSTRUCTIONS: To prevent illness from bacteria: keep \
    eggs refrigerated, cook eggs until yolks are firm, and cook foods containing eggs thoroughly.";

const WASHING: &str = "7 CFR 56.76(f), 69 FR 76376, 21 Dec 2004 (2015 edition read)";

pub(super) fn pack() -> RulePack {
    RulePack {
        code: "us_federal".to_owned(),
        name: "United States, federal baseline".to_owned(),
        edition: "CFR annual edition 2015; AMS 56 of 20 July 2000 as state codes print it"
            .to_owned(),
        caution: "State and local egg laws add to this and differ; they decide. The washing \
            rules are those of voluntary graded plants, which many states copy."
            .to_owned(),
        cleaning: cleaning(),
        chill: ChillRules {
            species: Rule::seen(vec![Species::Hen], "21 CFR 118.3 (2015 edition read)"),
            cooler_max: Some(Rule::seen(
                Celsius::from_fahrenheit(45.0),
                "21 CFR 118.4(e) and 115.50 (2015 edition read)",
            )),
            cooler_min: None,
            lay_to_cooler_max: Some(Rule::seen(
                Minutes::from_hours(36.0),
                "21 CFR 118.4(e) (2015 edition read)",
            )),
            temper_max: Some(Rule::seen(
                Minutes::from_hours(36.0),
                "21 CFR 118.4(e) (2015 edition read)",
            )),
        },
        dates: dates(),
        sizes: Some(size::us()),
        quality: Some(quality()),
        tolerances: tolerances(),
        label: label(),
        thresholds: thresholds(),
        keep_records_months: Some(Rule::seen(24, "7 CFR 57.200 (2015 edition read)")),
    }
}

fn cleaning() -> CleaningRules {
    CleaningRules {
        wet: Rule::seen(Permission::Allowed, WASHING),
        dry: Rule::seen(
            Permission::Allowed,
            "Minn. R. 1520.0500; national public-health advice to home flocks",
        ),
        water_min: Some(Rule::seen(Celsius::from_fahrenheit(90.0), WASHING)),
        // The regulation prints "20 F (6.7 C)", converted as if it were a reading; the difference
        // of 20 Fahrenheit degrees is 11.1 Celsius degrees.
        water_above_egg_min: Some(Rule::seen(
            CelsiusDelta::from_fahrenheit_delta(20.0),
            WASHING,
        )),
        water_above_egg_max: Some(Rule::seen(
            CelsiusDelta::from_fahrenheit_delta(40.0),
            "food-technology encyclopaedia on thermal checks (about 40 °F, 22 °C); guideline, no law",
        )),
        rinse_above_wash_min: Some(Rule::seen(CelsiusDelta(0.0), WASHING)),
        soak_max: Some(Rule::seen(Minutes(0.0), WASHING)),
        water_age_max: Some(Rule::seen(Minutes::from_hours(4.0), WASHING)),
        baskets_max: Some(Rule::seen(
            5,
            "Conn. Regs 22-324-D7 (bucket washers); a state rule, used here as guidance",
        )),
        sanitiser_ppm: Some(Rule::seen((100.0, 200.0), WASHING)),
        wet_hand_cleaning_prohibited: None,
    }
}

fn dates() -> DateRules {
    let from_pack = |days| DayLimit {
        days,
        counting: Counting::Inclusive,
        from: FromDay::Pack,
    };
    DateRules {
        best_by: Some(Rule::seen(
            from_pack(45),
            "agency carton-labelling text for shielded cartons: 45 days including the day of pack",
        )),
        sell_by: Some(Rule::seen(
            // The wording allows pack + 30; the cautious count makes the day of packing day one.
            from_pack(30),
            "agency carton-labelling page for shielded cartons: no more than 30 days",
        )),
        pack_within: Some(Rule::seen(
            DayLimit {
                days: 21,
                counting: Counting::Exclusive,
                from: FromDay::Lay,
            },
            "7 CFR 56.1, eggs of current production (2015 edition read)",
        )),
        deliver_within: None,
    }
}

fn quality() -> QualityScheme {
    let aa = GradeCriteria {
        code: "aa".to_owned(),
        name: "Grade AA".to_owned(),
        shell: Shell::Normal,
        stain_free: StainTone::Specks,
        stain_localised: 0.0,
        stain_scattered: 0.0,
        air_cell_max: Some(Millimetres::from_inches(1.0 / 8.0)),
        air_cell_still: false,
        white: White::Firm,
        yolk: Yolk::Slight,
        spots_max: Millimetres(0.0),
        germ: Germ::None,
        cleaned: true,
        retail: true,
        haugh_min: Some(72.0),
    };
    let a = GradeCriteria {
        code: "a".to_owned(),
        name: "Grade A".to_owned(),
        air_cell_max: Some(Millimetres::from_inches(3.0 / 16.0)),
        white: White::ReasonablyFirm,
        yolk: Yolk::Fair,
        haugh_min: Some(60.0),
        ..aa.clone()
    };
    let b = GradeCriteria {
        code: "b".to_owned(),
        name: "Grade B".to_owned(),
        shell: Shell::Abnormal,
        stain_free: StainTone::Slight,
        stain_localised: 1.0 / 32.0,
        stain_scattered: 1.0 / 16.0,
        air_cell_max: None,
        white: White::Weak,
        yolk: Yolk::Plain,
        spots_max: Millimetres::from_inches(1.0 / 8.0),
        germ: Germ::Visible,
        haugh_min: None,
        ..aa.clone()
    };
    QualityScheme {
        species: vec![Species::Hen],
        grades: Rule::seen(
            vec![aa, a, b],
            "WAC 16-104-130 and 16-104-140, after AMS 56; Haw. Code R. 4-46-1 for spots",
        ),
        // Quail are not among the birds that the act names.
        restricted: Rule::seen(
            vec![
                Species::Hen,
                Species::Duck,
                Species::Goose,
                Species::Turkey,
                Species::Guinea,
            ],
            "7 CFR 57.1 (2015 edition read); WAC 16-104-140 for prominent stains",
        ),
        spots_loss_above: Rule::seen(Millimetres::from_inches(1.0 / 8.0), "Haw. Code R. 4-46-1"),
    }
}

fn tolerances() -> Vec<LotTolerances> {
    const TABLE: &str = "Haw. Code R. title 4 ch. 46 table I, after AMS 56";
    const SUMMARY: &str =
        "lay summary of AMS 56 (destination shares); checks of Jumbo from memory: AMS 56.216";
    let row = |grade: &str, stage, of_grade, checks, jumbo: Option<f64>, source: &str| {
        let b = grade == "b";
        LotTolerances {
            grade: grade.to_owned(),
            stage,
            of_grade,
            checks: Some(checks),
            checks_jumbo: jumbo,
            restricted: Some(0.005),
            spot_loss: Some(0.003),
            serious_b: (!b).then_some(0.01),
            doubled_below: None,
            source: source.to_owned(),
            mark: Mark::Seen,
        }
    };
    vec![
        row("aa", Stage::Origin, 0.87, 0.05, Some(0.07), TABLE),
        row("aa", Stage::Destination, 0.72, 0.07, Some(0.09), SUMMARY),
        row("a", Stage::Origin, 0.87, 0.05, Some(0.07), TABLE),
        row("a", Stage::Destination, 0.82, 0.07, Some(0.09), SUMMARY),
        row("b", Stage::Origin, 0.90, 0.10, None, TABLE),
        row("b", Stage::Destination, 0.90, 0.10, None, TABLE),
    ]
}

fn label() -> LabelRules {
    LabelRules {
        keep_cold: Some(Rule::seen(
            "Keep Refrigerated".to_owned(),
            "21 CFR 101.17(h); 63 FR 45663 (2015 edition read)",
        )),
        safe_handling: Some(Rule::seen(
            SAFE_HANDLING.to_owned(),
            "21 CFR 101.17(h) (2015 edition read)",
        )),
        safe_handling_bold: Some("SAFE HANDLING INSTRUCTIONS".to_owned()),
        safe_handling_boxed: true,
        producer: Some(Rule::seen(
            true,
            "Haw. Code R. 4-46-5 (a state rule); 21 CFR 101.5 from memory",
        )),
        pack_day: None,
        best_by: None,
        producer_code: None,
        reserved_words: Some(Rule::seen(
            vec![
                "usda".to_owned(),
                "shield".to_owned(),
                "officially graded".to_owned(),
            ],
            "7 CFR 56.36(a)(1) (2015 edition read)",
        )),
        graded_species: Rule::seen(vec![Species::Hen], "7 CFR 56.1 (2015 edition read)"),
    }
}

fn thresholds() -> Vec<Threshold> {
    let row = |number, meaning: &str, source: &str| Threshold {
        meaning: meaning.to_owned(),
        number: Rule::seen(number, source),
    };
    vec![
        row(
            3000,
            "hens: with fewer, or with all eggs sold directly to consumers, the egg safety rule \
             does not apply",
            "21 CFR 118.1 (2015 edition read)",
        ),
        row(
            3000,
            "hens or fewer: exempt from inspection under the Egg Products Inspection Act",
            "7 CFR 57.100(d) (2015 edition read)",
        ),
        row(
            30,
            "dozen of restricted eggs at most in one sale direct to a household",
            "7 CFR 57.100(c) (2015 edition read)",
        ),
        row(
            2,
            "years for which egg handlers keep their records",
            "7 CFR 57.200 (2015 edition read)",
        ),
    ]
}
