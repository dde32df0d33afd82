//! The server: one store, some processes over it, and what befalls them.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU8, Ordering};

use pointdown_core::ledger::read_change;
use pointdown_core::record::{Actor, Id};
use pointdown_core::sync::{Answer, Ask};
use pointdown_server::exchange::{ExchangeError, exchange};
use pointdown_server::store::{
    self, Changed, DeviceKind, DeviceRow, Epoch, Joined, Joining, Logged, NewInvite, Noted, Role,
    SecretHash, Sqlite, Store, StoreError, Work,
};

use super::{Dice, disk};

/// Where a process is killed in the middle of an exchange.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Killed {
    /// Not at all.
    No,
    /// After it read the message, before anything was written.
    Before,
    /// With everything written and nothing committed.
    Within,
    /// After the commit, before the answer.
    After,
    /// Its power fails at this write, sync or change of length, or right after the answer.
    Power(u32),
}

/// A store whose process is killed at a point.
struct Dying<'a> {
    store: &'a Sqlite,
    killed: Killed,
    writes: AtomicU8,
}

fn dead() -> StoreError {
    StoreError::Backend("the process was killed".into())
}

impl Store for Dying<'_> {
    fn epoch(&self) -> Result<Epoch, StoreError> {
        self.store.epoch()
    }
    fn new_epoch(&self) -> Result<Epoch, StoreError> {
        self.store.new_epoch()
    }
    fn farms(&self) -> Result<Vec<Id>, StoreError> {
        self.store.farms()
    }
    fn add_invite(&self, invite: &NewInvite) -> Result<(), StoreError> {
        self.store.add_invite(invite)
    }
    fn join(&self, joining: &Joining) -> Result<Joined, StoreError> {
        self.store.join(joining)
    }
    fn device(&self, token: &SecretHash) -> Result<Option<DeviceRow>, StoreError> {
        self.store.device(token)
    }
    fn devices(&self, farm: Id) -> Result<Vec<DeviceRow>, StoreError> {
        self.store.devices(farm)
    }
    fn renew_token(&self, device: Id, next: &SecretHash, now: i64) -> Result<(), StoreError> {
        self.store.renew_token(device, next, now)
    }
    fn settle_token(&self, next: &SecretHash) -> Result<(), StoreError> {
        self.store.settle_token(next)
    }
    fn revoke(
        &self,
        farm: Id,
        device: Id,
        by: Option<Id>,
        now: i64,
    ) -> Result<Changed, StoreError> {
        self.store.revoke(farm, device, by, now)
    }
    fn change_role(
        &self,
        farm: Id,
        device: Id,
        role: Role,
        by: Option<Id>,
        now: i64,
    ) -> Result<Changed, StoreError> {
        self.store.change_role(farm, device, role, by, now)
    }
    fn audit(&self, farm: Id, before: Option<u64>, most: u32) -> Result<Vec<Noted>, StoreError> {
        self.store.audit(farm, before, most)
    }
    fn ready(&self) -> Result<(), StoreError> {
        self.store.ready()
    }
    fn heard(&self, farm: Id, device: Id, now: i64) -> Result<(), StoreError> {
        self.store.heard(farm, device, now)
    }
    fn read_log(&self, farm: Id, work: Work<'_>) -> Result<(), StoreError> {
        // Before anything was written it only looks whether there is anything to write.
        let written = self.writes.load(Ordering::SeqCst) > 0;
        if self.killed == Killed::Before || (self.killed == Killed::After && written) {
            return Err(dead());
        }
        self.store.read_log(farm, work)
    }
    fn write_log(&self, farm: Id, work: Work<'_>) -> Result<(), StoreError> {
        if self.killed == Killed::Before {
            return Err(dead());
        }
        self.writes.fetch_add(1, Ordering::SeqCst);
        self.store.write_log(farm, &mut |log| {
            work(log)?;
            if self.killed == Killed::Within {
                return Err(dead());
            }
            Ok(())
        })
    }
}

/// A device's place at the server.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Auth {
    /// Its id there.
    pub device: Id,
    /// The hash of its token.
    pub token: SecretHash,
}

/// What a phone gets for its message.
#[derive(Debug)]
pub enum Reply {
    /// The bytes of an answer.
    Answer(Vec<u8>),
    /// The device is not let in: it was shut out, or the store does not know it any more.
    NotIn,
    /// Nothing: the process was killed.
    Nothing,
}

/// The processes and their store.
pub struct Hall {
    folder: PathBuf,
    processes: Vec<Sqlite>,
    /// Copies of the store.
    pub copies: Vec<Vec<u8>>,
    /// The farm that is kept here.
    pub farm: Id,
    records: BTreeSet<Id>,
    read_to: u64,
    /// Whether the store stands on a disk of the tests, whose power can fail. It has one process then.
    on_disk: bool,
}

const FILE: &str = "server.db";

impl Hall {
    /// A new store with so many processes over it.
    pub fn new(folder: &Path, farm: Id, processes: usize) -> Result<Hall, String> {
        let mut hall = Hall {
            folder: folder.join("server"),
            processes: Vec::new(),
            copies: Vec::new(),
            farm,
            records: BTreeSet::new(),
            read_to: 0,
            on_disk: processes == 1,
        };
        hall.start(processes)?;
        Ok(hall)
    }

    fn start(&mut self, processes: usize) -> Result<(), String> {
        for _ in 0..processes {
            let process = match self.on_disk {
                true => Sqlite::open_through(&self.folder, disk::name()),
                false => Sqlite::open(&self.folder),
            };
            self.processes
                .push(process.map_err(|e| format!("a server: {e}"))?);
        }
        Ok(())
    }

    /// Ends every process, or kills it, and starts as many again.
    pub fn restart(&mut self, kill: bool) -> Result<(), String> {
        // Who is killed closes nothing: the files stay as they are, the write-ahead log not folded.
        let paths = ["", "-wal"].map(|end| self.folder.join(format!("{FILE}{end}")));
        let files = paths.each_ref().map(|path| std::fs::read(path).ok());
        let n = self.processes.len();
        self.processes.clear();
        if kill {
            for (path, bytes) in paths.iter().zip(files) {
                if let Some(bytes) = bytes {
                    std::fs::write(path, bytes).map_err(|e| e.to_string())?;
                }
            }
        }
        self.start(n)
    }

    /// Whether the power of the store can fail.
    pub fn has_power(&self) -> bool {
        self.on_disk
    }

    /// Starts the server whose power failed: of what was not synced any part may be on the disk.
    fn power_back(&mut self, dice: &mut Dice) -> Result<(), String> {
        let paths = ["", "-wal"].map(|end| self.folder.join(format!("{FILE}{end}")));
        let files = paths
            .each_ref()
            .map(|path| disk::after_power_loss(path, dice));
        // Closing folds the write-ahead log, where there is still power.
        self.processes.clear();
        disk::cut_power(&paths[0], None);
        for (path, bytes) in paths.iter().zip(files) {
            std::fs::write(path, bytes).map_err(|e| e.to_string())?;
        }
        // What is in the log is read anew.
        (self.records, self.read_to) = (BTreeSet::new(), 0);
        self.start(1)
    }

    /// The records in the log.
    pub fn records(&mut self) -> Result<&BTreeSet<Id>, String> {
        if self.head()? > self.read_to {
            let from = self.read_to;
            let new = store::read(self.store(), self.farm, |log| log.after(from, usize::MAX));
            for logged in new.map_err(|e| e.to_string())? {
                let read = read_change(&logged.doc, &logged.bytes).map_err(|e| e.to_string())?;
                let ids = read
                    .1
                    .iter()
                    .filter_map(|entry| entry.key.parse::<Id>().ok());
                self.records.extend(ids);
                self.read_to = logged.n;
            }
        }
        Ok(&self.records)
    }

    /// Copies the store aside.
    pub fn back_up(&mut self) -> Result<(), String> {
        // With every process ended SQLite folds its write-ahead log into the one file.
        let n = self.processes.len();
        self.processes.clear();
        let bytes = std::fs::read(self.folder.join(FILE)).map_err(|e| e.to_string())?;
        self.copies.push(bytes);
        self.start(n)
    }

    /// Puts a copy in the place of the store.
    pub fn restore(&mut self, copy: usize, new_epoch: bool) -> Result<(), String> {
        let n = self.processes.len();
        self.processes.clear();
        for suffix in ["", "-wal", "-shm"] {
            let _ = std::fs::remove_file(self.folder.join(format!("{FILE}{suffix}")));
        }
        std::fs::write(self.folder.join(FILE), &self.copies[copy]).map_err(|e| e.to_string())?;
        (self.records, self.read_to) = (BTreeSet::new(), 0);
        self.start(n)?;
        if new_epoch {
            self.store().new_epoch().map_err(|e| e.to_string())?;
        }
        Ok(())
    }

    /// Any of the processes.
    pub fn store(&self) -> &Sqlite {
        &self.processes[0]
    }

    /// Lets a device in: with an invite to the farm, or with an open one where the farm is new.
    pub fn join(&self, actors: &[Actor], now: i64, dice: &mut Dice) -> Result<Auth, String> {
        let store = self.store();
        let known = store.farms().map_err(|e| e.to_string())?;
        let code = dice.bytes();
        let invite = NewInvite {
            code,
            farm: known.contains(&self.farm).then_some(self.farm),
            made_at: now,
            expires: now + 1000,
            role: Role::Helper,
            by: None,
        };
        store.add_invite(&invite).map_err(|e| e.to_string())?;
        let auth = Auth {
            device: Id::at(now, dice.bytes()),
            token: dice.bytes(),
        };
        let joining = Joining {
            code,
            farm: Some(self.farm),
            begin: None,
            device: auth.device,
            name: "a phone".into(),
            kind: DeviceKind::Phone,
            token: auth.token,
            actors: actors.to_vec(),
            now,
        };
        match store.join(&joining).map_err(|e| e.to_string())? {
            Joined::In(_) => Ok(auth),
            other => Err(format!("a device is not let in: {other:?}")),
        }
    }

    /// Shuts a device out.
    pub fn revoke(&self, auth: &Auth, now: i64) -> Result<bool, String> {
        let done = self.store().revoke(self.farm, auth.device, None, now);
        done.map(|done| done == Changed::Done)
            .map_err(|e| e.to_string())
    }

    /// One message to one of the processes, which may be killed over it.
    pub fn ask(
        &mut self,
        auth: &Auth,
        body: &[u8],
        now: i64,
        killed: Killed,
        dice: &mut Dice,
    ) -> Result<Reply, String> {
        let n = dice.below(self.processes.len());
        let process = &self.processes[n];
        let row = process.device(&auth.token).map_err(|e| e.to_string())?;
        let Some(row) = row.filter(|row| row.revoked_at.is_none()) else {
            return Ok(Reply::NotIn);
        };
        let dying = Dying {
            store: process,
            killed,
            writes: AtomicU8::new(0),
        };
        let before = (process.epoch().map_err(|e| e.to_string())?, self.head()?);
        let file = self.folder.join(FILE);
        if let Killed::Power(after) = killed {
            disk::cut_power(&file, Some(after));
        }
        let done = exchange(&dying, row.farm, row.id, body, now);
        if matches!(killed, Killed::Power(_)) {
            let failed = disk::is_off(&file);
            self.power_back(dice)?;
            return match done {
                // What was answered must be there when the power is back.
                Ok(done) => {
                    promised(body, &done.answer, before)?;
                    Ok(Reply::Answer(done.answer))
                }
                Err(ExchangeError::Message(_)) => Ok(Reply::Nothing),
                Err(_) if failed => Ok(Reply::Nothing),
                Err(e) => Err(format!("the server fails: {e}")),
            };
        }
        match done {
            Ok(done) => {
                promised(body, &done.answer, before)?;
                Ok(Reply::Answer(done.answer))
            }
            Err(ExchangeError::Message(_)) => Ok(Reply::Nothing),
            Err(ExchangeError::Store(_)) if killed != Killed::No => {
                self.processes.remove(n);
                self.start(1)?;
                Ok(Reply::Nothing)
            }
            Err(e) => Err(format!("the server fails: {e}")),
        }
    }

    /// The number of the last change.
    pub fn head(&self) -> Result<u64, String> {
        store::read(self.store(), self.farm, |log| log.counter())
            .or_else(|e| match e {
                StoreError::NoSuchFarm => Ok(0),
                e => Err(e),
            })
            .map_err(|e| e.to_string())
    }

    /// The whole log.
    pub fn log(&self) -> Result<Vec<Logged>, String> {
        if self.head()? == 0 {
            return Ok(Vec::new());
        }
        store::read(self.store(), self.farm, |log| log.after(0, usize::MAX))
            .map_err(|e| e.to_string())
    }
}

/// What the protocol promises of every answer.
fn promised(body: &[u8], answer: &[u8], (epoch, head): (Epoch, u64)) -> Result<(), String> {
    let Ok(ask) = Ask::decode(body) else {
        return Err("the server answered what is no message".into());
    };
    let answer = Answer::decode(answer).map_err(|e| format!("an answer is none: {e}"))?;
    let ahead = ask.epoch.is_some_and(|e| *e == epoch) && ask.cursor > head;
    if ahead && *answer.epoch == epoch {
        return Err(format!(
            "a store older than a phone's cursor ({} of {head}) keeps its epoch",
            ask.cursor
        ));
    }
    if ask.epoch.is_none() && answer.epoch.as_slice() != epoch {
        return Err("an answer names another epoch than the store's".into());
    }
    Ok(())
}
