use chrono::NaiveDate;
use sha2::{Digest as _, Sha256};

use super::{ErrorKind, Farm, FarmError};
use crate::book::{Flock, Names, OnHand, Place, Sheet, SheetInput, sheet};
use crate::record::{Body, Id, InvalidRecord, Kind, Parts, Record, Station, Zone};
use crate::store::{Filter, Row, Tx};
use crate::trade::Species;

impl Farm {
    /// Today's farm day: the civil date in the farm's zone, whatever the device's zone says.
    pub fn today(&self) -> Result<NaiveDate, FarmError> {
        let now = self.env.now();
        Ok(self.zone()?.day(now))
    }

    /// The farm's zone; UTC while its set-up has not arrived.
    pub fn zone(&self) -> Result<Zone, FarmError> {
        self.lock().store.read(|tx| Ok(tx.zone()?))
    }

    /// The farm's name; nothing while its set-up has not arrived.
    pub fn name(&self) -> Result<Option<String>, FarmError> {
        let mut inner = self.lock();
        let farm = inner.me.farm;
        inner.store.read(|tx| Ok(tx.names()?.remove(&farm)))
    }

    /// Names of coops, people, devices, coolers and outlets.
    pub fn names(&self) -> Result<Names, FarmError> {
        self.lock().store.read(|tx| Ok(tx.names()?))
    }

    /// The combined totals of a span of farm days.
    pub fn sheet(&self, from: NaiveDate, to: NaiveDate) -> Result<Sheet, FarmError> {
        if to < from {
            return Err(InvalidRecord::new("to", to, format!("allowed is {from} or later")).into());
        }
        self.lock().store.read(|tx| {
            let input = SheetInput {
                from,
                to,
                lines: tx.lines(from, to)?,
                on_hand: tx.on_hand(to)?,
                flocks: flocks(tx)?,
                names: tx.names()?,
            };
            Ok(sheet(&input))
        })
    }

    /// A fingerprint of the day sheet: SHA-256 of its JSON, in hexadecimal. Devices with the same
    /// changes have the same.
    pub fn sheet_hash(&self, from: NaiveDate, to: NaiveDate) -> Result<String, FarmError> {
        let sheet = self.sheet(from, to)?;
        let json = serde_json::to_vec(&sheet)
            .map_err(|e| FarmError::new(ErrorKind::Damaged, e.to_string()))?;
        Ok(data_encoding::HEXLOWER.encode(&Sha256::digest(json)))
    }

    /// Where eggs are now, by station and species, with their lots.
    pub fn on_hand(&self) -> Result<Vec<OnHand>, FarmError> {
        self.lock()
            .store
            .read(|tx| Ok(crate::book::on_hand(&tx.balances()?)))
    }

    /// A suggestion: so many eggs of a species from a station, the oldest lots first. It is never
    /// applied by itself; an error where fewer eggs are there.
    pub fn oldest_first(
        &self,
        station: Station,
        species: Species,
        eggs: u32,
    ) -> Result<Parts, FarmError> {
        let place = Place::from(station);
        let mut here: Vec<_> = self
            .lock()
            .store
            .read::<_, FarmError>(|tx| Ok(tx.balances()?))?
            .into_iter()
            .filter(|(p, lot, n)| *p == place && lot.species == species && *n > 0)
            .collect();
        here.sort();
        let mut parts = Parts::default();
        let mut left = i64::from(eggs);
        for (_, lot, n) in here {
            let taken = n.min(left);
            if taken > 0 {
                parts
                    .0
                    .insert(lot, u32::try_from(taken).unwrap_or(u32::MAX));
                left -= taken;
            }
        }
        if left > 0 || eggs == 0 {
            let here = i64::from(eggs) - left;
            let allowed = format!(
                "allowed are 1 to {here}, the {} eggs at station {}",
                species.code(),
                station.code()
            );
            return Err(InvalidRecord::new("eggs", eggs, allowed).into());
        }
        Ok(parts)
    }

    /// Records, the newest first.
    pub fn list(&self, filter: &Filter) -> Result<Vec<Row>, FarmError> {
        self.lock().store.read(|tx| Ok(tx.records(filter)?))
    }

    /// One record as it stands.
    pub fn record(&self, id: Id) -> Result<Option<Row>, FarmError> {
        self.lock().store.read(|tx| Ok(tx.record(id)?))
    }

    /// How many records there are, set-up facts aside.
    pub fn record_count(&self) -> Result<u64, FarmError> {
        self.lock().store.read(|tx| Ok(tx.record_count()?))
    }

    /// Writes by other programs that are no records, or came second under an id.
    pub fn strays(&self) -> Result<Vec<crate::store::Stray>, FarmError> {
        self.lock().store.read(|tx| Ok(tx.strays()?))
    }
}

/// Every flock that should be gathered from.
pub(super) fn flocks(tx: &Tx<'_>) -> Result<Vec<Flock>, FarmError> {
    let zone = tx.zone()?;
    let rows = tx.records(&Filter {
        kind: Some(Kind::Coop),
        ..Filter::default()
    })?;
    let mut all = Vec::new();
    for row in rows {
        let Ok(record) = Record::read(row.id, &row.fields) else {
            continue;
        };
        let first = zone.day(record.at);
        let Body::Coop(coop) = record.body else {
            continue;
        };
        all.extend(coop.species.into_iter().map(|species| Flock {
            coop: row.id,
            species,
            first,
            last: coop.retired,
        }));
    }
    Ok(all)
}
