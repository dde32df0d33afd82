//! The sink, and what can be wrong with an egg: the core's own answers.

use pointdown_core::farm::{self, Bowl, ErrorKind, Farm, FarmError};
use pointdown_core::trade::{Defect, TradeError};
use serde::Deserialize;
use serde_json::{Value, json};

/// What stands at the sink, the basin with it.
#[derive(Deserialize)]
pub(crate) struct Sink {
    #[serde(flatten)]
    sink: farm::Sink,
    #[serde(flatten)]
    bowl: Bowl,
}

/// What is right, whether the water is, how many eggs it can take, and what is wrong with how it
/// is done.
pub(crate) fn sink(farm: &Farm, asked: &Sink) -> Result<Value, FarmError> {
    let sink = farm::Sink {
        bowl: Some(asked.bowl),
        ..asked.sink.clone()
    };
    Ok(match farm.sink(&sink)? {
        Some(advice) => json!(advice),
        None => json!({ "rules": null }),
    })
}

/// What can be wrong with an egg: where it shows, when, and what may become of it.
pub(crate) fn defects() -> Value {
    let all: Vec<Value> = Defect::ALL
        .into_iter()
        .map(|defect| json!(defect.facts()))
        .collect();
    json!(all)
}

/// An error of the trade as one of the facade.
pub(crate) fn said(e: TradeError) -> FarmError {
    FarmError::new(ErrorKind::Invalid, e.to_string())
}
