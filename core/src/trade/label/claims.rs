//! The seller's own words, which may not be a grade or a class in disguise.

use super::super::error::TradeError;
use super::super::finding::Reason;
use super::super::rules::RulePack;
use super::super::species::Species;
use super::{LabelLine, Part, line};

/// Words beside which a grade or class is still nothing but a grade or class.
const AROUND: [&str; 7] = [
    "size", "class", "grade", "weight", "quality", "fresh", "egg",
];

/// A line with a claim.
///
/// # Errors
/// When it holds a word that belongs to official graders, or is a grade or class of the pack or of a
/// baseline: those have a check of their own, which a claim would get round.
pub(super) fn claim_line(claim: &str, pack: &RulePack) -> Result<LabelLine, TradeError> {
    let lower = claim.to_lowercase();
    let refuse = |allowed: &str| {
        Err(TradeError::not_allowed(
            "claim on the label",
            claim,
            allowed,
        ))
    };
    if let Some(rule) = &pack.label.reserved_words
        && let Some(word) = rule.value.iter().find(|w| lower.contains(w.as_str()))
    {
        return refuse(&format!(
            "words without \"{word}\", which belongs to official graders ({})",
            rule.source
        ));
    }
    let claimed = words(claim);
    let bare: Vec<&str> = claimed
        .iter()
        .map(String::as_str)
        .filter(|w| !is_around(w))
        .collect();
    // A pack of the farm's own may have no grades or classes; the baselines' words are still words.
    for pack in [pack, &RulePack::us_federal(), &RulePack::eu()] {
        for grade in pack.quality.iter().flat_map(|q| &q.grades.value) {
            if holds(&claimed, &words(&grade.name)) || bare == [grade.code.as_str()] {
                return refuse("no grade among the claims; ask for the grade itself");
            }
        }
        for class in pack.sizes.iter().flat_map(|s| &s.classes.value) {
            // Some schemes have two names for a class: `XL (very large)`.
            let names = class.name.split('(').chain([class.code.as_str()]);
            for name in names.map(words).filter(|name| !name.is_empty()) {
                if bare == name || before_eggs(&claimed, &name) {
                    return refuse("no weight class among the claims; ask for the size itself");
                }
            }
        }
    }
    let why = Reason::common_practice("The seller's own words; they have to be true.");
    Ok(line(Part::Claim, claim.to_owned(), false, why))
}

/// The words of a text in lower case, `eggs` as `egg`.
fn words(text: &str) -> Vec<String> {
    text.to_lowercase()
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(|word| if word == "eggs" { "egg" } else { word }.to_owned())
        .collect()
}

fn is_around(word: &str) -> bool {
    AROUND.contains(&word) || Species::ALL.iter().any(|s| s.code() == word)
}

/// Whether the words stand in the text one after another.
fn holds(text: &[String], words: &[String]) -> bool {
    text.windows(words.len()).any(|part| part == words)
}

/// Whether a class stands right before the eggs, with at most the species between.
fn before_eggs(text: &[String], class: &[String]) -> bool {
    (0..text.len()).any(|i| {
        let rest = text[i..].strip_prefix(class).unwrap_or_default();
        match rest {
            [egg, ..] if egg == "egg" => true,
            [species, egg, ..] => egg == "egg" && is_around(species),
            _ => false,
        }
    })
}
