//! The project's own small drawings, from the trade: the egg before the light, carton cups, the
//! weave of a basket. Black lines on white, so that any printer does them well.

use maud::{Markup, html};

/// An egg in a box of 64 by 64, the pointed end down.
pub(super) const EGG: &str =
    "M32 60c-10.5 0-20-16.5-20-30C12 15.5 21.5 5 32 5s20 10.5 20 25c0 13.5-9.5 30-20 30Z";

/// The mark of a page: an egg with its air cell, as the candling light shows it.
pub(super) fn mark() -> Markup {
    html! {
        svg.mark viewBox="0 0 64 64" aria-hidden="true" {
            path d=(EGG) {}
            path.cell d="M18.5 15.5c4 5.5 23 5.5 27 0" {}
        }
    }
}

/// A row of carton cups, seen from the side: the line between the parts of a page.
pub(super) fn cups() -> Markup {
    // More than any page is wide; the picture shows as many as there is room for.
    let path: String = (0..80)
        .map(|n| format!("M{} 1a4 4 0 0 0 8 0", n * 10 + 1))
        .collect();
    html! {
        svg.cups viewBox="0 0 800 6" preserveAspectRatio="xMinYMid slice" aria-hidden="true" {
            path d=(path) {}
        }
    }
}
