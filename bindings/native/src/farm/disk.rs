use std::path::Path;

use pointdown_core::farm;
use pointdown_core::files::{Format, LogMap, LogPlan};

use super::Farm;
use crate::mirror::Mirror;
use crate::{Backup, PointdownError, TableReport};

#[uniffi::export]
impl Farm {
    /// Writes a whole copy of the database to a new file and reads it back. It holds the key to the
    /// server too: keep it where strangers do not reach.
    pub fn back_up(&self, path: String) -> Result<Backup, PointdownError> {
        Ok(self.core()?.back_up(Path::new(&path))?.mirror())
    }

    /// Everything as one file, for another phone.
    pub fn export_file(&self) -> Result<Vec<u8>, PointdownError> {
        Ok(self.core()?.export()?)
    }

    /// Takes what another phone exported; how many changes were new.
    pub fn import_file(&self, file: Vec<u8>) -> Result<u64, PointdownError> {
        Ok(self.core()?.import(&file)?.changes.mirror())
    }

    /// Every record as it was first written, amendments and voids beside them, as CSV.
    pub fn export_csv(&self) -> Result<Vec<u8>, PointdownError> {
        Ok(self.core()?.export_records(Format::Csv, None)?)
    }

    /// Takes a household's own table; `map` says which of its columns holds what, such as
    /// `date=Date,coop=Henhouse,eggs=Count`. With `dry`, nothing is taken; the report is the same.
    pub fn import_table(
        &self,
        file: Vec<u8>,
        map: String,
        dry: bool,
    ) -> Result<TableReport, PointdownError> {
        let map: LogMap = map.parse()?;
        let report = self.core()?.import_log(&file, &LogPlan::new(map), dry)?;
        Ok(report.mirror())
    }
}

/// Reads a backup without changing it, and says what is in it.
#[uniffi::export]
pub fn verify_backup(path: String) -> Result<Backup, PointdownError> {
    Ok(farm::Farm::verify_backup(Path::new(&path))?.mirror())
}

/// Puts a backup where no database is yet, after looking it over.
#[uniffi::export]
pub fn restore(backup: String, path: String) -> Result<Backup, PointdownError> {
    Ok(farm::Farm::restore(Path::new(&backup), Path::new(&path))?.mirror())
}
