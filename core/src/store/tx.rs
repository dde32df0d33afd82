use rusqlite::{OptionalExtension, Transaction, params};
use serde::Serialize;
use serde::de::DeserializeOwned;

use super::StoreError;

/// An open transaction; what it did is undone unless it commits.
pub struct Tx<'a> {
    pub(super) sql: Transaction<'a>,
}

impl<'a> Tx<'a> {
    pub(super) fn new(sql: Transaction<'a>) -> Tx<'a> {
        Tx { sql }
    }

    pub(super) fn commit(self) -> Result<(), StoreError> {
        Ok(self.sql.commit()?)
    }

    /// A remembered value.
    pub fn meta<T: DeserializeOwned>(&self, key: &str) -> Result<Option<T>, StoreError> {
        let text: Option<String> = self
            .sql
            .prepare_cached("SELECT value FROM meta WHERE key = ?1")?
            .query_row([key], |row| row.get(0))
            .optional()?;
        let Some(text) = text else { return Ok(None) };
        serde_json::from_str(&text)
            .map(Some)
            .map_err(|e| StoreError::Damaged(format!("its note {key} cannot be read: {e}")))
    }

    /// Remembers a value.
    pub fn set_meta<T: Serialize>(&self, key: &str, value: &T) -> Result<(), StoreError> {
        let text = serde_json::to_string(value)
            .map_err(|e| StoreError::Sql(rusqlite::Error::ToSqlConversionFailure(Box::new(e))))?;
        self.sql
            .prepare_cached(
                "INSERT INTO meta (key, value) VALUES (?1, ?2)
                 ON CONFLICT (key) DO UPDATE SET value = excluded.value",
            )?
            .execute(params![key, text])?;
        Ok(())
    }

    /// Forgets a value.
    pub fn forget_meta(&self, key: &str) -> Result<(), StoreError> {
        self.sql
            .prepare_cached("DELETE FROM meta WHERE key = ?1")?
            .execute([key])?;
        Ok(())
    }
}
