//! What befalls phones and the server's store.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use pointdown_core::farm::{Farm, FarmError, Fault, Location};
use pointdown_core::ledger::read_change;
use pointdown_core::record::Id;

use super::hall::Auth;
use super::world::Outcome;
use super::{Act, Dice, World};

/// The files of a phone, copied aside.
#[derive(Debug, Clone)]
pub struct Backup {
    files: Files,
    auth: Option<Auth>,
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
    /// Lets the database of a phone fail before long.
    pub(super) fn arm(&mut self, n: usize, dice: &mut Dice) -> Result<Arc<AtomicBool>, String> {
        let fault = match dice.below(4) {
            0 => Fault::Commit(dice.below(3) as u32),
            _ => {
                let within = 1 << dice.below(11);
                Fault::Step(dice.below(within) as u32)
            }
        };
        let armed = self.phones[n].farm().fail_at(Some(fault));
        armed.map_err(|e| e.message)
    }

    /// Closes a phone as if it were killed, and opens it again.
    pub(super) fn reopen(&mut self, n: usize) -> Outcome {
        let slot = &mut self.phones[n];
        slot.open = None;
        slot.call = None;
        let location = Location::from(slot.path.as_path());
        let farm = Farm::open(&location, slot.env.clone())
            .map_err(|e| format!("phone {n} does not open again: {e}"))?;
        slot.open = Some(farm);
        Ok(())
    }

    /// The power fails while something is written: of what came after the last synced commit any
    /// part may be on the disk, torn, zero or anything.
    pub(super) fn power_loss(&mut self, n: usize, dice: &mut Dice) -> Outcome {
        self.befell("power lost");
        let path = self.phones[n].path.clone();
        let before = Files::read(&path)?;
        let act = *dice.pick(&[Act::Log, Act::Log, Act::Amend, Act::Void, Act::Hear]);
        let done: Result<(), FarmError> = match act {
            Act::Hear => self.send(n).and_then(|()| self.hear(n, dice)),
            act => self.person(act, n, dice),
        };
        done.map_err(|e| format!("{act:?} on phone {n}: {e}"))?;
        let mut after = Files::read(&path)?;
        self.phones[n].open = None;
        self.phones[n].call = None;
        self.phones[n].hurt = true;
        self.phones[n].brought = None;
        let synced = before.wal.len();
        let grew = after.db == before.db && after.wal.starts_with(&before.wal);
        if grew && after.wal.len() > synced {
            let at = synced + dice.below(after.wal.len() - synced + 1);
            match dice.below(4) {
                0 => after.wal.truncate(at),
                1 => after.wal[at..].fill(0),
                2 => after.wal[at..]
                    .iter_mut()
                    .for_each(|b| *b ^= dice.any() as u8),
                _ => {
                    let torn: Vec<u8> = (0..dice.below(9000)).map(|_| dice.any() as u8).collect();
                    after.wal.extend(torn);
                }
            }
        }
        if dice.once_in(4) {
            after.mark = Some(Vec::new());
        }
        Files::remove(&path);
        after.write(&path)?;
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

    /// Whatever no phone and no server has now is lost by right: its phone was wiped or put back
    /// before it could send it, or the server that had it was put back. It may still come again out
    /// of a backup or a late message; nothing else may be missing at the end.
    pub(super) fn lost(&mut self) -> Outcome {
        let mut held = BTreeSet::new();
        for slot in &self.phones {
            held.extend(slot.has.iter().copied());
        }
        held.extend(self.at_server()?);
        let gone = self.facts.keys().filter(|id| !held.contains(id));
        self.excused.extend(gone.copied());
        Ok(())
    }

    /// The records that the server has.
    pub(super) fn at_server(&self) -> Result<BTreeSet<Id>, String> {
        let mut all = BTreeSet::new();
        for logged in self.hall.log()? {
            let (_, entries) =
                read_change(&logged.doc, &logged.bytes).map_err(|e| e.to_string())?;
            all.extend(entries.iter().filter_map(|e| e.key.parse::<Id>().ok()));
        }
        Ok(all)
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
