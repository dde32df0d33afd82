//! Every address of the server, with its description made from the very code that serves it.

use std::sync::{Arc, OnceLock};

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::header;
use axum::middleware;
use axum::response::IntoResponse;
use pointdown_core::sync::MAX_BODY;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::app::App;
use crate::error::ApiError;
use crate::kitchen::PAGES;
use crate::openapi::description;
use crate::{around, events, health, kitchen, members, phone, repo, roster, sync};

/// The largest body where no changes travel, in bytes.
const SMALL_BODY: usize = 64 * 1024;

/// Every address of the server with its description. Only what is named here is served.
fn addresses() -> OpenApiRouter<Arc<App>> {
    let sync = OpenApiRouter::new()
        .routes(routes!(sync::sync))
        .layer(DefaultBodyLimit::max(MAX_BODY));
    OpenApiRouter::with_openapi(description())
        .merge(sync)
        .routes(routes!(events::for_phone))
        .routes(routes!(repo::connect))
        .routes(routes!(members::join))
        .routes(routes!(roster::token))
        .routes(routes!(roster::invite))
        .routes(routes!(roster::devices))
        .routes(routes!(roster::revoke))
        .routes(routes!(roster::role))
        .routes(routes!(roster::audit))
        .routes(routes!(health::live))
        .routes(routes!(health::ready))
        .routes(routes!(health::metrics))
        .routes(routes!(openapi_json))
        .merge(kitchen::routes())
}

pub(crate) fn router(app: Arc<App>) -> Router {
    let (router, _) = addresses().split_for_parts();
    router
        .merge(phone::routes())
        .fallback(|| async { ApiError::not_found() })
        .method_not_allowed_fallback(|| async { ApiError::method() })
        .layer(DefaultBodyLimit::max(SMALL_BODY))
        .layer(middleware::from_fn(around::refuse_large))
        .layer(middleware::from_fn_with_state(app.clone(), around::in_time))
        .layer(middleware::from_fn_with_state(app.clone(), around::whence))
        .layer(middleware::from_fn_with_state(app.clone(), around::secure))
        .layer(middleware::from_fn_with_state(app.clone(), around::trace))
        .with_state(app)
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
