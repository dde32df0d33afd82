//! What the server keeps: farms, invites, devices, and each farm's log of changes.
//!
//! [`Store`] is the contract; SQLite ([`Sqlite`]) keeps it in one data folder, PostgreSQL
//! ([`Postgres`]) lets several servers share one. Everything is synchronous and meant to run on a
//! thread that may block, so that no transaction is ever held while something else is awaited.
//!
//! Any store must hold to this:
//!
//! * What a method did is durable when it returns `Ok`, and nothing of it happened otherwise.
//! * Two transactions that write to one farm's log come one after the other (a lock on the farm's
//!   row). A change gets its number from the farm's own counter inside that transaction, so the
//!   numbers that can be seen never have a gap that fills later: a cursor skips nothing.
//! * An invite is spent once, however many ask at once.
//! * Of codes and tokens it knows only SHA-256 hashes.
//! * No answer about one farm depends on another.

mod admit;
mod epoch;
mod error;
mod heard;
mod migrate;
mod postgres;
mod role;
mod sqlite;
mod sqlite_group;
mod sqlite_log;
mod sqlite_members;

use pointdown_core::record::{Actor, Change, DocName, Hash, Id};
use pointdown_core::sync::{Digest, DocDigest};

pub use error::StoreError;
pub use migrate::VERSION;
pub use postgres::Postgres;
pub use role::{Changed, Event, Noted, Role};
pub use sqlite::Sqlite;
pub(crate) use sqlite::private_folder;

/// The sixteen random bytes that all cursors of one store belong to. A store restored from an
/// older copy gets new ones.
pub type Epoch = [u8; 16];

/// The SHA-256 hash of a secret.
pub type SecretHash = [u8; 32];

/// An invite to be kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NewInvite {
    /// The hash of its code.
    pub code: SecretHash,
    /// The farm it leads to; nothing lets a device bring its own farm or begin a new one.
    pub farm: Option<Id>,
    /// When it was made, milliseconds since 1970 UTC.
    pub made_at: i64,
    /// From when on it is no longer taken, milliseconds since 1970 UTC.
    pub expires: i64,
    /// What the device may do that comes with it; one that begins a farm is its owner anyway.
    pub role: Role,
    /// The device that made it; nothing for whoever runs the server.
    pub by: Option<Id>,
}

/// What a device is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DeviceKind {
    /// Logs and syncs.
    Phone,
    /// Only shows totals.
    Screen,
}

impl DeviceKind {
    /// The word for it.
    pub fn as_str(self) -> &'static str {
        match self {
            DeviceKind::Phone => "phone",
            DeviceKind::Screen => "screen",
        }
    }
}

/// A device that wants in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Joining {
    /// The hash of the invite's code.
    pub code: SecretHash,
    /// The farm that the device keeps already.
    pub farm: Option<Id>,
    /// The farm to begin where the invite is open and the device keeps none; nothing where a farm
    /// may not be begun.
    pub begin: Option<Id>,
    /// The id of the new device.
    pub device: Id,
    /// Its name.
    pub name: String,
    /// What it is for.
    pub kind: DeviceKind,
    /// The hash of its token.
    pub token: SecretHash,
    /// Its actors so far.
    pub actors: Vec<Actor>,
    /// The time, milliseconds since 1970 UTC.
    pub now: i64,
}

/// How an attempt to join ended. Only [`Joined::In`] spends the invite.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Joined {
    /// The device belongs to this farm now.
    In(Id),
    /// There is no such invite for such a device.
    Unknown,
    /// The invite was used before.
    Used,
    /// The invite came too late.
    Expired,
    /// The device keeps another farm than the invite leads to.
    OtherFarm,
}

/// A device as the server knows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeviceRow {
    /// Its id.
    pub id: Id,
    /// The farm that it belongs to.
    pub farm: Id,
    /// Its name.
    pub name: String,
    /// What it is for.
    pub kind: String,
    /// What it may do.
    pub role: Role,
    /// The hash of its token.
    pub token: SecretHash,
    /// The hash of the token that it got in exchange and did not use yet.
    pub next_token: Option<SecretHash>,
    /// When it joined, milliseconds since 1970 UTC.
    pub joined_at: i64,
    /// When it last synced, milliseconds since 1970 UTC.
    pub heard_at: Option<i64>,
    /// When it was shut out, milliseconds since 1970 UTC.
    pub revoked_at: Option<i64>,
}

/// A change on its way into the log.
#[derive(Debug, Clone, Copy)]
pub struct NewChange<'a> {
    /// The change.
    pub change: &'a Change,
    /// Whether another device made it than the one that brought it.
    pub relayed: bool,
}

/// A change of the log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Logged {
    /// Its number: from 1, without a gap.
    pub n: u64,
    /// The document that it belongs to.
    pub doc: DocName,
    /// Its name.
    pub hash: Hash,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// Whose an actor is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Registered {
    /// The device that registered it or vouched for it.
    pub device: Id,
    /// Whether the device only vouched: the actor is another phone's.
    pub vouched: bool,
}

/// What is needed to make a document.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct DocParts {
    /// A saved form of it.
    pub saved: Option<Vec<u8>>,
    /// The changes that are not in the saved form, in the order of the log.
    pub changes: Vec<Vec<u8>>,
    /// The number of the last change of it.
    pub upto: u64,
}

/// One farm's log, inside a transaction.
pub trait Log {
    /// The epoch of the store.
    fn epoch(&self) -> Result<Epoch, StoreError>;

    /// Gives the store a new epoch, as part of this transaction.
    fn rotate_epoch(&self) -> Result<Epoch, StoreError>;

    /// Says that these changes are about to be looked into: [`Log::last_op`] of each and of all that
    /// it depends on, [`Log::registered`] and [`Log::actor_number`] of its maker. A store at the far
    /// end of a network fetches all of it at once.
    fn ask_ahead(&self, _changes: &[Change]) -> Result<(), StoreError> {
        Ok(())
    }

    /// The number of the last change; 0 before the first.
    fn counter(&self) -> Result<u64, StoreError>;

    /// The Lamport counter of the last write of a change; nothing where the change is not there.
    fn last_op(&self, doc: &DocName, hash: &Hash) -> Result<Option<u64>, StoreError>;

    /// The highest number that an actor gave to its own changes of a document; 0 where it made none.
    fn actor_number(&self, doc: &DocName, actor: &Actor) -> Result<u64, StoreError>;

    /// What a device may do; nothing where the farm has no such device or it was shut out.
    fn standing(&self, device: Id) -> Result<Option<Role>, StoreError>;

    /// Whose an actor is, if this farm knows it.
    fn registered(&self, actor: &Actor) -> Result<Option<Registered>, StoreError>;

    /// Notes whose an actor is. The first to say so stays, except that a device which names an
    /// actor its own takes it from one that only vouched for it.
    fn register(&self, actor: &Actor, whose: Registered, now: i64) -> Result<(), StoreError>;

    /// Notes that a device was heard.
    fn heard(&self, device: Id, now: i64) -> Result<(), StoreError>;

    /// Adds changes that are not there yet, in this order, and returns the new counter.
    fn append(&self, device: Id, changes: &[NewChange<'_>], now: i64) -> Result<u64, StoreError>;

    /// Changes after a number, in order, until their bytes pass `most_bytes`; at least one if there
    /// is one.
    fn after(&self, cursor: u64, most_bytes: usize) -> Result<Vec<Logged>, StoreError>;

    /// The digest of each document: the farm's own first, then the newest month first.
    fn docs(&self) -> Result<Vec<DocDigest>, StoreError>;

    /// What makes a document.
    fn doc(&self, doc: &DocName) -> Result<DocParts, StoreError>;

    /// Keeps the saved form of a document, which holds all its changes up to a number.
    fn keep_saved(&self, doc: &DocName, saved: &[u8], upto: u64) -> Result<(), StoreError>;

    /// Frees the bytes of a document's changes that were taken before a moment (milliseconds since
    /// 1970 UTC) and that its saved form holds. Their names stay. Returns the number of bytes.
    fn fold(&self, doc: &DocName, before: i64) -> Result<u64, StoreError>;

    /// The highest number of a change without bytes: [`Log::after`] needs a cursor from here on.
    fn folded(&self) -> Result<u64, StoreError>;

    /// The documents with changes after a number, in the order of [`Log::docs`].
    fn changed_since(&self, cursor: u64) -> Result<Vec<DocName>, StoreError>;

    /// Replaces the digest of a document by what its changes really add up to.
    fn mend_digest(&self, doc: &DocName, digest: &Digest) -> Result<(), StoreError>;

    /// Forgets a document's saved form.
    fn drop_saved(&self, doc: &DocName) -> Result<(), StoreError>;

    /// The digest of everything.
    fn digest(&self) -> Result<Digest, StoreError> {
        let mut all = Digest::default();
        for doc in self.docs()? {
            all.join(&doc.digest);
        }
        Ok(all)
    }
}

/// What is done inside a transaction.
pub type Work<'a> = &'a mut dyn FnMut(&dyn Log) -> Result<(), StoreError>;

/// What is called when another process said that there is news of a farm; with nothing where news
/// of any farm may have been missed.
pub type OnNews = Box<dyn Fn(Option<Id>) + Send + Sync>;

/// Where the server keeps everything; see the [module](self) for what any store must hold to.
pub trait Store: Send + Sync {
    /// The epoch.
    fn epoch(&self) -> Result<Epoch, StoreError>;

    /// Gives the store a new epoch: every phone then holds everything against it anew.
    fn new_epoch(&self) -> Result<Epoch, StoreError>;

    /// Every farm.
    fn farms(&self) -> Result<Vec<Id>, StoreError>;

    /// Keeps an invite. For a farm that is not there it is [`StoreError::NoSuchFarm`]; one to a farm
    /// stands in the audit log.
    fn add_invite(&self, invite: &NewInvite) -> Result<(), StoreError>;

    /// Spends an invite, begins the farm if it is a new one, lets the device in and writes that into
    /// the audit log: all or nothing. Who begins a farm is its owner, a screen only reads.
    fn join(&self, joining: &Joining) -> Result<Joined, StoreError>;

    /// The device with this token hash or this next one, also one that was revoked.
    fn device(&self, token: &SecretHash) -> Result<Option<DeviceRow>, StoreError>;

    /// The devices of a farm, in the order in which they joined.
    fn devices(&self, farm: Id) -> Result<Vec<DeviceRow>, StoreError>;

    /// Gives a device the hash of a token that will take the place of its own; one that was given
    /// before and never used is forgotten.
    fn renew_token(&self, device: Id, next: &SecretHash, now: i64) -> Result<(), StoreError>;

    /// The next token was used: it is the device's own from here on, the old one is dead. Nothing
    /// happens where no device has such a next token.
    fn settle_token(&self, next: &SecretHash) -> Result<(), StoreError>;

    /// Shuts a device of a farm out. `by` is the device that does it; nobody but whoever runs the
    /// server (nothing) can leave a farm without an owner.
    fn revoke(&self, farm: Id, device: Id, by: Option<Id>, now: i64)
    -> Result<Changed, StoreError>;

    /// Gives a phone of a farm a role; the same holds for the last owner.
    fn change_role(
        &self,
        farm: Id,
        device: Id,
        role: Role,
        by: Option<Id>,
        now: i64,
    ) -> Result<Changed, StoreError>;

    /// The audit log of a farm before a line (from the end without one), newest first, so many.
    fn audit(&self, farm: Id, before: Option<u64>, most: u32) -> Result<Vec<Noted>, StoreError>;

    /// What the database itself finds wrong with its files; nothing where all is well, or where it
    /// looks after them by itself.
    fn check(&self) -> Result<Vec<String>, StoreError> {
        Ok(Vec::new())
    }

    /// Whether the store can write durably, found out by writing.
    fn ready(&self) -> Result<(), StoreError>;

    /// Notes that a device was heard, some time within the next seconds: nobody waits for a disk for
    /// it, and a process that is killed may forget it.
    fn heard(&self, farm: Id, device: Id, now: i64) -> Result<(), StoreError>;

    /// Tells the other processes on this store that there is news of a farm. Only a wake-up: it may
    /// get lost, and carries nothing. A store that one process has to itself has nobody to tell.
    fn tell(&self, _farm: Id) {}

    /// Calls `news` whenever another process told of some, until the store is dropped.
    fn on_news(&self, _news: OnNews) -> Result<(), StoreError> {
        Ok(())
    }

    /// The number of a farm's last change. Every event stream asks for it again and again.
    fn head(&self, farm: Id) -> Result<u64, StoreError> {
        let mut head = 0;
        self.read_log(farm, &mut |log| {
            head = log.counter()?;
            Ok(())
        })?;
        Ok(head)
    }

    /// Reads a farm's log in one transaction that sees one state.
    fn read_log(&self, farm: Id, work: Work<'_>) -> Result<(), StoreError>;

    /// Writes to a farm's log in one transaction: all of it or nothing. `work` may be run more than
    /// once; only its last run counts.
    fn write_log(&self, farm: Id, work: Work<'_>) -> Result<(), StoreError>;
}

/// Reads a farm's log and returns what was read.
pub fn read<T>(
    store: &dyn Store,
    farm: Id,
    work: impl FnMut(&dyn Log) -> Result<T, StoreError>,
) -> Result<T, StoreError> {
    kept(work, |run| store.read_log(farm, run))
}

/// Writes to a farm's log and returns what came of it.
pub fn write<T>(
    store: &dyn Store,
    farm: Id,
    work: impl FnMut(&dyn Log) -> Result<T, StoreError>,
) -> Result<T, StoreError> {
    kept(work, |run| store.write_log(farm, run))
}

/// Carries a result out of a transaction whose closure has to be an object.
fn kept<T>(
    mut work: impl FnMut(&dyn Log) -> Result<T, StoreError>,
    transaction: impl FnOnce(Work<'_>) -> Result<(), StoreError>,
) -> Result<T, StoreError> {
    let mut out = None;
    transaction(&mut |log| {
        out = Some(work(log)?);
        Ok(())
    })?;
    out.ok_or_else(|| StoreError::Backend("a transaction was not run".into()))
}
