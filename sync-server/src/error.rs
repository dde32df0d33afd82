use axum::Json;
use axum::extract::rejection::{
    BytesRejection, FormRejection, JsonRejection, PathRejection, QueryRejection,
};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use pointdown_core::farm::FarmError;
use pointdown_core::sync::Refused;

use crate::exchange::ExchangeError;
use crate::store::StoreError;

/// Goes with an answer that could not be given because of the disk.
#[derive(Debug, Clone)]
pub(crate) struct Trouble(pub(crate) StoreError);

/// A refusal over HTTP: a status, a stable word for programs and a sentence for people.
#[derive(Debug)]
pub(crate) struct ApiError {
    status: StatusCode,
    error: &'static str,
    message: String,
    /// After how many seconds it is worth to try again.
    again: Option<u64>,
    /// What the disk is to blame for.
    trouble: Option<Trouble>,
}

impl ApiError {
    pub(crate) fn new(
        status: StatusCode,
        error: &'static str,
        message: impl Into<String>,
    ) -> ApiError {
        ApiError {
            status,
            error,
            message: message.into(),
            again: None,
            trouble: None,
        }
    }

    /// What was sent breaks a rule; the message names field, value and what is allowed.
    pub(crate) fn invalid(message: impl Into<String>) -> ApiError {
        ApiError::new(StatusCode::BAD_REQUEST, "invalid", message)
    }

    /// No token, a wrong one and a revoked one look the same.
    pub(crate) fn token() -> ApiError {
        ApiError::new(
            StatusCode::UNAUTHORIZED,
            "token",
            "this device has not joined, or was shut out; join with a new invite",
        )
    }

    /// The device belongs to the farm, but may not do this.
    pub(crate) fn role() -> ApiError {
        ApiError::new(
            StatusCode::FORBIDDEN,
            "role",
            "only an owner of the farm may do this; ask one of them",
        )
    }

    pub(crate) fn not_found() -> ApiError {
        ApiError::new(
            StatusCode::NOT_FOUND,
            "not_found",
            "there is nothing here at this address",
        )
    }

    pub(crate) fn method() -> ApiError {
        ApiError::new(
            StatusCode::METHOD_NOT_ALLOWED,
            "method",
            "this address does not take that kind of request",
        )
    }

    pub(crate) fn too_large(most: usize) -> ApiError {
        ApiError::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            "too_large",
            format!("the message is too large; allowed are {most} bytes"),
        )
    }

    /// More than is allowed; `what` is a plural.
    pub(crate) fn too_many(what: &str, seconds: u64) -> ApiError {
        ApiError {
            again: Some(seconds),
            ..ApiError::new(
                StatusCode::TOO_MANY_REQUESTS,
                "too_many",
                format!("there are too many {what}; try again in {seconds} s"),
            )
        }
    }

    /// Whether it says that a code was not taken.
    pub(crate) fn is_refused_invite(&self) -> bool {
        matches!(self.error, "invite" | "invite_used" | "invite_expired")
    }

    /// Whether it says that this device is not let in.
    pub(crate) fn is_token(&self) -> bool {
        self.error == "token"
    }

    pub(crate) fn status(&self) -> StatusCode {
        self.status
    }

    /// The stable word for it.
    pub(crate) fn word(&self) -> &'static str {
        self.error
    }

    /// The same words, as an answer about the whole server and no news of trouble.
    pub(crate) fn unavailable(self) -> ApiError {
        ApiError {
            status: StatusCode::SERVICE_UNAVAILABLE,
            trouble: None,
            ..self
        }
    }

    pub(crate) fn timeout() -> ApiError {
        ApiError::new(
            StatusCode::REQUEST_TIMEOUT,
            "timeout",
            "the request took too long; send it again, nothing is taken twice",
        )
    }

    /// Something is wrong with the server itself. What exactly stands in its log, not here.
    pub(crate) fn internal() -> ApiError {
        ApiError::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "internal",
            "the server made a mistake; nothing was changed, its log says more",
        )
    }
}

impl IntoResponse for ApiError {
    fn into_response(self) -> Response {
        let body = Json(Refused {
            error: self.error.into(),
            message: self.message,
        });
        if self.status == StatusCode::UNAUTHORIZED {
            let challenge = [(header::WWW_AUTHENTICATE, "Bearer")];
            return (self.status, challenge, body).into_response();
        }
        let mut response = (self.status, body).into_response();
        if let Some(trouble) = self.trouble {
            response.extensions_mut().insert(trouble);
        }
        if let Some(seconds) = self.again {
            response
                .headers_mut()
                .insert(header::RETRY_AFTER, seconds.into());
        }
        response
    }
}

impl From<StoreError> for ApiError {
    fn from(e: StoreError) -> ApiError {
        tracing::error!(error = %e, "the store failed");
        let trouble = match &e {
            StoreError::Full | StoreError::ReadOnly | StoreError::Damaged(_) => {
                Some(Trouble(e.clone()))
            }
            _ => None,
        };
        let (error, message) = match e {
            StoreError::Full => (
                "full",
                "the server's disk is full; nothing was taken, and nothing is lost on the phone",
            ),
            StoreError::InUse | StoreError::Unreachable(_) | StoreError::Conflict => (
                "busy",
                "the server's database is busy; try again in a moment",
            ),
            StoreError::ReadOnly => (
                "read_only",
                "the server cannot write to its disk; nothing was taken, and nothing is lost on \
                 the phone",
            ),
            StoreError::Damaged(_) => (
                "damaged",
                "the server's database is damaged; nothing was taken, and nothing is lost on the \
                 phone. Whoever runs the server can restore it from a backup",
            ),
            StoreError::NoSuchFarm => return ApiError::token(),
            StoreError::Address(_) | StoreError::TooNew { .. } | StoreError::Backend(_) => {
                return ApiError::internal();
            }
        };
        ApiError {
            again: Some(30),
            trouble,
            ..ApiError::new(StatusCode::SERVICE_UNAVAILABLE, error, message)
        }
    }
}

impl From<FarmError> for ApiError {
    fn from(e: FarmError) -> ApiError {
        tracing::error!(error = %e, "the replica failed");
        ApiError::internal()
    }
}

impl From<ExchangeError> for ApiError {
    fn from(e: ExchangeError) -> ApiError {
        match e {
            ExchangeError::Message(e) => {
                ApiError::new(StatusCode::BAD_REQUEST, "unreadable", e.to_string())
            }
            ExchangeError::TooMany { .. } => ApiError::invalid(e.to_string()),
            ExchangeError::ShutOut => ApiError::token(),
            ExchangeError::Store(e) => e.into(),
        }
    }
}

/// A body that axum could not read, in the words of this server.
fn body(status: StatusCode, why: String) -> ApiError {
    if status == StatusCode::PAYLOAD_TOO_LARGE {
        ApiError::new(
            status,
            "too_large",
            "the message is too large for this address",
        )
    } else {
        ApiError::new(StatusCode::BAD_REQUEST, "unreadable", why)
    }
}

impl From<BytesRejection> for ApiError {
    fn from(e: BytesRejection) -> ApiError {
        body(e.status(), e.body_text())
    }
}

impl From<JsonRejection> for ApiError {
    fn from(e: JsonRejection) -> ApiError {
        body(e.status(), e.body_text())
    }
}

impl From<FormRejection> for ApiError {
    fn from(e: FormRejection) -> ApiError {
        body(e.status(), e.body_text())
    }
}

impl From<PathRejection> for ApiError {
    fn from(e: PathRejection) -> ApiError {
        ApiError::invalid(e.body_text())
    }
}

impl From<QueryRejection> for ApiError {
    fn from(e: QueryRejection) -> ApiError {
        ApiError::invalid(e.body_text())
    }
}
