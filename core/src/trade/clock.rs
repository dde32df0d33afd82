//! Hours: how long since laying, and until when an egg has to be cold. Elapsed time in UTC, so that
//! the two nights a year that are an hour shorter or longer change nothing.

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use super::error::TradeError;
use super::finding::{COLD_CAUTION, Finding, Reason};
use super::rules::{Rule, RulePack};
use super::species::Species;
use super::units::Minutes;

/// When the eggs of one gather can have been laid.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct LayWindow {
    /// The earliest moment: the gather before.
    pub earliest: DateTime<Utc>,
    /// The latest moment: this gather.
    pub latest: DateTime<Utc>,
}

/// Where an egg stands against a limit of hours.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// Done in time, or still time left: the rest of it.
    InTime {
        /// Whole minutes left (when it was done, or now).
        minutes_left: i64,
    },
    /// The limit has passed for the earliest egg.
    Late {
        /// Whole minutes over the limit.
        minutes_over: i64,
    },
    /// The pack sets no limit.
    NoLimit,
}

/// The window in which the eggs of a gather were laid. Laying is not gathering: the earliest an
/// egg can have been laid is the gather before. When that one is unknown, a day is assumed.
///
/// # Errors
/// When the gather before is not before this one.
pub fn lay_window(
    gather_before: Option<DateTime<Utc>>,
    gather: DateTime<Utc>,
) -> Result<Finding<LayWindow>, TradeError> {
    let (earliest, rule) = match gather_before {
        Some(before) if before >= gather => {
            return Err(TradeError::not_allowed(
                "gather before",
                before.to_rfc3339(),
                format!("earlier than this gather, {}", gather.to_rfc3339()),
            ));
        }
        Some(before) => (
            before,
            "The earliest an egg can have been laid is the gather before.",
        ),
        None => (
            gather - TimeDelta::hours(24),
            "No gather before is known; a day is assumed. If the nests stood longer, the eggs are \
             of unknown age.",
        ),
    };
    let window = LayWindow {
        earliest,
        latest: gather,
    };
    Ok(Finding::new(
        window,
        Reason::common_practice(rule),
        COLD_CAUTION,
    ))
}

fn elapsed(limit: Minutes) -> TimeDelta {
    TimeDelta::milliseconds((limit.0 * 60_000.0).round() as i64)
}

/// The moment at which eggs laid at `earliest_lay` have to be in the cooler; `None` when the pack
/// sets no limit.
pub fn cold_deadline(
    species: Species,
    earliest_lay: DateTime<Utc>,
    pack: &RulePack,
) -> Option<Finding<DateTime<Utc>>> {
    let rule = pack.chill.lay_to_cooler_max.as_ref()?;
    let hours = rule.value.hours();
    let words = format!(
        "In the cooler no later than {hours} hours after laying{}, counted as elapsed time",
        pack.chill
            .cooler_max
            .as_ref()
            .map(|c| format!(", at {} or colder", c.value))
            .unwrap_or_default()
    );
    let deadline = earliest_lay + elapsed(rule.value);
    let why = in_scope(species, rule.reason(words), pack);
    Some(Finding::because(deadline, why, COLD_CAUTION))
}

/// Whether eggs went (or still can go) into the cooler in time. `at` is when they did, or now.
///
/// # Errors
/// When `at` lies before the earliest moment of laying.
pub fn chill_standing(
    species: Species,
    earliest_lay: DateTime<Utc>,
    at: DateTime<Utc>,
    pack: &RulePack,
) -> Result<Finding<Standing>, TradeError> {
    standing(
        species,
        ("into the cooler", pack.chill.lay_to_cooler_max.as_ref()),
        earliest_lay,
        at,
        pack,
    )
}

/// Whether cold eggs were (or still can be) washed within the time they may stand warm.
///
/// # Errors
/// When `at` lies before the eggs left the cooler.
pub fn temper_standing(
    species: Species,
    left_cooler: DateTime<Utc>,
    at: DateTime<Utc>,
    pack: &RulePack,
) -> Result<Finding<Standing>, TradeError> {
    standing(
        species,
        ("washed", pack.chill.temper_max.as_ref()),
        left_cooler,
        at,
        pack,
    )
}

/// The rule, and a word where it was not written for the species.
fn in_scope(species: Species, rule: Reason, pack: &RulePack) -> Vec<Reason> {
    let scope = &pack.chill.species;
    if scope.value.contains(&species) {
        return vec![rule];
    }
    let words = format!(
        "The limit is not written for {} eggs; for them it is guidance",
        species.code()
    );
    vec![rule, scope.reason(words)]
}

fn standing(
    species: Species,
    (what, rule): (&str, Option<&Rule<Minutes>>),
    from: DateTime<Utc>,
    at: DateTime<Utc>,
    pack: &RulePack,
) -> Result<Finding<Standing>, TradeError> {
    if at < from {
        return Err(TradeError::not_allowed(
            "time",
            at.to_rfc3339(),
            format!("{} or later", from.to_rfc3339()),
        ));
    }
    let Some(rule) = rule else {
        let words = format!("{} sets no limit of hours; sooner is better.", pack.name);
        let why = Reason::common_practice(words);
        return Ok(Finding::new(Standing::NoLimit, why, COLD_CAUTION));
    };
    let left = from + elapsed(rule.value) - at;
    let value = if left >= TimeDelta::zero() {
        Standing::InTime {
            minutes_left: left.num_minutes(),
        }
    } else {
        // Rounded up, so that a second too late is not "0 minutes over".
        Standing::Late {
            minutes_over: (-left.num_milliseconds() + 59_999) / 60_000,
        }
    };
    let words = format!(
        "At most {} hours until {what}, as elapsed time",
        rule.value.hours()
    );
    let why = in_scope(species, rule.reason(words), pack);
    Ok(Finding::because(value, why, COLD_CAUTION))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    #[test]
    fn thirty_six_hours_are_elapsed_time() {
        let pack = RulePack::us_federal();
        for (lay, deadline) in [
            ("2026-03-07T18:00:00-05:00", "2026-03-09T07:00:00-04:00"),
            ("2026-10-31T07:00:00-04:00", "2026-11-01T18:00:00-05:00"),
            ("2026-03-28T12:00:00+00:00", "2026-03-30T01:00:00+01:00"),
        ] {
            assert_eq!(
                cold_deadline(Species::Hen, at(lay), &pack).unwrap().value,
                at(deadline)
            );
        }
    }

    #[test]
    fn the_limit_itself_is_in_time_and_a_second_later_is_not() {
        let pack = RulePack::us_federal();
        let lay = at("2026-05-01T08:00:00Z");
        let value = |t: &str| {
            chill_standing(Species::Hen, lay, at(t), &pack)
                .unwrap()
                .value
        };
        assert_eq!(
            value("2026-05-02T20:00:00Z"),
            Standing::InTime { minutes_left: 0 }
        );
        assert_eq!(
            value("2026-05-02T20:00:01Z"),
            Standing::Late { minutes_over: 1 }
        );
        assert_eq!(
            value("2026-05-02T08:00:00Z"),
            Standing::InTime { minutes_left: 720 }
        );
        assert!(chill_standing(Species::Hen, lay, at("2026-05-01T07:59:59Z"), &pack).is_err());
        let eu = chill_standing(
            Species::Hen,
            lay,
            at("2026-05-09T00:00:00Z"),
            &RulePack::eu(),
        )
        .unwrap();
        assert_eq!(eu.value, Standing::NoLimit);
    }

    #[test]
    fn laying_is_not_gathering() {
        let (morning, evening) = (at("2026-05-01T08:00:00Z"), at("2026-05-01T18:00:00Z"));
        assert_eq!(
            lay_window(Some(morning), evening).unwrap().value.earliest,
            morning
        );
        let unknown = lay_window(None, evening).unwrap().value;
        assert_eq!(unknown.earliest, at("2026-04-30T18:00:00Z"));
        assert!(lay_window(Some(evening), morning).is_err());
    }
}
