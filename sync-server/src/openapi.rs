//! The description of every address, made from the very code that serves it.

use std::sync::OnceLock;

use axum::http::header;
use axum::response::IntoResponse;
use utoipa::openapi::OpenApi;
use utoipa::openapi::security::{ApiKey, ApiKeyValue, HttpAuthScheme, HttpBuilder, SecurityScheme};
use utoipa::{Modify, OpenApi as _, ToSchema};

use crate::app::addresses;
use crate::auth::COOKIE;
use crate::kitchen::PAGES;

#[derive(utoipa::OpenApi)]
#[openapi(
    info(
        title = "Pointdown server",
        description = "Egg records that several phones keep apart and combine. Times are \
                       milliseconds since 1970 UTC."
    ),
    modifiers(&Keys)
)]
struct Description;

/// The description without any address.
pub(crate) fn description() -> OpenApi {
    Description::openapi()
}

struct Keys;

impl Modify for Keys {
    fn modify(&self, openapi: &mut OpenApi) {
        let bearer = |what: &str| {
            let http = HttpBuilder::new().scheme(HttpAuthScheme::Bearer);
            SecurityScheme::Http(http.description(Some(what)).build())
        };
        let cookie = ApiKeyValue::with_description(COOKIE, "What a screen got when it joined.");
        let all = openapi.components.get_or_insert_default();
        all.add_security_scheme("token", bearer("What a phone got when it joined."));
        all.add_security_scheme(
            "metrics",
            bearer("What whoever runs the server chose for it."),
        );
        all.add_security_scheme("screen", SecurityScheme::ApiKey(ApiKey::Cookie(cookie)));
    }
}

/// An address of the server.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Endpoint {
    /// The method, in capital letters.
    pub method: String,
    /// The path, with its parameters in braces.
    pub path: String,
    /// Which secret it asks for: `token`, `screen` or `metrics`.
    pub secret: Option<String>,
}

/// Every address of the server, in order.
pub fn endpoints() -> Vec<Endpoint> {
    let mut all: Vec<Endpoint> = PAGES
        .iter()
        .map(|(path, ..)| Endpoint {
            method: "GET".into(),
            path: (*path).into(),
            secret: None,
        })
        .collect();
    let description = serde_json::to_value(addresses().into_openapi()).unwrap_or_default();
    for (path, item) in description["paths"].as_object().into_iter().flatten() {
        for (method, operation) in item.as_object().into_iter().flatten() {
            let secret = operation["security"][0].as_object();
            all.push(Endpoint {
                method: method.to_uppercase(),
                path: path.clone(),
                secret: secret.and_then(|s| s.keys().next().cloned()),
            });
        }
    }
    all.sort();
    all
}

/// This description.
#[utoipa::path(
    get, path = "/v1/openapi.json", tag = "upkeep",
    responses((status = 200, description = "OpenAPI, as JSON.", body = serde_json::Value))
)]
pub(crate) async fn openapi_json() -> impl IntoResponse {
    static TEXT: OnceLock<String> = OnceLock::new();
    let text = TEXT.get_or_init(|| addresses().into_openapi().to_json().unwrap_or_default());
    ([(header::CONTENT_TYPE, "application/json")], text.as_str())
}

// The three types that travel live in the core, which knows nothing of OpenAPI. A test holds these
// against them.

/// What a device sends to join.
#[derive(ToSchema)]
#[expect(dead_code, reason = "only described")]
pub(crate) struct JoinAsk {
    /// The code of the invite.
    invite: String,
    /// The farm that the device keeps already.
    farm: Option<String>,
    /// The name of the device.
    name: String,
    /// Every actor that wrote in the device's database so far, in hexadecimal.
    actors: Option<Vec<String>>,
}

/// What a device gets when it joined.
#[derive(ToSchema)]
#[expect(dead_code, reason = "only described")]
pub(crate) struct JoinAnswer {
    /// The farm that the device belongs to now.
    farm: String,
    /// The device's secret: 64 hexadecimal digits, shown once.
    token: String,
}

/// A refusal.
#[derive(ToSchema)]
#[expect(dead_code, reason = "only described")]
pub(crate) struct Refused {
    /// A stable word for programs.
    error: String,
    /// What happened and what is allowed, for people.
    message: String,
}
