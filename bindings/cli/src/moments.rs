use chrono::{Days, NaiveDate, NaiveTime};
use pointdown_core::farm::{Farm, FarmError};
use pointdown_core::record::{Instant, Zone};

use crate::fail::{Failure, invalid};

/// Today on the farm, and where the farm is.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Calendar {
    pub(crate) today: NaiveDate,
    pub(crate) zone: Zone,
}

impl Calendar {
    pub(crate) fn of(farm: &Farm) -> Result<Calendar, FarmError> {
        Ok(Calendar {
            today: farm.today()?,
            zone: farm.zone()?,
        })
    }

    /// `today`, `yesterday` or `tomorrow` as a farm day.
    pub(crate) fn word(self, text: &str) -> Option<NaiveDate> {
        match text {
            "today" => Some(self.today),
            "yesterday" => self.today.checked_sub_days(Days::new(1)),
            "tomorrow" => self.today.checked_add_days(Days::new(1)),
            _ => None,
        }
    }

    /// A farm day: one of the words, or a date.
    pub(crate) fn day(self, field: &str, text: &str) -> Result<NaiveDate, Failure> {
        let text = text.trim();
        self.word(text)
            .or_else(|| text.parse().ok())
            .ok_or_else(|| {
                invalid(
                    field,
                    text,
                    "allowed are today, yesterday, tomorrow and dates such as 2026-11-25",
                )
            })
    }

    /// A moment: a time of today, a day and a time, or RFC 3339.
    pub(crate) fn moment(self, text: &str) -> Result<Instant, Failure> {
        let text = text.trim();
        if let Ok(at) = text.parse::<Instant>() {
            return Ok(at);
        }
        let wrong = || {
            invalid(
                "at",
                text,
                "allowed are 07:30, 'yesterday 18:00', '2026-11-25 07:30' in the farm's zone, \
                 or RFC 3339 such as 2026-11-25T07:30:00Z",
            )
        };
        let (day, time) = match text.split_once([' ', 'T']) {
            Some((day, time)) => (
                self.word(day).or_else(|| day.parse().ok()),
                clock(time.trim()),
            ),
            None => (Some(self.today), clock(text)),
        };
        let (day, time) = day.zip(time).ok_or_else(wrong)?;
        self.zone.moment(day, time).ok_or_else(|| {
            invalid(
                "at",
                text,
                format!(
                    "the clocks in {} skip this time on {day}; allowed are the times before and after",
                    self.zone
                ),
            )
        })
    }

    /// A moment until which something lasts: the end of a day where that is meant.
    pub(crate) fn until(self, at: Instant) -> String {
        let day = self.zone.day(at);
        match day.pred_opt() {
            Some(last) if self.zone.day_begins(day) == at => format!("end of {last}"),
            _ => self.shown(at),
        }
    }

    /// A moment for people: the farm's own date and time, to the minute.
    pub(crate) fn shown(self, at: Instant) -> String {
        let local = self.zone.local(at);
        match (local.get(..10), local.get(11..16)) {
            (Some(day), Some(time)) => format!("{day} {time}"),
            _ => local,
        }
    }
}

fn clock(text: &str) -> Option<NaiveTime> {
    ["%H:%M", "%H:%M:%S"]
        .iter()
        .find_map(|form| NaiveTime::parse_from_str(text, form).ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dublin() -> Calendar {
        Calendar {
            today: "2026-11-25".parse().expect("a date"),
            zone: "Europe/Dublin".parse().expect("a zone"),
        }
    }

    fn utc(text: &str) -> String {
        dublin().moment(text).expect("a moment").to_string()
    }

    // Offsets and clock changes of Europe/Dublin: IANA time zone database, the EU rules of 1996
    // on (last Sundays of March and October, 01:00 UTC).
    #[test]
    fn times_are_in_the_farms_zone() {
        assert_eq!(utc("07:30"), "2026-11-25T07:30:00.000Z");
        assert_eq!(utc("yesterday 18:00:05"), "2026-11-24T18:00:05.000Z");
        assert_eq!(utc("2026-07-01 07:30"), "2026-07-01T06:30:00.000Z");
        assert_eq!(utc("2026-07-01T07:30"), "2026-07-01T06:30:00.000Z");
        assert_eq!(utc("2026-07-01T07:30:00+05:00"), "2026-07-01T02:30:00.000Z");
    }

    #[test]
    fn a_skipped_time_is_refused_and_a_double_one_is_the_first() {
        assert_eq!(utc("2026-10-25 01:30"), "2026-10-25T00:30:00.000Z");
        assert_eq!(utc("2026-10-25T01:30:00Z"), "2026-10-25T01:30:00.000Z");
        let skipped = dublin().moment("2026-03-29 01:30").expect_err("skipped");
        assert!(
            skipped.text(false).contains("skip this time"),
            "{skipped:?}"
        );
    }

    #[test]
    fn other_words_are_refused() {
        for text in [
            "",
            "noon",
            "25:00",
            "7.30",
            "today",
            "never 07:30",
            "2026-02-30 07:30",
        ] {
            assert!(dublin().moment(text).is_err(), "{text}");
        }
        assert!(dublin().day("day", "Monday").is_err());
        assert_eq!(
            dublin().day("day", "tomorrow").expect("a day").to_string(),
            "2026-11-26"
        );
    }
}
