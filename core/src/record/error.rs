use serde::Serialize;

use crate::trade::TradeError;

/// Why a draft or an incoming record does not stand: the field, the value, and what is allowed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, thiserror::Error)]
#[error("{field}: {value} is not allowed; {allowed}")]
pub struct InvalidRecord {
    /// The field as named in records and files, for example `floor_laid`.
    pub field: String,
    /// What was given, shortened where it is long; `nothing` where it is missing.
    pub value: String,
    /// What would have been accepted, in words.
    pub allowed: String,
}

impl InvalidRecord {
    /// An error about one field.
    pub fn new(
        field: impl Into<String>,
        value: impl std::fmt::Display,
        allowed: impl Into<String>,
    ) -> Self {
        let mut value = value.to_string();
        if value.chars().count() > 60 {
            value = value.chars().take(57).collect::<String>() + "...";
        }
        InvalidRecord {
            field: field.into(),
            value,
            allowed: allowed.into(),
        }
    }

    /// A field that must be given and is not.
    pub fn missing(field: &str, allowed: impl Into<String>) -> Self {
        InvalidRecord::new(field, "nothing", allowed)
    }

    /// An error of the trade about one field as such; any other kind is given back.
    pub(crate) fn of_the_trade(error: TradeError) -> Result<Self, TradeError> {
        match error {
            TradeError::OutOfRange {
                field,
                value,
                low,
                high,
                unit,
            } => Ok(InvalidRecord::new(
                field,
                format!("{value} {unit}"),
                format!("allowed is {low} to {high} {unit}"),
            )),
            TradeError::NotAllowed {
                field,
                value,
                allowed,
            } => Ok(InvalidRecord::new(
                field,
                value,
                format!("allowed is {allowed}"),
            )),
            other => Err(other),
        }
    }
}
