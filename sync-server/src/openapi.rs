//! What the description of the server says beside its addresses.

use utoipa::openapi::OpenApi;
use utoipa::openapi::security::{ApiKey, ApiKeyValue, HttpAuthScheme, HttpBuilder, SecurityScheme};
use utoipa::{Modify, OpenApi as _, ToSchema};

use crate::auth::COOKIE;

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
