//! Heat in a sphere that is put into air or water of another temperature: the series solution of
//! the heat equation with a surface coefficient (any heat-transfer text, "transient conduction").
//!
//! All numbers are pure: Biot `Bi = h·r/k`, Fourier `Fo = α·t/r²`, and a *ratio*
//! `(T − T∞)/(T0 − T∞)`, 1 at the start and 0 in the end.

use std::f64::consts::PI;

/// Terms that are summed at most; reached only at the very start, where the ratio is nearly 1.
const TERMS: usize = 200;

/// The first `count` roots of `λ·cot λ = 1 − Bi`, each between (n−1)·π and n·π.
///
/// Meaningful for a Biot number above 0; callers guard their coefficients.
pub fn roots(biot: f64, count: usize) -> Vec<f64> {
    (1..=count).map(|n| root(biot, n)).collect()
}

/// Bisection on `λ·cos λ − (1 − Bi)·sin λ`, which has no pole and one root in the open interval.
fn root(biot: f64, n: usize) -> f64 {
    let f = |x: f64| x * x.cos() - (1.0 - biot) * x.sin();
    let mut low = (n as f64 - 1.0) * PI + 1e-12;
    let mut high = n as f64 * PI;
    let sign = f(high).signum();
    for _ in 0..80 {
        let middle = 0.5 * (low + high);
        if f(middle).signum() == sign {
            high = middle;
        } else {
            low = middle;
        }
    }
    0.5 * (low + high)
}

/// Where in the sphere.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum At {
    /// The centre.
    Centre,
    /// The surface.
    Surface,
    /// The mean over the volume, which is what the heat content follows.
    Mean,
}

/// The temperature ratio after a Fourier number.
pub fn ratio(at: At, biot: f64, fourier: f64) -> f64 {
    if fourier <= 0.0 || biot <= 0.0 {
        return 1.0;
    }
    let mut sum = 0.0;
    for n in 1..=TERMS {
        let l = root(biot, n);
        let decay = (-l * l * fourier).exp();
        if decay < 1e-16 {
            break;
        }
        let (sin, cos) = l.sin_cos();
        let amplitude = 4.0 * (sin - l * cos) / (2.0 * l - (2.0 * l).sin());
        let place = match at {
            At::Centre => 1.0,
            At::Surface => sin / l,
            At::Mean => 3.0 * (sin - l * cos) / (l * l * l),
        };
        sum += amplitude * place * decay;
    }
    sum.clamp(0.0, 1.0)
}

/// The Fourier number at which a ratio is reached; infinite for a ratio of 0.
pub fn fourier_for(at: At, biot: f64, target: f64) -> f64 {
    if target >= 1.0 {
        return 0.0;
    }
    if target <= 0.0 || biot <= 0.0 {
        return f64::INFINITY;
    }
    let mut high = 1.0;
    while ratio(at, biot, high) > target {
        high *= 2.0;
    }
    let mut low = 0.0;
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if ratio(at, biot, middle) > target {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The heat equation on shells, stepped in time: an independent way to the same numbers.
    fn stepped(biot: f64, fourier: f64) -> (f64, f64) {
        let n = 60;
        let dr = 1.0 / n as f64;
        let dt = 0.2 * dr * dr;
        let mut u = vec![1.0; n];
        for _ in 0..(fourier / dt).round() as usize {
            let before = u.clone();
            for i in 0..n {
                let (inner, outer) = (i as f64 * dr, (i + 1) as f64 * dr);
                let volume = (outer.powi(3) - inner.powi(3)) / 3.0;
                let into = if i == 0 {
                    0.0
                } else {
                    inner * inner * (before[i - 1] - before[i]) / dr
                };
                let out = if i + 1 == n {
                    // Half a shell of conduction in series with the surface.
                    outer * outer * before[i] / (0.5 * dr + 1.0 / biot)
                } else {
                    outer * outer * (before[i] - before[i + 1]) / dr
                };
                u[i] = before[i] + dt * (into - out) / volume;
            }
        }
        let mean = (0..n)
            .map(|i| u[i] * (((i + 1) as f64 * dr).powi(3) - (i as f64 * dr).powi(3)))
            .sum();
        (u[0], mean)
    }

    #[test]
    fn the_series_agrees_with_a_stepped_solution() {
        for (biot, fourier) in [(0.3, 0.5), (0.3, 2.0), (1.5, 0.3), (10.0, 0.1), (40.0, 0.2)] {
            let (centre, mean) = stepped(biot, fourier);
            let difference = (ratio(At::Centre, biot, fourier) - centre).abs();
            assert!(difference < 4e-3, "centre {biot} {fourier}: {difference}");
            let difference = (ratio(At::Mean, biot, fourier) - mean).abs();
            assert!(difference < 4e-3, "mean {biot} {fourier}: {difference}");
        }
    }

    #[test]
    fn at_a_small_biot_number_the_sphere_is_one_lump() {
        // m·c·dT/dt = −h·A·(T − T∞) gives exp(−3·Bi·Fo) for a sphere.
        for fourier in [1.0, 5.0, 20.0] {
            let lump = (-3.0_f64 * 0.01 * fourier).exp();
            assert!((ratio(At::Mean, 0.01, fourier) - lump).abs() < 2e-3);
        }
    }

    #[test]
    fn time_and_ratio_are_inverse() {
        for biot in [0.1, 1.0, 30.0] {
            for target in [0.9, 0.5, 0.1] {
                let fourier = fourier_for(At::Mean, biot, target);
                assert!((ratio(At::Mean, biot, fourier) - target).abs() < 1e-9);
            }
        }
        assert_eq!(fourier_for(At::Mean, 1.0, 1.0), 0.0);
        assert_eq!(fourier_for(At::Mean, 1.0, 0.0), f64::INFINITY);
    }

    #[test]
    fn surface_leads_and_centre_lags() {
        let (s, m, c) = (
            ratio(At::Surface, 5.0, 0.1),
            ratio(At::Mean, 5.0, 0.1),
            ratio(At::Centre, 5.0, 0.1),
        );
        assert!(s < m && m < c, "{s} {m} {c}");
    }
}
