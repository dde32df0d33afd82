//! What keeps a server well over the years: folding old changes into their documents, backups, and
//! looking everything over.

mod backup;
mod compact;
mod doctor;

pub use backup::{BackupError, back_up, restore};
pub use compact::{Compacted, KEEP_DAYS, compact};
pub use doctor::{Finding, Verdict, examine};
