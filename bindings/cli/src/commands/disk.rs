//! Files that commands read and write.

use std::fs::OpenOptions;
use std::io::{ErrorKind as Io, Write};
use std::path::Path;

use pointdown_core::farm::{ErrorKind, FarmError};

use crate::base::storage;
use crate::fail::{Failure, invalid};

/// Reads a whole file.
pub(crate) fn read(path: &Path) -> Result<Vec<u8>, Failure> {
    std::fs::read(path).map_err(|e| match e.kind() {
        Io::NotFound => {
            let message = format!("there is no file {}", path.display());
            FarmError::new(ErrorKind::NotFound, message).into()
        }
        _ => storage(format!("{} cannot be read: {e}", path.display())),
    })
}

/// Writes a file that was not there before; half a file does not stay behind.
pub(crate) fn write_new(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let name = path.display().to_string();
    let mut file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(path)
        .map_err(|e| match e.kind() {
            Io::AlreadyExists => invalid("file", &name, "it is there already; choose a new file"),
            Io::NotFound => FarmError::new(
                ErrorKind::NotFound,
                format!("{name} cannot be made: its folder is not there"),
            )
            .into(),
            _ => storage(format!("{name} cannot be written: {e}")),
        })?;
    let written = file.write_all(bytes).and_then(|()| file.sync_all());
    written.map_err(|e| {
        drop(std::fs::remove_file(path));
        let kind = match e.kind() {
            Io::StorageFull => ErrorKind::DiskFull,
            _ => ErrorKind::Storage,
        };
        FarmError::new(kind, format!("{name} cannot be written: {e}")).into()
    })
}

/// Writes a page or picture, in place of an older one.
pub(crate) fn write(path: &Path, text: &str) -> Result<(), Failure> {
    std::fs::write(path, text)
        .map_err(|e| storage(format!("{} cannot be written: {e}", path.display())))
}
