use std::path::Path;

use rusqlite::Connection;

use super::{Store, StoreError, Tx, migrate};

impl Store {
    /// Opens a database that nobody else has open, in the layout that it has: to read what it holds
    /// before anything is brought up to date.
    pub fn open_as_is(path: &Path) -> Result<Store, StoreError> {
        let connection = Connection::open(path)?;
        migrate::layout(&connection)?;
        Ok(Store { connection })
    }
}

impl Tx<'_> {
    /// Feeds every table, row by row in a fixed order, to `take`; the note named is left out.
    pub fn every_row(&self, but: &str, take: &mut dyn FnMut(&[u8])) -> Result<(), StoreError> {
        let tables: Vec<String> = {
            let mut statement = self.sql.prepare(
                "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite%'
                 ORDER BY name",
            )?;
            let names = statement.query_map([], |row| row.get(0))?;
            names.collect::<Result<_, _>>()?
        };
        for table in tables {
            take(table.as_bytes());
            let mut statement = self.sql.prepare(&format!("SELECT * FROM \"{table}\""))?;
            let columns = statement.column_count();
            let mut all: Vec<String> = Vec::new();
            let mut rows = statement.query([])?;
            while let Some(row) = rows.next()? {
                let mut text = String::new();
                for column in 0..columns {
                    text.push_str(&format!("|{:?}", row.get_ref(column)?));
                }
                if table != "meta" || !text.starts_with(&format!("|Text({:?}", but.as_bytes())) {
                    all.push(text);
                }
            }
            all.sort_unstable();
            all.iter().for_each(|row| take(row.as_bytes()));
        }
        Ok(())
    }
}
