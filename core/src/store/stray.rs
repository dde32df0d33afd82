use super::{StoreError, Tx};
use crate::record::DocName;

/// Why a write that came second under an id is not counted.
pub(super) const SECOND: &str = "another record was written first under this id";

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

impl Stray {
    /// Whether it came second under an id; it may say the same as the first.
    pub fn is_second(&self) -> bool {
        self.why == SECOND
    }
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
