use serde::{Deserialize, Serialize};

use super::facade::Inner;
use super::names::find;
use super::{ErrorKind, Farm, FarmError};
use crate::record::{Draft, Id, Kind};
#[cfg(feature = "native")]
use crate::{record::FieldType, store::Tx};

/// Who is to write on a device that joined while the farm's people were not here yet.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Newcomer {
    /// The person's name.
    pub person: String,
    /// The device's name.
    pub device: String,
}

#[cfg(feature = "native")]
impl Newcomer {
    /// Both names, if they are allowed.
    pub(super) fn new(person: &str, device: &str) -> Result<Newcomer, FarmError> {
        for (field, name) in [("person", person), ("device", device)] {
            FieldType::Text(60).read(field, &name.into())?;
        }
        Ok(Newcomer {
            person: person.into(),
            device: device.into(),
        })
    }

    pub(super) fn remember(&self, tx: &Tx<'_>) -> Result<(), FarmError> {
        Ok(tx.set_meta("newcomer", self)?)
    }
}

impl Farm {
    /// Who will write here once the farm has arrived, or from the first record on; nothing where
    /// that is settled.
    pub fn newcomer(&self) -> Result<Option<Newcomer>, FarmError> {
        self.lock().newcomer()
    }

    /// Settles who writes here, where someone joined and was not named yet; says whether it did.
    #[cfg(feature = "native")]
    pub(super) fn settle_newcomer(&self) -> Result<bool, FarmError> {
        self.lock().settle_newcomer(self)
    }
}

impl Inner {
    fn newcomer(&mut self) -> Result<Option<Newcomer>, FarmError> {
        if self.me.person.is_some() {
            return Ok(None);
        }
        self.store.read(|tx| Ok(tx.meta("newcomer")?))
    }

    /// Takes the person of that name, or adds one; gives this installation its device record.
    pub(super) fn settle_newcomer(&mut self, farm: &Farm) -> Result<bool, FarmError> {
        let Some(newcomer) = self.newcomer()? else {
            return Ok(false);
        };
        let found = self
            .store
            .read(|tx| find(tx, Kind::Person, &newcomer.person));
        let person = match found {
            Ok(id) => id,
            Err(e) if e.kind == ErrorKind::Invalid => {
                self.add(farm, Kind::Person, &newcomer.person)?
            }
            // Two of that name: a person has to say which.
            Err(e) if e.kind == ErrorKind::Ambiguous => return Ok(false),
            Err(e) => return Err(e),
        };
        let device = match self.me.device {
            Some(device) => device,
            None => self.add(farm, Kind::Device, &newcomer.device)?,
        };
        self.remember(|me| {
            me.person = Some(person);
            me.device = Some(device);
        })?;
        self.write(|tx| Ok(tx.forget_meta("newcomer")?))?;
        Ok(true)
    }

    fn add(&mut self, farm: &Farm, kind: Kind, name: &str) -> Result<Id, FarmError> {
        let draft = Draft::new(kind).with("name", name);
        let now = farm.env.now();
        Ok(self.append(farm, draft, None, None, now)?.id)
    }
}
