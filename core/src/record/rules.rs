//! Fields that hold rules: a pack of the farm's own, a house policy.

use serde_json::Value;

use super::field::shown;
use super::{FieldType, InvalidRecord};
use crate::trade::TradeError;

/// The longest rule pack or house policy, in bytes of JSON. The built-in packs have about 10,000.
pub(super) const LONGEST: usize = 65_536;

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
        check(&object).map_err(|error| match error {
            TradeError::OutOfRange {
                field,
                value,
                low,
                high,
                unit,
            } => InvalidRecord::new(
                format!("{name}: {field}"),
                format!("{value} {unit}"),
                format!("allowed is {low} to {high} {unit}"),
            ),
            TradeError::NotAllowed {
                field,
                value,
                allowed,
            } => InvalidRecord::new(
                format!("{name}: {field}"),
                value,
                format!("allowed is {allowed}"),
            ),
            other => {
                InvalidRecord::new(name, shown(&object), format!("{}; {other}", self.allowed()))
            }
        })?;
        Ok(object)
    }
}
