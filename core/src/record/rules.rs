//! Fields that hold rules: a pack of the farm's own, a house policy.

use serde_json::Value;

use super::field::{LONGEST, shown};
use super::{FieldType, InvalidRecord};
use crate::trade::TradeError;
use crate::trade::rules::{HousePolicy, RulePack, unknown_words};

impl FieldType {
    /// An object of rules, given as such or as text, that stands the check. It is kept as it was
    /// given: a newer version may know more of its fields.
    pub(super) fn rules(
        &self,
        name: &str,
        value: &Value,
        check: impl Fn(&Value) -> Result<(), TradeError>,
    ) -> Result<Value, InvalidRecord> {
        let object = match value {
            Value::String(text) => serde_json::from_str(text).ok(),
            other => Some(other.clone()),
        };
        let object = object
            .filter(|o| o.is_object() && o.to_string().len() <= LONGEST)
            .ok_or_else(|| InvalidRecord::new(name, shown(value), self.allowed()))?;
        check(&object).map_err(|error| match InvalidRecord::of_the_trade(error) {
            Ok(within) => InvalidRecord {
                field: format!("{name}: {}", within.field),
                ..within
            },
            Err(other) => {
                InvalidRecord::new(name, shown(&object), format!("{}; {other}", self.allowed()))
            }
        })?;
        Ok(object)
    }

    /// Refuses a word that no rule goes by: a misspelt limit would be no limit. Only what is
    /// logged here is held to this; a stored word may be one of a later version.
    pub(super) fn spelt(&self, name: &str, value: &Value) -> Result<(), InvalidRecord> {
        let known = match self {
            FieldType::RulePack => RulePack::own(value).map(serde_json::to_value),
            FieldType::HousePolicy => HousePolicy::own(value).map(serde_json::to_value),
            _ => return Ok(()),
        };
        let Ok(Ok(known)) = known else { return Ok(()) };
        let Some(path) = unknown_words(value, &known).into_iter().next() else {
            return Ok(());
        };
        let (parent, word) = path.rsplit_once('.').unwrap_or(("", &path));
        let siblings = known.pointer(&pointer(parent)).and_then(Value::as_object);
        let words: Vec<&str> = siblings
            .into_iter()
            .flat_map(|words| words.keys().map(String::as_str))
            .collect();
        Err(InvalidRecord::new(
            format!("{name}: {path}"),
            format!("{word:?}"),
            format!("allowed are {}", words.join(", ")),
        ))
    }
}

/// A path such as `tolerances[1].checks` as a JSON pointer (RFC 6901).
fn pointer(path: &str) -> String {
    match path {
        "" => String::new(),
        _ => format!(
            "/{}",
            path.replace('[', ".").replace(']', "").replace('.', "/")
        ),
    }
}
