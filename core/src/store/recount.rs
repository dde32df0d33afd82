use std::collections::BTreeMap;

use rusqlite::params;

use super::count::read_move;
use super::rows::{ByLot, by_lot, id, id_and_fields, lot_and_eggs, records};
use super::{StoreError, Tx};
use crate::book::{Moment, Move, Place, lines, settle};
use crate::mutants::mutant;
use crate::record::{Body, Instant, Record, Recount, Zone};
use crate::trade::Species;

/// Stations and species whose recounts have to be settled again, and from when on.
#[derive(Debug, Default)]
pub(super) struct Recounts(BTreeMap<(Place, Species), Moment>);

impl Recounts {
    /// A record came, went or changed.
    pub(super) fn touch(&mut self, record: &Record, moved: &[Move]) {
        let moment = (record.at, record.id);
        if let Body::Recount(recount) = &record.body {
            if let Some(species) = recount.of_species() {
                self.since((recount.station.into(), species), moment);
            }
            return;
        }
        for m in moved {
            for place in [m.from, m.to] {
                if place.station().is_some() {
                    self.since((place, m.lot.species), moment);
                }
            }
        }
    }

    fn since(&mut self, key: (Place, Species), moment: Moment) {
        self.0
            .entry(key)
            .and_modify(|m| *m = (*m).min(moment))
            .or_insert(moment);
    }
}

impl Tx<'_> {
    /// Settles every recount that may come out differently now. What it costs follows the moves
    /// since the earliest touched one, not the history before.
    pub(super) fn settle_recounts(&self, zone: Zone, due: Recounts) -> Result<(), StoreError> {
        if mutant("recounts_unsettled") {
            return Ok(());
        }
        for ((station, species), since) in due.0 {
            let recounts = self.recounts(station, species, since)?;
            let Some(first) = recounts.first().map(|r| (r.at, r.id)) else {
                continue;
            };
            for record in &recounts {
                let old = self.take_moves(record.id)?;
                for line in lines(record, zone, &old) {
                    self.count(&line, -1)?;
                }
            }
            let later = self.moves_since(station, species, first)?;
            let mut expected = self.balance_by_lot(station, species)?;
            for (_, m) in &later {
                carry(&mut expected, station, m, -1);
            }
            let mut later = later.into_iter().peekable();
            for record in &recounts {
                let Body::Recount(recount) = &record.body else {
                    continue;
                };
                while let Some((_, m)) = later.next_if(|(at, _)| *at < (record.at, record.id)) {
                    carry(&mut expected, station, &m, 1);
                }
                let settled = settle(recount, zone.day(record.at), &expected);
                for m in &settled {
                    carry(&mut expected, station, m, 1);
                }
                self.carry(zone, record, &settled)?;
            }
        }
        Ok(())
    }

    /// What the moves say a recount should find at its moment.
    pub fn expected(&self, recount: &Recount, at: Moment) -> Result<i64, StoreError> {
        let Some(species) = recount.of_species() else {
            return Ok(0);
        };
        let station = recount.station.into();
        let mut expected = self.balance_by_lot(station, species)?;
        for (_, m) in self.moves_since(station, species, at)? {
            carry(&mut expected, station, &m, -1);
        }
        Ok(match recount.lot {
            Some(lot) => expected.get(&lot).copied().unwrap_or(0),
            None => expected.values().sum(),
        })
    }

    /// Live recounts of a station and species from a moment on, in order.
    fn recounts(
        &self,
        station: Place,
        species: Species,
        since: Moment,
    ) -> Result<Vec<Record>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT id, fields FROM record
             WHERE kind = 'recount' AND standing = 0 AND at >= ?1 ORDER BY at, id",
        )?;
        let mut all = records(statement.query_map([since.0.ms()], id_and_fields)?)?;
        all.retain(|record| {
            let Body::Recount(recount) = &record.body else {
                return false;
            };
            Place::from(recount.station) == station
                && recount.of_species() == Some(species)
                && (record.at, record.id) >= since
        });
        Ok(all)
    }

    fn moves_since(
        &self,
        station: Place,
        species: Species,
        since: Moment,
    ) -> Result<Vec<(Moment, Move)>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT lot, source, dest, eggs, at, record FROM move
             WHERE species = ?1 AND at >= ?2 AND (source = ?3 OR dest = ?3) ORDER BY at, record, n",
        )?;
        let rows = statement.query_map(
            params![species.code(), since.0.ms(), station.code()],
            |row| {
                Ok((
                    read_move(row)?,
                    row.get::<_, i64>(4)?,
                    row.get::<_, String>(5)?,
                ))
            },
        )?;
        let mut all = Vec::new();
        for row in rows {
            let (m, at, text) = row?;
            let moment = (Instant::from_ms(at), id(&text)?);
            if moment >= since {
                all.push((moment, m));
            }
        }
        Ok(all)
    }

    pub(super) fn balance_by_lot(
        &self,
        place: Place,
        species: Species,
    ) -> Result<ByLot, StoreError> {
        let mut statement = self
            .sql
            .prepare_cached("SELECT lot, eggs FROM balance WHERE place = ?1 AND species = ?2")?;
        by_lot(statement.query_map(params![place.code(), species.code()], lot_and_eggs)?)
    }
}

fn carry(expected: &mut ByLot, station: Place, m: &Move, sign: i64) {
    let n = sign * i64::from(m.eggs);
    if m.from == station {
        *expected.entry(m.lot).or_default() -= n;
    }
    if m.to == station {
        *expected.entry(m.lot).or_default() += n;
    }
}
