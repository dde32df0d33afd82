//! Rule packs: the figures of law and of good practice, as data with source and date.
//!
//! No function of the trade has a limit of its own; it takes a [`RulePack`], so that a farm can
//! store a pack of its own ([`RulePack::from_json`]) where its local code says otherwise.

mod eu;
mod house;
mod in_force;
mod us;

pub use super::rule::Rule;
pub use house::HousePolicy;
pub use in_force::{in_force, unknown_words};

use serde::{Deserialize, Serialize};

use super::day_limit::DayLimit;
use super::error::{TradeError, within};
use super::quality::QualityScheme;
use super::size::SizeScheme;
use super::species::Species;
use super::tolerance::LotTolerances;
use super::units::{Celsius, CelsiusDelta, Minutes};

/// Whether a way of cleaning is open to eggs that are sold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Permission {
    /// Allowed.
    Allowed,
    /// The egg loses its class, except in places with an authorisation.
    LosesClass,
    /// Not allowed.
    Forbidden,
}

/// How eggs may be cleaned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CleaningRules {
    /// Washing with water.
    pub wet: Rule<Permission>,
    /// Dry cleaning.
    pub dry: Rule<Permission>,
    /// The coldest wash water, whatever the egg's temperature.
    pub water_min: Option<Rule<Celsius>>,
    /// How much warmer than the inside of the egg the water must be.
    pub water_above_egg_min: Option<Rule<CelsiusDelta>>,
    /// How much warmer than the egg the water may be before shells crack.
    pub water_above_egg_max: Option<Rule<CelsiusDelta>>,
    /// How much warmer than the wash water the rinse must be; zero means no colder.
    pub rinse_above_wash_min: Option<Rule<CelsiusDelta>>,
    /// The longest an egg may be wet in standing water; zero means no soaking at all.
    pub soak_max: Option<Rule<Minutes>>,
    /// The longest the same wash water is used.
    pub water_age_max: Option<Rule<Minutes>>,
    /// The most baskets through one bucket of water.
    pub baskets_max: Option<Rule<u32>>,
    /// The lowest and highest sanitiser strength in ppm of available chlorine.
    pub sanitiser_ppm: Option<Rule<(f64, f64)>>,
    /// Whether wet hand cleaning with rags, sponges and the like is prohibited.
    pub wet_hand_cleaning_prohibited: Option<Rule<bool>>,
}

/// How eggs are kept cold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChillRules {
    /// The species that the rules are written for; for all others they are guidance.
    pub species: Rule<Vec<Species>>,
    /// The warmest a cooler may be.
    pub cooler_max: Option<Rule<Celsius>>,
    /// The coldest a cooler may be; below it eggs count as chilled or freeze.
    pub cooler_min: Option<Rule<Celsius>>,
    /// The longest from laying to the cooler.
    pub lay_to_cooler_max: Option<Rule<Minutes>>,
    /// The longest that cold eggs may stand warm before washing.
    pub temper_max: Option<Rule<Minutes>>,
}

/// How long eggs may be sold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DateRules {
    /// The last best-by day.
    pub best_by: Option<Rule<DayLimit>>,
    /// The last sell-by day.
    pub sell_by: Option<Rule<DayLimit>>,
    /// The last day on which eggs may be packed, counted from laying.
    pub pack_within: Option<Rule<DayLimit>>,
    /// The last day of delivery to the consumer, counted from laying.
    pub deliver_within: Option<Rule<DayLimit>>,
}

/// What a carton has to say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LabelRules {
    /// Words about cold, printed exactly so.
    pub keep_cold: Option<Rule<String>>,
    /// The safe-handling statement, printed exactly so.
    pub safe_handling: Option<Rule<String>>,
    /// Words at the start of the safe-handling statement that are printed bold.
    pub safe_handling_bold: Option<String>,
    /// Whether the statement stands in a box of hairlines.
    pub safe_handling_boxed: bool,
    /// Whether name and place of the producer or packer are required.
    pub producer: Option<Rule<bool>>,
    /// Whether the pack day is required.
    pub pack_day: Option<Rule<bool>>,
    /// Whether a best-by or sell-by day is required.
    pub best_by: Option<Rule<bool>>,
    /// Whether a producer code is required on eggs or carton.
    pub producer_code: Option<Rule<bool>>,
    /// Words that only an official grader may print, in lower case.
    pub reserved_words: Option<Rule<Vec<String>>>,
    /// Species whose grade and size words are defined; for all others none may be printed.
    pub graded_species: Rule<Vec<Species>>,
}

/// Sizes of flocks and sales at which duties begin or end. Information only.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Threshold {
    /// What the number counts and what follows from it.
    pub meaning: String,
    /// The number.
    pub number: Rule<u32>,
}

/// All the rules that a farm works under.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RulePack {
    /// A short word for settings, for example `us_federal`.
    pub code: String,
    /// The name that people read.
    pub name: String,
    /// The edition or date of the whole.
    pub edition: String,
    /// What to say beside every result that comes from this pack.
    pub caution: String,
    /// Cleaning.
    pub cleaning: CleaningRules,
    /// Cold.
    pub chill: ChillRules,
    /// Dates.
    pub dates: DateRules,
    /// Weight classes, if the pack has any.
    pub sizes: Option<SizeScheme>,
    /// Quality grades, if the pack has any.
    pub quality: Option<QualityScheme>,
    /// What a lot of cartons may hold besides the grade.
    pub tolerances: Vec<LotTolerances>,
    /// Labels.
    pub label: LabelRules,
    /// Thresholds worth knowing.
    pub thresholds: Vec<Threshold>,
    /// For how many months records are kept. Packs that were stored before this was asked have none.
    #[serde(default)]
    pub keep_records_months: Option<Rule<u32>>,
}

impl RulePack {
    /// The baseline of the United States: federal rules, and the voluntary federal standards.
    pub fn us_federal() -> RulePack {
        us::pack()
    }

    /// The baseline of the European Union: marketing standards for hens' eggs.
    pub fn eu() -> RulePack {
        eu::pack()
    }

    /// A pack of the farm's own to start from: the given pack under another name, all rules open
    /// to change.
    pub fn custom(from: &RulePack, name: &str) -> RulePack {
        RulePack {
            code: "custom".to_owned(),
            name: name.to_owned(),
            edition: format!("changed by the farm, from {} ({})", from.name, from.edition),
            caution:
                "These rules were set by the farm itself. Your local codes decide; check them."
                    .to_owned(),
            ..from.clone()
        }
    }

    /// A pack as a farm stored it.
    ///
    /// # Errors
    /// [`TradeError::Pack`] when the text is not a pack, and the error of [`RulePack::validate`].
    pub fn from_json(text: &str) -> Result<RulePack, TradeError> {
        let pack: RulePack =
            serde_json::from_str(text).map_err(|e| TradeError::Pack(e.to_string()))?;
        pack.validate()?;
        Ok(pack)
    }

    /// The pack as text for storing.
    ///
    /// # Errors
    /// [`TradeError::Pack`] when a figure cannot be written, for example not-a-number.
    pub fn to_json(&self) -> Result<String, TradeError> {
        self.validate()?;
        serde_json::to_string_pretty(self).map_err(|e| TradeError::Pack(e.to_string()))
    }

    /// Checks that the figures can be true and do not contradict one another.
    ///
    /// # Errors
    /// The first field that is out of range or contradicts another.
    pub fn validate(&self) -> Result<(), TradeError> {
        if self.caution.trim().is_empty() {
            return Err(TradeError::not_allowed(
                "caution",
                "empty",
                "words that say whose rules these are and that local codes decide",
            ));
        }
        let c = &self.cleaning;
        if let Some(rule) = &c.water_min {
            within("cleaning.water_min", rule.value.0, 0.0, 60.0, "°C")?;
        }
        for (field, rule) in [
            ("cleaning.water_above_egg_min", &c.water_above_egg_min),
            ("cleaning.water_above_egg_max", &c.water_above_egg_max),
            ("cleaning.rinse_above_wash_min", &c.rinse_above_wash_min),
        ] {
            if let Some(rule) = rule {
                within(field, rule.value.0, 0.0, 50.0, "°C of difference")?;
            }
        }
        if let (Some(low), Some(high)) = (&c.water_above_egg_min, &c.water_above_egg_max)
            && low.value.0 > high.value.0
        {
            return Err(TradeError::not_allowed(
                "cleaning.water_above_egg_min",
                low.value,
                format!("at most water_above_egg_max, {}", high.value),
            ));
        }
        if let Some(rule) = &c.sanitiser_ppm {
            within("cleaning.sanitiser_ppm", rule.value.0, 0.0, 1000.0, "ppm")?;
            within(
                "cleaning.sanitiser_ppm",
                rule.value.1,
                rule.value.0,
                1000.0,
                "ppm",
            )?;
        }
        for (field, rule) in [
            ("chill.cooler_max", &self.chill.cooler_max),
            ("chill.cooler_min", &self.chill.cooler_min),
        ] {
            if let Some(rule) = rule {
                within(field, rule.value.0, -2.0, 30.0, "°C")?;
            }
        }
        for (field, rule) in [
            ("cleaning.soak_max", &c.soak_max),
            ("cleaning.water_age_max", &c.water_age_max),
            ("chill.lay_to_cooler_max", &self.chill.lay_to_cooler_max),
            ("chill.temper_max", &self.chill.temper_max),
        ] {
            if let Some(rule) = rule {
                within(field, rule.value.0, 0.0, 60.0 * 24.0 * 60.0, "minutes")?;
            }
        }
        for (field, rule) in [
            ("dates.best_by", &self.dates.best_by),
            ("dates.sell_by", &self.dates.sell_by),
            ("dates.pack_within", &self.dates.pack_within),
            ("dates.deliver_within", &self.dates.deliver_within),
        ] {
            if let Some(rule) = rule {
                within(field, f64::from(rule.value.days), 1.0, 366.0, "days")?;
            }
        }
        if let Some(rule) = &self.keep_records_months {
            let field = "keep_records_months";
            within(field, f64::from(rule.value), 1.0, 1200.0, "months")?;
        }
        if let Some(sizes) = &self.sizes {
            sizes.validate()?;
        }
        if let Some(quality) = &self.quality {
            quality.validate()?;
        }
        for tolerance in &self.tolerances {
            tolerance.validate()?;
        }
        Ok(())
    }

    /// Whether grades and sizes of this pack are defined for the species.
    pub fn grades_species(&self, species: Species) -> bool {
        self.label.graded_species.value.contains(&species)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn packs_go_round_as_text() {
        for pack in [RulePack::us_federal(), RulePack::eu()] {
            let text = pack.to_json().unwrap();
            assert_eq!(RulePack::from_json(&text).unwrap(), pack);
        }
        assert!(RulePack::from_json("{}").is_err());
    }

    #[test]
    fn a_custom_pack_changes_the_answers() {
        let mut own = RulePack::custom(&RulePack::us_federal(), "Our county");
        own.cleaning.sanitiser_ppm = Some(Rule::seen((50.0, 200.0), "Minn. R. 1520.0500"));
        own.validate().unwrap();
        assert_eq!(own.code, "custom");
        assert!(own.caution.contains("local codes"));
    }

    #[test]
    fn impossible_packs_are_refused_by_field() {
        let with = |change: fn(&mut RulePack)| {
            let mut pack = RulePack::us_federal();
            change(&mut pack);
            pack.validate().unwrap_err().to_string()
        };
        let hot = with(|p| p.cleaning.water_min = Some(Rule::seen(Celsius(90.0), "x")));
        assert!(hot.starts_with("cleaning.water_min is 90"), "{hot}");
        let crossed = with(|p| {
            p.cleaning.water_above_egg_max = Some(Rule::seen(CelsiusDelta(5.0), "x"));
        });
        assert!(
            crossed.starts_with("cleaning.water_above_egg_min"),
            "{crossed}"
        );
        let warm = with(|p| p.chill.cooler_max = Some(Rule::seen(Celsius(45.0), "x")));
        assert!(warm.starts_with("chill.cooler_max is 45"), "{warm}");
        let order = with(|p| {
            if let Some(sizes) = &mut p.sizes {
                sizes.classes.value.reverse();
            }
        });
        assert!(order.starts_with("size class"), "{order}");
    }
}
