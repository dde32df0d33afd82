use thiserror::Error;

use super::cartons::CartonError;
use super::rates::RatesError;

/// Why a question of the trade cannot be answered. Each names the field, the value and what is
/// allowed.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum TradeError {
    /// A measurement outside what can be true.
    #[error("{field} is {value} {unit}; allowed is {low} to {high} {unit}")]
    OutOfRange {
        /// The field that was wrong.
        field: &'static str,
        /// The value given.
        value: f64,
        /// The lowest value allowed.
        low: f64,
        /// The highest value allowed.
        high: f64,
        /// The unit of all three.
        unit: &'static str,
    },
    /// Two values that cannot be true together.
    #[error("{field} is {value}; allowed is {allowed}")]
    NotAllowed {
        /// The field that was wrong.
        field: &'static str,
        /// The value given, as text.
        value: String,
        /// What would be allowed.
        allowed: String,
    },
    /// A rule pack that cannot be read.
    #[error("rule pack cannot be read: {0}")]
    Pack(String),
    /// Eggs, classes or carton sizes that cannot be.
    #[error(transparent)]
    Cartons(#[from] CartonError),
    /// Counts, days or shares that cannot be.
    #[error(transparent)]
    Rates(#[from] RatesError),
}

impl TradeError {
    /// Two values that contradict each other, or a word that the pack does not know.
    pub(crate) fn not_allowed(
        field: &'static str,
        value: impl ToString,
        allowed: impl ToString,
    ) -> TradeError {
        TradeError::NotAllowed {
            field,
            value: value.to_string(),
            allowed: allowed.to_string(),
        }
    }
}

/// The value itself when it lies in `low..=high`; not-a-number never does.
pub(crate) fn within(
    field: &'static str,
    value: f64,
    low: f64,
    high: f64,
    unit: &'static str,
) -> Result<f64, TradeError> {
    if value >= low && value <= high {
        Ok(value)
    } else {
        Err(TradeError::OutOfRange {
            field,
            value,
            low,
            high,
            unit,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_message_names_field_value_and_what_is_allowed() {
        let error = within("water temperature", 130.0, 0.0, 100.0, "°C").unwrap_err();
        assert_eq!(
            error.to_string(),
            "water temperature is 130 °C; allowed is 0 to 100 °C"
        );
        assert!(within("water temperature", f64::NAN, 0.0, 100.0, "°C").is_err());
        assert!(within("water temperature", f64::INFINITY, 0.0, 100.0, "°C").is_err());
        assert_eq!(
            within("water temperature", 100.0, 0.0, 100.0, "°C"),
            Ok(100.0)
        );
    }
}
