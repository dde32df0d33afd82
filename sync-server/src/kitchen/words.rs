//! What the kitchen screen says, in the reader's language. It speaks in the phone's own words, from
//! the phone's own dictionary, and adds what only a screen on the wall has to say.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use axum::http::{HeaderMap, header};
use pointdown_core::trade::Species;

use super::cookies::cookie;

/// The cookie that remembers a language that was chosen by hand.
pub(super) const LANGUAGE: &str = "pointdown_language";

/// A text; where it differs by number, in both forms.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Text {
    One(String),
    Forms { one: String, other: String },
}

/// The texts of one language by their keys.
#[derive(Debug)]
pub(super) struct Dictionary {
    texts: BTreeMap<String, Text>,
}

const PHONE_EN: &str = include_str!("../../../bindings/web/app/words/en.js");
const PHONE_ES: &str = include_str!("../../../bindings/web/app/words/es.js");
const OWN_EN: &str = include_str!("words/en.js");
const OWN_ES: &str = include_str!("words/es.js");

/// A language that the screen speaks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Language {
    English,
    Spanish,
}

impl Language {
    pub(super) const ALL: [Language; 2] = [Language::English, Language::Spanish];

    /// The tag of BCP 47.
    pub(super) fn tag(self) -> &'static str {
        match self {
            Language::English => "en",
            Language::Spanish => "es",
        }
    }

    pub(super) fn name(self) -> &'static str {
        match self {
            Language::English => "English",
            Language::Spanish => "Español",
        }
    }

    fn of(tag: &str) -> Option<Language> {
        let first = tag.trim().split('-').next()?.to_ascii_lowercase();
        Language::ALL.into_iter().find(|l| l.tag() == first)
    }
}

/// One reader's language and habits of writing.
#[derive(Debug, Clone, Copy)]
pub(super) struct Words {
    pub(super) language: Language,
    /// Whether months come before days and clocks have twelve hours.
    pub(super) american: bool,
}

impl Words {
    /// The language that was chosen, or else the first that the browser asks for and that there is.
    pub(super) fn of(headers: &HeaderMap) -> Words {
        let asked = headers
            .get(header::ACCEPT_LANGUAGE)
            .and_then(|v| v.to_str().ok())
            .unwrap_or_default();
        let mut tags = asked.split(',').filter_map(|one| one.split(';').next());
        let first = tags
            .clone()
            .find_map(Language::of)
            .unwrap_or(Language::English);
        let chosen = cookie(headers, LANGUAGE).and_then(Language::of);
        Words {
            language: chosen.unwrap_or(first),
            american: tags.any(|tag| tag.trim().eq_ignore_ascii_case("en-US")),
        }
    }

    fn dictionary(self) -> &'static Dictionary {
        static ALL: OnceLock<[Dictionary; 2]> = OnceLock::new();
        let [en, es] =
            ALL.get_or_init(|| [(PHONE_EN, OWN_EN), (PHONE_ES, OWN_ES)].map(Dictionary::read));
        match self.language {
            Language::English => en,
            Language::Spanish => es,
        }
    }

    pub(super) fn has(self, key: &str) -> bool {
        self.dictionary().texts.contains_key(key)
    }

    /// A text that needs nothing filled in.
    pub(super) fn t(self, key: &str) -> String {
        self.fill(key, &[])
    }

    /// A text with `{name}` filled in.
    pub(super) fn fill(self, key: &str, values: &[(&str, &str)]) -> String {
        self.text(key, 2, values)
    }

    /// A text that differs by number; `{n}` is the number.
    pub(super) fn n(self, key: &str, n: i64, values: &[(&str, &str)]) -> String {
        let number = self.num(n);
        let mut all = vec![("n", number.as_str())];
        all.extend_from_slice(values);
        self.text(key, n, &all)
    }

    fn text(self, key: &str, n: i64, values: &[(&str, &str)]) -> String {
        let mut text = match self.dictionary().texts.get(key) {
            Some(Text::One(text)) => text.clone(),
            Some(Text::Forms { one, .. }) if n == 1 => one.clone(),
            Some(Text::Forms { other, .. }) => other.clone(),
            // A code of a farm's own rules or of a later version is shown as it is written.
            None => key.rsplit('.').next().unwrap_or(key).replace('_', " "),
        };
        for (name, value) in values {
            text = text.replace(&format!("{{{name}}}"), value);
        }
        text
    }

    /// What a species is called.
    pub(super) fn species(self, species: Species) -> String {
        self.t(&format!("species.{}", species.code()))
    }

    /// A whole number with its thousands apart.
    pub(super) fn num(self, n: i64) -> String {
        let digits = n.unsigned_abs().to_string();
        // Spanish sets four digits together (Real Academia Española, Ortografía).
        let apart = match self.language {
            Language::English => (digits.len() > 3).then_some(","),
            Language::Spanish => (digits.len() > 4).then_some("\u{a0}"),
        };
        let mut text = String::from(if n < 0 { "−" } else { "" });
        for (i, digit) in digits.chars().enumerate() {
            if let Some(apart) = apart
                && i > 0
                && (digits.len() - i).is_multiple_of(3)
            {
                text.push_str(apart);
            }
            text.push(digit);
        }
        text
    }

    /// A number with so many decimals at most.
    pub(super) fn decimal(self, n: f64, digits: usize) -> String {
        let text = format!("{n:.digits$}");
        let text = match text.contains('.') {
            true => text.trim_end_matches('0').trim_end_matches('.'),
            false => &text,
        };
        match self.language {
            Language::English => text.to_owned(),
            Language::Spanish => text.replace('.', ","),
        }
    }

    /// Names in a row.
    pub(super) fn list(self, all: &[String]) -> String {
        let and = self.t("kitchen.and");
        match all {
            [] => String::new(),
            [one] => one.clone(),
            [some @ .., last] => format!("{} {and} {last}", some.join(", ")),
        }
    }
}

impl Dictionary {
    /// The phone's words, and those of the screen beside them.
    fn read((phone, own): (&str, &str)) -> Dictionary {
        let mut texts = BTreeMap::new();
        for file in [phone, own] {
            Reader { rest: file }.all(&mut texts);
        }
        Dictionary { texts }
    }
}

/// Reads the dictionary files of the phone: one object of texts, each a string or an object of
/// plural forms. A test holds that both files are read to their ends.
struct Reader<'a> {
    rest: &'a str,
}

impl Reader<'_> {
    fn all(&mut self, into: &mut BTreeMap<String, Text>) {
        if let Some(at) = self.rest.find("export default {") {
            self.rest = &self.rest[at + "export default {".len()..];
        }
        while let Some(key) = self.string() {
            if !self.eat(':') {
                return;
            }
            let text = if self.eat('{') {
                self.forms()
            } else {
                self.string().map(Text::One)
            };
            let Some(text) = text else { return };
            into.insert(key, text);
            self.eat(',');
        }
    }

    fn forms(&mut self) -> Option<Text> {
        let (mut one, mut other) = (None, None);
        while !self.eat('}') {
            let (name, rest) = self.rest.trim_start().split_once(':')?;
            let name = name.trim().to_owned();
            self.rest = rest;
            let text = self.string()?;
            match name.as_str() {
                "one" => one = Some(text),
                "other" => other = Some(text),
                _ => {}
            }
            self.eat(',');
        }
        let other = other?;
        Some(Text::Forms {
            one: one.unwrap_or_else(|| other.clone()),
            other,
        })
    }

    fn skip(&mut self) {
        loop {
            self.rest = self.rest.trim_start();
            if !self.rest.starts_with("//") {
                return;
            }
            self.rest = self.rest.split_once('\n').map_or("", |(_, rest)| rest);
        }
    }

    fn eat(&mut self, wanted: char) -> bool {
        self.skip();
        match self.rest.strip_prefix(wanted) {
            Some(rest) => {
                self.rest = rest;
                true
            }
            None => false,
        }
    }

    /// A string in single or double quotes.
    fn string(&mut self) -> Option<String> {
        self.skip();
        let mut chars = self.rest.char_indices();
        let (_, quote) = chars.next().filter(|(_, c)| matches!(c, '\'' | '"'))?;
        let mut text = String::new();
        while let Some((at, c)) = chars.next() {
            match c {
                '\\' => match chars.next()?.1 {
                    'n' => text.push('\n'),
                    other => text.push(other),
                },
                c if c == quote => {
                    self.rest = &self.rest[at + c.len_utf8()..];
                    return Some(text);
                }
                c => text.push(c),
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const EN: Words = Words {
        language: Language::English,
        american: true,
    };
    const ES: Words = Words {
        language: Language::Spanish,
        american: false,
    };

    #[test]
    fn both_languages_are_read_to_the_end_and_say_the_same_things() {
        for file in [PHONE_EN, PHONE_ES, OWN_EN, OWN_ES] {
            let mut texts = BTreeMap::new();
            let mut reader = Reader { rest: file };
            reader.all(&mut texts);
            assert_eq!(reader.rest.trim(), "};", "something was not read");
            assert!(texts.len() > 40, "{}", texts.len());
        }
        let keys = |words: Words| words.dictionary().texts.keys().collect::<Vec<_>>();
        assert_eq!(keys(EN), keys(ES));
        for (key, en) in &EN.dictionary().texts {
            let holes = |text: &Text| {
                let text = match text {
                    Text::One(text) => text,
                    Text::Forms { other, .. } => other,
                };
                let mut all: Vec<String> = text
                    .split('{')
                    .skip(1)
                    .filter_map(|part| Some(part.split_once('}')?.0.to_owned()))
                    .collect();
                all.sort();
                all.dedup();
                all
            };
            assert_eq!(holes(en), holes(&ES.dictionary().texts[key]), "{key}");
        }
    }

    #[test]
    fn every_text_that_the_screen_names_is_there() {
        let sources = [
            include_str!("today.rs"),
            include_str!("due.rs"),
            include_str!("review.rs"),
            include_str!("sentence.rs"),
            include_str!("trends.rs"),
            include_str!("people.rs"),
            include_str!("frame.rs"),
            include_str!("door.rs"),
            include_str!("dates.rs"),
        ];
        let mut seen = 0;
        for source in sources {
            for call in [".t(\"", ".n(\"", ".fill(\""] {
                for part in source.split(call).skip(1) {
                    let key = part.split('"').next().unwrap_or_default();
                    assert!(EN.has(key), "{key}");
                    seen += 1;
                }
            }
        }
        assert!(seen > 60, "{seen}");
    }

    #[test]
    fn numbers_are_written_as_the_reader_writes_them() {
        assert_eq!(EN.num(1_234_567), "1,234,567");
        assert_eq!(EN.num(-12), "−12");
        assert_eq!(ES.num(1234), "1234");
        assert_eq!(ES.num(12_345), "12\u{a0}345");
        assert_eq!(EN.decimal(2.50, 2), "2.5");
        assert_eq!(ES.decimal(2.5, 1), "2,5");
        assert_eq!(EN.decimal(60.0, 0), "60");
    }

    #[test]
    fn the_language_is_the_one_chosen_or_else_the_first_that_is_there() {
        let ask = |language: &str, cookie: &str| {
            let mut headers = HeaderMap::new();
            headers.insert(header::ACCEPT_LANGUAGE, language.parse().unwrap());
            headers.insert(header::COOKIE, cookie.parse().unwrap());
            let words = Words::of(&headers);
            (words.language.tag(), words.american)
        };
        assert_eq!(ask("fr, es-MX;q=0.8, en;q=0.5", ""), ("es", false));
        assert_eq!(ask("en-US,en;q=0.9", ""), ("en", true));
        assert_eq!(ask("en-US", "a=b; pointdown_language=es"), ("es", true));
        assert_eq!(ask("de", "pointdown_language=xx"), ("en", false));
    }
}
