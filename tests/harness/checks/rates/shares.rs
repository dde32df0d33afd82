//! Intervals for shares.

use pointdown_core::trade::rates::{Interval, Proportion, RatesError};
use statrs::distribution::{Beta, ContinuousCDF};

use super::super::{Check, Kind};

type Method = fn(Proportion) -> Result<Interval, RatesError>;

pub(super) fn rows() -> Vec<Check> {
    let paper = "Statistics in Medicine 17:857–872 (1998), table; computed once with statsmodels";
    let once = "computed once with the Python library statsmodels";
    let wilson: Method = |share| share.wilson(0.95);
    let corrected: Method = |share| share.wilson_corrected(0.95);
    let exact: Method = |share| share.exact(0.95);
    let table: [(u64, u64, &str, Method, &str, f64, f64); 19] = [
        (81, 263, "Wilson", wilson, paper, 0.2553, 0.3662),
        (15, 148, "Wilson", wilson, paper, 0.0624, 0.1605),
        (0, 20, "Wilson", wilson, paper, 0.0, 0.1611),
        (1, 29, "Wilson", wilson, paper, 0.0061, 0.1718),
        (
            81,
            263,
            "Wilson corrected",
            corrected,
            paper,
            0.2535,
            0.3682,
        ),
        (
            15,
            148,
            "Wilson corrected",
            corrected,
            paper,
            0.0598,
            0.1644,
        ),
        (0, 20, "Wilson corrected", corrected, paper, 0.0, 0.2005),
        (1, 29, "Wilson corrected", corrected, paper, 0.0018, 0.1963),
        (81, 263, "exact", exact, paper, 0.2527, 0.3676),
        (15, 148, "exact", exact, paper, 0.0578, 0.1617),
        (0, 20, "exact", exact, paper, 0.0, 0.1684),
        (1, 29, "exact", exact, paper, 0.0009, 0.1776),
        (0, 12, "Wilson", wilson, once, 0.0, 0.2425),
        (12, 12, "Wilson", wilson, once, 0.7575, 1.0),
        (3, 60, "Wilson", wilson, once, 0.0171, 0.1370),
        (2, 72, "Wilson", wilson, once, 0.0077, 0.0957),
        (5, 240, "Wilson", wilson, once, 0.0089, 0.0478),
        (7, 360, "Wilson", wilson, once, 0.0095, 0.0396),
        (23, 60, "Wilson", wilson, once, 0.2709, 0.5098),
    ];
    let mut rows = Vec::new();
    let mut row = |name: String, source: &str, kind, expected, tolerance, got| {
        rows.push(Check::new(name, source, kind, expected, tolerance, got));
    };
    let ends = |events, of, method: Method| {
        let interval = Proportion::new(events, of).and_then(method);
        interval.map_or((f64::NAN, f64::NAN), |ends| (ends.low, ends.high))
    };
    for (events, of, name, method, source, low, high) in table {
        let (got_low, got_high) = ends(events, of, method);
        let name = format!("{events} of {of}, {name} 95 %");
        row(
            format!("{name}, low"),
            source,
            Kind::Memory,
            low,
            5e-5,
            got_low,
        );
        row(
            format!("{name}, high"),
            source,
            Kind::Memory,
            high,
            5e-5,
            got_high,
        );
    }
    for (events, of) in [(81_u64, 263_u64), (15, 148), (1, 29), (7, 360)] {
        let library = |probability, a: u64, b: u64| {
            Beta::new(a as f64, b as f64).map_or(f64::NAN, |beta| beta.inverse_cdf(probability))
        };
        let (low, high) = ends(events, of, exact);
        let name = format!("{events} of {of}, exact 95 %");
        let source = "beta quantile of the crate statrs 0.19";
        let expected = library(0.025, events, of - events + 1);
        row(
            format!("{name}, low, by library"),
            source,
            Kind::Published,
            expected,
            1e-8,
            low,
        );
        let expected = library(0.975, events + 1, of - events);
        row(
            format!("{name}, high, by library"),
            source,
            Kind::Published,
            expected,
            1e-8,
            high,
        );
    }
    // One-sided 95 % is the upper end of a two-sided 90 %.
    let one_sided = Proportion::new(0, 20).and_then(|share| share.exact(0.9));
    let got = one_sided.map_or(f64::NAN, |ends| ends.high);
    row(
        "0 of 20, one-sided exact 95 %".into(),
        once,
        Kind::Memory,
        0.1391,
        5e-5,
        got,
    );
    rows
}
