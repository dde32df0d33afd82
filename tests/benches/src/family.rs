//! An invented family with years of history: four phones and a server, all in files.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use pointdown_core::farm::{Beginning, Env, Farm, Join, Location};
use pointdown_core::record::{Id, Instant};
use pointdown_tests::history::{BEGINS, DAY_MS, a_day, furnish, set_up};
use pointdown_tests::phone::TestEnv;

use crate::Outcome;
use crate::proxy::Wire;
use crate::server::Server;

const PEOPLE: [&str; 4] = ["Marit", "Tobin", "Ines", "Olu"];

/// The four phones' files, the server's, and the clock at the end of the history.
pub struct Family {
    /// Where the files are.
    pub folder: PathBuf,
    /// How many years have passed.
    pub years: u32,
    /// How many records there are.
    pub records: u64,
    /// Where copies go.
    work: PathBuf,
    wire: Arc<Wire>,
    now: Instant,
    /// The clock that everyone shares.
    pub env: Arc<TestEnv>,
}

impl Family {
    /// The histories of these numbers of years, made where they are not there yet. One family lives
    /// through all of them and is copied as the years pass, so that twenty years cost no more than
    /// twenty.
    pub fn histories(
        years: &[u32],
        wire: &Arc<Wire>,
        kept: &Path,
        work: &Path,
    ) -> Outcome<Vec<Family>> {
        let mut years = years.to_vec();
        years.sort_unstable();
        years.dedup();
        if !years.iter().all(|n| folder(kept, *n).is_dir()) {
            live(&years, wire, kept)?;
        }
        years
            .iter()
            .map(|n| Family::of(*n, wire, folder(kept, *n), work))
            .collect()
    }

    fn of(years: u32, wire: &Arc<Wire>, folder: PathBuf, work: &Path) -> Outcome<Family> {
        let begins: Instant = BEGINS.parse()?;
        // The evening of the last day, so that today's sheet is one with records on it.
        let evening = (i64::from(years) * 365 * DAY_MS - DAY_MS / 2).max(0);
        let now = begins.plus_ms(evening);
        let mut family = Family {
            folder,
            years,
            records: 0,
            work: work.to_path_buf(),
            wire: wire.clone(),
            now,
            env: TestEnv::new(now, 0),
        };
        let copy = family.afresh("count")?;
        family.records = copy.phone(0)?.record_count()?;
        copy.done()?;
        Ok(family)
    }

    /// A copy of everything in a folder of its own, so that one piece of work leaves no trace in
    /// the next.
    pub fn afresh(&self, name: &str) -> Outcome<Family> {
        let folder = self.work.join(format!("{}-years-{name}", self.years));
        if folder.exists() {
            fs::remove_dir_all(&folder)?;
        }
        copy(&self.folder, &folder)?;
        Ok(Family {
            folder,
            years: self.years,
            records: self.records,
            work: self.work.clone(),
            wire: self.wire.clone(),
            now: self.now,
            // Other random numbers than the history was made with.
            env: TestEnv::new(self.now, 1000 + u64::from(self.years)),
        })
    }

    /// Takes a copy away.
    pub fn done(self) -> Outcome<()> {
        Ok(fs::remove_dir_all(self.folder)?)
    }

    /// The file of a person's phone.
    pub fn file(&self, person: usize) -> PathBuf {
        self.folder.join(format!("{}.db", PEOPLE[person]))
    }

    /// Opens a person's phone.
    pub fn phone(&self, person: usize) -> Outcome<Farm> {
        let file = Location::File(self.file(person));
        Ok(Farm::open(&file, self.env.clone())?)
    }

    /// Starts the family's server at the end of the wire.
    pub fn server(&self) -> Outcome<Server> {
        Server::start(&self.folder.join("server"), &self.wire, self.env.clone())
    }

    /// Where a new phone keeps its database.
    pub fn place(&self, name: &str) -> Location {
        Location::File(self.folder.join(format!("{name}.db")))
    }
}

fn folder(kept: &Path, years: u32) -> PathBuf {
    kept.join(format!("{years}-years"))
}

/// Lives through the years where nothing waits for a disk, and keeps a copy of each that is asked for.
fn live(years: &[u32], wire: &Arc<Wire>, kept: &Path) -> Outcome<()> {
    let shm = PathBuf::from("/dev/shm");
    let fast = tempfile::Builder::new()
        .prefix("pointdown-bench-")
        .tempdir_in(if shm.is_dir() {
            shm
        } else {
            kept.to_path_buf()
        })?;
    let begins: Instant = BEGINS.parse()?;
    let env = TestEnv::new(begins, 1);
    let mut server = Server::start(&fast.path().join("server"), wire, env.clone())?;
    let mut phones = begin(fast.path(), &server, &env)?;
    let farm = phones[0].id();
    let mut day = 0;
    for &n in years {
        while day < i64::from(n) * 365 {
            a_day(&phones, &env, day)?;
            day += 1;
            env.set(begins.plus_ms(day * DAY_MS));
            if day % 14 == 0 {
                all_sync(&phones)?;
            }
            if day % 365 == 0 {
                eprintln!("  {} years lived through", day / 365);
                server.fold(farm)?;
            }
        }
        all_sync(&phones)?;
        server.fold(farm)?;
        drop(phones);
        server.stop()?;
        copy(fast.path(), &folder(kept, n))?;
        server = Server::start(&fast.path().join("server"), wire, env.clone())?;
        phones = PEOPLE
            .iter()
            .map(|name| Ok(Farm::open(&place(fast.path(), name), env.clone())?))
            .collect::<Outcome<_>>()?;
    }
    drop(phones);
    server.stop()
}

/// Twice, so that what the last one brought reaches the first.
fn all_sync(phones: &[Farm]) -> Outcome<()> {
    for phone in phones.iter().chain(phones) {
        phone.sync()?;
    }
    Ok(())
}

fn place(folder: &Path, name: &str) -> Location {
    Location::File(folder.join(format!("{name}.db")))
}

fn begin(folder: &Path, server: &Server, env: &Arc<TestEnv>) -> Outcome<Vec<Farm>> {
    let beginning = Beginning {
        farm: set_up(),
        person: PEOPLE[0].into(),
        device: format!("{}'s phone", PEOPLE[0]),
    };
    let clock: Arc<dyn Env> = env.clone();
    let first = Farm::begin(&place(folder, PEOPLE[0]), clock, beginning)?;
    furnish(&first)?;
    first.join(&Join {
        url: &server.wire.url,
        invite: &server.invite(None)?,
        device: "Marit's phone",
    })?;
    let farm: Id = first.id();
    let mut phones = vec![first];
    for name in &PEOPLE[1..] {
        phones.push(server.new_phone(farm, &place(folder, name), name)?);
    }
    all_sync(&phones)?;
    Ok(phones)
}

fn copy(from: &Path, to: &Path) -> std::io::Result<()> {
    fs::create_dir_all(to)?;
    for entry in fs::read_dir(from)? {
        let entry = entry?;
        let target = to.join(entry.file_name());
        if entry.file_type()?.is_dir() {
            copy(&entry.path(), &target)?;
        } else {
            fs::copy(entry.path(), target)?;
        }
    }
    Ok(())
}
