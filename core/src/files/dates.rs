use std::fmt;
use std::str::FromStr;

use chrono::{NaiveDate, NaiveTime};

/// In which order a file writes day, month and year. Dates that begin with a year of four digits are
/// read under every one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum DateOrder {
    /// By what the dates of the file can only mean; where they leave it open, none is read.
    #[default]
    Evident,
    /// 25/11/2026.
    DayFirst,
    /// 11/25/2026.
    MonthFirst,
    /// 26-11-25.
    YearFirst,
}

impl DateOrder {
    /// Every order by its word.
    pub const ALL: [(&'static str, DateOrder); 4] = [
        ("evident", DateOrder::Evident),
        ("day-first", DateOrder::DayFirst),
        ("month-first", DateOrder::MonthFirst),
        ("year-first", DateOrder::YearFirst),
    ];
}

impl fmt::Display for DateOrder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let word = DateOrder::ALL.iter().find(|(_, order)| order == self);
        f.write_str(word.map_or("", |(word, _)| word))
    }
}

impl FromStr for DateOrder {
    type Err = String;
    fn from_str(text: &str) -> Result<DateOrder, String> {
        let found = DateOrder::ALL.iter().find(|(word, _)| *word == text);
        found.map(|(_, order)| *order).ok_or_else(|| {
            let words = DateOrder::ALL.map(|(word, _)| word);
            format!("allowed are {}", words.join(", "))
        })
    }
}

/// Three numbers of a date with the digits of each.
type Parts = [(u32, usize); 3];

/// The date and, if there is one, the time of a cell.
fn split(text: &str) -> (&str, Option<&str>) {
    let text = text.trim();
    match text.find([' ', 'T', 't']) {
        Some(n) => (
            &text[..n],
            Some(text[n + 1..].trim()).filter(|t| !t.is_empty()),
        ),
        None => (text, None),
    }
}

fn parts(date: &str) -> Option<Parts> {
    let date = date.strip_suffix('.').unwrap_or(date);
    let mut found = [(0, 0); 3];
    let mut words = date.split(['-', '/', '.']);
    for place in &mut found {
        let word = words.next()?;
        let digits = word.bytes().all(|b| b.is_ascii_digit());
        if !digits || word.is_empty() || word.len() > 4 {
            return None;
        }
        *place = (word.parse().ok()?, word.len());
    }
    words.next().is_none().then_some(found)
}

/// Finds out in which order the dates of a file are written, where that was not said: a number above
/// 12 is no month.
pub(super) fn settle<'a>(order: DateOrder, cells: impl Iterator<Item = &'a str>) -> DateOrder {
    if order != DateOrder::Evident {
        return order;
    }
    let (mut day_first, mut month_first) = (false, false);
    for [a, b, c] in cells.filter_map(|cell| parts(split(cell).0)) {
        if a.1 <= 2 && c.1 == 4 {
            day_first |= a.0 > 12;
            month_first |= b.0 > 12;
        }
    }
    match (day_first, month_first) {
        (true, false) => DateOrder::DayFirst,
        (false, true) => DateOrder::MonthFirst,
        _ => DateOrder::Evident,
    }
}

/// Reads a date, with or without a time of day.
pub(super) fn read(text: &str, order: DateOrder) -> Result<(NaiveDate, Option<NaiveTime>), String> {
    let (date, time) = split(text);
    let wrong = || {
        format!(
            "{text:?} is no date; allowed are dates such as {}",
            sample(order)
        )
    };
    let [a, b, c] = parts(date).ok_or_else(wrong)?;
    let (y, m, d) = match order {
        _ if a.1 == 4 => (a, b, c),
        DateOrder::DayFirst => (c, b, a),
        DateOrder::MonthFirst => (c, a, b),
        DateOrder::YearFirst => (a, b, c),
        DateOrder::Evident => {
            return Err(format!(
                "{text:?} does not say which number is the day, and the file leaves it open; say \
                 day-first, month-first or year-first"
            ));
        }
    };
    let year = match y.1 {
        4 => y.0,
        2 => 2000 + y.0,
        _ => return Err(wrong()),
    };
    let day = i32::try_from(year)
        .ok()
        .and_then(|year| NaiveDate::from_ymd_opt(year, m.0, d.0))
        .ok_or_else(wrong)?;
    Ok((day, time.map(clock).transpose()?))
}

/// Reads a time of day.
pub(super) fn clock(text: &str) -> Result<NaiveTime, String> {
    ["%H:%M", "%H:%M:%S", "%H.%M"]
        .iter()
        .find_map(|form| NaiveTime::parse_from_str(text.trim(), form).ok())
        .ok_or_else(|| format!("{text:?} is no time; allowed are times such as 07:30"))
}

fn sample(order: DateOrder) -> &'static str {
    match order {
        DateOrder::DayFirst => "25/11/2026, 25.11.26 and 2026-11-25",
        DateOrder::MonthFirst => "11/25/2026 and 2026-11-25",
        DateOrder::YearFirst => "2026-11-25 and 26/11/25",
        DateOrder::Evident => "2026-11-25",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str, order: DateOrder) -> String {
        match read(text, order) {
            Ok((day, time)) => match time {
                Some(time) => format!("{day} {time}"),
                None => day.to_string(),
            },
            Err(why) => why,
        }
    }

    #[test]
    fn dates_are_read_in_the_order_said() {
        use DateOrder::{DayFirst, Evident, MonthFirst, YearFirst};
        for (text, order, due) in [
            ("2026-11-05", Evident, "2026-11-05"),
            ("2026/11/5", DayFirst, "2026-11-05"),
            ("05/11/2026", DayFirst, "2026-11-05"),
            ("5.11.26", DayFirst, "2026-11-05"),
            ("5.11.2026. 7:30", DayFirst, "2026-11-05 07:30:00"),
            ("11/05/2026", MonthFirst, "2026-11-05"),
            ("26-11-05", YearFirst, "2026-11-05"),
            ("2024-02-29T18:00:01", YearFirst, "2024-02-29 18:00:01"),
        ] {
            assert_eq!(day(text, order), due, "{text}");
        }
        for (text, order) in [
            ("29/02/2026", DayFirst),
            ("11/25/2026", DayFirst),
            ("", Evident),
            ("Monday", Evident),
            ("2026-11", Evident),
            ("2026-11-05-01", Evident),
            ("5/11/026", DayFirst),
            ("2026-11-05 25:00", Evident),
        ] {
            assert!(read(text, order).is_err(), "{text}");
        }
    }

    #[test]
    fn what_a_file_leaves_open_is_not_guessed() {
        let settled = |all: &[&str]| settle(DateOrder::Evident, all.iter().copied());
        assert_eq!(settled(&["03/04/2026", "13/04/2026"]), DateOrder::DayFirst);
        assert_eq!(
            settled(&["03/04/2026", "03/14/2026"]),
            DateOrder::MonthFirst
        );
        assert_eq!(settled(&["03/04/2026"]), DateOrder::Evident);
        assert_eq!(settled(&["13/04/2026", "03/14/2026"]), DateOrder::Evident);
        assert!(day("03/04/2026", DateOrder::Evident).contains("which number is the day"));
    }
}
