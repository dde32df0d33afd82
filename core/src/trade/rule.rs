//! One figure with its source.

use serde::{Deserialize, Serialize};

use super::finding::{Mark, Reason};

/// One figure of a pack with where and when it was written down.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Rule<T> {
    /// The figure.
    pub value: T,
    /// The text it comes from, with the edition or date of that text.
    pub source: String,
    /// How sure that source is.
    pub mark: Mark,
}

impl<T> Rule<T> {
    /// A figure that was read in its source.
    pub fn seen(value: T, source: &str) -> Rule<T> {
        Rule {
            value,
            source: source.to_owned(),
            mark: Mark::Seen,
        }
    }

    /// A figure known from a cited text that was not read again.
    pub fn memory(value: T, source: &str) -> Rule<T> {
        Rule {
            value,
            source: source.to_owned(),
            mark: Mark::Memory,
        }
    }

    /// The rule as a reason, in the words given.
    pub fn reason(&self, words: impl Into<String>) -> Reason {
        Reason::new(words, self.source.clone(), self.mark)
    }
}
