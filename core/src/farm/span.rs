use chrono::NaiveDate;

use super::read::flocks_from;
use super::take::Chosen;
use super::{Farm, FarmError};
use crate::book::span::{EggWeights, FlockSize, Span, SpanInput, span};
use crate::record::{Body, InvalidRecord, Kind, Record};
use crate::store::{Filter, Tx};
use crate::trade::size::{SizeScheme, schemes};

/// The longest span, in days: a hundred years.
const LONGEST: i64 = 36_525;

impl Farm {
    /// A span of farm days, day by day and flock by flock: counts, hen-days, weights and the classes
    /// of single eggs, by the scheme of this word; without one by the farm's rules, or by every
    /// scheme where it chose none. A day without a gather is unknown, not zero.
    pub fn span(
        &self,
        from: NaiveDate,
        to: NaiveDate,
        scheme: Option<&str>,
    ) -> Result<Span, FarmError> {
        if to < from || (to - from).num_days() >= LONGEST {
            let allowed = format!("allowed are {from} and the {LONGEST} days from it on");
            return Err(InvalidRecord::new("to", to, allowed).into());
        }
        self.lock().store.read(|tx| {
            let zone = tx.zone()?;
            let day = |record: &Record| zone.day(record.at);
            let headcounts = records(tx, Kind::Headcount, None, to)?
                .into_iter()
                .filter_map(|record| match &record.body {
                    Body::Headcount(count) => Some(FlockSize {
                        day: day(&record),
                        coop: count.coop,
                        species: count.species,
                        birds: count.birds,
                    }),
                    _ => None,
                });
            let weights = records(tx, Kind::Weigh, Some(from), to)?
                .into_iter()
                .filter_map(|record| match &record.body {
                    Body::Weigh(weigh) => Some(EggWeights {
                        day: day(&record),
                        coop: weigh.lot.coop,
                        species: weigh.lot.species,
                        grams: weigh.grams.clone(),
                    }),
                    _ => None,
                });
            Ok(span(&SpanInput {
                from,
                to,
                lines: tx.lines(from, to)?,
                flocks: flocks_from(tx, from)?,
                headcounts: headcounts.collect(),
                weights: weights.collect(),
                schemes: chosen(tx, scheme)?,
                names: tx.names()?,
            }))
        })
    }
}

/// Live records of a kind, the oldest first.
fn records(
    tx: &Tx<'_>,
    kind: Kind,
    from: Option<NaiveDate>,
    to: NaiveDate,
) -> Result<Vec<Record>, FarmError> {
    let rows = tx.records(&Filter {
        kind: Some(kind),
        from,
        to: Some(to),
        ..Filter::default()
    })?;
    let rows = rows.into_iter().rev();
    Ok(rows
        .filter_map(|row| Record::read(row.id, &row.fields).ok())
        .collect())
}

fn chosen(tx: &Tx<'_>, scheme: Option<&str>) -> Result<Vec<SizeScheme>, FarmError> {
    let setting = tx.meta::<Chosen>("setting")?.unwrap_or_default().setting();
    let own = setting.pack.map(|pack| pack.sizes);
    let Some(code) = scheme else {
        return Ok(match own {
            Some(sizes) => sizes.into_iter().collect(),
            None => schemes(),
        });
    };
    let mut all = schemes();
    all.extend(own.flatten());
    if let Some(found) = all.iter().rev().find(|scheme| scheme.code == code) {
        return Ok(vec![found.clone()]);
    }
    let mut codes: Vec<&str> = all.iter().map(|scheme| scheme.code.as_str()).collect();
    codes.sort_unstable();
    codes.dedup();
    let allowed = format!("allowed are {}", codes.join(", "));
    Err(InvalidRecord::new("sizes", format!("{code:?}"), allowed).into())
}
