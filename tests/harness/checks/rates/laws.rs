//! Distributions and exact tests against an independent library.

use pointdown_core::trade::rates::{
    Counts, Proportion, c_limits, fisher_two_sided, holm, normal_quantile, np_limits,
};
use statrs::distribution::{
    Binomial, ContinuousCDF, DiscreteCDF, NegativeBinomial, Normal, Poisson,
};
use statrs::stats_tests::Alternative;
use statrs::stats_tests::fisher::fishers_exact;

use super::super::{Check, Kind};
use super::value;

const STATRS: &str = "crate statrs 0.19";

pub(super) fn rows() -> Vec<Check> {
    let mut rows = Vec::new();
    let mut row = |name: String, source: &str, kind, expected, tolerance, got| {
        rows.push(Check::new(name, source, kind, expected, tolerance, got));
    };
    for p in [0.01, 0.9, 0.95, 0.975, 0.998_65] {
        let expected = value(Normal::new(0.0, 1.0).map(|normal| normal.inverse_cdf(p)));
        let name = format!("normal quantile of {p}");
        row(
            name,
            STATRS,
            Kind::Published,
            expected,
            1e-9,
            normal_quantile(p),
        );
    }
    for (mean, k) in [(2.0, 7), (4.0, 11), (37.5, 30), (240.0, 260)] {
        let expected = value(Poisson::new(mean).map(|law| law.cdf(k)));
        let got = value(Counts::new(mean, 1.0).map(|law| law.at_most(k)));
        let name = format!("Poisson, mean {mean}: {k} or fewer");
        row(name, STATRS, Kind::Published, expected, 1e-9, got);
    }
    // Variance φ times the mean: size μ / (φ − 1), chance 1 / φ.
    for (mean, phi, k) in [(40.0, 1.8, 30), (12.0, 3.0, 20), (300.0, 1.2, 270)] {
        let library = NegativeBinomial::new(mean / (phi - 1.0), 1.0 / phi);
        let expected = value(library.map(|law| law.cdf(k)));
        let got = value(Counts::new(mean, phi).map(|law| law.at_most(k)));
        let name = format!("negative binomial, mean {mean}, dispersion {phi}: {k} or fewer");
        row(name, STATRS, Kind::Published, expected, 1e-9, got);
    }
    for (mean, phi, k) in [(12.0_f64, 0.4, 10), (40.0, 0.2, 36), (400.0, 0.5, 410)] {
        let n = (mean / (1.0 - phi)).round();
        let library = Binomial::new(mean / n, n as u64);
        let expected = value(library.map(|law| law.cdf(k)));
        let got = value(Counts::new(mean, phi).map(|law| law.at_most(k)));
        let name = format!("binomial, mean {mean}, dispersion {phi}: {k} or fewer");
        row(name, STATRS, Kind::Published, expected, 1e-9, got);
    }
    for (share, eggs) in [(0.05, 24), (0.03, 60)] {
        let expected = Binomial::new(share, eggs)
            .map_or(f64::NAN, |law| law.inverse_cdf(0.998_65) as f64 + 1.0);
        let got = value(np_limits(share, eggs).map(|limits| limits.exact_alarm as f64));
        let name = format!("alarming count of {eggs} eggs at {share}");
        row(name, STATRS, Kind::Published, expected, 0.0, got);
    }
    for (mean, expected) in [(2.0, 7.0), (4.0, 11.0)] {
        let got = value(c_limits(mean).map(|limits| limits.exact_alarm as f64 - 1.0));
        let name = format!("Poisson 99.865 % point, mean {mean}");
        row(
            name,
            "computed once with the Python library scipy",
            Kind::Memory,
            expected,
            0.0,
            got,
        );
    }
    for [a, of_a, b, of_b] in [
        [3_u64, 60, 12, 72],
        [0, 24, 4, 30],
        [9, 200, 5, 300],
        [1, 9, 11, 12],
    ] {
        // The library takes the table column by column: its shape does not change the p-value.
        let table = [a, b, of_a - a, of_b - b];
        let expected = value(fishers_exact(&table, Alternative::TwoSided));
        let got = Proportion::new(a, of_a)
            .and_then(|here| Proportion::new(b, of_b).map(|there| fisher_two_sided(here, there)));
        let name = format!("exact test, {a} of {of_a} against {b} of {of_b}");
        row(name, STATRS, Kind::Published, expected, 1e-9, value(got));
    }
    let corrected = holm(&[0.01, 0.04, 0.03, 0.005]);
    let source = "arithmetic from Scandinavian Journal of Statistics 6:65–70 (1979)";
    for (i, expected) in [0.03, 0.06, 0.06, 0.02].into_iter().enumerate() {
        let name = format!(
            "Holm's correction of 0.01, 0.04, 0.03, 0.005: value {}",
            i + 1
        );
        row(name, source, Kind::Memory, expected, 1e-12, corrected[i]);
    }
    rows
}
