use chrono::NaiveDate;

/// Input that cannot be.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RatesError {
    /// More events than eggs, or no eggs at all.
    #[error("events is {events} of {of} eggs; allowed is 0 to the eggs, of at least 1 egg")]
    Share {
        /// Eggs counted.
        events: u64,
        /// Eggs in all.
        of: u64,
    },
    /// A number outside what can be.
    #[error("{field} is {value}; allowed is {allowed}")]
    Number {
        /// The field.
        field: &'static str,
        /// What was given.
        value: f64,
        /// What is allowed.
        allowed: &'static str,
    },
    /// Too little to go by.
    #[error("{field} is {value}; allowed is at least {least}")]
    TooFew {
        /// What is counted.
        field: &'static str,
        /// How many there are.
        value: usize,
        /// How many are needed.
        least: usize,
    },
    /// A day that cannot stand where it does.
    #[error("{field} is {value}; allowed is {allowed}")]
    Day {
        /// The field.
        field: &'static str,
        /// What was given.
        value: NaiveDate,
        /// What is allowed.
        allowed: String,
    },
    /// A coop that has culls and no gather.
    #[error("coop is {value:?}; allowed is the coops with gathered eggs")]
    Coop {
        /// What was given.
        value: String,
    },
}

/// The number, if it lies between two others, both allowed.
pub(super) fn between(
    field: &'static str,
    value: f64,
    low: f64,
    high: f64,
    allowed: &'static str,
) -> Result<f64, RatesError> {
    if (low..=high).contains(&value) {
        Ok(value)
    } else {
        Err(RatesError::Number {
            field,
            value,
            allowed,
        })
    }
}

/// A probability that is neither certain nor impossible.
pub(super) fn probability(field: &'static str, value: f64) -> Result<f64, RatesError> {
    between(
        field,
        value,
        1e-9,
        1.0 - 1e-9,
        "more than 0 and less than 1",
    )
}
