//! An invented farm with years of history: four phones, one server, all in files.

use std::fs;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use pointdown_core::farm::{Beginning, Env, Farm, Join, Location};
use pointdown_core::record::{Draft, Fields, Instant, Kind, Station};
use pointdown_core::trade::Species;
use pointdown_server::exchange::exchange;
use pointdown_server::store::{Sqlite, Store};
use pointdown_server::{Config, INVITE_HOURS, make_invite, serve};
use pointdown_tests::phone::TestEnv;
use serde_json::json;
use tokio::net::TcpListener;
use tokio::runtime::Runtime;
use tokio::sync::oneshot;

use crate::Outcome;
use crate::proxy::Wire;

/// The first morning of every history.
const BEGINS: &str = "2005-03-01T13:00:00Z";
const DAY_MS: i64 = 86_400_000;
/// Who gathers where: the coop, its birds, and how many eggs about.
const ROUNDS: [(&str, &str, u64); 5] = [
    ("Orchard", "hen", 17),
    ("Hilltop", "hen", 11),
    ("Pond", "duck", 8),
    ("Barn", "hen", 9),
    ("Barn", "duck", 3),
];
const PEOPLE: [&str; 4] = ["Marit", "Tobin", "Ines", "Olu"];

/// A server that runs in this process, behind a wire that counts.
pub struct Server {
    /// The wire that phones reach it by.
    pub wire: Arc<Wire>,
    store: Arc<dyn Store>,
    env: Arc<TestEnv>,
    runtime: Runtime,
    stop: oneshot::Sender<()>,
    served: tokio::task::JoinHandle<Result<(), pointdown_server::ServeError>>,
}

impl Server {
    /// Starts it on a data folder.
    pub fn start(data: &Path, wire: &Arc<Wire>, env: Arc<TestEnv>) -> Outcome<Server> {
        fs::create_dir_all(data)?;
        let store: Arc<dyn Store> = Arc::new(Sqlite::open(data)?);
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(1)
            .enable_all()
            .build()?;
        let listener = runtime.block_on(TcpListener::bind("127.0.0.1:0"))?;
        let address: SocketAddr = listener.local_addr()?;
        let (stop, stopped) = oneshot::channel::<()>();
        let config = Config {
            env: env.clone(),
            ..Config::default()
        };
        let served = runtime.spawn(serve(config, listener, store.clone(), async move {
            let _ = stopped.await;
        }));
        wire.lead_to(address);
        Ok(Server {
            wire: wire.clone(),
            store,
            env,
            runtime,
            stop,
            served,
        })
    }

    fn invite(&self, farm: Option<pointdown_core::record::Id>) -> Outcome<String> {
        Ok(make_invite(&*self.store, &*self.env, farm, INVITE_HOURS)?.code)
    }

    /// A new phone of this farm, with everything that the server has.
    pub fn new_phone(
        &self,
        farm: pointdown_core::record::Id,
        at: &Location,
        name: &str,
    ) -> Outcome<Farm> {
        let invite = self.invite(Some(farm))?;
        let join = Join {
            url: &self.wire.url,
            invite: &invite,
            device: name,
        };
        Ok(Farm::join_new(at, self.env.clone(), &join, name)?)
    }

    /// Ends it.
    pub fn stop(self) -> Outcome<()> {
        let _ = self.stop.send(());
        self.runtime.block_on(self.served)??;
        Ok(())
    }
}

/// The four phones' files, the server's, and the clock at the end of the history.
pub struct Family {
    /// Where the files are.
    pub folder: PathBuf,
    /// How many years have passed.
    pub years: u32,
    /// How many records there are.
    pub records: u64,
    wire: Arc<Wire>,
    /// The clock that everyone shares.
    pub env: Arc<TestEnv>,
}

impl Family {
    /// Lives through so many years in a fast folder, and moves to a real disk.
    pub fn live(years: u32, wire: &Arc<Wire>, fast: &Path, disk: &Path) -> Outcome<Family> {
        let fast = fast.join(format!("{years}-years"));
        let disk = disk.join(format!("{years}-years"));
        fs::create_dir_all(&fast)?;
        let env = TestEnv::new(BEGINS.parse()?, u64::from(years) + 1);
        let server = Server::start(&fast.join("server"), wire, env.clone())?;
        let phones = begin(&fast, &server, &env)?;
        let days = i64::from(years) * 365;
        for day in 0..days.max(1) {
            if years > 0 {
                a_day(&phones, &env, day)?;
            }
            if day % 14 == 13 || day + 1 == days.max(1) {
                for phone in phones.iter().chain(&phones) {
                    phone.sync()?;
                }
            }
            let begins: Instant = BEGINS.parse()?;
            env.set(begins.plus_ms((day + 1) * DAY_MS));
        }
        let records = phones[0].record_count()?;
        drop(phones);
        server.stop()?;
        copy(&fast, &disk)?;
        fs::remove_dir_all(&fast)?;
        Ok(Family {
            folder: disk,
            years,
            records,
            wire: wire.clone(),
            env,
        })
    }

    /// A copy of everything in a folder of its own, so that one piece of work leaves no trace in
    /// the next.
    pub fn afresh(&self, name: &str) -> Outcome<Family> {
        let folder = self
            .folder
            .with_file_name(format!("{}-years-{name}", self.years));
        if folder.exists() {
            fs::remove_dir_all(&folder)?;
        }
        copy(&self.folder, &folder)?;
        Ok(Family {
            folder,
            years: self.years,
            records: self.records,
            wire: self.wire.clone(),
            env: self.env.clone(),
        })
    }

    /// The file of a person's phone.
    pub fn file(&self, person: usize) -> PathBuf {
        self.folder.join(format!("{}.db", PEOPLE[person]))
    }

    /// Opens a person's phone.
    pub fn phone(&self, person: usize) -> Outcome<Farm> {
        Ok(Farm::open(
            &Location::File(self.file(person)),
            self.env.clone(),
        )?)
    }

    /// Starts the family's server at the end of the wire.
    pub fn server(&self) -> Outcome<Server> {
        Server::start(&self.folder.join("server"), &self.wire, self.env.clone())
    }

    /// A new phone beside the four, in a file of its own.
    pub fn another(&self, server: &Server, name: &str) -> Outcome<Farm> {
        let farm = self.phone(0)?.id();
        server.new_phone(
            farm,
            &Location::File(self.folder.join(format!("{name}.db"))),
            name,
        )
    }
}

fn begin(folder: &Path, server: &Server, env: &Arc<TestEnv>) -> Outcome<Vec<Farm>> {
    let file = |name: &str| Location::File(folder.join(format!("{name}.db")));
    let mut farm = Fields::new();
    farm.insert("name".into(), json!("Larkmeadow"));
    farm.insert("zone".into(), json!("America/Chicago"));
    farm.insert("rule_pack".into(), json!("us_federal"));
    let beginning = Beginning {
        farm,
        person: PEOPLE[0].into(),
        device: format!("{}'s phone", PEOPLE[0]),
    };
    let first = Farm::begin(&file(PEOPLE[0]), env.clone(), beginning)?;
    for (coop, species) in [
        ("Orchard", "hen"),
        ("Hilltop", "hen"),
        ("Pond", "duck"),
        ("Barn", "hen,duck"),
    ] {
        first.log(
            Draft::new(Kind::Coop)
                .with("name", coop)
                .with("species", species),
        )?;
    }
    first.log(Draft::new(Kind::Cooler).with("name", "Pantry fridge"))?;
    first.join(&Join {
        url: &server.wire.url,
        invite: &server.invite(None)?,
        device: "Marit's phone",
    })?;
    let farm = first.id();
    let mut phones = vec![first];
    for name in &PEOPLE[1..] {
        phones.push(server.new_phone(farm, &file(name), name)?);
    }
    phones[0].sync()?;
    Ok(phones)
}

/// One gather of a day's rounds.
pub fn gather(round: usize, day: i64) -> Draft {
    let (coop, species, about) = ROUNDS[round % ROUNDS.len()];
    let count = about + (day.unsigned_abs() * 7 + about * 3) % 5;
    Draft::new(Kind::Gather)
        .with("coop", coop)
        .with("species", species)
        .with("count", count)
}

/// What four people log on an ordinary day: about a dozen records.
fn a_day(phones: &[Farm], env: &TestEnv, day: i64) -> Outcome<()> {
    for round in 0..ROUNDS.len() {
        env.pass_ms(11 * 60_000);
        phones[round % phones.len()].log(gather(round, day))?;
    }
    env.pass_ms(9 * 3_600_000);
    let packer = &phones[0];
    for species in [Species::Hen, Species::Duck] {
        let each = if species == Species::Hen { 12 } else { 6 };
        let basket = all_at(packer, Station::Basket, species)?;
        if basket == 0 {
            continue;
        }
        let parts = json!(packer.oldest_first(Station::Basket, species, basket)?);
        env.pass_ms(60_000);
        packer.log(
            Draft::new(Kind::Wash)
                .with("parts", parts.clone())
                .with("means", "cloth")
                .with("egg_c", "66F")
                .with("water_start_c", "104F")
                .with("water_end_c", "98F")
                .with("rinse_c", "106F")
                .with("minutes", 2)
                .with("sink_cleaned", true),
        )?;
        env.pass_ms(60_000);
        packer.log(
            Draft::new(Kind::Candle)
                .with("parts", parts)
                .with("found", json!({ "a": basket })),
        )?;
        let cartons = all_at(packer, Station::Clean, species)? / each;
        if cartons > 0 {
            let parts = packer.oldest_first(Station::Clean, species, cartons * each)?;
            env.pass_ms(60_000);
            let packed = packer.log(
                Draft::new(Kind::Carton)
                    .with("parts", json!(parts))
                    .with("from", "clean")
                    .with("species", species.code())
                    .with("eggs_per_carton", each)
                    .with("cartons", cartons)
                    .with("packed", packer.today()?.to_string())
                    .with(
                        "best_by",
                        (packer.today()? + chrono::Days::new(27)).to_string(),
                    ),
            )?;
            env.pass_ms(60_000);
            packer.log(
                Draft::new(Kind::Out)
                    .with("way", "sold")
                    .with("carton", packed.id.to_string())
                    .with("cartons", cartons)
                    .with("parts", json!(parts))
                    .with("price", format!("{}.50", cartons * 4)),
            )?;
        }
    }
    env.pass_ms(60_000);
    packer.log(
        Draft::new(Kind::Reading)
            .with("cooler", "Pantry fridge")
            .with("air_c", "39F"),
    )?;
    Ok(())
}

fn all_at(farm: &Farm, station: Station, species: Species) -> Outcome<u32> {
    let eggs = farm
        .on_hand()?
        .iter()
        .filter(|h| h.station == station.into() && h.species == species)
        .flat_map(|h| h.lots.values())
        .filter(|n| **n > 0)
        .sum::<i64>();
    Ok(u32::try_from(eggs)?)
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

/// A new phone whose messages are carried by hand, one round at a time.
pub struct ByHand {
    /// Its facade.
    pub farm: Farm,
    server: Arc<dyn Store>,
    device: pointdown_core::record::Id,
    env: Arc<TestEnv>,
}

impl ByHand {
    /// One message and its answer: bytes each way, and whether there is more.
    pub fn round(&mut self) -> Outcome<(u64, u64, bool)> {
        let ask = self.farm.sync_ask()?;
        let farm = self.farm.id();
        let now = self.env.now().ms();
        let done = exchange(&*self.server, farm, self.device, &ask, now)?;
        let heard = self.farm.sync_hear(&done.answer)?;
        Ok((ask.len() as u64, done.answer.len() as u64, heard.again))
    }
}

impl Server {
    /// A new phone of the family, known to the server and without anything yet.
    pub fn by_hand(&self, family: &Family) -> Outcome<ByHand> {
        let farm = family.phone(0)?.id();
        let file = Location::File(family.folder.join("by-hand.db"));
        let phone = Farm::make(&file, self.env.clone(), farm)?;
        let invite = self.invite(Some(farm))?;
        let (status, answer) = join(&self.wire.url, &invite)?;
        if status != 200 {
            return Err(format!("joining answered {status}").into());
        }
        let token = answer["token"].as_str().ok_or("no token")?;
        phone.joined(&self.wire.url, token)?;
        let device = self
            .store
            .devices(farm)?
            .last()
            .map(|device| device.id)
            .ok_or("no device")?;
        Ok(ByHand {
            farm: phone,
            server: self.store.clone(),
            device,
            env: self.env.clone(),
        })
    }
}

fn join(url: &str, invite: &str) -> Outcome<(u16, serde_json::Value)> {
    let ask = json!({ "invite": invite, "name": "By hand", "farm": null, "actors": [] });
    let mut answer = ureq::post(format!("{url}/v1/join")).send_json(&ask)?;
    Ok((answer.status().as_u16(), answer.body_mut().read_json()?))
}
