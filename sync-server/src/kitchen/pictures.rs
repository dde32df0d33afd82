//! Small pictures, the phone's own: every egg pointed end down. None of them carries a style, since
//! the page's policy allows none inside it.

use std::fmt::Write as _;

use maud::{Markup, PreEscaped, html};
use pointdown_core::trade::Species;
use qrcodegen::{QrCode, QrCodeEcc};

const EGG: &str =
    "M20 3C30.5 3 36 13.5 36 24.5 36 36.5 28 47 20 47S4 36.5 4 24.5C4 13.5 9.5 3 20 3Z";
const SPECKS: &str = "M13 14h.1M24 11h.1M28 20h.1M17 22h.1M12 29h.1M23 30h.1M19 37h.1M27 34h.1";

/// White around a code that readers need (ISO/IEC 18004), in modules.
const QUIET: i32 = 4;

/// An egg in the colours of its species.
pub(super) fn egg(species: Species) -> Markup {
    let specked = matches!(species, Species::Quail | Species::Turkey);
    html! {
        svg class={ "egg-picture " (species.code()) } viewBox="0 0 40 50" aria-hidden="true" focusable="false" {
            path class="shell" d=(EGG) {}
            @if specked { path class="speck" d=(SPECKS) {} }
        }
    }
}

/// A line drawing by its name.
pub(super) fn icon(name: &str) -> Markup {
    let drawing = match name {
        "nest" => {
            r#"<path d="M3 14c2 6 16 6 18 0M4 14c3 2 13 2 16 0"/><ellipse cx="9" cy="11" rx="2.6" ry="3.4"/><ellipse cx="15" cy="11" rx="2.6" ry="3.4"/>"#
        }
        "basket" => {
            r#"<path d="M4 11h16l-2 9H6z"/><path d="M7 11a5 6 0 0 1 10 0M9 14v3M12 14v3M15 14v3"/>"#
        }
        "washed" => {
            r#"<path d="M3 13h18v2a5 5 0 0 1-5 5H8a5 5 0 0 1-5-5z"/><path d="M12 13V6a2 2 0 0 1 4 0M7 8v2M7 4v1"/>"#
        }
        "candled" => {
            r#"<circle cx="12" cy="12" r="4"/><path d="M12 3v2M12 19v2M3 12h2M19 12h2M5.6 5.6 7 7M17 17l1.4 1.4M18.4 5.6 17 7M7 17l-1.4 1.4"/>"#
        }
        "cartoned" => {
            r#"<path d="M3 11h18v8H3zM3 11l2-5h14l2 5"/><path d="M9 11v8M15 11v8M3 15h18"/>"#
        }
        "shelf" => r#"<path d="M3 10h18M3 20h18"/><path d="M5 10V6h6v4M13 10V6h6v4M5 20v-4h6v4"/>"#,
        "out" => r#"<path d="M4 4h9v16H4z"/><path d="M10 12h11M17 8l4 4-4 4"/>"#,
        "pulled" => {
            r#"<path d="M12 3c4 0 7 5 7 10s-3 8-7 8-7-3-7-8 3-10 7-10z"/><path d="m8 9 8 8M16 9l-8 8"/>"#
        }
        "review" => r#"<path d="M12 4 21 20H3z"/><path d="M12 10v5M12 17.5v.5"/>"#,
        "today" => r#"<path d="M6 5v14M10 5v14M14 5v14M18 5v14M3 17 21 7"/>"#,
        "trends" => r#"<path d="M4 4v16h16"/><path d="m7 15 4-5 4 3 5-7"/>"#,
        "people" => {
            r#"<path d="M3 11 12 4l9 7M5 10v10h14V10"/><ellipse cx="12" cy="15" rx="2.2" ry="3"/>"#
        }
        "done" => r#"<path d="m5 13 4 4L19 7"/>"#,
        "waits" => r#"<circle cx="12" cy="12" r="8"/><path d="M12 8v4l3 2"/>"#,
        _ => "",
    };
    html! {
        svg class="icon" viewBox="0 0 24 24" aria-hidden="true" focusable="false" { (PreEscaped(drawing)) }
    }
}

/// A QR code of a text, black on white in dark mode too; nothing where the text is too long.
pub(super) fn code(text: &str, label: &str) -> Markup {
    let Ok(code) = QrCode::encode_text(text, QrCodeEcc::Medium) else {
        return html! {};
    };
    let size = code.size();
    let mut path = String::new();
    for y in 0..size {
        for x in 0..size {
            if code.get_module(x, y) {
                // Writing to a string cannot fail.
                let _ = write!(path, "M{} {}h1v1h-1z", x + QUIET, y + QUIET);
            }
        }
    }
    let side = size + 2 * QUIET;
    html! {
        svg class="code-picture" viewBox={ "0 0 " (side) " " (side) } role="img" aria-label=(label)
            shape-rendering="crispEdges" {
            rect width=(side) height=(side) fill="#fff" {}
            path d=(path) fill="#000" {}
        }
    }
}
