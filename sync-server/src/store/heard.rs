use std::collections::BTreeMap;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use pointdown_core::record::Id;

/// How long a note may wait.
const LATE: Duration = Duration::from_secs(5);

/// Notes of which device was heard when, kept back so that many are written at once.
#[derive(Debug)]
pub(super) struct Heard(Mutex<Waiting>);

/// By farm and device; milliseconds since 1970 UTC.
type Notes = BTreeMap<(Id, Id), i64>;

#[derive(Debug)]
struct Waiting {
    notes: Notes,
    since: Instant,
}

impl Heard {
    pub(super) fn new() -> Heard {
        Heard(Mutex::new(Waiting {
            notes: Notes::new(),
            since: Instant::now(),
        }))
    }

    fn lock(&self) -> MutexGuard<'_, Waiting> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Notes one, and says whether it is time to write them down.
    pub(super) fn note(&self, farm: Id, device: Id, now: i64) -> bool {
        let mut waiting = self.lock();
        waiting.notes.insert((farm, device), now);
        let late = waiting.since.elapsed() >= LATE;
        if late {
            // Others need not come for the same.
            waiting.since = Instant::now();
        }
        late
    }

    /// Takes all, in an order in which two that write theirs never wait for each other in a circle.
    pub(super) fn take(&self) -> Notes {
        let mut waiting = self.lock();
        waiting.since = Instant::now();
        std::mem::take(&mut waiting.notes)
    }
}
