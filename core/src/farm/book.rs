use chrono::NaiveDate;
use serde_json::Value;

use super::files::live;
use super::read::flocks_from;
use super::take::Chosen;
use super::{Farm, FarmError};
use crate::files::{BookEntry, BookInput, Cooler, RecordBook, Units, record_book};
use crate::record::{Body, Id, Instant, InvalidRecord, Kind};
use crate::store::{Filter, Tx};

impl Farm {
    /// The records of a span of farm days for an inspector, with what was said about them later and
    /// with what is missing. From the day for which the farm's rules ask unless `from` is given; to
    /// today unless `to` is.
    pub fn record_book(
        &self,
        from: Option<NaiveDate>,
        to: Option<NaiveDate>,
    ) -> Result<RecordBook, FarmError> {
        let now = self.env.now();
        let mut inner = self.lock();
        let farm = inner.me.farm;
        inner.store.read(|tx| {
            let zone = tx.zone()?;
            let pack = tx
                .meta::<Chosen>("setting")?
                .unwrap_or_default()
                .setting()
                .pack;
            let to = to.unwrap_or_else(|| zone.day(now));
            let months = pack
                .as_ref()
                .and_then(|pack| pack.keep_records_months.as_ref());
            let kept = months.and_then(|m| to.checked_sub_months(chrono::Months::new(m.value)));
            let from = from.or(kept).ok_or_else(|| {
                InvalidRecord::missing(
                    "from",
                    "the farm's rules do not say for how long records are kept, so give the day",
                )
            })?;
            if to < from {
                let allowed = format!("allowed is {from} or later");
                return Err(InvalidRecord::new("to", to, allowed).into());
            }
            let set_up = tx.record(farm)?;
            let word = |name: &str| {
                let value = set_up.as_ref().and_then(|row| row.fields.get(name));
                value.and_then(Value::as_str).map(str::to_string)
            };
            let input = BookInput {
                farm: word("name").unwrap_or_else(|| "the farm".into()),
                producer: word("producer"),
                zone,
                from,
                to,
                now,
                begins: tx.first_day()?.and_then(|day| day.parse().ok()),
                units: Units {
                    fahrenheit: word("temperature").as_deref() == Some("F"),
                    ounces: word("weight").as_deref() == Some("oz"),
                    currency: word("currency").unwrap_or_default(),
                },
                names: tx.names()?,
                pack,
                records: entries(tx, from, to)?,
                flocks: flocks_from(tx, from)?,
                coolers: coolers(tx)?,
            };
            Ok(record_book(&input))
        })
    }
}

fn coolers(tx: &Tx<'_>) -> Result<Vec<Cooler>, FarmError> {
    let zone = tx.zone()?;
    let all = live(tx, Kind::Cooler)?.into_iter();
    Ok(all
        .filter_map(|record| match record.body {
            Body::Cooler(cooler) => Some(Cooler {
                id: record.id,
                first: zone.day(record.at),
                last: cooler.retired,
            }),
            _ => None,
        })
        .collect())
}

/// Records whose day, now or as first logged, lies in the span.
fn entries(tx: &Tx<'_>, from: NaiveDate, to: NaiveDate) -> Result<Vec<BookEntry>, FarmError> {
    let zone = tx.zone()?;
    let rows = tx.records(&Filter {
        from: Some(from),
        to: Some(to),
        all: true,
        ..Filter::default()
    })?;
    let mut ids: Vec<Id> = rows.iter().map(|row| row.id).collect();
    let first = |id: &Id| zone.day(Instant::from_ms(id.unix_ms().unwrap_or_default()));
    let moved = tx.moved_in_time()?.into_iter();
    ids.extend(moved.filter(|id| (from..=to).contains(&first(id))));
    // A record that cannot be read has no day of its own.
    let unreadable = tx.unreadable()?.into_iter().map(|(id, _, _)| id);
    ids.extend(unreadable.filter(|id| (from..=to).contains(&first(id))));
    ids.sort();
    ids.dedup();
    let mut entries = Vec::new();
    for id in ids {
        let (Some(facts), Some((base, edits))) = (tx.first_facts_of(id)?, tx.said_about(id)?)
        else {
            continue;
        };
        entries.push(BookEntry {
            id,
            base,
            edits,
            made_at: facts.made_at,
        });
    }
    Ok(entries)
}
