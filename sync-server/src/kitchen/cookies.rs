//! The cookies of the screen. All stay under `/kitchen`, out of reach of scripts and other sites.

use axum::http::{HeaderMap, HeaderValue, header};

use crate::app::App;
use crate::around::Whence;
use crate::error::ApiError;

/// The value of a cookie.
pub(super) fn cookie<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(key, _)| *key == name)
        .map(|(_, value)| value)
}

/// The header that sets a cookie for so many seconds; none takes it away.
pub(super) fn set(
    name: &str,
    value: &str,
    seconds: u32,
    secure: bool,
) -> Result<HeaderValue, ApiError> {
    let secure = if secure { "; Secure" } else { "" };
    let text = format!(
        "{name}={value}; Path=/kitchen; Max-Age={seconds}; HttpOnly; SameSite=Strict{secure}"
    );
    let mut cookie = HeaderValue::from_str(&text).map_err(|_| ApiError::internal())?;
    cookie.set_sensitive(true);
    Ok(cookie)
}

/// Whether the browser should send cookies over HTTPS only: wherever it came over HTTPS, and
/// wherever the name in the address is not this machine's, unless plain HTTP was asked for.
pub(super) fn secure(app: &App, whence: Whence, headers: &HeaderMap) -> bool {
    if whence.secure {
        return true;
    }
    let host = headers
        .get(header::HOST)
        .and_then(|v| v.to_str().ok())
        .unwrap_or_default();
    let name = host.rsplit_once(':').map_or(host, |(name, _)| name);
    let here = matches!(name, "localhost" | "127.0.0.1" | "[::1]");
    !here && !app.beyond_loopback
}
