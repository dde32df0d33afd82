//! Which rules a farm works under, from what it has stored.

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

use super::super::error::TradeError;
use super::{HousePolicy, RulePack};

/// The word for a pack that the farm stored itself.
const CUSTOM: &str = "custom";

fn read<T: DeserializeOwned>(value: &Value) -> Result<T, TradeError> {
    serde_json::from_value(value.clone()).map_err(|e| TradeError::Pack(e.to_string()))
}

impl RulePack {
    /// The words for the packs that a farm can choose.
    pub const CODES: [&str; 3] = ["us_federal", "eu", CUSTOM];

    /// A pack of the farm's own, as a JSON value.
    ///
    /// # Errors
    /// [`TradeError::Pack`] when it is not a pack; the first impossible figure; a code other than
    /// `custom`, since no farm may pass its own rules off as a published baseline.
    pub fn own(value: &Value) -> Result<RulePack, TradeError> {
        let pack: RulePack = read(value)?;
        pack.validate()?;
        if pack.code != CUSTOM {
            return Err(TradeError::not_allowed("code", pack.code, CUSTOM));
        }
        Ok(pack)
    }
}

impl HousePolicy {
    /// A policy as a JSON value.
    ///
    /// # Errors
    /// [`TradeError::Pack`] when it is not a policy, or as for [`HousePolicy::validate`].
    pub fn own(value: &Value) -> Result<HousePolicy, TradeError> {
        let house: HousePolicy = read(value)?;
        house.validate()?;
        Ok(house)
    }
}

/// The words of a pack or policy, as somebody gave it, that it does not know, each with its path,
/// for example `cleaning.water_mim`. Reading passes over them, since a newer version may know them;
/// whoever writes a pack by hand wants to hear of a slip that leaves a limit out.
pub fn unknown_words(given: &Value, read: &impl Serialize) -> Vec<String> {
    fn walk(path: &str, given: &Value, known: &Value, found: &mut Vec<String>) {
        match (given, known) {
            (Value::Object(given), Value::Object(known)) => {
                for (word, value) in given {
                    let path = match path {
                        "" => word.clone(),
                        _ => format!("{path}.{word}"),
                    };
                    match known.get(word) {
                        Some(known) => walk(&path, value, known, found),
                        None => found.push(path),
                    }
                }
            }
            (Value::Array(given), Value::Array(known)) => {
                for (i, (value, known)) in given.iter().zip(known).enumerate() {
                    walk(&format!("{path}[{i}]"), value, known, found);
                }
            }
            _ => {}
        }
    }
    let mut found = Vec::new();
    if let Ok(known) = serde_json::to_value(read) {
        walk("", given, &known, &mut found);
    }
    found
}

/// The rule pack in force under the farm's choice; its own pack counts under `custom` only.
///
/// # Errors
/// When no pack has that word, or the choice is `custom` and there is no pack of the farm's own.
pub fn in_force(code: &str, own: Option<&RulePack>) -> Result<RulePack, TradeError> {
    match (code, own) {
        ("us_federal", _) => Ok(RulePack::us_federal()),
        ("eu", _) => Ok(RulePack::eu()),
        (CUSTOM, Some(own)) => Ok(own.clone()),
        (CUSTOM, None) => Err(TradeError::not_allowed(
            "rules",
            "nothing",
            "a rule pack of the farm's own, since rule_pack is custom",
        )),
        _ => Err(TradeError::not_allowed(
            "rule_pack",
            code,
            RulePack::CODES.join(", "),
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_has_its_pack_and_the_own_one_counts_only_as_custom() {
        let own = RulePack::custom(&RulePack::eu(), "Our county");
        for code in RulePack::CODES {
            assert_eq!(in_force(code, Some(&own)).unwrap().code, code);
        }
        let missing = in_force("custom", None).unwrap_err().to_string();
        assert!(
            missing.starts_with("rules is nothing; allowed"),
            "{missing}"
        );
        let unknown = in_force("mars", None).unwrap_err().to_string();
        assert_eq!(
            unknown,
            "rule_pack is mars; allowed is us_federal, eu, custom"
        );
    }

    #[test]
    fn a_slip_of_the_pen_is_named() {
        let own = RulePack::custom(&RulePack::us_federal(), "Our county");
        let mut given = serde_json::to_value(&own).unwrap();
        assert_eq!(unknown_words(&given, &own), Vec::<String>::new());
        let cleaning = given["cleaning"].as_object_mut().unwrap();
        let limit = cleaning.remove("water_min").unwrap();
        cleaning.insert("water_mim".into(), limit);
        given["tolerances"][1]["cheks"] = 0.5.into();
        let read = RulePack::own(&given).unwrap();
        assert_eq!(read.cleaning.water_min, None);
        assert_eq!(
            unknown_words(&given, &read),
            ["cleaning.water_mim", "tolerances[1].cheks"]
        );
    }

    #[test]
    fn a_pack_of_ones_own_is_no_baseline() {
        let value = |pack: &RulePack| serde_json::to_value(pack).unwrap();
        let own = RulePack::custom(&RulePack::eu(), "Our county");
        assert_eq!(RulePack::own(&value(&own)).unwrap(), own);
        assert!(RulePack::own(&value(&RulePack::eu())).is_err());
        let silent = RulePack {
            caution: " ".into(),
            ..own
        };
        assert!(RulePack::own(&value(&silent)).is_err());
        let far = serde_json::json!({"ages_apart_max_days": 367});
        let refused = HousePolicy::own(&far).unwrap_err().to_string();
        assert!(refused.contains("ages_apart_max_days is 367"), "{refused}");
    }
}
