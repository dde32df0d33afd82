use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::super::finding::Reason;
use super::super::species::Species;
use super::super::units::Grams;

/// What the label says about size.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SizeWords {
    /// Nothing.
    Unsized,
    /// A weight class by its word; the eggs were weighed and meet it.
    Class(String),
    /// Eggs of different sizes with the least net weight.
    Mixed(Grams),
}

/// Who packed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Producer {
    /// The name.
    pub name: String,
    /// The address, line by line.
    pub address: Vec<String>,
    /// A producer or plant code, if one was given by an authority.
    pub code: Option<String>,
}

/// What somebody wants on a carton.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LabelRequest {
    /// Whose eggs; one carton never holds two species.
    pub species: Species,
    /// How many eggs.
    pub eggs: u32,
    /// What to say about size.
    pub size: SizeWords,
    /// Whether the eggs were weighed one by one or as a carton.
    pub weighed: bool,
    /// The grade's word, if one is wanted.
    pub grade: Option<String>,
    /// Whether each egg was candled and graded by the pack's criteria.
    pub graded: bool,
    /// The pack day.
    pub pack_day: NaiveDate,
    /// The earliest lay day in the carton.
    pub oldest_lay: NaiveDate,
    /// A best-by day; `None` takes the last day that pack and house allow.
    pub best_by: Option<NaiveDate>,
    /// Who packed.
    pub producer: Option<Producer>,
    /// The lot code.
    pub lot: Option<String>,
    /// Further words, for example `Unwashed`.
    pub claims: Vec<String>,
}

/// A part of a label.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// The species, by name.
    Identity,
    /// Count with size where there is one: `12 Large eggs`.
    Count,
    /// Grade or class of quality.
    Grade,
    /// Pack day.
    PackDay,
    /// Best by.
    BestBy,
    /// Words about cold.
    KeepCold,
    /// The safe-handling statement.
    SafeHandling,
    /// Producer block.
    Producer,
    /// Producer or plant code.
    ProducerCode,
    /// Lot code.
    Lot,
    /// Further words.
    Claim,
}

/// One line of a label.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LabelLine {
    /// Which part it is.
    pub part: Part,
    /// The text.
    pub text: String,
    /// How many bytes at the start of the text are printed bold.
    pub bold: usize,
    /// Whether the line stands in a box of hairlines.
    pub boxed: bool,
    /// Whether the pack requires it.
    pub required: bool,
    /// The rule behind it.
    pub why: Reason,
}
