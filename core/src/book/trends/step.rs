use chrono::{Datelike, Days, NaiveDate};
use serde::{Deserialize, Serialize};

/// How long each span of a trend is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Step {
    /// One farm day.
    Day,
    /// Monday to Sunday, as ISO 8601 counts weeks.
    Week,
    /// A calendar month.
    Month,
    /// A calendar year.
    Year,
}

impl Step {
    /// Every step, the shortest first.
    pub const ALL: [Step; 4] = [Step::Day, Step::Week, Step::Month, Step::Year];

    /// The word on the command line and in files.
    pub const fn code(self) -> &'static str {
        match self {
            Step::Day => "day",
            Step::Week => "week",
            Step::Month => "month",
            Step::Year => "year",
        }
    }

    /// The step with this word, if there is one.
    pub fn from_code(code: &str) -> Option<Step> {
        Step::ALL.into_iter().find(|step| step.code() == code)
    }

    /// The name by ISO 8601 of the span that a day is in.
    pub fn label(self, day: NaiveDate) -> String {
        let form = match self {
            Step::Day => "%Y-%m-%d",
            Step::Week => "%G-W%V",
            Step::Month => "%Y-%m",
            Step::Year => "%Y",
        };
        day.format(form).to_string()
    }

    /// The last day of the span that a day is in; the end of the calendar where it ends first.
    pub fn last_day(self, day: NaiveDate) -> NaiveDate {
        let next = match self {
            Step::Day => return day,
            Step::Week => {
                let left = 6 - u64::from(day.weekday().num_days_from_monday());
                return day.checked_add_days(Days::new(left)).unwrap_or(day);
            }
            Step::Month if day.month() < 12 => {
                NaiveDate::from_ymd_opt(day.year(), day.month() + 1, 1)
            }
            Step::Month | Step::Year => NaiveDate::from_ymd_opt(day.year() + 1, 1, 1),
        };
        next.and_then(|next| next.pred_opt())
            .unwrap_or(NaiveDate::MAX)
    }

    /// The spans from one day to another, the first and the last cut to these days.
    pub fn spans(
        self,
        from: NaiveDate,
        to: NaiveDate,
    ) -> impl Iterator<Item = (NaiveDate, NaiveDate)> {
        let mut next = Some(from);
        std::iter::from_fn(move || {
            let first = next.filter(|first| *first <= to)?;
            let last = self.last_day(first).min(to);
            next = last.succ_opt();
            Some((first, last))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    // Week dates that ISO 8601 is known for, as its public descriptions list them: the days around
    // the turn of the years 2004/05, 2008/09 and 2009/10.
    #[test]
    fn weeks_are_those_of_iso_8601() {
        for (date, week) in [
            ("2005-01-01", "2004-W53"),
            ("2005-01-02", "2004-W53"),
            ("2005-12-31", "2005-W52"),
            ("2007-01-01", "2007-W01"),
            ("2008-12-28", "2008-W52"),
            ("2008-12-29", "2009-W01"),
            ("2009-12-31", "2009-W53"),
            ("2010-01-03", "2009-W53"),
        ] {
            assert_eq!(Step::Week.label(day(date)), week, "{date}");
        }
    }

    #[test]
    fn spans_meet_without_gap_or_overlap_and_keep_to_the_days_asked_for() {
        let (from, to) = (day("2023-11-15"), day("2025-03-02"));
        for step in Step::ALL {
            let spans: Vec<_> = step.spans(from, to).collect();
            assert_eq!(spans[0].0, from);
            assert_eq!(spans[spans.len() - 1].1, to);
            for pair in spans.windows(2) {
                assert_eq!(pair[0].1.succ_opt(), Some(pair[1].0), "{step:?}");
                assert_ne!(step.label(pair[0].1), step.label(pair[1].0));
            }
            for (first, last) in spans {
                assert_eq!(step.label(first), step.label(last));
            }
        }
        // Leap day, counted by the Gregorian calendar.
        let months: Vec<_> = Step::Month.spans(day("2024-02-10"), to).collect();
        assert_eq!(months[0].1, day("2024-02-29"));
        assert_eq!(Step::Day.spans(to, from).count(), 0);
        assert_eq!(Step::Year.last_day(NaiveDate::MAX), NaiveDate::MAX);
    }
}
