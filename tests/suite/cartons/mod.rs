//! Cartons: exactness against other methods, and what must hold for every plan.

mod by_pack;
mod exhaustive;
mod properties;
mod solver;

use pointdown_core::trade::Species;
use pointdown_core::trade::cartons::{ClassLimits, Egg};
use pointdown_core::trade::units::Grams;

/// A small generator whose numbers are the same on every machine (SplitMix64).
pub(crate) struct Numbers(pub(crate) u64);

impl Numbers {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// From `low` up to and with `high`.
    pub(crate) fn within(&mut self, low: u64, high: u64) -> u64 {
        low + self.next() % (high - low + 1)
    }

    /// From 0 up to 1.
    pub(crate) fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }
}

fn hens(weights: &[f64]) -> Vec<Egg> {
    weights
        .iter()
        .enumerate()
        .map(|(i, &g)| Egg {
            tag: i as u64,
            species: Species::Hen,
            weight: Grams(g),
            lay_day: None,
        })
        .collect()
}

fn net_only(per_dozen: Option<f64>) -> ClassLimits {
    ClassLimits {
        net_per_dozen: per_dozen.map(Grams),
        ..ClassLimits::by_count("test", None)
    }
}

/// The figures of a plan that has one group or none, in tenths of a gram.
type Figures = (usize, usize, i64, i64);

fn figures(plan: &pointdown_core::trade::cartons::Plan) -> Figures {
    plan.groups.first().map_or((0, 0, 0, 0), |group| {
        let m = &group.measure;
        let tenths = |g: Grams| (g.0 * 10.0).round() as i64;
        (
            m.packed,
            m.cartons,
            tenths(m.largest_range),
            tenths(m.total_range),
        )
    })
}
