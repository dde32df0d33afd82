use super::{StoreError, Tx};
use crate::record::DocName;

/// A write that is no record, or came second under an id.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Stray {
    /// Which document.
    pub doc: DocName,
    /// The key it was written under.
    pub key: String,
    /// Why it is not counted.
    pub why: String,
}

impl Tx<'_> {
    /// The writes that are not counted.
    pub fn strays(&self) -> Result<Vec<Stray>, StoreError> {
        let mut statement = self
            .sql
            .prepare_cached("SELECT doc, key, why FROM stray ORDER BY doc, key, op")?;
        let all = statement.query_map([], |row| {
            Ok((row.get::<_, String>(0)?, row.get(1)?, row.get(2)?))
        })?;
        all.map(|row| {
            let (doc, key, why) = row?;
            Ok(Stray {
                doc: doc.parse().map_err(StoreError::Damaged)?,
                key,
                why,
            })
        })
        .collect()
    }
}
