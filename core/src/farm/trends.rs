use chrono::{Days, NaiveDate};

use super::read::flocks;
use super::{Farm, FarmError};
use crate::book::trends::{Birds, Step, TrendInput, Trends, WATCHED_DAYS, trends};
use crate::record::{Body, Id, InvalidRecord, Kind, Record};
use crate::store::{Filter, Tx};

/// The longest span of trends, in days: a hundred years.
const LONGEST: i64 = 36_525;

impl Farm {
    /// How flocks lay over a span of farm days, step by step; of one coop, or of all.
    pub fn trends(
        &self,
        from: NaiveDate,
        to: NaiveDate,
        step: Step,
        coop: Option<Id>,
    ) -> Result<Trends, FarmError> {
        if to < from {
            return Err(InvalidRecord::new("to", to, format!("allowed is {from} or later")).into());
        }
        if (to - from).num_days() >= LONGEST {
            let allowed = format!("allowed are at most {LONGEST} days from {from} on");
            return Err(InvalidRecord::new("to", to, allowed).into());
        }
        self.lock().store.read(|tx| {
            // The day before the first tells whether that one follows a gap.
            let watched = to
                .checked_sub_days(Days::new(WATCHED_DAYS))
                .unwrap_or(from)
                .min(from.pred_opt().unwrap_or(from));
            Ok(trends(&TrendInput {
                from,
                to,
                step,
                lines: tx.lines(watched, to)?,
                flocks: flocks(tx)?,
                birds: birds(tx, to)?,
                names: tx.names()?,
                coop,
            }))
        })
    }
}

/// Every headcount up to a farm day, in the order in which they were taken.
fn birds(tx: &Tx<'_>, to: NaiveDate) -> Result<Vec<Birds>, FarmError> {
    let zone = tx.zone()?;
    let rows = tx.records(&Filter {
        kind: Some(Kind::Headcount),
        to: Some(to),
        ..Filter::default()
    })?;
    let mut all = Vec::new();
    for row in rows.into_iter().rev() {
        let Ok(record) = Record::read(row.id, &row.fields) else {
            continue;
        };
        if let Body::Headcount(count) = record.body {
            all.push(Birds {
                day: zone.day(record.at),
                coop: count.coop,
                species: count.species,
                birds: count.birds,
            });
        }
    }
    Ok(all)
}
