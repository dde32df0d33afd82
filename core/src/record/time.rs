use std::fmt;
use std::str::FromStr;

use crate::mutants::mutant;
use chrono::{DateTime, Days, NaiveDate, NaiveTime, SecondsFormat, TimeZone, Utc};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A moment in UTC, to the millisecond.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Instant(i64);

impl Instant {
    /// 2000-01-01T00:00:00Z: nothing is logged before.
    pub const EARLIEST: Instant = Instant(946_684_800_000);

    /// 2200-12-31T23:59:59.999Z: nothing that was logged can be dated after.
    pub const LATEST: Instant = Instant(7_289_654_399_999);

    /// The moment so many milliseconds after 1970-01-01T00:00:00Z.
    pub const fn from_ms(ms: i64) -> Instant {
        Instant(ms)
    }

    /// Milliseconds after 1970-01-01T00:00:00Z.
    pub const fn ms(self) -> i64 {
        self.0
    }

    /// The same moment so many milliseconds later.
    pub const fn plus_ms(self, ms: i64) -> Instant {
        Instant(self.0.saturating_add(ms))
    }

    /// The moment as a date and time; the nearest representable one for absurd values.
    pub fn utc(self) -> DateTime<Utc> {
        DateTime::from_timestamp_millis(self.0).unwrap_or(if self.0 < 0 {
            DateTime::<Utc>::MIN_UTC
        } else {
            DateTime::<Utc>::MAX_UTC
        })
    }
}

impl fmt::Display for Instant {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.utc().to_rfc3339_opts(SecondsFormat::Millis, true))
    }
}

impl FromStr for Instant {
    type Err = chrono::ParseError;
    fn from_str(text: &str) -> Result<Instant, chrono::ParseError> {
        DateTime::parse_from_rfc3339(text).map(|t| Instant(t.timestamp_millis()))
    }
}

/// The farm's time zone, by its name in the IANA database.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Zone(chrono_tz::Tz);

/// A name that the IANA time zone database does not have.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} is no time zone; use an IANA name such as Europe/Dublin or America/Chicago")]
pub struct ZoneError(String);

impl Zone {
    /// Coordinated universal time, for a farm whose zone is not known yet.
    pub const UTC: Zone = Zone(chrono_tz::UTC);

    /// The farm day of a moment: the civil date in this zone.
    pub fn day(self, at: Instant) -> NaiveDate {
        if mutant("zone_ignored") {
            return at.utc().date_naive();
        }
        at.utc().with_timezone(&self.0).date_naive()
    }

    /// When a farm day begins. A day may have 23, 24 or 25 hours; where midnight falls into a gap
    /// the day begins at the first moment after it, where it comes twice at the first.
    pub fn day_begins(self, day: NaiveDate) -> Instant {
        let midnight = day.and_time(NaiveTime::MIN);
        if let Some(t) = self.0.from_local_datetime(&midnight).earliest() {
            return Instant(t.timestamp_millis());
        }
        // A gap at midnight: find the first moment whose civil date is this day.
        let guess = Utc.from_utc_datetime(&midnight).timestamp_millis();
        let (mut before, mut after) = (guess - 86_400_000, guess + 86_400_000);
        while after - before > 1 {
            let middle = before + (after - before) / 2;
            if self.day(Instant(middle)) < day {
                before = middle
            } else {
                after = middle
            }
        }
        Instant(after)
    }

    /// How many hours a farm day has, as a number of minutes.
    pub fn day_minutes(self, day: NaiveDate) -> i64 {
        let next = day.checked_add_days(Days::new(1)).unwrap_or(day);
        (self.day_begins(next).ms() - self.day_begins(day).ms()) / 60_000
    }

    /// The civil time of a moment in this zone, with its offset (RFC 3339).
    pub fn local(self, at: Instant) -> String {
        at.utc()
            .with_timezone(&self.0)
            .to_rfc3339_opts(SecondsFormat::Secs, true)
    }

    /// A civil date and time in this zone; where a clock change makes it double the first, where it
    /// falls into a gap nothing.
    pub fn moment(self, day: NaiveDate, time: NaiveTime) -> Option<Instant> {
        let local = self.0.from_local_datetime(&day.and_time(time)).earliest()?;
        Some(Instant(local.timestamp_millis()))
    }
}

impl fmt::Display for Zone {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.0.name())
    }
}

impl FromStr for Zone {
    type Err = ZoneError;
    fn from_str(name: &str) -> Result<Zone, ZoneError> {
        name.parse()
            .map(Zone)
            .map_err(|_| ZoneError(name.chars().take(60).collect()))
    }
}

impl Serialize for Zone {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Zone {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Zone, D::Error> {
        String::deserialize(d)?
            .parse()
            .map_err(serde::de::Error::custom)
    }
}
