//! Two weeks on an invented farm: four coops, hens and ducks, four people with a phone each, who
//! log without a signal and sync when they are indoors.

mod packing;

use std::error::Error;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use chrono::{Days, NaiveDate, NaiveTime};
use pointdown_core::book::review::Choice;
use pointdown_core::farm::{Beginning, Env, Farm, Join, Location, System};
use pointdown_core::record::{Draft, Fields, Instant, Kind, Station, Zone};
use pointdown_core::trade::Species;
use serde_json::json;

/// The zone of the farm.
pub(crate) const ZONE: &str = "America/Chicago";
/// How many days are told; the last one is today.
pub(crate) const DAYS: u64 = 14;

const PEOPLE: [&str; 4] = ["Marit", "Tobin", "Ines", "Olu"];

type Result<T> = std::result::Result<T, Box<dyn Error>>;

/// The clock of the story, which its phones and the server share: the system's clock, set back by
/// as much as the story needs. Randomness is the system's.
#[derive(Default)]
pub(crate) struct StoryClock(AtomicI64);

impl StoryClock {
    /// Sets the clock.
    fn set(&self, now: Instant) {
        self.0.store(now.ms() - System.now().ms(), Ordering::SeqCst);
    }

    /// Lets the clock show the system's time again.
    pub(crate) fn come_back(&self) {
        self.0.store(0, Ordering::SeqCst);
    }
}

impl Env for StoryClock {
    fn now(&self) -> Instant {
        System.now().plus_ms(self.0.load(Ordering::SeqCst))
    }

    fn fill(&self, buffer: &mut [u8]) {
        System.fill(buffer);
    }
}

/// One of the four phones.
pub(crate) struct Phone {
    /// Whose it is.
    pub(crate) name: &'static str,
    /// Its facade, on a database file of its own.
    pub(crate) farm: Farm,
}

/// The farm while its two weeks are told.
pub(crate) struct Story {
    /// The phones, in the order of the people.
    pub(crate) phones: Vec<Phone>,
    clock: Arc<StoryClock>,
    zone: Zone,
    today: NaiveDate,
}

impl Story {
    /// Sets the clock to the first morning.
    pub(crate) fn first_morning(clock: &StoryClock) -> Result<()> {
        let zone: Zone = ZONE.parse()?;
        clock.set(at(zone, zone.day(System.now()), 0, "06:00")?);
        Ok(())
    }

    /// Begins the farm on the first phone and joins all four to the server.
    pub(crate) fn begin(
        folder: &Path,
        url: &str,
        open_invite: &str,
        clock: Arc<StoryClock>,
    ) -> Result<Story> {
        let zone: Zone = ZONE.parse()?;
        let today = zone.day(System.now());

        let file = |name: &str| Location::File(folder.join(format!("{}.db", name.to_lowercase())));
        let mut farm = Fields::new();
        farm.insert("name".into(), json!("Larkmeadow"));
        farm.insert("zone".into(), json!(ZONE));
        farm.insert("temperature".into(), json!("F"));
        farm.insert("rule_pack".into(), json!("us_federal"));
        let producer = "Larkmeadow, 12 Mill Lane, Anytown";
        farm.insert("producer".into(), json!(producer));
        let beginning = Beginning {
            farm,
            person: PEOPLE[0].into(),
            device: format!("{}'s phone", PEOPLE[0]),
        };
        let first = Farm::begin(&file(PEOPLE[0]), clock.clone(), beginning)?;
        for (name, species) in [
            ("Orchard", "hen"),
            ("Hilltop", "hen"),
            ("Pond", "duck"),
            ("Barn", "hen,duck"),
        ] {
            first.log(
                Draft::new(Kind::Coop)
                    .with("name", name)
                    .with("species", species),
            )?;
        }
        first.log(Draft::new(Kind::Outlet).with("name", "Saturday stall"))?;
        first.log(Draft::new(Kind::Cooler).with("name", "Pantry fridge"))?;
        first.join(&Join {
            url,
            invite: open_invite,
            device: "Marit's phone",
        })?;
        let mut phones = vec![Phone {
            name: PEOPLE[0],
            farm: first,
        }];
        for name in &PEOPLE[1..] {
            let invite = phones[0].farm.invite()?;
            let device = format!("{name}'s phone");
            let join = Join {
                url,
                invite: &invite,
                device: &device,
            };
            let farm = Farm::join_new(&file(name), clock.clone(), &join, name)?;
            phones.push(Phone { name, farm });
        }
        phones[0].farm.sync()?;
        Ok(Story {
            phones,
            clock,
            zone,
            today,
        })
    }

    /// Tells all days. Gives what was done, a line each, for people.
    pub(crate) fn tell(&self) -> Result<Vec<String>> {
        let mut told = Vec::new();
        for day in 0..DAYS {
            let last = day + 1 == DAYS;
            self.morning(day)?;
            if day == DAYS - 3 {
                told.push(self.edit_against_void(day)?);
                told.push(self.decide(day)?);
            }
            if last {
                break;
            }
            self.indoors(day, "17:40")?;
            self.evening(day)?;
            self.indoors(day, "19:30")?;
        }
        self.set(DAYS - 1, "09:30")?;
        let waiting = self.phone("Ines").status()?.waiting;
        told.push(format!(
            "Ines comes back after three days with {waiting} changes to send"
        ));
        for phone in self.phones.iter().chain(&self.phones) {
            phone.farm.sync()?;
        }
        Ok(told)
    }

    /// Everyone gathers at their own coop, without a signal.
    fn morning(&self, day: u64) -> Result<()> {
        // Tobin forgets the Hilltop on one day: nobody knows how many there were.
        let rounds: [(&str, &str, &str, &str, u64, u64); 5] = [
            ("Marit", "07:20", "Orchard", "hen", 17, day % 3),
            (
                "Tobin",
                "07:45",
                "Hilltop",
                "hen",
                11,
                u64::from(day % 4 == 1),
            ),
            ("Ines", "07:50", "Pond", "duck", 8, day % 2),
            ("Olu", "08:10", "Barn", "hen", 9, 0),
            (
                "Olu",
                "08:15",
                "Barn",
                "duck",
                3,
                u64::from(day.is_multiple_of(5)),
            ),
        ];
        for (who, time, coop, species, usual, floor) in rounds {
            if who == "Tobin" && day == 4 {
                continue;
            }
            self.set(day, time)?;
            let count = usual + (day * 7 + usual * 3) % 5;
            let mut draft = gather(coop, species, count);
            if floor > 0 {
                draft = draft.with("floor_laid", floor);
            }
            self.phone(who).log(draft)?;
        }
        self.set(day, "08:30")?;
        for (who, species, reason, used_for, eggs) in [
            (
                "Ines",
                "duck",
                "mud",
                "home",
                u64::from(day.is_multiple_of(3)),
            ),
            (
                "Tobin",
                "hen",
                "impact_crack",
                "compost",
                u64::from(day % 4 == 2),
            ),
            ("Marit", "hen", "pimples", "home", u64::from(day % 5 == 3)),
        ] {
            if eggs == 0 {
                continue;
            }
            let lot = format!("{}/{species}", self.day(day));
            self.phone(who).log(
                Draft::new(Kind::Cull)
                    .with("station", "basket")
                    .with("parts", json!({ lot: eggs }))
                    .with("reason", reason)
                    .with("use", used_for),
            )?;
        }
        Ok(())
    }

    /// Marit cleans, looks through and packs what her phone knows of; on Saturdays the stall sells.
    fn evening(&self, day: u64) -> Result<()> {
        let farm = self.phone("Marit");
        self.set(day, "18:00")?;
        for species in [Species::Hen, Species::Duck] {
            let basket = self.here(farm, Station::Basket, species)?;
            if basket == 0 {
                continue;
            }
            let parts = json!(farm.oldest_first(Station::Basket, species, basket)?);
            farm.log(
                Draft::new(Kind::Wash)
                    .with("parts", parts.clone())
                    .with(
                        "means",
                        if species == Species::Duck {
                            "brush"
                        } else {
                            "cloth"
                        },
                    )
                    .with("egg_c", "66F")
                    .with("water_start_c", "104F")
                    .with("water_end_c", "98F")
                    .with("rinse_c", "106F")
                    .with("sink_cleaned", true),
            )?;
            let good = if species == Species::Hen && day % 4 == 1 {
                basket - 1
            } else {
                basket
            };
            let mut found = json!({ "a": good });
            if good < basket {
                found["check"] = json!(basket - good);
            }
            farm.log(
                Draft::new(Kind::Candle)
                    .with("parts", parts)
                    .with("found", found),
            )?;
            if good < basket {
                let parts = json!(farm.oldest_first(Station::Clean, species, basket - good)?);
                farm.log(
                    Draft::new(Kind::Cull)
                        .with("station", "clean")
                        .with("parts", parts)
                        .with("reason", "hairline_crack")
                        .with("use", "home"),
                )?;
            }
            self.pack(day, species)?;
            self.eat(species)?;
        }
        self.set(day, "18:50")?;
        farm.log(
            Draft::new(Kind::Reading)
                .with("cooler", "Pantry fridge")
                .with("air_c", "39F"),
        )?;
        if day % 7 == 5 {
            self.sell(day)?;
        }
        Ok(())
    }

    /// Who has a network at this hour: Tobin not on every fourth day, Ines not for the last three.
    fn indoors(&self, day: u64, hour: &str) -> Result<()> {
        self.set(day, hour)?;
        for phone in &self.phones {
            let away = match phone.name {
                "Tobin" => day % 4 == 2,
                "Ines" => day + 4 >= DAYS,
                _ => false,
            };
            if !away {
                phone.farm.sync()?;
            }
        }
        Ok(())
    }

    /// Olu mends a count while Tobin, who knows nothing of it, voids the same record.
    fn edit_against_void(&self, day: u64) -> Result<String> {
        self.set(day, "09:00")?;
        let twice = self
            .phone("Marit")
            .log(gather("Orchard", "hen", 19).with("note", "second round, counted in a hurry"))?;
        for who in ["Marit", "Tobin", "Olu"] {
            self.phone(who).sync()?;
        }
        self.set(day, "12:10")?;
        let mut set = Fields::new();
        set.insert("count".into(), json!(2));
        self.phone("Olu")
            .amend(twice.id, set, Some("there were only two in the nests"))?;
        self.set(day, "12:25")?;
        self.phone("Tobin")
            .void(twice.id, "that round was logged already in the morning")?;
        Ok("Olu amends a gather to 2 eggs while Tobin, out of reach, voids it".into())
    }

    /// Indoors in the afternoon the two words meet. Marit looks into the nests, and decides.
    fn decide(&self, day: u64) -> Result<String> {
        self.set(day, "17:30")?;
        for who in ["Olu", "Tobin", "Marit"] {
            self.phone(who).sync()?;
        }
        let farm = self.phone("Marit");
        let restores = |choice: &Choice| matches!(choice, Choice::Restore { .. });
        let review = farm.review()?;
        let (line, choice) = review
            .iter()
            .find_map(|finding| {
                let choice = finding.choices.iter().find(|c| restores(c))?;
                Some((&finding.line, choice))
            })
            .ok_or("the review list does not name the amended and voided gather")?;
        farm.decide(line, choice)?;
        if farm.review()?.iter().any(|finding| &finding.line == line) {
            return Err("a decided line still stands in the review list".into());
        }
        Ok("The review list shows both; Marit counts the two eggs and takes the void back".into())
    }

    fn here(&self, farm: &Farm, station: Station, species: Species) -> Result<u32> {
        let place = station.into();
        let all = farm.on_hand()?;
        let eggs = all
            .iter()
            .filter(|h| h.station == place && h.species == species)
            .flat_map(|h| h.lots.values())
            .filter(|n| **n > 0)
            .sum::<i64>();
        Ok(u32::try_from(eggs)?)
    }

    /// The phone of a person.
    pub(crate) fn phone(&self, name: &str) -> &Farm {
        match self.phones.iter().find(|p| p.name == name) {
            Some(phone) => &phone.farm,
            None => unreachable!("{name} has a phone"),
        }
    }

    /// The farm day of a day of the story; the last one is today.
    pub(crate) fn day(&self, day: u64) -> NaiveDate {
        self.today - Days::new(DAYS - 1 - day)
    }

    fn set(&self, day: u64, time: &str) -> Result<()> {
        let moment = at(self.zone, self.today, day, time)?;
        self.clock.set(moment);
        Ok(())
    }
}

fn at(zone: Zone, today: NaiveDate, day: u64, time: &str) -> Result<Instant> {
    let time = NaiveTime::parse_from_str(time, "%H:%M")?;
    let day = today - Days::new(DAYS - 1 - day);
    zone.moment(day, time)
        .ok_or_else(|| format!("{day} has no {time}").into())
}

fn gather(coop: &str, species: &str, count: u64) -> Draft {
    Draft::new(Kind::Gather)
        .with("coop", coop)
        .with("species", species)
        .with("count", count)
}
