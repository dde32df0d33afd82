//! A phone whose clock and randomness the test holds.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};

use pointdown_core::farm::{Beginning, Env, Farm, FarmError, Location};
use pointdown_core::record::{Draft, Fields, Id, Instant, Kind};

/// A clock that stands still until it is moved, and randomness from a seed.
pub struct TestEnv {
    now: AtomicI64,
    random: Mutex<u64>,
}

impl TestEnv {
    /// An environment at a moment, with a seed.
    pub fn new(now: Instant, seed: u64) -> Arc<TestEnv> {
        Arc::new(TestEnv {
            now: AtomicI64::new(now.ms()),
            random: Mutex::new(seed ^ 0x9e37_79b9),
        })
    }

    /// Moves the clock.
    pub fn set(&self, now: Instant) {
        self.now.store(now.ms(), Ordering::SeqCst);
    }

    /// Moves the clock on.
    pub fn pass_ms(&self, ms: i64) {
        self.now.fetch_add(ms, Ordering::SeqCst);
    }
}

impl Env for TestEnv {
    fn now(&self) -> Instant {
        Instant::from_ms(self.now.load(Ordering::SeqCst))
    }

    fn fill(&self, buffer: &mut [u8]) {
        // SplitMix64, by its published constants: good enough to name records in a test.
        let mut state = self
            .random
            .lock()
            .expect("no test panics while it holds this");
        for chunk in buffer.chunks_mut(8) {
            *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
            let mut z = *state;
            z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            z ^= z >> 31;
            chunk.copy_from_slice(&z.to_le_bytes()[..chunk.len()]);
        }
    }
}

static SEEDS: AtomicU64 = AtomicU64::new(1);

/// A phone on a database of its own.
pub struct Phone {
    /// The facade.
    pub farm: Farm,
    /// Its clock and randomness.
    pub env: Arc<TestEnv>,
    location: Location,
}

/// An instant from RFC 3339.
pub fn at(text: &str) -> Instant {
    text.parse().unwrap_or_else(|e| panic!("{text}: {e}"))
}

/// The set-up of the tests' farm, in this zone.
pub fn set_up(zone: &str) -> Fields {
    let mut farm = Fields::new();
    farm.insert("name".into(), "Larkmeadow".into());
    farm.insert("zone".into(), zone.into());
    farm
}

impl Phone {
    /// Begins a farm with two coops on a phone in memory.
    pub fn first(name: &str, now: &str, zone: &str) -> Phone {
        Phone::first_at(Location::Memory, name, now, zone)
    }

    /// Begins a farm with two coops on a phone.
    pub fn first_at(location: Location, name: &str, now: &str, zone: &str) -> Phone {
        let env = TestEnv::new(at(now), SEEDS.fetch_add(1, Ordering::SeqCst));
        let beginning = Beginning {
            farm: set_up(zone),
            person: name.into(),
            device: format!("{name}'s phone"),
        };
        let farm = Farm::begin(&location, env.clone(), beginning).expect("a farm begins");
        let phone = Phone {
            farm,
            env,
            location,
        };
        phone.log(
            Draft::new(Kind::Coop)
                .with("name", "Orchard")
                .with("species", "hen"),
        );
        phone.log(
            Draft::new(Kind::Coop)
                .with("name", "Pond")
                .with("species", "duck,hen"),
        );
        phone
    }

    /// A second phone of the same farm, which took everything from this one by hand.
    pub fn another(&self, name: &str) -> Phone {
        self.another_at(Location::Memory, name)
    }

    /// A second phone of the same farm, on this database.
    pub fn another_at(&self, location: Location, name: &str) -> Phone {
        let env = TestEnv::new(self.env.now(), SEEDS.fetch_add(1, Ordering::SeqCst));
        let bundle = self.farm.export().expect("an export");
        let farm = Farm::from_export(&location, env.clone(), &bundle).expect("a second phone");
        let person = farm
            .find(Kind::Person, name)
            .or_else(|_| {
                farm.log(Draft::new(Kind::Person).with("name", name))
                    .map(|l| l.id)
            })
            .expect("a person");
        farm.write_as(person).expect("a person who logs");
        farm.name_device(&format!("{name}'s phone"))
            .expect("a device");
        Phone {
            farm,
            env,
            location,
        }
    }

    /// Closes the phone and opens it again on the same file.
    pub fn reopen(self) -> Result<Phone, FarmError> {
        let Phone {
            farm,
            env,
            location,
        } = self;
        drop(farm);
        let farm = Farm::open(&location, env.clone())?;
        Ok(Phone {
            farm,
            env,
            location,
        })
    }

    /// The database file.
    pub fn path(&self) -> PathBuf {
        match &self.location {
            Location::File(path) => path.clone(),
            Location::Memory => Path::new(":memory:").to_path_buf(),
        }
    }

    /// What its clock says.
    pub fn env_now(&self) -> Instant {
        self.env.now()
    }

    /// Logs a draft that is allowed.
    pub fn log(&self, draft: Draft) -> Id {
        match self.farm.log(draft.clone()) {
            Ok(logged) => logged.id,
            Err(e) => panic!("{draft:?}: {e}"),
        }
    }

    /// Logs a gather.
    pub fn gather(&self, coop: &str, species: &str, count: u32) -> Id {
        self.log(gather(coop, species, count))
    }

    /// Everything in the book, as text.
    pub fn view(&self) -> Vec<String> {
        self.farm.view().expect("a view")
    }

    /// What the error says, where a draft is not allowed.
    pub fn refused(&self, draft: Draft) -> FarmError {
        let before = self.view();
        let error = self
            .farm
            .log(draft.clone())
            .expect_err(&format!("{draft:?} is not allowed"));
        assert_eq!(
            before,
            self.view(),
            "a draft that is not allowed changes nothing"
        );
        error
    }
}

/// A draft of a gather.
pub fn gather(coop: &str, species: &str, count: u32) -> Draft {
    Draft::new(Kind::Gather)
        .with("coop", coop)
        .with("species", species)
        .with("count", count)
}

/// Lets two phones exchange until both are done; gives the number of turns.
pub fn meet(one: &Phone, other: &Phone) -> usize {
    let (mut a, mut b) = (one.farm.peer(), other.farm.peer());
    for turn in 1..100 {
        let said = a.say().expect("something to say");
        b.listen(&said).expect("it is understood");
        let said = b.say().expect("something to say");
        a.listen(&said).expect("it is understood");
        if a.is_done() && b.is_done() {
            return turn;
        }
    }
    panic!("two phones talk in circles");
}
