use pointdown_core::trade::rules::RulePack;
use pointdown_core::trade::tolerance::{LotCounts, LotTolerances, Stage, ToleranceLine};

use super::boundary::last_whole;
use super::{Check, Kind};

const TABLE: &str = "Haw. Code R. title 4 ch. 46 table I, after AMS 56";
const SUMMARY: &str = "lay summary of AMS 56";
const EU: &str = "Reg. (EC) 589/2008 Art. 26";

fn find(pack: &RulePack, grade: &str, stage: Stage) -> Option<LotTolerances> {
    pack.tolerances
        .iter()
        .find(|t| t.grade == grade && t.stage == stage)
        .cloned()
}

/// The most of something in a lot of `total` with which the lot still passes; the rest is of the
/// grade.
fn most(
    rule: &Option<LotTolerances>,
    total: u32,
    jumbo: bool,
    put: impl Fn(u32, LotCounts) -> LotCounts,
) -> f64 {
    let Some(rule) = rule else {
        return f64::NAN;
    };
    last_whole(total, |n| {
        let counts = put(
            n,
            LotCounts {
                of_grade: total - n,
                ..LotCounts::default()
            },
        );
        rule.judge(&counts, jumbo)
            .is_ok_and(|f| f.value.iter().all(ToleranceLine::holds))
    })
}

pub(super) fn rows() -> Vec<Check> {
    use Stage::{Destination, Origin};
    let (us, eu) = (RulePack::us_federal(), RulePack::eu());
    let lower = |n, c| LotCounts { lower: n, ..c };
    let checks = |n, c| LotCounts { checks: n, ..c };
    let row = |name: &str, source: &str, expected, got| {
        let name = format!("{name}, in a lot of 1000");
        Check::new(name, source, Kind::Published, expected, 0.0, got)
    };
    let aa = find(&us, "aa", Origin);
    let aa_destination = find(&us, "aa", Destination);
    let a = find(&us, "a", Origin);
    let a_destination = find(&us, "a", Destination);
    let b = find(&us, "b", Origin);
    let mut rows = vec![
        row(
            "AA at origin: lower quality",
            TABLE,
            130.0,
            most(&aa, 1000, false, lower),
        ),
        row(
            "AA at destination: lower quality",
            SUMMARY,
            280.0,
            most(&aa_destination, 1000, false, lower),
        ),
        row(
            "A at origin: lower quality",
            TABLE,
            130.0,
            most(&a, 1000, false, lower),
        ),
        row(
            "A at destination: lower quality",
            SUMMARY,
            180.0,
            most(&a_destination, 1000, false, lower),
        ),
        row(
            "AA at origin: checks",
            TABLE,
            50.0,
            most(&aa, 1000, false, checks),
        ),
        row(
            "AA at origin: checks of Jumbo",
            TABLE,
            70.0,
            most(&aa, 1000, true, checks),
        ),
        row(
            "A at destination: checks",
            SUMMARY,
            70.0,
            most(&a_destination, 1000, false, checks),
        ),
        row("B: checks", TABLE, 100.0, most(&b, 1000, false, checks)),
        row(
            "B at destination: checks",
            TABLE,
            100.0,
            most(&find(&us, "b", Destination), 1000, false, checks),
        ),
        row(
            "AA at destination: checks",
            SUMMARY,
            70.0,
            most(&aa_destination, 1000, false, checks),
        ),
        row(
            "AA: leakers, dirties and spot losses",
            TABLE,
            5.0,
            most(&aa, 1000, false, |n, c| LotCounts { dirties: n, ..c }),
        ),
        row(
            "AA: losses from blood or meat spots",
            TABLE,
            3.0,
            most(&aa, 1000, false, |n, c| LotCounts { spot_loss: n, ..c }),
        ),
        row(
            "AA: B for air cells, spots or yolk",
            TABLE,
            10.0,
            most(&aa, 1000, false, |n, c| LotCounts { serious_b: n, ..c }),
        ),
        row(
            "AA: any other loss",
            TABLE,
            0.0,
            most(&aa, 1000, false, |n, c| LotCounts { other_loss: n, ..c }),
        ),
        row(
            "EU class A at the packing centre: defects",
            EU,
            50.0,
            most(&find(&eu, "a", Origin), 1000, false, lower),
        ),
        row(
            "EU class A at later stages: defects",
            EU,
            70.0,
            most(&find(&eu, "a", Destination), 1000, false, lower),
        ),
    ];
    // Five per cent of 180 and more, ten per cent of fewer, in whole eggs.
    for (total, expected) in [(100, 10.0), (179, 17.0), (180, 9.0)] {
        rows.push(Check::new(
            format!(
                "EU class A at the packing centre: defects, in a lot of {total} (doubled below 180)"
            ),
            EU,
            Kind::Published,
            expected,
            0.0,
            most(&find(&eu, "a", Origin), total, false, lower),
        ));
    }
    rows.push(Check::new(
        "AA at destination: checks of Jumbo, in a lot of 1000",
        "AMS 56.216, from memory",
        Kind::Memory,
        90.0,
        0.0,
        most(&aa_destination, 1000, true, checks),
    ));
    rows
}
