//! The baseline of the European Union: the marketing standards for eggs of *Gallus gallus*, with
//! the hygiene limit of 28 days that replaced 21 in December 2022.

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

const CLASSES: &str = "Reg. (EC) 557/2007 Art. 2, in substance Reg. (EU) 2023/2465";

pub(super) fn pack() -> RulePack {
    RulePack {
        code: "eu".to_owned(),
        name: "European Union baseline".to_owned(),
        edition: "Reg. (EU) 2023/2465 of 17 August 2023 and 2022/2258; details from the older text"
            .to_owned(),
        caution: "National law sets the rules for small flocks and for sale at the farm, and it \
            decides. These standards are for hens' eggs only."
            .to_owned(),
        cleaning: cleaning(),
        chill: ChillRules {
            species: Rule::seen(vec![Species::Hen], "Reg. (EU) 2023/2465 Art. 1"),
            cooler_max: None,
            cooler_min: Some(Rule::seen(Celsius(5.0), CLASSES)),
            lay_to_cooler_max: None,
            temper_max: None,
        },
        dates: dates(),
        sizes: Some(size::eu()),
        quality: Some(quality()),
        tolerances: tolerances(),
        label: label(),
        thresholds: thresholds(),
        keep_records_months: Some(Rule::memory(
            12,
            "Reg. (EC) 589/2008 Art. 20 to 22, at least 12 months; check the current text",
        )),
    }
}

fn cleaning() -> CleaningRules {
    const ARTICLE: &str = "Reg. (EC) 557/2007 Art. 2 and 3";
    CleaningRules {
        wet: Rule::seen(Permission::LosesClass, ARTICLE),
        dry: Rule::seen(Permission::LosesClass, ARTICLE),
        water_min: Some(Rule::seen(
            Celsius::from_fahrenheit(90.0),
            "7 CFR 56.76(f); used here as guidance for eggs washed for the home",
        )),
        water_above_egg_min: Some(Rule::seen(
            CelsiusDelta(11.0),
            "Québec P-29, r. 1, s. 5.7.19; used here as guidance for eggs washed for the home",
        )),
        water_above_egg_max: Some(Rule::seen(
            CelsiusDelta(22.0),
            "food-technology encyclopaedia on thermal checks; guideline, no law",
        )),
        rinse_above_wash_min: Some(Rule::seen(
            CelsiusDelta(0.0),
            "7 CFR 56.76(f); used here as guidance for eggs washed for the home",
        )),
        // Water goes in through the pores wherever the egg was laid.
        soak_max: Some(Rule::seen(
            Minutes(0.0),
            "7 CFR 56.76(f); used here as guidance for eggs washed for the home",
        )),
        water_age_max: None,
        baskets_max: None,
        sanitiser_ppm: None,
        wet_hand_cleaning_prohibited: None,
    }
}

fn dates() -> DateRules {
    let from_lay = |days| DayLimit {
        days,
        counting: Counting::Exclusive,
        from: FromDay::Lay,
    };
    DateRules {
        best_by: Some(Rule::seen(
            from_lay(28),
            "UK guidance on Reg. (EC) 589/2008",
        )),
        sell_by: None,
        pack_within: Some(Rule::seen(from_lay(10), "EU summary of Reg. (EC) 589/2008")),
        deliver_within: Some(Rule::seen(
            from_lay(28),
            "Delegated Reg. (EU) 2022/2258, in force 8 December 2022 (before: 21 days)",
        )),
    }
}

fn quality() -> QualityScheme {
    let extra = GradeCriteria {
        code: "extra".to_owned(),
        name: "Class A extra".to_owned(),
        shell: Shell::Normal,
        stain_free: StainTone::Specks,
        stain_localised: 0.0,
        stain_scattered: 0.0,
        air_cell_max: Some(Millimetres(4.0)),
        air_cell_still: true,
        white: White::ReasonablyFirm,
        yolk: Yolk::Fair,
        spots_max: Millimetres(0.0),
        germ: Germ::None,
        cleaned: false,
        retail: true,
        haugh_min: None,
    };
    let a = GradeCriteria {
        code: "a".to_owned(),
        name: "Class A".to_owned(),
        air_cell_max: Some(Millimetres(6.0)),
        ..extra.clone()
    };
    // Class B has no criteria of its own: what is fit to eat and not class A goes to the industry.
    let b = GradeCriteria {
        code: "b".to_owned(),
        name: "Class B (for the food industry)".to_owned(),
        shell: Shell::Abnormal,
        stain_free: StainTone::Slight,
        stain_localised: 1.0,
        stain_scattered: 1.0,
        air_cell_max: None,
        air_cell_still: false,
        white: White::Weak,
        yolk: Yolk::Plain,
        spots_max: Millimetres::from_inches(1.0 / 8.0),
        germ: Germ::Visible,
        cleaned: true,
        retail: false,
        ..extra.clone()
    };
    QualityScheme {
        species: vec![Species::Hen],
        grades: Rule::seen(vec![extra, a, b], CLASSES),
        restricted: Rule::seen(
            vec![Species::Hen],
            "Reg. (EC) 557/2007 Art. 2 (clean, undamaged, no foreign matter); words of 7 CFR 57.1",
        ),
        spots_loss_above: Rule::seen(
            Millimetres::from_inches(1.0 / 8.0),
            "Haw. Code R. 4-46-1; the EU text gives no size",
        ),
    }
}

fn tolerances() -> Vec<LotTolerances> {
    let row = |stage, of_grade| LotTolerances {
        grade: "a".to_owned(),
        stage,
        of_grade,
        checks: None,
        checks_jumbo: None,
        restricted: None,
        spot_loss: None,
        serious_b: None,
        doubled_below: Some(180),
        source: "Reg. (EC) 589/2008 Art. 26".to_owned(),
        mark: Mark::Seen,
    };
    vec![row(Stage::Origin, 0.95), row(Stage::Destination, 0.93)]
}

fn label() -> LabelRules {
    LabelRules {
        keep_cold: Some(Rule::seen(
            "Keep eggs chilled after purchase".to_owned(),
            "UK legal-guidance page for small sellers",
        )),
        safe_handling: None,
        safe_handling_bold: None,
        safe_handling_boxed: false,
        producer: Some(Rule::seen(true, "UK legal-guidance page for small sellers")),
        pack_day: None,
        best_by: Some(Rule::seen(true, "UK guidance on Reg. (EC) 589/2008")),
        producer_code: Some(Rule::seen(
            false,
            "trading-standards guide; needed on graded eggs and, from 50 birds, at public markets",
        )),
        reserved_words: None,
        graded_species: Rule::seen(vec![Species::Hen], "Reg. (EU) 2023/2465 Art. 1"),
    }
}

fn thresholds() -> Vec<Threshold> {
    let row = |number, meaning: &str| Threshold {
        meaning: meaning.to_owned(),
        number: Rule::seen(number, "UK legal-guidance and trading-standards pages"),
    };
    vec![
        row(
            50,
            "birds: from here on, a code on eggs sold at public markets (UK)",
        ),
        row(350, "birds: from here on, registration (UK)"),
    ]
}
