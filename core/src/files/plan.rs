use std::str::FromStr;

use super::{DateOrder, LogMap};
use crate::trade::Species;

/// The unit of weights without one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WeightUnit {
    /// Grams.
    Grams,
    /// Ounces of 28.349523125 g.
    Ounces,
}

impl FromStr for WeightUnit {
    type Err = String;
    fn from_str(text: &str) -> Result<WeightUnit, String> {
        match text {
            "g" => Ok(WeightUnit::Grams),
            "oz" => Ok(WeightUnit::Ounces),
            _ => Err("allowed are g and oz".into()),
        }
    }
}

/// How a household's log is to be read.
#[derive(Debug, Clone, PartialEq)]
pub struct LogPlan {
    /// Which column holds what.
    pub map: LogMap,
    /// The order of day, month and year.
    pub dates: DateOrder,
    /// The coop of rows that name none; the farm's only one unless given.
    pub coop: Option<String>,
    /// The species of rows that name none; the coop's only one unless given.
    pub species: Option<Species>,
    /// The unit of weights that name none; grams unless given.
    pub unit: Option<WeightUnit>,
    /// Coops that the farm does not know are added.
    pub new_coops: bool,
}

impl LogPlan {
    /// A plan with this map and nothing else said.
    pub fn new(map: LogMap) -> LogPlan {
        LogPlan {
            map,
            dates: DateOrder::Evident,
            coop: None,
            species: None,
            unit: None,
            new_coops: false,
        }
    }
}
