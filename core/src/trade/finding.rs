use serde::{Deserialize, Serialize};

/// How sure a source is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// The published text or number was read when the rule was written down.
    Seen,
    /// Known from a cited publication that was not read again.
    Memory,
    /// A habit of the trade; no publication is known.
    CommonPractice,
    /// Set by the farm itself.
    House,
}

/// One rule that led to a result, and where it comes from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reason {
    /// The rule in words, with its figures.
    pub rule: String,
    /// The text it comes from.
    pub source: String,
    /// How sure that source is.
    pub mark: Mark,
}

impl Reason {
    /// A reason from its parts.
    pub fn new(rule: impl Into<String>, source: impl Into<String>, mark: Mark) -> Reason {
        Reason {
            rule: rule.into(),
            source: source.into(),
            mark,
        }
    }

    /// A habit of the trade.
    pub fn common_practice(rule: impl Into<String>) -> Reason {
        Reason::new(rule, "common practice, no source", Mark::CommonPractice)
    }
}

/// A result with the rules it follows from and the usual caution.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding<T> {
    /// The result.
    pub value: T,
    /// Which rules, from which sources; never empty.
    pub why: Vec<Reason>,
    /// What a careful person would add; empty only where nobody can be hurt.
    pub caution: String,
}

impl<T> Finding<T> {
    /// A result that follows from one rule.
    pub fn new(value: T, why: Reason, caution: impl Into<String>) -> Finding<T> {
        Finding {
            value,
            why: vec![why],
            caution: caution.into(),
        }
    }

    /// A result that follows from several rules.
    pub fn because(value: T, why: Vec<Reason>, caution: impl Into<String>) -> Finding<T> {
        Finding {
            value,
            why,
            caution: caution.into(),
        }
    }

    /// The same reasons for another value.
    pub fn map<U>(self, f: impl FnOnce(T) -> U) -> Finding<U> {
        Finding {
            value: f(self.value),
            why: self.why,
            caution: self.caution,
        }
    }
}

/// The caution that goes with every rule of law.
pub const LOCAL_CODES_DECIDE: &str =
    "This explains and reminds; it is not legal advice. Your local codes decide.";

/// The caution for anything that touches wash water.
pub const WASH_CAUTION: &str = "Hot water scalds and chlorine burns: measure the water, wear gloves, \
     air the room, never mix chlorine with acid or ammonia, and follow the product's label. \
     Clean-looking eggs can still carry Salmonella; your local codes decide whether to wash at all.";

/// The caution for anything about keeping eggs cold.
pub const COLD_CAUTION: &str = "Keep eggs cold once they are cold and cook them until the yolks are \
     firm. The thermometer in the cooler decides, not the estimate; your local codes decide the limits.";

/// The caution for a drop in lay or a loss that stands out.
pub const FLOCK_CAUTION: &str = "Statistics about the past, not a diagnosis. A sudden drop together \
     with soft or wrinkled shells, ill birds or deaths: call a veterinarian or the animal-health \
     office at once, and hold the eggs.";

/// The caution for what is promised from a forecast.
pub const FORECAST_CAUTION: &str = "An honest guess from the past days: a moult, an illness, heat or \
     a predator is not in it. Never fill an order with eggs that are held, dirty, cracked or too old.";
