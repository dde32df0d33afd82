use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use serde::{Deserialize, Serialize};

use super::exchange::Underway;
use super::news::{Board, Tell};
use super::{Env, ErrorKind, FarmError};
use crate::ledger::Document;
use crate::record::{Actor, DocName, Draft, Fields, Id, Kind};
use crate::store::{Location, Store, Tx};

/// A family's book on one device.
pub struct Farm {
    pub(super) env: Arc<dyn Env>,
    inner: Mutex<Inner>,
    pub(super) board: Arc<Board>,
}

/// The lock. When it is given back, whoever watches is told what changed meanwhile: the fields are
/// dropped in this order.
pub(super) struct Held<'a> {
    inner: MutexGuard<'a, Inner>,
    _tell: Tell<'a>,
}

impl std::ops::Deref for Held<'_> {
    type Target = Inner;

    fn deref(&self) -> &Inner {
        &self.inner
    }
}

impl std::ops::DerefMut for Held<'_> {
    fn deref_mut(&mut self) -> &mut Inner {
        &mut self.inner
    }
}

/// What the lock guards.
pub(super) struct Inner {
    pub(super) store: Store,
    /// Documents in memory, never newer than the database.
    pub(super) docs: BTreeMap<DocName, Document>,
    pub(super) me: Me,
    pub(super) underway: Option<Underway>,
    /// Whether an exchange with the server goes on, from one message to the next.
    pub(super) exchanging: bool,
    /// Whether digests that differ have led to a look over both sides in this exchange already.
    pub(super) rechecked: bool,
    /// What changed, for whoever watches.
    pub(super) board: Arc<Board>,
    /// The note beside the file that tells it from a copy.
    #[cfg(feature = "native")]
    pub(super) mark: Option<super::mark::Mark>,
}

/// Who this installation is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Me {
    pub(super) farm: Id,
    pub(super) actor: String,
    /// Every actor that this installation ever wrote as.
    pub(super) actors: Vec<String>,
    pub(super) device: Option<Id>,
    pub(super) person: Option<Id>,
}

/// How a farm begins on a device without a server.
#[derive(Debug, Clone)]
pub struct Beginning {
    /// The farm's set-up fields: `name` and `zone` at least.
    pub farm: Fields,
    /// The name of the person who begins.
    pub person: String,
    /// The name of this device.
    pub device: String,
}

impl Farm {
    /// Begins a new farm in a new database.
    pub fn begin(
        location: &Location,
        env: Arc<dyn Env>,
        beginning: Beginning,
    ) -> Result<Farm, FarmError> {
        // A name or zone that is not allowed must not leave an empty database behind.
        let mut draft = Draft::new(Kind::Farm);
        draft.fields = beginning.farm;
        let now = env.now();
        let id = new_id(&*env, now.ms());
        draft.check(
            id,
            crate::record::Where {
                now,
                known: &Nothing,
            },
        )?;
        for (field, name) in [("person", &beginning.person), ("device", &beginning.device)] {
            crate::record::FieldType::Text(60).read(field, &name.as_str().into())?;
        }
        let farm = Farm::make(location, env, id)?;
        farm.log_as(draft, Some(id))?;
        let person = farm
            .log(Draft::new(Kind::Person).with("name", beginning.person))?
            .id;
        farm.write_as(person)?;
        farm.name_device(&beginning.device)?;
        Ok(farm)
    }

    /// Makes a database for a farm that is kept elsewhere; what it holds comes by an exchange.
    pub fn make(location: &Location, env: Arc<dyn Env>, farm: Id) -> Result<Farm, FarmError> {
        Farm::make_with(location, env, farm, |_| Ok(()))
    }

    /// Makes a database and does `also` in the same transaction.
    pub(super) fn make_with(
        location: &Location,
        env: Arc<dyn Env>,
        farm: Id,
        also: impl FnOnce(&Tx<'_>) -> Result<(), FarmError>,
    ) -> Result<Farm, FarmError> {
        let mut store = Store::open(location)?;
        if store
            .read::<_, FarmError>(|tx| Ok(tx.meta::<Me>("me")?))?
            .is_some()
        {
            return Err(FarmError::new(
                ErrorKind::Ambiguous,
                "this database keeps a farm already; choose another file for a new one",
            ));
        }
        let actor = new_actor(&*env);
        let me = Me {
            farm,
            actor: actor.to_string(),
            actors: vec![actor.to_string()],
            device: None,
            person: None,
        };
        store.write::<_, FarmError>(|tx| {
            also(tx)?;
            Ok(tx.set_meta("me", &me)?)
        })?;
        Farm::opened(location, env, store, me)
    }

    /// Opens a database that keeps a farm.
    pub fn open(location: &Location, env: Arc<dyn Env>) -> Result<Farm, FarmError> {
        // In a browser only the database itself can tell whether its file is there.
        if let Location::File(path) = location
            && !cfg!(target_family = "wasm")
            && !path.exists()
        {
            return Err(FarmError::new(
                ErrorKind::NotFound,
                format!(
                    "there is no database at {}; begin or join a farm first",
                    path.display()
                ),
            ));
        }
        let mut store = Store::open(location)?;
        let me = store
            .read::<_, FarmError>(|tx| Ok(tx.meta::<Me>("me")?))?
            .ok_or_else(|| {
                FarmError::new(ErrorKind::NotFound, "this database keeps no farm yet")
            })?;
        Farm::opened(location, env, store, me)
    }

    /// Opens the replica of a farm, or makes an empty one.
    pub fn replica(location: &Location, farm: Id, env: Arc<dyn Env>) -> Result<Farm, FarmError> {
        match Farm::open(location, env.clone()) {
            Err(e) if e.kind == ErrorKind::NotFound => Farm::make(location, env, farm),
            opened => opened,
        }
    }

    #[cfg_attr(not(feature = "native"), allow(unused_variables, unused_mut))]
    fn opened(
        location: &Location,
        env: Arc<dyn Env>,
        mut store: Store,
        mut me: Me,
    ) -> Result<Farm, FarmError> {
        #[cfg(feature = "native")]
        let mark = match location {
            Location::File(path) => {
                let (mark, copied) = super::mark::Mark::compare(path, &mut store)?;
                if copied && !crate::mutants::mutant("actor_kept") {
                    // A restored or copied database would write under numbers that are taken.
                    let actor = new_actor(&*env).to_string();
                    me.actors.push(actor.clone());
                    me.actor = actor;
                    store.write::<_, FarmError>(|tx| Ok(tx.set_meta("me", &me)?))?;
                }
                Some(mark)
            }
            Location::Memory => None,
        };
        #[cfg(feature = "native")]
        super::backup::break_seal(&mut store)?;
        let view: Option<u32> = store.read::<_, FarmError>(|tx| Ok(tx.meta("view")?))?;
        let board = Arc::new(Board::default());
        let inner = Inner {
            store,
            docs: BTreeMap::new(),
            me,
            underway: None,
            exchanging: false,
            rechecked: false,
            board: board.clone(),
            #[cfg(feature = "native")]
            mark,
        };
        let farm = Farm {
            env,
            inner: Mutex::new(inner),
            board,
        };
        if view != Some(super::upkeep::VIEW) {
            farm.rebuild()?;
        }
        Ok(farm)
    }

    pub(super) fn lock(&self) -> Held<'_> {
        // A panic while the lock was held left the database as it was; the documents in memory
        // may be ahead of it, so they are read again.
        let inner = self
            .inner
            .lock()
            .unwrap_or_else(|poisoned: PoisonError<_>| {
                let mut inner = poisoned.into_inner();
                inner.docs.clear();
                inner
            });
        Held {
            inner,
            _tell: Tell(&self.board),
        }
    }

    /// The farm's id.
    pub fn id(&self) -> Id {
        self.lock().me.farm
    }

    /// The person whose records are logged here, if one was chosen.
    pub fn person(&self) -> Option<Id> {
        self.lock().me.person
    }

    /// This device's record, if it has one.
    pub fn device(&self) -> Option<Id> {
        self.lock().me.device
    }

    /// From now on, records logged here are by this person.
    pub fn write_as(&self, person: Id) -> Result<(), FarmError> {
        let mut inner = self.lock();
        let known = inner
            .store
            .read::<_, FarmError>(|tx| Ok(tx.has_record(Some(Kind::Person), person)?))?;
        if !known {
            return Err(FarmError::new(
                ErrorKind::NotFound,
                "the farm knows no such person",
            ));
        }
        inner.remember(|me| me.person = Some(person))
    }

    /// Gives this installation a device record of this name.
    pub fn name_device(&self, name: &str) -> Result<Id, FarmError> {
        let device = self.log(Draft::new(Kind::Device).with("name", name))?.id;
        self.lock().remember(|me| me.device = Some(device))?;
        Ok(device)
    }
}

impl Inner {
    pub(super) fn remember(&mut self, change: impl FnOnce(&mut Me)) -> Result<(), FarmError> {
        let mut me = self.me.clone();
        change(&mut me);
        self.write(|tx| Ok(tx.set_meta("me", &me)?))?;
        self.me = me;
        Ok(())
    }

    /// One transaction. If it fails, memory is read anew from the database.
    pub(super) fn write<T>(
        &mut self,
        work: impl FnOnce(&Tx<'_>) -> Result<T, FarmError>,
    ) -> Result<T, FarmError> {
        let done = self.try_write(work);
        if done.is_err() {
            self.docs.clear();
        }
        done
    }

    fn try_write<T>(
        &mut self,
        work: impl FnOnce(&Tx<'_>) -> Result<T, FarmError>,
    ) -> Result<T, FarmError> {
        #[cfg(feature = "native")]
        let note = self
            .mark
            .as_ref()
            .map(super::mark::Mark::leave)
            .transpose()?;
        self.store.write(|tx| {
            #[cfg(feature = "native")]
            if let Some(note) = note {
                tx.set_meta("mark", &note)?;
            }
            work(tx)
        })
    }

    pub(super) fn actor(&self) -> Actor {
        actor(&self.me.actor)
    }
}

pub(super) fn actor(hex: &str) -> Actor {
    let bytes = data_encoding::HEXLOWER_PERMISSIVE
        .decode(hex.as_bytes())
        .unwrap_or_default();
    Actor::from_slice(&bytes).unwrap_or(Actor([0xff; 16]))
}

pub(super) fn new_actor(env: &dyn Env) -> Actor {
    let mut bytes = [0; 16];
    env.fill(&mut bytes);
    // All zeros is the actor of every genesis.
    bytes[0] |= 1;
    Actor(bytes)
}

pub(super) fn new_id(env: &dyn Env, at_ms: i64) -> Id {
    let mut random = [0; 10];
    env.fill(&mut random);
    Id::at(at_ms, random)
}

/// Nothing is known before a farm begins.
struct Nothing;

impl crate::record::Known for Nothing {
    fn has(&self, _: Option<Kind>, _: Id) -> bool {
        false
    }
}
