//! One connection that writes, and commits for many at once.
//!
//! A commit waits for the disk, which takes longer than everything else together. So whoever finds
//! no transaction open begins one and, after its own work, lets those in who came meanwhile; then
//! it commits for all of them. Nobody hears "done" before that commit. A piece of work that fails is
//! undone alone.

use std::any::Any;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use rusqlite::Connection;

use super::StoreError;

/// The most pieces of work in one commit, and the longest that the first one waits for the others.
const MOST: usize = 256;
const GATHER: Duration = Duration::from_millis(20);

/// The connection that writes.
#[derive(Debug)]
pub(super) struct Writer {
    inner: Mutex<Inner>,
    /// Those who wait for the lock with work in their hands.
    queued: AtomicUsize,
    ready: Condvar,
    /// Whether to let others in before a commit.
    gathers: bool,
}

#[derive(Debug)]
struct Inner {
    connection: Connection,
    open: Option<Arc<Batch>>,
    joined: usize,
    /// Why SQLite undid the open transaction by itself.
    lost: Option<StoreError>,
}

/// How the commit that some wait for ended.
#[derive(Debug, Default)]
struct Batch {
    ended: Mutex<Option<Result<(), StoreError>>>,
    told: Condvar,
}

type Panic = Box<dyn Any + Send>;

impl Writer {
    /// `gathers` is for a database on a disk; others commit at once.
    pub(super) fn new(connection: Connection, gathers: bool) -> Writer {
        Writer {
            inner: Mutex::new(Inner {
                connection,
                open: None,
                joined: 0,
                lost: None,
            }),
            queued: AtomicUsize::new(0),
            ready: Condvar::new(),
            gathers,
        }
    }

    /// Reads on this connection; only where nobody gathers, so that nothing uncommitted is seen.
    pub(super) fn read<T>(
        &self,
        work: impl FnOnce(&mut Connection) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        work(&mut lock(&self.inner).connection)
    }

    /// Does some work, all or nothing, and returns when it is durable.
    pub(super) fn write<T>(
        &self,
        work: impl FnOnce(&Connection) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        self.queued.fetch_add(1, Ordering::SeqCst);
        let mut inner = lock(&self.inner);
        self.queued.fetch_sub(1, Ordering::SeqCst);
        let (batch, leads) = match &inner.open {
            Some(batch) => (batch.clone(), false),
            None => (inner.begin()?, true),
        };
        let done = inner.step(work);
        let committed = if leads {
            let alone = |inner: &mut Inner| {
                self.gathers && self.queued.load(Ordering::SeqCst) > 0 && inner.joined < MOST
            };
            let (mut inner, _) = self
                .ready
                .wait_timeout_while(inner, GATHER, alone)
                .unwrap_or_else(PoisonError::into_inner);
            let committed = inner.commit();
            batch.end(committed.clone());
            committed
        } else {
            drop(inner);
            self.ready.notify_one();
            match &done {
                Ok(Ok(_)) => batch.wait(),
                // Undone already, whatever becomes of the others.
                _ => Ok(()),
            }
        };
        match done {
            Ok(done) => committed.and(done),
            Err(panic) => resume_unwind(panic),
        }
    }
}

impl Inner {
    fn begin(&mut self) -> Result<Arc<Batch>, StoreError> {
        self.connection.execute_batch("BEGIN IMMEDIATE")?;
        let batch = Arc::new(Batch::default());
        self.open = Some(batch.clone());
        self.joined = 0;
        self.lost = None;
        Ok(batch)
    }

    /// One piece of work. A panic in it undoes it and is handed back.
    fn step<T>(
        &mut self,
        work: impl FnOnce(&Connection) -> Result<T, StoreError>,
    ) -> Result<Result<T, StoreError>, Panic> {
        self.joined += 1;
        if let Some(lost) = &self.lost {
            return Ok(Err(lost.clone()));
        }
        if let Err(e) = self.say("SAVEPOINT work") {
            return Ok(Err(self.failed(e)));
        }
        let connection = &self.connection;
        let done = catch_unwind(AssertUnwindSafe(|| work(connection)));
        if matches!(done, Ok(Ok(_))) {
            return match self.say("RELEASE work") {
                Ok(()) => done,
                Err(e) => Ok(Err(self.failed(e))),
            };
        }
        let undone = self
            .say("ROLLBACK TO work")
            .and_then(|()| self.say("RELEASE work"));
        match (done, undone) {
            (Ok(Err(e)), _) => Ok(Err(self.failed(e))),
            (done, Err(e)) => {
                self.failed(e);
                done
            }
            (done, Ok(())) => done,
        }
    }

    fn say(&self, sql: &str) -> Result<(), StoreError> {
        self.connection.prepare_cached(sql)?.execute([])?;
        Ok(())
    }

    /// Some errors, as a full disk, end the whole transaction: then nobody's work is in it any more.
    fn failed(&mut self, e: StoreError) -> StoreError {
        if self.connection.is_autocommit() {
            self.lost.get_or_insert(e.clone());
        }
        e
    }

    fn commit(&mut self) -> Result<(), StoreError> {
        self.open = None;
        if let Some(lost) = self.lost.take() {
            return Err(lost);
        }
        let committed = self.say("COMMIT");
        if committed.is_err() && !self.connection.is_autocommit() {
            // Nothing of a transaction that did not commit may stay open.
            let _ = self.connection.execute_batch("ROLLBACK");
        }
        committed
    }
}

impl Batch {
    fn end(&self, ended: Result<(), StoreError>) {
        *lock(&self.ended) = Some(ended);
        self.told.notify_all();
    }

    fn wait(&self) -> Result<(), StoreError> {
        let ended = self
            .told
            .wait_while(lock(&self.ended), |ended| ended.is_none())
            .unwrap_or_else(PoisonError::into_inner);
        ended.clone().unwrap_or(Ok(()))
    }
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use std::sync::Barrier;
    use std::thread;

    use super::*;

    fn writer(folder: &std::path::Path) -> Writer {
        let connection = Connection::open(folder.join("x.db")).unwrap();
        connection
            .execute_batch("PRAGMA journal_mode = WAL; CREATE TABLE t (n INTEGER PRIMARY KEY)")
            .unwrap();
        Writer::new(connection, true)
    }

    fn insert(connection: &Connection, n: i64) -> Result<i64, StoreError> {
        connection.execute("INSERT INTO t (n) VALUES (?1)", [n])?;
        Ok(n)
    }

    fn rows(folder: &std::path::Path) -> Vec<i64> {
        let other = Connection::open(folder.join("x.db")).unwrap();
        let mut statement = other.prepare("SELECT n FROM t ORDER BY n").unwrap();
        let all = statement.query_map([], |row| row.get(0)).unwrap();
        all.map(Result::unwrap).collect()
    }

    /// Work that fails or panics, between work that does not, in one and the same commit.
    #[test]
    fn each_piece_of_work_stands_or_falls_alone() {
        let folder = tempfile::tempdir().unwrap();
        let writer = writer(folder.path());
        let start = Barrier::new(30);
        let kept: usize = thread::scope(|scope| {
            let all: Vec<_> = (0..30i64)
                .map(|n| {
                    let (writer, start) = (&writer, &start);
                    scope.spawn(move || {
                        start.wait();
                        catch_unwind(AssertUnwindSafe(|| {
                            writer.write(|connection| {
                                insert(connection, n)?;
                                match n % 3 {
                                    0 => Ok(()),
                                    1 => Err(StoreError::Full),
                                    _ => panic!("on purpose"),
                                }
                            })
                        }))
                    })
                })
                .collect();
            let ends = all.into_iter().map(|one| one.join().unwrap());
            ends.filter(|end| matches!(end, Ok(Ok(())))).count()
        });
        assert_eq!(kept, 10);
        let expected: Vec<i64> = (0..30).filter(|n| n % 3 == 0).collect();
        assert_eq!(rows(folder.path()), expected);
    }

    #[test]
    fn whoever_hears_done_finds_it_durable() {
        let folder = tempfile::tempdir().unwrap();
        let writer = writer(folder.path());
        thread::scope(|scope| {
            for thread in 0..8i64 {
                let (writer, folder) = (&writer, folder.path());
                scope.spawn(move || {
                    for n in 0..10 {
                        let n = thread * 100 + n;
                        writer.write(|connection| insert(connection, n)).unwrap();
                        assert!(rows(folder).contains(&n), "seen by another connection");
                    }
                });
            }
        });
    }

    /// The database ends the whole transaction by itself: everyone in it hears that.
    #[test]
    fn a_lost_transaction_is_nobodys_success() {
        let folder = tempfile::tempdir().unwrap();
        let writer = writer(folder.path());
        let (entered, inside) = std::sync::mpsc::channel();
        thread::scope(|scope| {
            let writer = &writer;
            let first = scope.spawn(move || {
                writer.write(|connection| {
                    insert(connection, 1)?;
                    entered.send(()).unwrap();
                    // Someone stands in the queue before this one goes on to gather.
                    while writer.queued.load(Ordering::SeqCst) == 0 {
                        thread::yield_now();
                    }
                    Ok(())
                })
            });
            inside.recv().unwrap();
            let second = writer.write(|connection| {
                connection.execute_batch("ROLLBACK")?;
                Err::<(), _>(StoreError::Full)
            });
            assert_eq!(second, Err(StoreError::Full));
            assert_eq!(first.join().unwrap(), Err(StoreError::Full));
        });
        assert_eq!(rows(folder.path()), Vec::<i64>::new());
        writer.write(|connection| insert(connection, 2)).unwrap();
        assert_eq!(rows(folder.path()), [2], "and it goes on");
    }
}
