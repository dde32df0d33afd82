use std::sync::{Arc, PoisonError};

use pointdown_core::farm::{self, Beginning, Join};

use super::{Farm, id, location, system};
use crate::PointdownError;
use crate::event::object;

/// How a farm begins on a device without a server.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct SetUp {
    /// The farm's name.
    pub name: String,
    /// Its IANA time zone, such as `America/Chicago`.
    pub zone: String,
    /// The name of the person who begins.
    pub person: String,
    /// The name of this device.
    pub device: String,
    /// Further fields of the farm's record as a JSON object, such as `rule_pack` and `currency`.
    #[uniffi(default = None)]
    pub more_json: Option<String>,
}

#[uniffi::export]
impl Farm {
    /// Begins a new farm in a new database.
    #[uniffi::constructor]
    pub fn begin(path: String, set_up: SetUp) -> Result<Arc<Farm>, PointdownError> {
        let mut fields = match &set_up.more_json {
            Some(more) => object("more_json", more)?,
            None => serde_json::Map::new(),
        };
        fields.insert("name".into(), set_up.name.into());
        fields.insert("zone".into(), set_up.zone.into());
        let beginning = Beginning {
            farm: fields,
            person: set_up.person,
            device: set_up.device,
        };
        let farm = farm::Farm::begin(&location(&path), system(), beginning)?;
        Ok(Farm::of(farm))
    }

    /// Opens a database that keeps a farm.
    #[uniffi::constructor]
    pub fn open(path: String) -> Result<Arc<Farm>, PointdownError> {
        Ok(Farm::of(farm::Farm::open(&location(&path), system())?))
    }

    /// Joins a server with a new, empty database, and takes the farm of the invite. `url` is the
    /// server's address, or the whole link of an invite, for which `code` is not looked at.
    #[uniffi::constructor]
    pub fn join_new(
        path: String,
        url: String,
        code: String,
        person: String,
        device: String,
    ) -> Result<Arc<Farm>, PointdownError> {
        let join = Join {
            url: &url,
            invite: &code,
            device: &device,
        };
        let farm = farm::Farm::join_new(&location(&path), system(), &join, &person)?;
        Ok(Farm::of(farm))
    }

    /// Makes an empty database for a farm that a server let this device into, where the app carries
    /// the messages itself: `farm` and `token` are what `POST /v1/join` answered.
    #[uniffi::constructor]
    pub fn take_in(
        path: String,
        farm: String,
        url: String,
        token: String,
    ) -> Result<Arc<Farm>, PointdownError> {
        let made = farm::Farm::make(&location(&path), system(), id("farm", &farm)?)?;
        made.joined(&url, &token)?;
        Ok(Farm::of(made))
    }

    /// Begins from what another phone exported.
    #[uniffi::constructor]
    pub fn from_export(path: String, file: Vec<u8>) -> Result<Arc<Farm>, PointdownError> {
        let farm = farm::Farm::from_export(&location(&path), system(), &file)?;
        Ok(Farm::of(farm))
    }

    /// Closes the database and lets the listener go; a call under way on another thread still ends
    /// well. Every later call says that the farm is closed.
    pub fn shut_down(&self) {
        let mut open = self.open.write().unwrap_or_else(PoisonError::into_inner);
        if let Some(farm) = open.take() {
            farm.watch(None);
        }
    }

    /// The farm's id.
    pub fn id(&self) -> Result<String, PointdownError> {
        Ok(self.core()?.id().to_string())
    }

    /// The id of the person whose records are logged here, if one was chosen.
    pub fn person(&self) -> Result<Option<String>, PointdownError> {
        Ok(self.core()?.person().map(|id| id.to_string()))
    }

    /// The id of this device's record, if it has one.
    pub fn device(&self) -> Result<Option<String>, PointdownError> {
        Ok(self.core()?.device().map(|id| id.to_string()))
    }

    /// From now on, records logged here are by this person, by id.
    pub fn write_as(&self, person: String) -> Result<(), PointdownError> {
        Ok(self.core()?.write_as(id("person", &person)?)?)
    }

    /// Gives this installation a device record of this name; its id.
    pub fn name_device(&self, name: String) -> Result<String, PointdownError> {
        Ok(self.core()?.name_device(&name)?.to_string())
    }
}
