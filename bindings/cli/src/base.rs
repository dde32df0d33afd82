//! The database that a command works on.

use std::path::PathBuf;
use std::sync::Arc;

use pointdown_core::farm::{Env, ErrorKind, Farm, FarmError, Location, System};

use crate::fail::Failure;

/// The database that a command works on.
pub(crate) struct Base {
    pub(crate) path: PathBuf,
    /// Nobody named it: it is the one in the user's own data folder.
    is_default: bool,
}

impl Base {
    /// The database that was named, or the one in the user's own data folder.
    pub(crate) fn of(path: Option<PathBuf>) -> Result<Base, Failure> {
        let is_default = path.is_none();
        let path = path.map_or_else(default_path, Ok)?;
        Ok(Base { path, is_default })
    }

    pub(crate) fn open(&self) -> Result<Farm, Failure> {
        Ok(Farm::open(&self.location(), env())?)
    }

    /// The farm that is here, or nothing where there is no file yet.
    pub(crate) fn open_if_there(&self) -> Result<Option<Farm>, Failure> {
        match Farm::open(&self.location(), env()) {
            Ok(farm) => Ok(Some(farm)),
            Err(e) if e.kind == ErrorKind::NotFound => Ok(None),
            Err(e) => Err(e.into()),
        }
    }

    pub(crate) fn location(&self) -> Location {
        Location::File(self.path.clone())
    }

    /// Makes the user's own data folder; a folder that someone named must be there already, or a
    /// slip of the pen would begin a second book somewhere.
    pub(crate) fn make_folder(&self) -> Result<(), Failure> {
        let Some(folder) = self.path.parent().filter(|f| !f.as_os_str().is_empty()) else {
            return Ok(());
        };
        if self.is_default {
            std::fs::create_dir_all(folder).map_err(|e| {
                storage(format!(
                    "the folder {} cannot be made: {e}",
                    folder.display()
                ))
            })
        } else if folder.is_dir() {
            Ok(())
        } else {
            let message = format!("there is no folder {}; make it first", folder.display());
            Err(FarmError::new(ErrorKind::NotFound, message).into())
        }
    }
}

pub(crate) fn env() -> Arc<dyn Env> {
    Arc::new(System)
}

pub(crate) fn storage(message: String) -> Failure {
    FarmError::new(ErrorKind::Storage, message).into()
}

/// A database in the place that the operating system gives to a user's data.
fn default_path() -> Result<PathBuf, Failure> {
    let variable = |name: &str| {
        std::env::var_os(name)
            .map(PathBuf::from)
            .filter(|path| path.is_absolute())
    };
    let home = || std::env::home_dir().filter(|path| path.is_absolute());
    let folder = if cfg!(windows) {
        variable("APPDATA")
    } else if cfg!(target_os = "macos") {
        home().map(|home| home.join("Library/Application Support"))
    } else {
        // XDG Base Directory Specification 0.8.
        variable("XDG_DATA_HOME").or_else(|| home().map(|home| home.join(".local/share")))
    };
    folder
        .map(|folder| folder.join("pointdown").join("pointdown.db"))
        .ok_or_else(|| storage("there is no data folder for you here; give --db FILE".into()))
}
