//! The paths that people wait for, one after the other, for a tool that counts instructions.
//!
//! `instructions prepare FOLDER` makes two families, one with a year of history and one with two. `instructions run FOLDER` does one piece of work after the other with them, each inside
//! [`measured`], and prints their names in that order. `cargo xtask instructions` runs the second
//! under callgrind and holds the counts against those of `tests/data/instructions.txt`.

use std::error::Error;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;

use pointdown_core::farm::{Beginning, Env, Farm, Filter, Location};
use pointdown_core::record::{Id, Instant, Kind};
use pointdown_core::trade::Species;
use pointdown_server::exchange::exchange;
use pointdown_server::store::{
    DeviceKind, Joined, Joining, NewInvite, Role, SecretHash, Sqlite, Store,
};
use pointdown_tests::history::{BEGINS, DAY_MS, a_day, furnish, gather, set_up};
use pointdown_tests::phone::TestEnv;

type Outcome<T> = Result<T, Box<dyn Error>>;

/// Days of history of the two families, and what they are called.
const FAMILIES: [(i64, &str); 2] = [(365, "one"), (730, "two")];

/// The two phones of a family, which write under the numbers 1 and 2 at the server.
const PHONES: [&str; 2] = ["Marit", "Tobin"];

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let done = match words.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["prepare", folder] => prepare(Path::new(folder)),
        ["run", folder] => run(Path::new(folder)),
        _ => Err("allowed are: prepare FOLDER, run FOLDER".into()),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            let _ = writeln!(std::io::stderr(), "instructions: {e}");
            ExitCode::FAILURE
        }
    }
}

/// What is counted is what happens in here.
#[inline(never)]
fn measured(work: &mut dyn FnMut() -> Outcome<()>) -> Outcome<()> {
    work()
}

/// A family's files and clock.
struct Family {
    folder: PathBuf,
    env: Arc<TestEnv>,
    server: Sqlite,
}

impl Family {
    fn at(folder: &Path, days: i64, name: &str) -> Outcome<Family> {
        let folder = folder.join(name);
        std::fs::create_dir_all(&folder)?;
        let begins: Instant = BEGINS.parse()?;
        // The evening of the last day.
        let now = begins.plus_ms(days * DAY_MS - DAY_MS / 2);
        Ok(Family {
            server: Sqlite::open(&folder.join("server"))?,
            env: TestEnv::new(now, 7 + days.unsigned_abs()),
            folder,
        })
    }

    fn place(&self, phone: usize) -> Location {
        Location::File(self.folder.join(format!("{}.db", PHONES[phone])))
    }

    fn phone(&self, phone: usize) -> Outcome<Farm> {
        Ok(Farm::open(&self.place(phone), self.env.clone())?)
    }

    /// Lets a phone in.
    fn admit(&self, farm: Id, phone: usize, begins: bool) -> Outcome<()> {
        let now = self.env.now().ms();
        let secret: SecretHash = [u8::try_from(phone)?; 32];
        self.server.add_invite(&NewInvite {
            code: secret,
            farm: (!begins).then_some(farm),
            made_at: now,
            expires: now + 1000,
            role: Role::Owner,
            by: None,
        })?;
        let joined = self.server.join(&Joining {
            code: secret,
            farm: Some(farm),
            begin: None,
            device: device(phone),
            name: PHONES[phone].into(),
            kind: DeviceKind::Phone,
            token: secret,
            actors: Vec::new(),
            now,
        })?;
        match joined {
            Joined::In(_) => Ok(()),
            other => Err(format!("{} is not let in: {other:?}", PHONES[phone]).into()),
        }
    }

    /// Exchanges until nothing is left.
    fn sync(&self, farm: &Farm, phone: usize) -> Outcome<u32> {
        for round in 1..1000 {
            let ask = farm.sync_ask()?;
            let now = self.env.now().ms();
            let done = exchange(&self.server, farm.id(), device(phone), &ask, now)?;
            if !farm.sync_hear(&done.answer)?.again {
                return Ok(round);
            }
        }
        Err("the exchange goes in circles".into())
    }
}

fn device(phone: usize) -> Id {
    Id::at(1_000_000_000_000, [u8::try_from(phone).unwrap_or(9); 10])
}

fn prepare(folder: &Path) -> Outcome<()> {
    for (days, name) in FAMILIES {
        let family = Family::at(folder, days, name)?;
        let begins: Instant = BEGINS.parse()?;
        family.env.set(begins);
        let beginning = Beginning {
            farm: set_up(),
            person: PHONES[0].into(),
            device: "a phone".into(),
        };
        let first = Farm::begin(&family.place(0), family.env.clone(), beginning)?;
        furnish(&first)?;
        let farm = first.id();
        family.admit(farm, 0, true)?;
        first.joined("http://127.0.0.1:9", "token")?;
        let phones = [first];
        for day in 0..days {
            a_day(&phones, &family.env, day)?;
            family.env.set(begins.plus_ms((day + 1) * DAY_MS));
            if day % 14 == 13 || day + 1 == days {
                family.sync(&phones[0], 0)?;
                phones[0].tidy()?;
            }
        }
        family.admit(farm, 1, false)?;
        let second = Farm::make(&family.place(1), family.env.clone(), farm)?;
        second.joined("http://127.0.0.1:9", "token")?;
        family.sync(&phones[0], 0)?;
        family.sync(&second, 1)?;
        let people = second.list(&Filter {
            kind: Some(Kind::Person),
            ..Filter::default()
        })?;
        let person = people.first().ok_or("nobody is on the farm")?;
        second.write_as(person.id)?;
    }
    Ok(())
}

fn run(folder: &Path) -> Outcome<()> {
    let mut names = Vec::new();
    for (days, name) in FAMILIES {
        let family = Family::at(folder, days, name)?;
        let mut note = |what: &str, work: &mut dyn FnMut() -> Outcome<()>| -> Outcome<()> {
            names.push(format!("{name}/{what}"));
            measured(work)
        };
        let mut phone = None;
        note("open", &mut || {
            let opened = family.phone(0)?;
            let today = opened.today()?;
            opened.sheet(today, today)?;
            phone = Some(opened);
            Ok(())
        })?;
        let phone = phone.ok_or("no phone was opened")?;
        // The first one loads the month's document.
        phone.log(gather(0, 0))?;
        family.env.pass_ms(60_000);
        note("log", &mut || Ok(phone.log(gather(1, 1)).map(drop)?))?;
        let other = family.phone(1)?;
        for (n, farm) in [&phone, &other, &phone].into_iter().enumerate() {
            other.log(gather(2, 2))?;
            family.sync(farm, n % 2)?;
        }
        for n in 0..30 {
            family.env.pass_ms(60_000);
            phone.log(gather(n, 3))?;
            other.log(gather(n + 1, 3))?;
        }
        family.sync(&other, 1)?;
        let mut rounds = 0;
        note("exchange", &mut || {
            rounds = family.sync(&phone, 0)?;
            Ok(())
        })?;
        if rounds != 1 {
            return Err(
                format!("thirty records each way took {rounds} round trips, not one").into(),
            );
        }
        let today = phone.today()?;
        note("day", &mut || Ok(phone.sheet(today, today).map(drop)?))?;
        note("review", &mut || Ok(phone.review().map(drop)?))?;
        note("due", &mut || Ok(phone.now().map(drop)?))?;
        if days > 0 {
            let from = today - chrono::Days::new(364);
            note("sheet", &mut || Ok(phone.sheet(from, today).map(drop)?))?;
            let cartons = phone.list(&Filter {
                kind: Some(Kind::Carton),
                most: Some(1),
                ..Filter::default()
            })?;
            let run = cartons
                .first()
                .and_then(|row| row.fields.get("code")?.as_str())
                .ok_or("no carton was packed")?
                .to_owned();
            note("trace", &mut || Ok(phone.trace(&run).map(drop)?))?;
            let grams: Vec<f64> = (0..3000u32)
                .map(|i| 43.0 + f64::from(i.wrapping_mul(2_654_435_761) % 3201) / 100.0)
                .collect();
            note("plan", &mut || {
                Ok(phone
                    .even_cartons(Species::Hen, &grams, &[12, 18], true)
                    .map(drop)?)
            })?;
        }
    }
    writeln!(std::io::stdout(), "{}", names.join("\n"))?;
    Ok(())
}
