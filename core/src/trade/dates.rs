//! Days: the last day of a limit, the day of the year on a carton, the ages in it. All of it on
//! civil dates; hours are in [`super::clock`].

use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Serialize};

pub use super::day_limit::{Counting, DayLimit, FromDay};

use super::error::TradeError;
use super::finding::{Finding, LOCAL_CODES_DECIDE, Mark, Reason};
use super::rules::{HousePolicy, Rule, RulePack};
use super::species::Species;

/// Which last day is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LastDay {
    /// Best by, or best before.
    BestBy,
    /// Sell by.
    SellBy,
    /// Packed by.
    PackBy,
    /// Delivered to the consumer by.
    DeliverBy,
}

/// The last day under the pack and the house policy, for eggs of which the oldest may have been
/// laid on `oldest_lay`. `None` when neither pack nor house sets a limit. The house can only make
/// a best-by earlier, and a best-by is never later than the last day of delivery.
///
/// # Errors
/// When the eggs were packed before they were laid.
pub fn last_day(
    which: LastDay,
    pack_day: NaiveDate,
    oldest_lay: NaiveDate,
    pack: &RulePack,
    house: &HousePolicy,
) -> Result<Finding<Option<NaiveDate>>, TradeError> {
    if pack_day < oldest_lay {
        return Err(TradeError::not_allowed(
            "pack day",
            pack_day,
            format!("the lay day {oldest_lay} or later"),
        ));
    }
    let mut days = Vec::new();
    let mut why = Vec::new();
    let mut apply = |rule: &Rule<DayLimit>, what: &str| -> Result<(), TradeError> {
        let first = match rule.value.from {
            FromDay::Pack => pack_day,
            FromDay::Lay => oldest_lay,
        };
        let day = rule.value.last_day(first)?;
        days.push(day);
        why.push(rule.reason(format!("{}: {day}", rule.value.words(what))));
        Ok(())
    };
    let dates = &pack.dates;
    let (rule, what) = match which {
        LastDay::BestBy => (&dates.best_by, "Best by"),
        LastDay::SellBy => (&dates.sell_by, "Sold"),
        LastDay::PackBy => (&dates.pack_within, "Packed"),
        LastDay::DeliverBy => (&dates.deliver_within, "Delivered to the consumer"),
    };
    if let Some(rule) = rule {
        apply(rule, what)?;
    }
    if which == LastDay::BestBy {
        if let Some(rule) = &dates.deliver_within {
            apply(rule, "Delivered to the consumer")?;
        }
        if let Some(days) = house.best_by_days {
            let limit = DayLimit {
                days,
                counting: Counting::Inclusive,
                from: FromDay::Pack,
            };
            let rule = Rule {
                value: limit,
                source: "house policy".to_owned(),
                mark: Mark::House,
            };
            apply(&rule, "The farm's own best by")?;
        }
    }
    if why.is_empty() {
        let words = format!("{} sets no such limit, nor does the farm.", pack.name);
        why.push(Reason::new(words, pack.name.clone(), Mark::Seen));
    }
    Ok(Finding::because(
        days.into_iter().min(),
        why,
        LOCAL_CODES_DECIDE,
    ))
}

/// The day of the year in three digits, as pack dates are printed: `060`.
pub fn day_of_year(day: NaiveDate) -> String {
    format!("{:03}", day.ordinal())
}

/// The ISO 8601 ordinal date: `2026-060`. Unlike the bare day of the year it names one day.
pub fn ordinal_date(day: NaiveDate) -> String {
    format!("{:04}-{:03}", day.year(), day.ordinal())
}

/// A lot code: ordinal date, species, and the coop where the farm keeps coops apart, for example
/// `2026-060-duck` or `2026-060-hen-b`.
///
/// # Errors
/// When the coop's letter is not one to eight ASCII letters or digits.
pub fn lot_code(
    day: NaiveDate,
    species: Species,
    coop: Option<&str>,
) -> Result<String, TradeError> {
    let mut code = format!("{}-{}", ordinal_date(day), species.code());
    if let Some(coop) = coop {
        let fits = (1..=8).contains(&coop.len()) && coop.bytes().all(|b| b.is_ascii_alphanumeric());
        if !fits {
            return Err(TradeError::not_allowed(
                "coop in the lot code",
                coop,
                "one to eight letters or digits without accents",
            ));
        }
        code.push('-');
        code.push_str(coop);
    }
    Ok(code)
}

/// The ages of the eggs in one carton on its pack day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct CartonAges {
    /// Days since the youngest was laid.
    pub youngest: u32,
    /// Days since the oldest was laid.
    pub oldest: u32,
}

impl CartonAges {
    /// Days between the youngest and the oldest.
    pub fn apart(&self) -> u32 {
        self.oldest - self.youngest
    }
}

/// The ages of the eggs in a carton from their lay days; whether they are close enough by the
/// house policy is in the second value.
///
/// # Errors
/// When there are no eggs, or one was laid after the pack day.
pub fn carton_ages(
    lay_days: &[NaiveDate],
    pack_day: NaiveDate,
    house: &HousePolicy,
) -> Result<Finding<(CartonAges, bool)>, TradeError> {
    let (Some(first), Some(last)) = (lay_days.iter().min(), lay_days.iter().max()) else {
        return Err(TradeError::not_allowed("lay days", "empty", "at least one"));
    };
    if *last > pack_day {
        let allowed = format!("the pack day {pack_day} or earlier");
        return Err(TradeError::not_allowed("lay day", last, allowed));
    }
    let age = |day: &NaiveDate| pack_day.signed_duration_since(*day).num_days() as u32;
    let ages = CartonAges {
        youngest: age(last),
        oldest: age(first),
    };
    let close = house
        .ages_apart_max_days
        .is_none_or(|max| ages.apart() <= max);
    let words = format!(
        "The oldest egg counts: {} days; the youngest is {} days. A carton's dates follow its \
         oldest egg.",
        ages.oldest, ages.youngest
    );
    let why = Reason::common_practice(words);
    Ok(Finding::new((ages, close), why, LOCAL_CODES_DECIDE))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    #[test]
    fn forty_five_days_with_the_first_end_forty_four_days_later() {
        let (pack, house) = (RulePack::us_federal(), HousePolicy::default());
        for (packed, best_by) in [
            ("2024-02-29", "2024-04-13"),
            ("2024-03-01", "2024-04-14"),
            ("2025-03-01", "2025-04-14"),
            ("2024-12-31", "2025-02-13"),
        ] {
            let found = last_day(LastDay::BestBy, day(packed), day(packed), &pack, &house).unwrap();
            assert_eq!(found.value, Some(day(best_by)), "{packed}");
        }
    }

    #[test]
    fn the_eu_counts_from_laying_and_28_days() {
        let (pack, house) = (RulePack::eu(), HousePolicy::default());
        let found = last_day(
            LastDay::BestBy,
            day("2026-03-05"),
            day("2026-03-01"),
            &pack,
            &house,
        )
        .unwrap();
        assert_eq!(found.value, Some(day("2026-03-29")));
        let shorter = HousePolicy {
            best_by_days: Some(14),
            ..HousePolicy::default()
        };
        let found = last_day(
            LastDay::BestBy,
            day("2026-03-05"),
            day("2026-03-01"),
            &pack,
            &shorter,
        );
        assert_eq!(found.unwrap().value, Some(day("2026-03-18")));
        assert!(
            last_day(
                LastDay::BestBy,
                day("2026-02-28"),
                day("2026-03-01"),
                &pack,
                &house
            )
            .is_err()
        );
    }

    #[test]
    fn a_lot_code_names_one_day() {
        assert_eq!(
            day_of_year(day("2024-05-11")),
            day_of_year(day("2025-05-12"))
        );
        assert_eq!(
            lot_code(day("2026-03-01"), Species::Duck, None).unwrap(),
            "2026-060-duck"
        );
        let coop = lot_code(day("2024-03-01"), Species::Hen, Some("b")).unwrap();
        assert_eq!(coop, "2024-061-hen-b");
        assert!(lot_code(day("2024-03-01"), Species::Hen, Some("b c")).is_err());
    }

    #[test]
    fn the_oldest_egg_counts() {
        let days = [day("2026-03-01"), day("2026-03-04")];
        let house = HousePolicy {
            ages_apart_max_days: Some(2),
            ..HousePolicy::default()
        };
        let (ages, close) = carton_ages(&days, day("2026-03-05"), &house).unwrap().value;
        assert_eq!(
            (ages.youngest, ages.oldest, ages.apart(), close),
            (1, 4, 3, false)
        );
        assert!(carton_ages(&days, day("2026-03-03"), &house).is_err());
        assert!(carton_ages(&[], day("2026-03-03"), &house).is_err());
    }
}
