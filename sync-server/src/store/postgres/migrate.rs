use super::link::Link;
use crate::store::StoreError;
use crate::store::epoch::fresh_epoch;

/// The steps from an empty database on, in order; step `n` makes layout `n + 1`. A step must leave
/// a database that the program before it can still use: others run while it is taken.
const STEPS: &[&str] = &[
    include_str!("../sql/postgres/0001_init.sql"),
    include_str!("../sql/postgres/0002_roles.sql"),
];

/// The advisory lock that every program takes before it looks at the layout ("PdSvLay" in ASCII).
const LOCK: i64 = 0x0050_6453_764c_6179;

/// Brings the database to the newest layout, in one transaction and one program at a time.
pub(super) fn migrate(link: &Link) -> Result<(), StoreError> {
    let known = STEPS.len() as u32;
    // Waiting for another program's migration may take longer than any other wait.
    link.batch("BEGIN; SET LOCAL lock_timeout = '120s'; SET LOCAL statement_timeout = '600s'")?;
    let done = (|| {
        link.batch(&format!("SELECT pg_advisory_xact_lock({LOCK})"))?;
        link.batch(
            "CREATE SCHEMA IF NOT EXISTS pointdown;
             CREATE TABLE IF NOT EXISTS pointdown.layout (
                 one INTEGER PRIMARY KEY CHECK (one = 1), version BIGINT NOT NULL);
             INSERT INTO pointdown.layout (one, version) VALUES (1, 0) ON CONFLICT DO NOTHING",
        )?;
        let found: i64 = link
            .one("SELECT version FROM pointdown.layout", &[])?
            .try_get(0)?;
        let found = u32::try_from(found).unwrap_or(u32::MAX);
        if found > known {
            return Err(StoreError::TooNew { found, known });
        }
        for step in &STEPS[found as usize..] {
            link.batch(step)?;
        }
        if found < known {
            let version = i64::from(known);
            link.execute("UPDATE pointdown.layout SET version = $1", &[&version])?;
        }
        let epoch = fresh_epoch()?;
        link.execute(
            "INSERT INTO pointdown.server (one, epoch) VALUES (1, $1) ON CONFLICT DO NOTHING",
            &[&epoch.as_slice()],
        )?;
        link.batch("COMMIT")
    })();
    if done.is_err() {
        // Whatever the first failure was counts; a link that cannot even do this is dropped.
        let _ = link.batch("ROLLBACK");
    }
    done
}
