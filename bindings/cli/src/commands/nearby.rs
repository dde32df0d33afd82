//! Servers on the local network.

use std::time::Duration;

use pointdown_core::farm::{Interfaces, nearby};
use serde_json::json;

use crate::base::Base;
use crate::fail::Failure;
use crate::tables::Screen;

/// How long servers have to answer.
const WITHIN: Duration = Duration::from_secs(3);

/// Lists servers that announce themselves; where one was joined whose key is known, also finds it
/// again at a new address.
pub(crate) fn list(base: &Base, screen: &mut Screen<'_>) -> Result<(), Failure> {
    let all = nearby(WITHIN, Interfaces::All)?;
    let joined = match base.open_if_there()? {
        Some(farm) if farm.status()?.server.is_some() => {
            farm.find_server_again(WITHIN, Interfaces::All)?
        }
        _ => None,
    };
    if screen.json {
        return Ok(screen.value(&json!({"nearby": all, "joined": joined}))?);
    }
    if all.is_empty() {
        screen.line("No server announces itself here.")?;
    }
    for url in all {
        let mine = joined.as_ref() == Some(&url);
        let words = if mine {
            "  (the one that was joined)"
        } else {
            ""
        };
        screen.line(format!("{url}{words}"))?;
    }
    Ok(())
}
