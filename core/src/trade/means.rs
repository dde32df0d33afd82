use serde::{Deserialize, Serialize};

use super::finding::{Finding, Mark, Reason, WASH_CAUTION};

/// What an egg is cleaned with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Means {
    /// A dry brush, fine sandpaper or a dry cloth; the bloom stays.
    Dry,
    /// A spray or running water that drains away.
    Spray,
    /// A brush under running water.
    Brush,
    /// A damp cloth used for one batch, then laundered.
    Cloth,
    /// A paper towel used for one egg.
    PaperTowel,
    /// A sponge.
    Sponge,
    /// A basin or bucket in which the egg is under water.
    Basin,
}

/// What is in the wash water.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cleaner {
    /// Nothing but potable water.
    Water,
    /// A powder or liquid that is made and approved for washing eggs.
    EggWash,
    /// Plain chlorine bleach without scent, diluted, as a sanitiser after washing.
    Chlorine,
    /// A quaternary ammonium sanitiser approved for the use.
    Quaternary,
    /// An iodine product.
    Iodine,
    /// Dish soap, scented bleach, or any household cleaner.
    Household,
    /// Vinegar or another acid.
    Acid,
}

/// How well a tool or a cleaner does its work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Suitability {
    /// Use it, with the hygiene given.
    Good,
    /// Only with care.
    WithCare,
    /// Advised against.
    AdvisedAgainst,
}

impl Means {
    /// Every means, driest first.
    pub const ALL: [Means; 7] = [
        Means::Dry,
        Means::Spray,
        Means::Brush,
        Means::Cloth,
        Means::PaperTowel,
        Means::Sponge,
        Means::Basin,
    ];

    /// The word in records and files, for example `paper_towel`.
    pub const fn code(self) -> &'static str {
        match self {
            Means::Dry => "dry",
            Means::Spray => "spray",
            Means::Brush => "brush",
            Means::Cloth => "cloth",
            Means::PaperTowel => "paper_towel",
            Means::Sponge => "sponge",
            Means::Basin => "basin",
        }
    }

    /// The means with this word, if there is one.
    pub fn from_code(code: &str) -> Option<Means> {
        Means::ALL.into_iter().find(|m| m.code() == code)
    }

    /// Whether water touches the egg, so that the rules for washing apply.
    pub const fn is_wet(self) -> bool {
        !matches!(self, Means::Dry)
    }

    /// How suitable the means is, and its hygiene in words.
    pub fn advice(self) -> Finding<Suitability> {
        use Mark::{CommonPractice, Seen};
        use Suitability::{AdvisedAgainst, Good, WithCare};
        let (value, rule, source, mark) = match self {
            Means::Dry => (
                Good,
                "Dry cleaning keeps the bloom. Use fine sandpaper, a brush or a cloth that is \
                 clean; an abrasive face rubs off the colour of the shell and thins it, so rub \
                 only the spot, and throw a clogged piece away.",
                "Minn. R. 1520.0500; national public-health advice to home flocks",
                Seen,
            ),
            Means::Spray => (
                Good,
                "Let the water run off the egg; nothing that touched one egg touches the next. \
                 Dry the egg at once.",
                "7 CFR 56.76(f); county health page on home eggs",
                Seen,
            ),
            Means::Brush => (
                WithCare,
                "Rinse the brush after each egg, sanitise it after each batch, let it dry \
                 bristles down, and replace it when bristles splay, stain or smell. A stiff \
                 brush rubs off colour.",
                "common practice, no source",
                CommonPractice,
            ),
            Means::Cloth => (
                WithCare,
                "One cloth for one batch at most, then the laundry, hot. A cloth carries dirt \
                 from egg to egg; some states prohibit wet rags outright (Minn. R. 1520.0500).",
                "common practice, no source",
                CommonPractice,
            ),
            Means::PaperTowel => (
                Good,
                "One towel for one egg, then the bin.",
                "county health page on home eggs",
                Seen,
            ),
            Means::Sponge => (
                AdvisedAgainst,
                "A sponge stays wet and carries bacteria from egg to egg; wet hand cleaning with \
                 sponges or rags is prohibited for handlers in Minnesota. An abrasive face rubs \
                 off colour. If you use one, sanitise it between uses.",
                "Minn. R. 1520.0500",
                Seen,
            ),
            Means::Basin => (
                WithCare,
                "No soaking: an egg that stands in water draws the water in through its pores \
                 as it cools. In and out within moments, and change the water often.",
                "7 CFR 56.76(f); Conn. Regs 22-324-D7",
                Seen,
            ),
        };
        Finding::new(value, Reason::new(rule, source, mark), WASH_CAUTION)
    }
}

impl Cleaner {
    /// Every cleaner, mildest first.
    pub const ALL: [Cleaner; 7] = [
        Cleaner::Water,
        Cleaner::EggWash,
        Cleaner::Chlorine,
        Cleaner::Quaternary,
        Cleaner::Iodine,
        Cleaner::Household,
        Cleaner::Acid,
    ];

    /// The word in records and files, for example `egg_wash`.
    pub const fn code(self) -> &'static str {
        match self {
            Cleaner::Water => "water",
            Cleaner::EggWash => "egg_wash",
            Cleaner::Chlorine => "chlorine",
            Cleaner::Quaternary => "quaternary",
            Cleaner::Iodine => "iodine",
            Cleaner::Household => "household",
            Cleaner::Acid => "acid",
        }
    }

    /// The cleaner with this word, if there is one.
    pub fn from_code(code: &str) -> Option<Cleaner> {
        Cleaner::ALL.into_iter().find(|c| c.code() == code)
    }

    /// How suitable the cleaner is for eggs that people eat.
    pub fn advice(self) -> Finding<Suitability> {
        use Mark::{CommonPractice, Seen};
        use Suitability::{AdvisedAgainst, Good, WithCare};
        let (value, rule, source, mark) = match self {
            Cleaner::Water => (
                Good,
                "Potable water; iron above 2 ppm helps bacteria and needs treatment.",
                "7 CFR 56.76(e)-(f)",
                Seen,
            ),
            Cleaner::EggWash => (
                Good,
                "Only compounds approved for shell eggs; mix by the label.",
                "7 CFR 56.76(f)",
                Seen,
            ),
            Cleaner::Chlorine => (
                WithCare,
                "A sanitiser, not a soap: after the egg is clean, within the ppm window of the \
                 rules, measured with test strips.",
                "7 CFR 56.76(f)",
                Seen,
            ),
            Cleaner::Quaternary => (
                WithCare,
                "May be used in replacement water if it is compatible with the washing compound.",
                "7 CFR 56.76(f)",
                Seen,
            ),
            Cleaner::Iodine => (
                AdvisedAgainst,
                "Iodine may not be used in replacement water.",
                "7 CFR 56.76(f)",
                Seen,
            ),
            Cleaner::Household => (
                AdvisedAgainst,
                "No unapproved cleaner: soap and scent go through the pores into the egg.",
                "county health page on home eggs",
                Seen,
            ),
            Cleaner::Acid => (
                AdvisedAgainst,
                "Acid dissolves the shell and opens its pores. Never near chlorine.",
                "common practice, no source",
                CommonPractice,
            ),
        };
        Finding::new(value, Reason::new(rule, source, mark), WASH_CAUTION)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_go_round_and_every_entry_says_why() {
        for means in Means::ALL {
            assert_eq!(Means::from_code(means.code()), Some(means));
            assert!(!means.advice().why[0].rule.is_empty());
        }
        for cleaner in Cleaner::ALL {
            assert_eq!(Cleaner::from_code(cleaner.code()), Some(cleaner));
            assert!(!cleaner.advice().why[0].rule.is_empty());
        }
        assert_eq!(Means::Sponge.advice().value, Suitability::AdvisedAgainst);
        assert!(!Means::Dry.is_wet());
    }
}
