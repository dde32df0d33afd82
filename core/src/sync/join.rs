use serde::{Deserialize, Serialize};

use crate::record::Id;

/// What a device sends to `POST /v1/join`, as JSON.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct JoinAsk {
    /// The code of the invite.
    pub invite: String,
    /// The farm that the device keeps already; nothing for a new phone that takes the invite's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub farm: Option<Id>,
    /// The name of the device, for the list of who is in.
    pub name: String,
    /// Every actor that wrote in the device's own database so far, in hexadecimal.
    #[serde(default)]
    pub actors: Vec<String>,
}

/// What the server answers, as JSON.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct JoinAnswer {
    /// The farm that the device belongs to now.
    pub farm: Id,
    /// The device's secret: 64 hexadecimal digits, shown once, kept by the server only as a hash.
    pub token: String,
}

/// The body of every refusal over HTTP, as JSON.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Refused {
    /// A stable word for programs, for example `token` or `invite_used`.
    pub error: String,
    /// What happened and what is allowed, for people.
    pub message: String,
}
