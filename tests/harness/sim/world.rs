use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use pointdown_core::farm::{Beginning, ErrorKind, Farm, FarmError, Location};
use pointdown_core::record::{Draft, Id, Instant, Kind};

use super::faults::Backup;
use super::hall::{Auth, Hall};
use super::link::Call;
use super::model::Fact;
use super::{Act, Dice, Script, Step};
use crate::phone::{TestEnv, set_up};

/// How something went; the text of what does not hold.
pub(super) type Outcome = Result<(), String>;

/// One phone.
pub struct Slot {
    /// Its database file.
    pub path: PathBuf,
    /// Its clock and randomness.
    pub env: Arc<TestEnv>,
    /// The facade; nothing only while it is closed within a step.
    pub open: Option<Farm>,
    /// How far its clock is off, milliseconds.
    pub off_ms: i64,
    /// Its place at the server.
    pub auth: Option<Auth>,
    /// The records that it had when it was last looked at.
    pub has: BTreeSet<Id>,
    /// Copies of its files.
    pub backups: Vec<Backup>,
    /// Records written here while a server was joined.
    pub own: BTreeSet<Id>,
    /// Whether it heard an answer that belonged to another message: what left the outbox then is
    /// sent again only after the next look over both sides.
    pub fooled: bool,
    /// A message underway.
    pub call: Option<Call>,
    /// Whether something befell it since that a look over both sides may have to heal.
    pub hurt: bool,
    /// How much had been written when it was last looked at.
    pub looked: Option<u64>,
    /// Whether it was written to since the last step.
    pub fresh: bool,
    /// What the last answer brought, which must be here once the cursor has moved.
    pub brought: Option<super::link::Brought>,
}

/// A family, its phones and its server.
pub struct World {
    /// The script that is played.
    pub script: Script,
    /// The folder of everything.
    pub folder: PathBuf,
    /// The true time, milliseconds since 1970 UTC.
    pub now: i64,
    /// The phones.
    pub phones: Vec<Slot>,
    /// The server.
    pub hall: Hall,
    /// Every record that was ever acknowledged or seen, with what its writer had seen.
    pub facts: BTreeMap<Id, Fact>,
    /// Records that may be missing: see `World::lost`.
    pub excused: BTreeSet<Id>,
    /// Messages that were sent, for being sent again.
    pub old_asks: Vec<(Auth, Vec<u8>)>,
    /// Answers that came, for coming again.
    pub stale: Vec<Vec<u8>>,
    /// How often what befell the family.
    pub faults: BTreeMap<&'static str, u64>,
    /// Kinds of lines of the review list that were compared.
    pub lines: BTreeMap<String, u64>,
    /// What happened, in words.
    pub said: Vec<String>,
    /// How many foreign programs wrote.
    pub foreign: u8,
    /// Every set of changes that a phone held after a step, with what book and list it made of it.
    pub books: BTreeMap<([u8; 32], u64), u64>,
    /// Records written by hand through a foreign program, with what they hold.
    pub planted: BTreeMap<Id, Fact>,
}

/// Zones whose clocks change, and a moment some days before that they do, in 2026.
const ZONES: [(&str, &str); 5] = [
    ("America/Chicago", "2026-03-06T12:00:00Z"),
    ("America/Chicago", "2026-10-30T20:00:00Z"),
    ("Europe/Berlin", "2026-03-27T05:00:00Z"),
    ("Europe/Berlin", "2026-10-23T21:00:00Z"),
    ("Australia/Lord_Howe", "2026-04-03T11:00:00Z"),
];

const NAMES: [&str; 8] = ["Ada", "Ben", "Cleo", "Dan", "Eve", "Finn", "Gwen", "Hal"];

impl World {
    /// The family before its first step.
    pub fn new(script: &Script, folder: &Path) -> Result<World, String> {
        let mut dice = Dice::new(script.seed ^ 0xfa17);
        let (zone, start) = *dice.pick(&ZONES);
        let start: Instant = start.parse().map_err(|e| format!("{start}: {e}"))?;
        let now = start.ms() + dice.from_to(0, 48 * 60) * 60_000;
        let env = TestEnv::new(Instant::from_ms(now), dice.any());
        let path = folder.join("phone-0.db");
        let mut farm = set_up(zone);
        match dice.below(4) {
            0 => {
                farm.insert("rules".into(), super::people::own_rules());
                farm.insert("rule_pack".into(), "custom".into());
            }
            1 | 2 => drop(farm.insert("rule_pack".into(), "us_federal".into())),
            _ => {}
        }
        if dice.once_in(6) {
            farm.insert("house".into(), serde_json::json!({"keep_bloom": true}));
        }
        farm.insert("coops_apart".into(), dice.once_in(4).into());
        let beginning = Beginning {
            farm,
            person: NAMES[0].into(),
            device: "phone 0".into(),
        };
        let first = Farm::begin(&Location::from(path.as_path()), env.clone(), beginning)
            .map_err(|e| e.message)?;
        let farm = first.id();
        let mut world = World {
            script: script.clone(),
            folder: folder.to_path_buf(),
            now,
            phones: vec![Slot::new(path, env, first)],
            hall: Hall::new(folder, farm, script.servers)?,
            facts: BTreeMap::new(),
            excused: BTreeSet::new(),
            old_asks: Vec::new(),
            stale: Vec::new(),
            faults: BTreeMap::new(),
            lines: BTreeMap::new(),
            said: Vec::new(),
            foreign: 0,
            books: BTreeMap::new(),
            planted: BTreeMap::new(),
        };
        for (name, species) in [("Orchard", "hen"), ("Pond", "duck,hen")] {
            let coop = Draft::new(Kind::Coop)
                .with("name", name)
                .with("species", species);
            world.phones[0].farm().log(coop).map_err(|e| e.message)?;
        }
        let cooler = Draft::new(Kind::Cooler).with("name", "Cellar");
        world.phones[0].farm().log(cooler).map_err(|e| e.message)?;
        world.note(0)?;
        for n in 1..script.phones {
            world.add_phone(n, &mut dice)?;
        }
        for n in 0..script.phones {
            if !dice.once_in(5) {
                world.join(n, &mut dice)?;
            }
        }
        Ok(world)
    }

    fn add_phone(&mut self, n: usize, dice: &mut Dice) -> Outcome {
        let path = self.folder.join(format!("phone-{n}.db"));
        let env = TestEnv::new(Instant::from_ms(self.now), dice.any());
        let file = self.phones[0].farm().export().map_err(|e| e.message)?;
        let farm = Farm::from_export(&Location::from(path.as_path()), env.clone(), &file)
            .map_err(|e| e.message)?;
        self.phones.push(Slot::new(path, env, farm));
        self.note(n)?;
        self.settle_in(n)
    }

    /// Gives a new phone its person and its device record.
    pub fn settle_in(&mut self, n: usize) -> Outcome {
        let farm = self.phones[n].farm();
        let person = match farm.find(Kind::Person, NAMES[n % 8]) {
            Ok(id) => id,
            Err(e) if e.kind == ErrorKind::Network => return Err(e.message),
            Err(_) => {
                let person = Draft::new(Kind::Person).with("name", NAMES[n % 8]);
                farm.log(person).map_err(|e| e.message)?.id
            }
        };
        farm.write_as(person).map_err(|e| e.message)?;
        farm.name_device(&format!("phone {n}"))
            .map_err(|e| e.message)?;
        self.note(n)
    }

    /// Lets a phone join the server; from then on it holds everything against it.
    pub fn join(&mut self, n: usize, dice: &mut Dice) -> Outcome {
        let auth = self.hall.join(&[], self.now, dice)?;
        let slot = &mut self.phones[n];
        slot.farm()
            .joined("http://sim", "token")
            .map_err(|e| e.message)?;
        slot.auth = Some(auth);
        slot.hurt = true;
        slot.call = None;
        slot.brought = None;
        Ok(())
    }

    /// Plays one step.
    pub fn step(&mut self, at: usize, step: Step) -> Outcome {
        let mut dice = Dice::new(step.dice);
        self.pass(dice.from_to(0, 40) * 60_000);
        let n = dice.below(self.phones.len());
        self.said
            .push(format!("{at:2}. {:?} on phone {n}", step.act));
        // Now and then the database fails in the middle of it, which is like being killed.
        let fails = !self.script.calm && step.act.may_fail() && dice.once_in(6);
        let armed = fails.then(|| self.arm(n, &mut dice)).transpose()?;
        let done = self.act(step.act, n, &mut dice, fails);
        if let Some(armed) = armed {
            self.disarm(n, armed, &mut dice)?;
        }
        done?;
        for n in 0..self.phones.len() {
            self.note(n)?;
            if std::mem::take(&mut self.phones[n].fresh) {
                self.check_book(n)?;
                self.alike_everywhere(n)?;
                self.on_its_way(n)?;
            }
        }
        if at % 16 == 15 {
            self.check(n)?;
        }
        Ok(())
    }

    fn act(&mut self, act: Act, n: usize, dice: &mut Dice, may_fail: bool) -> Outcome {
        let done = match act {
            Act::Log
            | Act::Twice
            | Act::Amend
            | Act::Void
            | Act::Decide
            | Act::DecideApart
            | Act::Undo
            | Act::Recount
            | Act::Hold
            | Act::SetUp => self.person(act, n, dice),
            Act::Foreign => return self.foreign(n, dice),
            Act::Ask => self.send(n),
            Act::Hear => self.hear(n, dice),
            Act::Replay => return self.replay(dice),
            Act::Sync => self.sync(n, dice, true),
            Act::Meet => self.meet(n, dice),
            Act::Bundle => self.bundle(n, dice),
            Act::PowerLoss => return self.power_loss(n, dice),
            Act::Wipe => return self.wipe(n, dice),
            Act::BackUp => return self.back_up(n, dice),
            Act::Restore => return self.restore(n, dice),
            Act::Reopen => return self.reopen(n),
            Act::Upgrade => return self.upgrade(n, dice),
            Act::Clock => return self.clock(n, dice),
            Act::Pass => {
                self.pass(dice.from_to(1, 60) * 3_600_000);
                return Ok(());
            }
            Act::Revoke => return self.revoke(n),
            Act::Join => {
                self.phones[n].hurt = true;
                return self.join(n, dice);
            }
            Act::ServerBackUp => return self.hall.back_up(),
            Act::ServerRestore => return self.restore_server(dice),
            Act::ServerRestart => return self.hall.restart(dice.once_in(2)),
            Act::Upkeep => self.upkeep(n, dice),
        };
        match done {
            Ok(()) => Ok(()),
            Err(e) if e.kind == ErrorKind::Storage && may_fail => {
                // The message underway may be known to nobody now.
                self.phones[n].call = None;
                Ok(())
            }
            // A look-up that failed can make a reference seem unknown; nothing was logged.
            Err(e) if e.kind == ErrorKind::Invalid && may_fail => Ok(()),
            Err(e) => Err(format!("{act:?} on phone {n}: {:?}: {e}", e.kind)),
        }
    }

    /// Lets time pass, on every clock.
    pub fn pass(&mut self, ms: i64) {
        self.now += ms + 1;
        for slot in &self.phones {
            slot.env.set(Instant::from_ms(self.now + slot.off_ms));
        }
    }

    /// Adds words about the step.
    pub fn say(&mut self, what: String) {
        if let Some(last) = self.said.last_mut() {
            *last += "; ";
            *last += &what;
        }
    }

    /// Counts something that befell the family.
    pub fn befell(&mut self, what: &'static str) {
        *self.faults.entry(what).or_default() += 1;
    }

    /// Looks which records a phone has. One that nobody knew was written there just now, with
    /// everything in view that the phone had; none that it had may be gone.
    pub fn note(&mut self, n: usize) -> Outcome {
        let slot = &mut self.phones[n];
        let written = slot.farm().rows_written();
        if slot.looked.replace(written) == Some(written) {
            return Ok(());
        }
        slot.fresh = true;
        let mut new = Vec::new();
        let ids = slot.farm().record_ids().map_err(|e| e.message)?;
        if let Some(gone) = slot.has.difference(&ids).next() {
            return Err(format!("record {gone} is gone from phone {n}"));
        }
        for id in ids.iter().filter(|id| !self.facts.contains_key(id)) {
            let row = slot.farm().record(*id).map_err(|e| e.message)?;
            let row = row.ok_or_else(|| format!("record {id} is on phone {n} and is not"))?;
            let fact = match self.planted.remove(id) {
                Some(planted) => planted,
                None => Fact {
                    id: *id,
                    doc: row.doc.to_string(),
                    made_s: (self.now + slot.off_ms).div_euclid(1000),
                    seen: slot.has.clone(),
                    fields: row.fields,
                    foreign: false,
                },
            };
            slot.has.insert(*id);
            if slot.auth.is_some() && !fact.foreign {
                slot.own.insert(*id);
            }
            new.push(fact);
        }
        self.facts
            .extend(new.into_iter().map(|fact| (fact.id, fact)));
        slot.has = ids;
        Ok(())
    }
}

impl Slot {
    /// A phone that is open.
    pub fn new(path: PathBuf, env: Arc<TestEnv>, farm: Farm) -> Slot {
        Slot {
            path,
            env,
            open: Some(farm),
            off_ms: 0,
            auth: None,
            has: BTreeSet::new(),
            backups: Vec::new(),
            own: BTreeSet::new(),
            fooled: false,
            call: None,
            hurt: false,
            looked: None,
            fresh: false,
            brought: None,
        }
    }

    /// The facade.
    pub fn farm(&self) -> &Farm {
        self.open.as_ref().expect("closed only within a step")
    }
}

impl Act {
    fn may_fail(self) -> bool {
        matches!(
            self,
            Act::Log
                | Act::Twice
                | Act::Amend
                | Act::Void
                | Act::Decide
                | Act::DecideApart
                | Act::Undo
                | Act::Recount
                | Act::Hold
                | Act::SetUp
                | Act::Hear
                | Act::Sync
                | Act::Meet
                | Act::Bundle
                | Act::Upkeep
        )
    }
}

/// What a person hears who wrote something that is not allowed: no fault of the program.
pub(super) fn told<T>(done: Result<T, FarmError>) -> Result<Option<T>, FarmError> {
    match done {
        Ok(done) => Ok(Some(done)),
        Err(e) if matches!(e.kind, ErrorKind::Invalid | ErrorKind::Ambiguous) => Ok(None),
        Err(e) => Err(e),
    }
}
