//! Days and times, as the reader writes them and as the farm's clocks show them.

use chrono::{Datelike, NaiveDate};
use pointdown_core::record::{Instant, Zone};

use super::words::{Language, Words};

const WEEKDAYS: [[&str; 7]; 2] = [
    [
        "Monday",
        "Tuesday",
        "Wednesday",
        "Thursday",
        "Friday",
        "Saturday",
        "Sunday",
    ],
    [
        "lunes",
        "martes",
        "miércoles",
        "jueves",
        "viernes",
        "sábado",
        "domingo",
    ],
];
const MONTHS: [[&str; 12]; 2] = [
    [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ],
    [
        "enero",
        "febrero",
        "marzo",
        "abril",
        "mayo",
        "junio",
        "julio",
        "agosto",
        "septiembre",
        "octubre",
        "noviembre",
        "diciembre",
    ],
];

fn short(name: &str) -> String {
    name.chars().take(3).collect()
}

impl Words {
    fn row<const N: usize>(self, all: &[[&'static str; N]; 2], n: u32) -> &'static str {
        let row = match self.language {
            Language::English => all.first(),
            Language::Spanish => all.last(),
        };
        let n = usize::try_from(n).unwrap_or(0);
        row.and_then(|row| row.get(n)).copied().unwrap_or_default()
    }

    /// `Wednesday, November 25`.
    pub(super) fn long_day(self, day: NaiveDate) -> String {
        let weekday = self.row(&WEEKDAYS, day.weekday().num_days_from_monday());
        let month = self.row(&MONTHS, day.month0());
        let d = day.day();
        match self.language {
            Language::English if self.american => format!("{weekday}, {month} {d}"),
            Language::English => format!("{weekday} {d} {month}"),
            Language::Spanish => format!("{weekday}, {d} de {month}"),
        }
    }

    /// `Wed, Nov 25`.
    pub(super) fn short_day(self, day: NaiveDate) -> String {
        let weekday = short(self.row(&WEEKDAYS, day.weekday().num_days_from_monday()));
        let month = short(self.row(&MONTHS, day.month0()));
        let d = day.day();
        match self.language {
            Language::English if self.american => format!("{weekday}, {month} {d}"),
            _ => format!("{weekday} {d} {month}"),
        }
    }

    /// `November 2026`.
    pub(super) fn month(self, day: NaiveDate) -> String {
        let month = self.row(&MONTHS, day.month0());
        format!("{month} {}", day.year())
    }

    /// `6:35 PM`, or `18:35`.
    pub(super) fn time(self, at: Instant, zone: Zone) -> String {
        let local = zone.local(at);
        let clock = local
            .split_once('T')
            .map_or("", |(_, time)| time)
            .get(..5)
            .unwrap_or_default();
        let Some((hour, minute)) = clock.split_once(':') else {
            return String::new();
        };
        let hour: u32 = hour.parse().unwrap_or(0);
        if !self.american || self.language != Language::English {
            return format!("{hour}:{minute}");
        }
        let half = if hour < 12 { "AM" } else { "PM" };
        let hour = match hour % 12 {
            0 => 12,
            hour => hour,
        };
        format!("{hour}:{minute}\u{a0}{half}")
    }

    /// Day and time.
    pub(super) fn moment(self, at: Instant, zone: Zone) -> String {
        format!("{}, {}", self.short_day(zone.day(at)), self.time(at, zone))
    }

    /// How long ago, roughly.
    pub(super) fn ago(self, ms: i64) -> String {
        let minutes = ms.max(0) / 60_000;
        match minutes {
            0 => self.t("kitchen.ago.now"),
            1..120 => self.n("kitchen.ago.minutes", minutes, &[]),
            120..2880 => self.n("kitchen.ago.hours", minutes / 60, &[]),
            _ => self.n("kitchen.ago.days", minutes / 1440, &[]),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_and_times_are_those_of_the_farm_in_the_words_of_the_reader() {
        let zone: Zone = "America/Chicago".parse().unwrap();
        let at: Instant = Instant::from_ms(1_795_593_600_000); // 2026-11-25T08:00:00Z
        let day = zone.day(at);
        let words = |language, american| Words { language, american };
        let us = words(Language::English, true);
        assert_eq!(us.long_day(day), "Wednesday, November 25");
        assert_eq!(us.moment(at, zone), "Wed, Nov 25, 2:00\u{a0}AM");
        assert_eq!(us.time(at.plus_ms(10 * 3_600_000), zone), "12:00\u{a0}PM");
        let ie = words(Language::English, false);
        assert_eq!(ie.long_day(day), "Wednesday 25 November");
        assert_eq!(ie.moment(at, zone), "Wed 25 Nov, 2:00");
        let es = words(Language::Spanish, true);
        assert_eq!(es.long_day(day), "miércoles, 25 de noviembre");
        assert_eq!(es.short_day(day), "mié 25 nov");
        assert_eq!(es.time(at.plus_ms(12 * 3_600_000), zone), "14:00");
    }
}
