use data_encoding::BASE64;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

/// What every page shares: type, tables, what is only for the screen.
const BASE: &str = include_str!("style/base.css");

/// A size of paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Paper {
    /// 210 × 297 mm. Source: ISO 216.
    A4,
    /// 8.5 × 11 in. Source: ANSI/ASME Y14.1, size A.
    Letter,
}

impl Paper {
    /// Every size.
    pub const ALL: [Paper; 2] = [Paper::A4, Paper::Letter];

    /// The word on the command line.
    pub const fn code(self) -> &'static str {
        match self {
            Paper::A4 => "a4",
            Paper::Letter => "letter",
        }
    }

    /// The size with this word, if there is one.
    pub fn from_code(code: &str) -> Option<Paper> {
        Paper::ALL.into_iter().find(|paper| paper.code() == code)
    }

    /// What printers mostly hold where these rules are in force, by the word of the rule pack.
    pub fn usual(rule_pack: Option<&str>) -> Paper {
        match rule_pack {
            Some("us_federal") => Paper::Letter,
            _ => Paper::A4,
        }
    }

    /// Width and height, upright, in millimetres.
    pub const fn mm(self) -> (f64, f64) {
        match self {
            Paper::A4 => (210.0, 297.0),
            Paper::Letter => (215.9, 279.4),
        }
    }
}

/// A page, ready to be opened in a browser and printed at 100 %.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Page {
    /// What stands in the title of the window.
    pub title: String,
    /// The whole file.
    pub html: String,
    /// The content security policy that the page carries; a server may send it as a header too. It
    /// depends on the page's style alone, never on what a farm wrote.
    pub policy: String,
}

/// How a page lies in the printer.
pub(super) struct Sheet {
    /// Width and height in millimetres, as it is read.
    pub(super) size: (f64, f64),
    /// Unprinted edge in millimetres.
    pub(super) margin: f64,
}

impl Sheet {
    pub(super) fn upright(paper: Paper) -> Sheet {
        Sheet {
            size: paper.mm(),
            margin: 13.0,
        }
    }

    pub(super) fn across(paper: Paper) -> Sheet {
        let (width, height) = paper.mm();
        Sheet {
            size: (height, width),
            margin: 11.0,
        }
    }

    fn style(&self) -> String {
        let (width, height) = self.size;
        format!(
            "@page {{ size: {}mm {}mm; margin: {}mm; }}\n:root {{ --page: {}mm; }}\n",
            number(width),
            number(height),
            number(self.margin),
            number(width - 2.0 * self.margin),
        )
    }
}

/// Puts a page together. `styles` come after the base, and must not depend on what a farm wrote.
/// `pictures` are the texts of style elements within the body.
pub(super) fn document(
    title: &str,
    sheet: &Sheet,
    styles: &str,
    pictures: &[&str],
    body: Markup,
) -> Page {
    let style = format!("{}{BASE}{styles}", sheet.style());
    let mut hashes: Vec<String> = Vec::new();
    for text in [style.as_str()].iter().chain(pictures) {
        let hash = BASE64.encode(&Sha256::digest(text.as_bytes()));
        let source = format!("'sha256-{hash}'");
        if !hashes.contains(&source) {
            hashes.push(source);
        }
    }
    let policy = format!("default-src 'none'; style-src {}", hashes.join(" "));
    let html = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy);
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(style)) }
            }
            body { (body) }
        }
    };
    Page {
        title: title.into(),
        html: html.into_string(),
        policy,
    }
}

/// A length for CSS and SVG: at most four decimals, none that say nothing.
pub(super) fn number(value: f64) -> String {
    let text = format!("{value:.4}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    match text {
        "-0" => "0".into(),
        text => text.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_say_no_more_than_they_know() {
        for (value, text) in [
            (0.0, "0"),
            (-0.00001, "0"),
            (2.5, "2.5"),
            (66.675, "66.675"),
            (100.0, "100"),
        ] {
            assert_eq!(number(value), text);
        }
    }

    // The hash form of Content Security Policy Level 3, section 2.3.1: base 64 of the SHA-256 of the
    // element's text. The empty text's hash is the well-known SHA-256 of nothing.
    #[test]
    fn the_policy_names_each_style_once() {
        let page = document(
            "t",
            &Sheet::upright(Paper::A4),
            "",
            &["", ""],
            html! { p { "x" } },
        );
        let empty = "'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='";
        assert_eq!(page.policy.matches(empty).count(), 1, "{}", page.policy);
        assert_eq!(page.policy.matches("'sha256-").count(), 2);
    }
}
