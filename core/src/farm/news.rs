//! What changed on this device, for an app that shows it: a small signal, then a batched pull.
//!
//! A signal costs the same whether one record changed or ten thousand, and another follows only
//! after the news was read. Nobody has to read: what is not read falls off the end.

use std::collections::{BTreeSet, VecDeque};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use super::Farm;
use crate::record::Id;

/// Notices kept for whoever reads late.
const KEPT: usize = 16_384;

/// Called when there is news, on the thread that made it and after its work is done; it may ask the
/// farm anything. It should return soon: the call that made the news waits for it.
pub type Signal = Arc<dyn Fn() + Send + Sync>;

/// A record that stands differently now, or is new. One of the farm's own record means that
/// anything may be counted differently.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Notice {
    /// Rises by one from notice to notice, from 1 when the database is opened.
    pub number: u64,
    /// The record.
    pub record: Id,
    /// Whether it was logged on this device; if not, it came from another one.
    pub here: bool,
}

/// Notices, the oldest first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct News {
    /// What changed.
    pub notices: Vec<Notice>,
    /// Read on after this number.
    pub after: u64,
    /// Whether there is more to read.
    pub more: bool,
    /// Whether notices were lost because nobody read them in time: look at everything anew.
    pub missed: bool,
}

/// The notices of an open database.
#[derive(Default)]
pub(super) struct Board(Mutex<Kept>);

#[derive(Default)]
struct Kept {
    /// How many there ever were.
    last: u64,
    notices: VecDeque<Notice>,
    signal: Option<Signal>,
    /// Something is new, and nobody was told yet.
    untold: bool,
    /// A signal was given, and nobody read since.
    unread: bool,
}

impl Board {
    fn kept(&self) -> MutexGuard<'_, Kept> {
        // Nothing here can be half done.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Notes records that stand differently, in the order of their ids.
    pub(super) fn note(&self, records: &BTreeSet<Id>, here: bool) {
        let mut kept = self.kept();
        for record in records {
            kept.last += 1;
            let notice = Notice {
                number: kept.last,
                record: *record,
                here,
            };
            kept.notices.push_back(notice);
            if kept.notices.len() > KEPT {
                kept.notices.pop_front();
            }
        }
        kept.untold |= !records.is_empty();
    }

    /// Gives the signal that is due. Nothing of the farm may be locked by the caller.
    pub(super) fn tell(&self) {
        let mut kept = self.kept();
        if !kept.untold || kept.unread {
            return;
        }
        let Some(signal) = kept.signal.clone() else {
            return;
        };
        kept.untold = false;
        kept.unread = true;
        drop(kept);
        signal();
    }
}

/// Gives the signal that is due when it is dropped.
pub(super) struct Tell<'a>(pub(super) &'a Board);

impl Drop for Tell<'_> {
    fn drop(&mut self) {
        self.0.tell();
    }
}

impl Farm {
    /// From now on this is called when there is something newer, and nothing else; `None` ends
    /// that. It is called again only after [`Farm::news`] was read.
    pub fn watch(&self, signal: Option<Signal>) {
        let mut kept = self.board.kept();
        kept.signal = signal;
        kept.unread = false;
        kept.untold = false;
    }

    /// What changed after the notice of this number, at most so many; 0 begins with the oldest that
    /// is kept.
    pub fn news(&self, after: u64, most: u32) -> News {
        let mut kept = self.board.kept();
        kept.unread = false;
        let first = kept.notices.front().map_or(kept.last + 1, |n| n.number);
        let skip = usize::try_from((after + 1).saturating_sub(first)).unwrap_or(usize::MAX);
        let most = most as usize;
        let notices: Vec<Notice> = kept.notices.iter().skip(skip).take(most).copied().collect();
        let read = notices.last().map_or(after.min(kept.last), |n| n.number);
        let more = read < kept.last;
        // What is left is told of by this answer, not by another signal.
        kept.untold = false;
        News {
            notices,
            after: read,
            more,
            missed: after + 1 < first,
        }
    }
}
