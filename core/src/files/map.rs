use std::collections::BTreeMap;
use std::str::FromStr;

use crate::record::InvalidRecord;

/// What a column of a household's log can hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum LogColumn {
    /// The farm day, with or without a time; needed.
    Date,
    /// The time of day; noon unless given.
    Time,
    /// The coop by name.
    Coop,
    /// Whose eggs.
    Species,
    /// Eggs gathered; an empty cell is unknown, 0 is a round that found none.
    Eggs,
    /// Weights of single eggs, parted by semicolons or blanks.
    Weights,
    /// Laying birds in the coop.
    Birds,
    /// Anything worth knowing.
    Note,
}

impl LogColumn {
    /// Every one, with its word in a map.
    pub const ALL: [(&'static str, LogColumn); 8] = [
        ("date", LogColumn::Date),
        ("time", LogColumn::Time),
        ("coop", LogColumn::Coop),
        ("species", LogColumn::Species),
        ("eggs", LogColumn::Eggs),
        ("weights", LogColumn::Weights),
        ("birds", LogColumn::Birds),
        ("note", LogColumn::Note),
    ];
}

/// Which column of a household's log holds what.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogMap(pub(super) BTreeMap<LogColumn, String>);

impl FromStr for LogMap {
    type Err = InvalidRecord;

    /// Reads `date=Date,coop=Henhouse,eggs=#3`: words on the left, headings (letter case aside) or
    /// numbers of columns on the right. A comma within a heading is written `\,`.
    fn from_str(text: &str) -> Result<LogMap, InvalidRecord> {
        let wrong = |value: &str, allowed: String| InvalidRecord::new("map", value, allowed);
        let words = || {
            let words = LogColumn::ALL.map(|(word, _)| word);
            format!(
                "allowed are {}, each with a column: eggs=Count",
                words.join(", ")
            )
        };
        let mut map = BTreeMap::new();
        let mut all = vec![String::new()];
        let mut letters = text.chars().peekable();
        while let Some(letter) = letters.next() {
            match letter {
                '\\' if letters.peek() == Some(&',') => {
                    letters.next();
                    all.last_mut().map(|s| s.push(',')).unwrap_or_default();
                }
                ',' => all.push(String::new()),
                other => all.last_mut().map(|s| s.push(other)).unwrap_or_default(),
            }
        }
        for pair in all.iter().filter(|pair| !pair.trim().is_empty()) {
            let (word, column) = pair.split_once('=').ok_or_else(|| wrong(pair, words()))?;
            let (word, column) = (word.trim(), column.trim());
            let found = LogColumn::ALL.iter().find(|(known, _)| *known == word);
            let (_, field) = found.ok_or_else(|| wrong(word, words()))?;
            if column.is_empty() {
                return Err(wrong(pair, words()));
            }
            if map.insert(*field, column.to_string()).is_some() {
                return Err(wrong(word, "allowed is each word once".into()));
            }
        }
        let has = |field| map.contains_key(&field);
        if !has(LogColumn::Date) {
            return Err(InvalidRecord::missing("map: date", words()));
        }
        if !(has(LogColumn::Eggs) || has(LogColumn::Weights) || has(LogColumn::Birds)) {
            let allowed = "needed is a column of eggs, weights or birds";
            return Err(InvalidRecord::missing("map: eggs", allowed));
        }
        Ok(LogMap(map))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_map_names_columns_and_says_what_is_wrong() {
        let map: LogMap = r"date=Day, eggs = Eggs\, all,birds=#4".parse().unwrap();
        assert_eq!(map.0[&LogColumn::Eggs], "Eggs, all");
        assert_eq!(map.0[&LogColumn::Birds], "#4");
        for (text, why) in [
            ("eggs=Eggs", "map: date"),
            ("date=Date", "map: eggs"),
            ("date=Date,egs=Eggs", "egs"),
            ("date=Date,eggs", "eggs"),
            ("date=Date,date=Day,eggs=Eggs", "once"),
            ("date=,eggs=Eggs", "date="),
        ] {
            let error = text.parse::<LogMap>().unwrap_err().to_string();
            assert!(error.contains(why), "{text}: {error}");
        }
    }
}
