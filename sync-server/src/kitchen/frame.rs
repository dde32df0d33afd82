//! What stands around every page of the screen.

use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use chrono::NaiveDate;
use maud::{DOCTYPE, Markup, html};
use pointdown_core::book::review::{Finding, Weight};
use pointdown_core::farm::{Farm, FarmError};
use pointdown_core::record::Zone;

use super::pictures::icon;
use super::seat::Seat;
use super::words::{Language, Words};

/// The pages.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Tab {
    Today,
    Review,
    Trends,
    People,
}

impl Tab {
    const ALL: [Tab; 4] = [Tab::Today, Tab::Review, Tab::Trends, Tab::People];

    pub(super) fn path(self) -> &'static str {
        match self {
            Tab::Today => "/kitchen",
            Tab::Review => "/kitchen/review",
            Tab::Trends => "/kitchen/trends",
            Tab::People => "/kitchen/people",
        }
    }

    fn code(self) -> &'static str {
        match self {
            Tab::Today => "today",
            Tab::Review => "review",
            Tab::Trends => "trends",
            Tab::People => "people",
        }
    }

    fn word(self, words: Words) -> String {
        match self {
            Tab::Today => words.t("nav.today"),
            Tab::Review => words.t("nav.review"),
            Tab::Trends => words.t("kitchen.trends"),
            Tab::People => words.t("nav.family"),
        }
    }
}

/// What every page shows of the farm.
#[derive(Debug, Clone)]
pub(super) struct Farmyard {
    pub(super) name: Option<String>,
    pub(super) zone: Zone,
    pub(super) today: NaiveDate,
    pub(super) findings: Vec<Finding>,
    /// Whether the farm writes weights in ounces.
    pub(super) ounces: bool,
    /// The server's clock, milliseconds since 1970 UTC.
    pub(super) now: i64,
}

impl Farmyard {
    pub(super) fn read(farm: &Farm, now: i64) -> Result<Farmyard, FarmError> {
        let setting = farm.record(farm.id())?;
        let weight = setting.and_then(|row| Some(row.fields.get("weight")?.as_str()? == "oz"));
        Ok(Farmyard {
            name: farm.name()?,
            zone: farm.zone()?,
            today: farm.today()?,
            findings: farm.review()?,
            ounces: weight.unwrap_or(false),
            now,
        })
    }

    fn urgent(&self) -> bool {
        self.findings.iter().any(|f| f.weight == Weight::Urgent)
    }
}

/// What one page adds.
pub(super) struct Page {
    pub(super) tab: Tab,
    /// The heading; the browser's title too.
    pub(super) title: String,
    /// What is said aloud when it changes.
    pub(super) said: String,
    /// What the last form came to, by the key of its words.
    pub(super) notice: Option<Markup>,
    pub(super) body: Markup,
    /// Whether the page follows the farm by itself. One that shows a secret once does not.
    pub(super) live: bool,
}

/// A page for a screen that is let in.
pub(super) fn page(seat: &Seat, yard: &Farmyard, page: Page) -> Response {
    let words = seat.words;
    let n = yard.findings.len();
    let body = html! {
        a class="skip" href="#main" { (words.t("kitchen.skip")) }
        header class="top" {
            p class="farm" { (yard.name.clone().unwrap_or_else(|| words.t("farm.coming"))) }
            nav aria-label=(words.t("nav")) {
                ul {
                    @for tab in Tab::ALL {
                        li {
                            a href=(tab.path()) id={ "tab-" (tab.code()) } aria-current=[(tab == page.tab).then_some("page")] {
                                (icon(tab.code())) span { (tab.word(words)) }
                                @if tab == Tab::Review && n > 0 {
                                    " " b class=(if yard.urgent() { "badge urgent" } else { "badge" }) {
                                        (n) span class="unseen" { " " (words.n("kitchen.lines", n as i64, &[])) }
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
        p id="trouble" class="notice urgent" role="alert" hidden
            data-text=(words.t("kitchen.trouble")) {}
        p id="said" class="unseen" role="status" { (page.said) }
        main id="main" class={ "page-" (page.tab.code()) } tabindex="-1" data-live=[page.live.then_some("yes")] {
            @if let Some(notice) = page.notice { (notice) }
            (page.body)
        }
        footer {
            p class="caution" { (words.t("kitchen.caution")) }
            (languages(words, page.tab.path()))
        }
    };
    document(words, &page.title, page.tab == Tab::Today, body)
}

/// The other languages, as links.
pub(super) fn languages(words: Words, path: &str) -> Markup {
    html! {
        p class="languages" {
            @for language in Language::ALL.into_iter().filter(|l| *l != words.language) {
                a href={ (path) "?language=" (language.tag()) } lang=(language.tag())
                    hreflang=(language.tag()) { (language.name()) }
            }
        }
    }
}

/// The whole document. Without scripts it loads itself again, where nobody types into it.
pub(super) fn document(words: Words, title: &str, again: bool, body: Markup) -> Response {
    let text = html! {
        (DOCTYPE)
        html lang=(words.language.tag()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) }
                link rel="icon" href="/kitchen/mark.svg" type="image/svg+xml";
                link rel="stylesheet" href="/kitchen/screen.css";
                link rel="stylesheet" href="/kitchen/pages.css";
                script src="/kitchen/screen.js" defer {}
                @if again { noscript { meta http-equiv="refresh" content="90"; } }
            }
            body { (body) }
        }
    };
    let mut response = text.into_string().into_response();
    let headers = response.headers_mut();
    for (name, value) in [
        (header::CONTENT_TYPE, "text/html; charset=utf-8"),
        (header::CACHE_CONTROL, "no-store"),
        (header::VARY, "accept-language, cookie"),
        // So that the browser names the origin of a form, and only to this server.
        (header::REFERRER_POLICY, "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}

/// What the last form came to.
pub(super) fn notice(text: &str, bad: bool, more: Markup) -> Markup {
    html! {
        div class=(if bad { "notice urgent" } else { "notice good" }) role="status" id="notice" {
            p { (text) } (more)
        }
    }
}
