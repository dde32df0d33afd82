//! What befalls phones and the server's store.

use std::collections::BTreeSet;
use std::error::Error;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use pointdown_core::farm::{Farm, FarmError, Fault, Location};
use pointdown_core::store::{VERSION, migrate_to};
use rusqlite::Connection;

use super::hall::Auth;
use super::world::Outcome;
use super::{Act, Dice, World, disk};

/// The files of a phone, copied aside.
#[derive(Debug, Clone)]
pub struct Backup {
    files: Files,
    auth: Option<Auth>,
}

/// A failure that waits for its moment.
pub(super) enum Armed {
    /// Of the database: whether it has failed.
    Database(Arc<AtomicBool>),
    /// Of the power.
    Power,
}

/// The database, its write-ahead log, and the note beside them.
#[derive(Debug, Clone, Default)]
struct Files {
    db: Vec<u8>,
    wal: Vec<u8>,
    mark: Option<Vec<u8>>,
}

fn beside(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(suffix);
    PathBuf::from(name)
}

impl Files {
    fn read(path: &Path) -> Result<Files, String> {
        Ok(Files {
            db: std::fs::read(path).map_err(|e| e.to_string())?,
            wal: std::fs::read(beside(path, "-wal")).unwrap_or_default(),
            mark: std::fs::read(beside(path, "-mark")).ok(),
        })
    }

    fn remove(path: &Path) {
        for suffix in ["", "-wal", "-shm", "-journal", "-mark"] {
            let _ = std::fs::remove_file(beside(path, suffix));
        }
    }

    /// Puts the files where there are none.
    fn write(&self, path: &Path) -> Result<(), String> {
        let put = |suffix: &str, bytes: &[u8]| {
            std::fs::write(beside(path, suffix), bytes).map_err(|e| e.to_string())
        };
        put("", &self.db)?;
        if !self.wal.is_empty() {
            put("-wal", &self.wal)?;
        }
        self.mark.as_ref().map_or(Ok(()), |mark| put("-mark", mark))
    }
}

impl World {
    /// Lets the database of a phone fail before long, or its power.
    pub(super) fn arm(&mut self, n: usize, dice: &mut Dice) -> Result<Armed, String> {
        let within = 1 << dice.below(11);
        let fault = match dice.below(6) {
            0 => Fault::Commit(dice.below(3) as u32),
            1..=3 => Fault::Step(dice.below(within) as u32),
            _ => {
                // A log writes and syncs the journal a few times; what an exchange brings, more often.
                let within = 1 << dice.below(6);
                let after = dice.below(within) as u32;
                disk::cut_power(&self.phones[n].path, Some(after));
                return Ok(Armed::Power);
            }
        };
        let armed = self.phones[n].farm().fail_at(Some(fault));
        armed.map(Armed::Database).map_err(|e| e.message)
    }

    /// Takes the failure out again, and lets the phone come back if it came to it.
    pub(super) fn disarm(&mut self, n: usize, armed: Armed, dice: &mut Dice) -> Outcome {
        match armed {
            Armed::Power if disk::is_off(&self.phones[n].path) => {
                self.befell("power lost");
                self.say("the power failed".into());
                self.come_back(n, dice)
            }
            Armed::Power => {
                disk::cut_power(&self.phones[n].path, None);
                Ok(())
            }
            Armed::Database(failed) => {
                let quiet = self.phones[n].farm().fail_at(None);
                quiet.map_err(|e| e.message)?;
                if !failed.load(Ordering::SeqCst) {
                    return Ok(());
                }
                self.befell("storage");
                self.phones[n].hurt = true;
                self.say("the database failed".into());
                if dice.once_in(4) {
                    return Ok(());
                }
                self.befell("killed");
                self.reopen(n)
            }
        }
    }

    /// Closes a phone as if it were killed, and opens it again.
    pub(super) fn reopen(&mut self, n: usize) -> Outcome {
        let slot = &mut self.phones[n];
        slot.open = None;
        slot.call = None;
        slot.looked = None;
        let location = Location::from(slot.path.as_path());
        let farm = Farm::open(&location, slot.env.clone())
            .map_err(|e| format!("phone {n} does not open again: {e}"))?;
        slot.open = Some(farm);
        Ok(())
    }

    /// The power fails after something was acknowledged, and perhaps while more is written.
    pub(super) fn power_loss(&mut self, n: usize, dice: &mut Dice) -> Outcome {
        const ACTS: [Act; 6] = [
            Act::Log,
            Act::Log,
            Act::Amend,
            Act::Void,
            Act::Hear,
            Act::Upkeep,
        ];
        self.befell("power lost");
        for _ in 0..dice.below(3) {
            let act = ACTS[dice.below(4)];
            let done = self.person(act, n, dice);
            done.map_err(|e| format!("{act:?} on phone {n}: {e}"))?;
            self.note(n)?;
        }
        let path = self.phones[n].path.clone();
        let within = 1 << dice.below(6);
        disk::cut_power(&path, Some(dice.below(within) as u32));
        let act = *dice.pick(&ACTS);
        let done: Result<(), FarmError> = match act {
            Act::Hear => self.send(n).and_then(|()| self.hear(n, dice)),
            Act::Upkeep => self.upkeep(n, dice),
            act => self.person(act, n, dice),
        };
        match done {
            Err(e) if !disk::is_off(&path) => return Err(format!("{act:?} on phone {n}: {e}")),
            Ok(()) if !disk::is_off(&path) => self.note(n)?,
            _ => {}
        }
        self.come_back(n, dice)
    }

    /// Starts a phone whose power failed: of what was not synced any part may be on the disk. The
    /// note beside the database is not synced at all, so it may be gone.
    fn come_back(&mut self, n: usize, dice: &mut Dice) -> Outcome {
        let path = self.phones[n].path.clone();
        let mut files = Files::read(&path)?;
        files.db = disk::after_power_loss(&path, dice);
        files.wal = disk::after_power_loss(&beside(&path, "-wal"), dice);
        if dice.once_in(4) {
            files.mark = Some(Vec::new());
        }
        let slot = &mut self.phones[n];
        slot.open = None;
        slot.hurt = true;
        slot.brought = None;
        Files::remove(&path);
        files.write(&path)?;
        self.reopen(n)
    }

    /// A phone is wiped: what nobody else had is lost. Its owner joins anew.
    pub(super) fn wipe(&mut self, n: usize, dice: &mut Dice) -> Outcome {
        self.befell("wiped");
        let slot = &mut self.phones[n];
        slot.open = None;
        slot.call = None;
        slot.brought = None;
        slot.auth = None;
        slot.hurt = true;
        slot.looked = None;
        slot.has.clear();
        slot.own.clear();
        let (path, env) = (slot.path.clone(), slot.env.clone());
        Files::remove(&path);
        let location = Location::from(path.as_path());
        let other = (n + 1 + dice.below(self.phones.len() - 1)) % self.phones.len();
        let by_server = self.hall.head()? > 0 && dice.once_in(2);
        let farm = if by_server {
            Farm::make(&location, env, self.hall.farm)
        } else {
            let file = self.phones[other].farm().export().map_err(|e| e.message)?;
            Farm::from_export(&location, env, &file)
        };
        self.phones[n].open = Some(farm.map_err(|e| e.message)?);
        self.note(n)?;
        self.lost()?;
        if by_server {
            self.join(n, dice)?;
            self.sync(n, dice, false).map_err(|e| e.message)?;
            self.note(n)?;
        }
        self.settle_in(n)
    }

    /// A phone's files are copied aside: as they are, or by the program's own backup.
    pub(super) fn back_up(&mut self, n: usize, dice: &mut Dice) -> Outcome {
        let slot = &mut self.phones[n];
        let files = if dice.once_in(2) {
            Files::read(&slot.path)?
        } else {
            let copy = beside(&slot.path, "-copy");
            slot.farm().back_up(&copy).map_err(|e| e.message)?;
            let files = Files::read(&copy)?;
            Files::remove(&copy);
            files
        };
        slot.backups.push(Backup {
            files,
            auth: slot.auth,
        });
        Ok(())
    }

    /// A phone's files are put back; the note beside them is the copy's, the newer one, or gone.
    pub(super) fn restore(&mut self, n: usize, dice: &mut Dice) -> Outcome {
        let slot = &mut self.phones[n];
        if slot.backups.is_empty() {
            return Ok(());
        }
        let mut backup = dice.pick(&slot.backups).clone();
        slot.open = None;
        slot.brought = None;
        slot.hurt = true;
        match dice.below(3) {
            0 => backup.files.mark = std::fs::read(beside(&slot.path, "-mark")).ok(),
            1 => backup.files.mark = None,
            _ => {}
        }
        Files::remove(&slot.path);
        backup.files.write(&slot.path)?;
        slot.auth = backup.auth;
        slot.has.clear();
        slot.own.clear();
        self.befell("restored");
        self.reopen(n)?;
        self.note(n)?;
        self.lost()
    }

    /// A phone comes from an earlier version: its changes stand in the tables of that one, which are
    /// brought to today's when it is opened.
    pub(super) fn upgrade(&mut self, n: usize, dice: &mut Dice) -> Outcome {
        self.befell("upgraded");
        let version = 1 + dice.below(VERSION as usize) as u32;
        self.say(format!("from layout {version}"));
        let slot = &mut self.phones[n];
        (slot.open, slot.call) = (None, None);
        let old = beside(&slot.path, "-old");
        older(&slot.path, &old, version).map_err(|e| format!("layout {version}: {e}"))?;
        let files = Files::read(&old)?;
        Files::remove(&old);
        Files::remove(&slot.path);
        files.write(&slot.path)?;
        self.reopen(n)
    }

    /// Whatever no phone and no server has now is lost by right: its phone was wiped or put back
    /// before it could send it, or the server that had it was put back. It may still come again out
    /// of a backup or a late message; nothing else may be missing at the end.
    pub(super) fn lost(&mut self) -> Outcome {
        let mut held = BTreeSet::new();
        for slot in &self.phones {
            held.extend(slot.has.iter().copied());
        }
        held.extend(self.hall.records()?);
        let gone = self.facts.keys().filter(|id| !held.contains(id));
        self.excused.extend(gone.copied());
        Ok(())
    }

    /// A clock is put wrong, or right.
    pub(super) fn clock(&mut self, n: usize, dice: &mut Dice) -> Outcome {
        const MINUTE: i64 = 60_000;
        let off_ms = match dice.below(5) {
            0 => 0,
            1 => dice.from_to(-5, 5) * MINUTE,
            2 => dice.from_to(-20, 20) * 60 * MINUTE,
            _ => dice.from_to(-6, 6) * 1440 * MINUTE,
        };
        if off_ms != 0 {
            self.befell("clock wrong");
        }
        self.phones[n].off_ms = off_ms;
        self.pass(0);
        Ok(())
    }

    /// A device is shut out; it hears of it at its next message.
    pub(super) fn revoke(&mut self, n: usize) -> Outcome {
        if let Some(auth) = self.phones[n].auth {
            self.befell("device revoked");
            self.hall.revoke(&auth, self.now)?;
        }
        Ok(())
    }

    /// The server's store is put back to an older copy, with or without saying so.
    pub(super) fn restore_server(&mut self, dice: &mut Dice) -> Outcome {
        if self.hall.copies.is_empty() {
            return Ok(());
        }
        self.befell("server restored");
        let copy = dice.below(self.hall.copies.len());
        let says_so = dice.once_in(3);
        self.hall.restore(copy, says_so)?;
        for slot in &mut self.phones {
            slot.hurt = true;
            slot.fooled = true;
            slot.brought = None;
        }
        self.lost()
    }

    /// What a phone does by itself now and then.
    pub(super) fn upkeep(&mut self, n: usize, dice: &mut Dice) -> Result<(), FarmError> {
        let farm = self.phones[n].farm();
        if dice.once_in(2) {
            return farm.fold_all();
        }
        let before = (farm.view()?, farm.review()?);
        farm.rebuild()?;
        if (farm.view()?, farm.review()?) != before {
            return Err(super::broken(format!(
                "phone {n} makes another book of the same records"
            )));
        }
        Ok(())
    }
}

/// Writes what is the truth of a database, without any view of it, into the tables of an earlier
/// version.
fn older(now: &Path, old: &Path, version: u32) -> Result<(), Box<dyn Error>> {
    let mut database = Connection::open(old)?;
    migrate_to(&mut database, version)?;
    database.execute("ATTACH ?1 AS now", [now.to_string_lossy()])?;
    for table in ["meta", "doc", "change", "actor", "outbox"] {
        let columns = database.prepare(&format!("SELECT * FROM {table}"))?;
        let columns: Vec<_> = columns.column_names().collect();
        let columns = columns.join(", ");
        database.execute_batch(&format!(
            "INSERT INTO main.{table} ({columns}) SELECT {columns} FROM now.{table}"
        ))?;
    }
    database.execute("DELETE FROM main.meta WHERE key = 'view'", [])?;
    Ok(())
}
