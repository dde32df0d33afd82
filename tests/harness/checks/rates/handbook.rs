//! Control charts and cumulative sums.

use pointdown_core::trade::rates::{
    Cusum, RunLengths, c_limits, np_limits, p_limits, reference_value,
};
use statrs::distribution::{ContinuousCDF, Normal};

use super::super::{Check, Kind};
use super::value;

/// Defectives in 50 lots of 200.
const LOTS: [u64; 50] = [
    8, 7, 11, 3, 6, 11, 4, 4, 5, 8, 8, 6, 7, 6, 10, 7, 9, 5, 6, 8, 8, 10, 4, 11, 4, 11, 6, 6, 9, 5,
    4, 7, 5, 7, 8, 5, 10, 9, 7, 9, 4, 9, 4, 7, 11, 8, 10, 8, 7, 5,
];

const TEXTBOOK: [f64; 20] = [
    102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1, 101.3, 98.7, 101.1, 98.4, 97.0,
    96.7, 100.3, 101.4, 97.2, 101.0,
];
const TEXTBOOK_HIGH: [f64; 20] = [
    2.0, 0.0, 0.0, 0.0, 2.0, 0.5, 0.0, 0.0, 0.0, 0.0, 1.3, 0.0, 1.1, 0.0, 0.0, 0.0, 0.3, 1.7, 0.0,
    1.0,
];
const TEXTBOOK_LOW: [f64; 20] = [
    0.0, 3.2, 2.9, 2.5, 0.0, 0.0, 0.0, 0.3, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 2.3, 0.0, 0.0, 0.8,
    0.0,
];

const HANDBOOK: [f64; 20] = [
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
    324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
];

pub(super) fn rows() -> Vec<Check> {
    let mut rows = Vec::new();
    let mut row = |name: String, source: &str, kind, expected, tolerance, got| {
        rows.push(Check::new(name, source, kind, expected, tolerance, got));
    };
    let coursework = "published coursework outputs, np chart of 50 lots of 200";
    let usual = LOTS.iter().sum::<u64>() as f64 / (50.0 * 200.0);
    let np = np_limits(usual, 200);
    for (what, expected, got) in [
        ("centre", 7.14, np.as_ref().map(|limits| limits.centre)),
        (
            "upper limit",
            15.012,
            np.as_ref().map(|limits| limits.upper),
        ),
        ("lower limit", 0.0, np.as_ref().map(|limits| limits.lower)),
    ] {
        row(
            format!("np chart, {what}"),
            coursework,
            Kind::Published,
            expected,
            5e-4,
            value(got),
        );
    }
    let p = p_limits(0.2313, 50);
    let c = c_limits(16.0);
    let nine = c_limits(9.0);
    let (p633, c633) = ("e-Handbook 6.3.3.2", "e-Handbook 6.3.3.1");
    let eggs = "arithmetic from the formula of e-Handbook 6.3.3.2";
    for (name, source, expected, tolerance, got) in [
        (
            "p chart, lower limit",
            p633,
            0.0524,
            5e-5,
            p.as_ref().map(|l| l.lower),
        ),
        (
            "p chart, upper limit",
            p633,
            0.4102,
            5e-5,
            p.as_ref().map(|l| l.upper),
        ),
        (
            "c chart, lower limit",
            c633,
            4.0,
            1e-12,
            c.as_ref().map(|l| l.lower),
        ),
        (
            "c chart, upper limit",
            c633,
            28.0,
            1e-12,
            c.as_ref().map(|l| l.upper),
        ),
        (
            "c chart of 9, lower limit",
            c633,
            0.0,
            1e-12,
            nine.as_ref().map(|l| l.lower),
        ),
        (
            "p chart, 24 eggs at 5 %",
            eggs,
            0.1835,
            5e-5,
            p_limits(0.05, 24).as_ref().map(|l| l.upper),
        ),
        (
            "p chart, 60 eggs at 3 %",
            eggs,
            0.0961,
            5e-5,
            p_limits(0.03, 60).as_ref().map(|l| l.upper),
        ),
    ] {
        row(
            name.into(),
            source,
            Kind::Memory,
            expected,
            tolerance,
            value(got),
        );
    }

    let textbook = "engineering statistics textbook, tabular CUSUM table, μ0 99, K 1, H 10";
    let chart = Cusum {
        target: 99.0,
        slack: 1.0,
        limit: 10.0,
    };
    let sums = chart.run(&TEXTBOOK.map(Some));
    for (i, sum) in sums.iter().enumerate() {
        let point = i + 1;
        if TEXTBOOK_HIGH[i] > 0.0 {
            let name = format!("CUSUM, upper sum at point {point}");
            row(
                name,
                textbook,
                Kind::Published,
                TEXTBOOK_HIGH[i],
                1e-9,
                sum.high,
            );
        }
        if TEXTBOOK_LOW[i] > 0.0 {
            let name = format!("CUSUM, lower sum at point {point}");
            row(
                name,
                textbook,
                Kind::Published,
                TEXTBOOK_LOW[i],
                1e-9,
                sum.low,
            );
        }
    }
    let off: f64 = (0..20)
        .map(|i| (sums[i].high - TEXTBOOK_HIGH[i]).abs() + (sums[i].low - TEXTBOOK_LOW[i]).abs())
        .sum();
    let alarms = sums.iter().filter(|sum| sum.alarm).count() as f64;
    row(
        "CUSUM, all 40 sums: differences".into(),
        textbook,
        Kind::Published,
        0.0,
        1e-9,
        off,
    );
    row(
        "CUSUM, alarms".into(),
        textbook,
        Kind::Published,
        0.0,
        0.0,
        alarms,
    );

    let series = "e-Handbook 6.3.2.3, series with target 325";
    let chart = Cusum {
        target: 325.0,
        slack: 0.3175,
        limit: 4.1959,
    };
    let sums = chart.run(&HANDBOOK.map(Some));
    let expected = [3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04];
    row(
        "CUSUM 325, upper sum at point 5".into(),
        series,
        Kind::Memory,
        0.03,
        0.005,
        sums[4].high,
    );
    for (point, expected) in (13..).zip(expected) {
        let name = format!("CUSUM 325, upper sum at point {point}");
        row(
            name,
            series,
            Kind::Memory,
            expected,
            0.0051,
            sums[point - 1].high,
        );
    }
    let first = sums
        .iter()
        .position(|sum| sum.alarm)
        .map_or(f64::NAN, |i| i as f64 + 1.0);
    row(
        "CUSUM 325, first alarm".into(),
        series,
        Kind::Memory,
        14.0,
        0.0,
        first,
    );

    let poisson = "Technometrics 27:129–141 (1985), formula for Poisson counts";
    for (from, to, expected) in [(2.0, 4.0, 2.885), (1.5, 4.0, 2.549)] {
        let name = format!("Poisson CUSUM, reference value from {from} to {to}");
        let got = value(reference_value(from, to));
        row(name, poisson, Kind::Memory, expected, 5e-4, got);
    }
    let table = "e-Handbook 6.3.2.3, one-sided average run lengths for normal values, k = 0.5";
    for (limit, shift, expected) in [
        (4.0, 0.0, 336.0),
        (4.0, 0.5, 26.6),
        (4.0, 1.0, 8.38),
        (4.0, 2.0, 3.34),
        (5.0, 0.0, 930.0),
        (5.0, 0.5, 38.0),
        (5.0, 1.0, 10.4),
        (5.0, 2.0, 4.01),
    ] {
        let got = normal_run_length(limit, shift);
        let name = format!("mean run length, h = {limit}, shift {shift} σ");
        row(name, table, Kind::Memory, expected, expected * 0.006, got);
    }
    rows
}

/// The chain on a lattice so fine that it stands for normal values; the decision limit lies midway
/// between two of its points.
fn normal_run_length(limit: f64, shift: f64) -> f64 {
    let states = 80;
    let step = limit / (states as f64 + 0.5);
    let Ok(normal) = Normal::new(shift - 0.5, 1.0) else {
        return f64::NAN;
    };
    RunLengths::new(states, |d| normal.cdf((d as f64 + 0.5) * step)).mean()
}
