use std::io;

use pointdown_core::farm::{ErrorKind, FarmError};
use pointdown_core::record::InvalidRecord;
use serde_json::json;

/// Why a command did not do what was asked.
#[derive(Debug)]
pub(crate) enum Failure {
    /// The farm said no.
    Farm(FarmError),
    /// What was asked was done, but its result could not be written.
    Output(io::Error),
}

impl From<FarmError> for Failure {
    fn from(e: FarmError) -> Failure {
        Failure::Farm(e)
    }
}

impl From<InvalidRecord> for Failure {
    fn from(e: InvalidRecord) -> Failure {
        Failure::Farm(e.into())
    }
}

impl From<io::Error> for Failure {
    fn from(e: io::Error) -> Failure {
        Failure::Output(e)
    }
}

/// An error about one value on the command line.
pub(crate) fn invalid(field: &str, value: &str, allowed: impl Into<String>) -> Failure {
    InvalidRecord::new(field, format!("{value:?}"), allowed).into()
}

/// An error about something that had to be given on the command line.
pub(crate) fn missing(field: &str, allowed: impl Into<String>) -> Failure {
    InvalidRecord::missing(field, allowed).into()
}

impl Failure {
    /// The exit code, as `--help` promises.
    pub(crate) fn code(&self) -> u8 {
        let Failure::Farm(e) = self else { return 4 };
        match e.kind {
            ErrorKind::Invalid | ErrorKind::OtherFarm | ErrorKind::Refused => 1,
            ErrorKind::NotFound | ErrorKind::Ambiguous | ErrorKind::NotJoined => 3,
            ErrorKind::Network => 5,
            _ => 4,
        }
    }

    /// Whether nobody reads the output any more, as in `pointdown list | head -1`.
    pub(crate) fn is_broken_pipe(&self) -> bool {
        matches!(self, Failure::Output(e) if e.kind() == io::ErrorKind::BrokenPipe)
    }

    /// The error for people, or as one JSON object.
    pub(crate) fn text(&self, json: bool) -> String {
        match self {
            Failure::Farm(e) if json => {
                let mut all = json!({"error": e.kind, "message": e.message});
                if let Some(invalid) = &e.invalid {
                    all["field"] = invalid.field.clone().into();
                    all["value"] = invalid.value.clone().into();
                    all["allowed"] = invalid.allowed.clone().into();
                }
                all.to_string()
            }
            Failure::Farm(e) => match &e.invalid {
                Some(i) if i.value == "nothing" => {
                    format!("pointdown: {} must be given; {}", i.field, i.allowed)
                }
                _ => format!("pointdown: {}", e.message),
            },
            Failure::Output(e) => {
                let message = format!("it was done, but its result cannot be written: {e}");
                if json {
                    json!({"error": "output", "message": message}).to_string()
                } else {
                    format!("pointdown: {message}")
                }
            }
        }
    }
}
