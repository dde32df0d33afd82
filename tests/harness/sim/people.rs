use pointdown_core::farm::{Env, FarmError, Filter, Row};
use pointdown_core::record::{Draft, Fields, Instant, Kind};
use pointdown_core::trade::dates::{Counting, DayLimit, FromDay};
use pointdown_core::trade::rules::{Rule, RulePack};
use pointdown_core::trade::units::Celsius;
use serde_json::{Value, json};

use super::world::told;
use super::{Act, Dice, World};
use crate::phone::gather;

const HOUR: i64 = 3_600_000;

impl World {
    /// What a person does at a phone. A draft that is not allowed is told so and changes nothing.
    pub(super) fn person(&mut self, act: Act, n: usize, dice: &mut Dice) -> Result<(), FarmError> {
        let draft = match act {
            Act::Log => self.something(n, dice)?,
            Act::Twice => return self.twice(n, dice),
            Act::Amend => return self.amend(n, dice),
            Act::Void => return self.void(n, dice),
            Act::Decide => return self.decide(n, dice),
            Act::DecideApart => return self.decide_apart(n, dice),
            Act::Undo => return self.undo(n, dice),
            Act::Recount => self.recount(n, dice)?,
            Act::Hold => self.hold(n, dice)?,
            _ => return self.set_up(n, dice),
        };
        self.say(format!(
            "{} {}",
            draft.kind,
            Value::Object(draft.fields.clone())
        ));
        told(self.phones[n].farm().log(draft))?;
        Ok(())
    }

    fn when(&self, n: usize, dice: &mut Dice) -> Instant {
        let now = self.phones[n].env.now();
        match dice.below(6) {
            0 => now.plus_ms(-HOUR * dice.from_to(1, 40)),
            1 => now.plus_ms(HOUR * dice.from_to(1, 20)),
            _ => now,
        }
    }

    fn lot(&self, n: usize, dice: &mut Dice) -> Result<String, FarmError> {
        let day = self.phones[n].farm().today()? - chrono::Days::new(dice.below(3) as u64);
        // Now and then eggs that lay about for weeks.
        let day = day - chrono::Days::new(if dice.once_in(20) { 25 } else { 0 });
        let species = if dice.once_in(4) { "duck" } else { "hen" };
        let farm = self.phones[n].farm();
        let own = farm.record(farm.id())?;
        let apart = own.is_some_and(|row| row.fields.get("coops_apart") == Some(&true.into()));
        if apart && !dice.once_in(4) {
            let coop = farm.find(Kind::Coop, dice.pick::<&str>(&["Orchard", "Pond"]));
            if let Ok(coop) = coop {
                return Ok(format!("{day}/{species}/{coop}"));
            }
        }
        Ok(format!("{day}/{species}"))
    }

    fn something(&mut self, n: usize, dice: &mut Dice) -> Result<Draft, FarmError> {
        let at = self.when(n, dice);
        let eggs = dice.from_to(1, 12);
        let lot = self.lot(n, dice)?;
        let station = *dice.pick(&["basket", "clean", "cartoned"]);
        let draft = match dice.below(13) {
            12 => {
                // Frost, right, just too warm, far too warm.
                let air = *dice.pick(&[-1.5, 0.5, 4.0, 7.2, 7.3, 10.0]);
                Draft::new(Kind::Reading)
                    .with("cooler", "Cellar")
                    .with("air_c", air)
            }
            0..=4 => {
                let (coop, species) =
                    *dice.pick(&[("Orchard", "hen"), ("Pond", "duck"), ("Pond", "hen")]);
                gather(coop, species, dice.below(20) as u32).with("floor_laid", dice.below(4))
            }
            5 => self.wash(&lot, eggs, dice),
            6 => Draft::new(Kind::Cull)
                .with("station", station)
                .with("parts", format!("{lot}={eggs}"))
                .with("reason", *dice.pick(&["dung", "leaker", "other"]))
                .with("use", *dice.pick(&["home", "compost"])),
            7 | 8 => {
                let cartons = dice.from_to(1, 3);
                let mut day = self.phones[n].farm().today()?;
                let mut lot = lot;
                if dice.once_in(5) {
                    // A run of about a month ago that nobody logged when it was packed.
                    day = day - chrono::Days::new(*dice.pick(&[27, 28, 29, 30]));
                    lot = format!("{day}/hen");
                }
                let old = lot.starts_with(&day.to_string()) && dice.once_in(2);
                let other = self.lot(n, dice)?;
                let species = |lot: &str| lot.split('/').nth(1).unwrap_or("").to_string();
                let mut parts = Fields::new();
                if other != lot && species(&other) == species(&lot) && dice.once_in(2) {
                    parts.insert(other, (3 * cartons).into());
                    parts.insert(lot.clone(), (3 * cartons).into());
                } else {
                    parts.insert(lot.clone(), (6 * cartons).into());
                }
                let draft = Draft::new(Kind::Carton)
                    .with("parts", Value::Object(parts))
                    .with("from", *dice.pick(&["basket", "clean"]))
                    .with("species", species(&lot))
                    .with("eggs_per_carton", 6)
                    .with("cartons", cartons)
                    .with("packed", day.to_string());
                let draft = if dice.once_in(2) {
                    draft.with("best_by", self.best_by(n, dice)?)
                } else {
                    draft
                };
                match old {
                    true => return self.sold_at_once(n, draft.at(at), &lot, at),
                    false => draft,
                }
            }
            9 => match self.of_kind(n, "carton", dice)? {
                Some(run) => {
                    let lots = run.fields["parts"].as_object().cloned().unwrap_or_default();
                    let lot = lots.keys().next().cloned().unwrap_or(lot);
                    let way = *dice.pick(&["sold", "given", "sold", "returned"]);
                    let draft = Draft::new(Kind::Out)
                        .with("way", way)
                        .with("parts", format!("{lot}=6"))
                        .with("carton", run.id.to_string())
                        .with("cartons", 1);
                    match self.phones[n].farm().find(Kind::Outlet, "Stall") {
                        Ok(outlet) => draft.with("outlet", outlet.to_string()),
                        Err(_) => draft.with("to", "the stall"),
                    }
                }
                None => return self.something(n, dice),
            },
            _ => Draft::new(Kind::Out)
                .with("way", *dice.pick(&["sold", "eaten", "returned", "given"]))
                .with("station", station)
                .with("parts", format!("{lot}={eggs}")),
        };
        Ok(draft.at(at))
    }

    /// Logs a run of cartons, and gives what sells one of them at the same moment.
    fn sold_at_once(
        &self,
        n: usize,
        run: Draft,
        lot: &str,
        at: Instant,
    ) -> Result<Draft, FarmError> {
        let sold = Draft::new(Kind::Out)
            .with("way", "sold")
            .with("parts", format!("{lot}=6"))
            .with("cartons", 1)
            .with("to", "the stall");
        Ok(match told(self.phones[n].farm().log(run))? {
            Some(run) => sold.with("carton", run.id.to_string()).at(at),
            None => sold.at(at),
        })
    }

    fn wash(&self, lot: &str, eggs: i64, dice: &mut Dice) -> Draft {
        let means = *dice.pick(&["spray", "dry", "brush"]);
        let mut draft = Draft::new(Kind::Wash)
            .with("parts", format!("{lot}={eggs}"))
            .with("means", means);
        if means == "dry" {
            return draft;
        }
        if means == "brush" && dice.once_in(2) {
            draft = draft.with("minutes", *dice.pick(&[0, 3]));
        }
        let draft = draft.with("sink_cleaned", !dice.once_in(3));
        if dice.once_in(2) {
            return draft;
        }
        // Too cold, right, too hot.
        let draft = draft
            .with("egg_c", *dice.pick(&[20, 20, 20, 5]))
            .with("water_start_c", *dice.pick(&[30, 36, 45]));
        match dice.below(4) {
            0 => draft.with("rinse_c", *dice.pick(&[25, 50])),
            1 => draft.with("sanitiser_ppm", *dice.pick(&[50, 100, 200, 300])),
            _ => draft,
        }
    }

    /// The day of packing itself, or about as long as some rule allows.
    fn best_by(&self, n: usize, dice: &mut Dice) -> Result<String, FarmError> {
        let days = *dice.pick(&[0, 1, 9, 10, 44, 45]);
        let day = self.phones[n].farm().today()? + chrono::Days::new(days);
        Ok(day.to_string())
    }

    fn recount(&mut self, n: usize, dice: &mut Dice) -> Result<Draft, FarmError> {
        let at = self.when(n, dice);
        let draft = Draft::new(Kind::Recount)
            .with("station", *dice.pick(&["basket", "clean", "cartoned"]))
            .with("counted", dice.below(25));
        Ok(if dice.once_in(2) {
            draft.with("lot", self.lot(n, dice)?)
        } else {
            draft.with("species", *dice.pick(&["hen", "duck"]))
        }
        .at(at))
    }

    fn hold(&mut self, n: usize, dice: &mut Dice) -> Result<Draft, FarmError> {
        let today = self.phones[n].farm().today()?;
        let from = today - chrono::Days::new(dice.below(3) as u64);
        let mut draft = Draft::new(Kind::Hold)
            .with("from", from.to_string())
            .with("cause", "medicine");
        if dice.once_in(2) {
            let until = from + chrono::Days::new(dice.below(3) as u64);
            draft = draft.with("until", until.to_string());
        }
        match dice.below(3) {
            0 => draft = draft.with("coop", *dice.pick(&["Orchard", "Pond"])),
            1 => draft = draft.with("species", *dice.pick(&["hen", "duck"])),
            _ => {}
        }
        Ok(draft)
    }

    fn set_up(&mut self, n: usize, dice: &mut Dice) -> Result<(), FarmError> {
        let farm = self.phones[n].farm();
        let mut set = Fields::new();
        let target = match dice.below(9) {
            5 => {
                let outlet = Draft::new(Kind::Outlet)
                    .with("name", *dice.pick(&["Stall", "Stall", "Market"]));
                self.say("another outlet".into());
                told(self.phones[n].farm().log(outlet))?;
                return Ok(());
            }
            6 => {
                set.insert("name".into(), (*dice.pick(&["Stall", "Gate"])).into());
                farm.find(Kind::Outlet, dice.pick::<&str>(&["Stall", "Market"]))
            }
            7 => {
                let pack = match dice.below(4) {
                    0 => Value::Null,
                    1 => {
                        set.insert("rules".into(), own_rules());
                        "custom".into()
                    }
                    _ => "us_federal".into(),
                };
                set.insert("rule_pack".into(), pack);
                let house = [
                    json!({"ages_apart_max_days": 1}),
                    json!({"ages_apart_max_days": 0, "best_by_days": 10}),
                    json!({"keep_bloom": true}),
                    Value::Null,
                ];
                set.insert("house".into(), dice.pick(&house).clone());
                Ok(farm.id())
            }
            8 => {
                set.insert("coops_apart".into(), dice.once_in(2).into());
                Ok(farm.id())
            }
            0 => {
                let name = *dice.pick(&["Ida", "Ben", "Ada"]);
                self.say(format!("another person {name}"));
                told(
                    self.phones[n]
                        .farm()
                        .log(Draft::new(Kind::Person).with("name", name)),
                )?;
                return Ok(());
            }
            1 => {
                set.insert(
                    "name".into(),
                    (*dice.pick(&["Pond", "Shed", "Orchard"])).into(),
                );
                farm.find(Kind::Coop, dice.pick::<&str>(&["Pond", "Orchard"]))
            }
            2 | 3 => {
                let last = farm.today()? - chrono::Days::new(dice.below(2) as u64);
                set.insert("retired".into(), last.to_string().into());
                farm.find(Kind::Coop, dice.pick::<&str>(&["Pond", "Orchard", "Shed"]))
            }
            _ => {
                let zone = *dice.pick(&["America/Chicago", "Europe/Berlin", "Pacific/Auckland"]);
                set.insert("zone".into(), zone.into());
                Ok(farm.id())
            }
        };
        let Ok(target) = target else { return Ok(()) };
        // A wiped phone that has heard nothing yet has no farm record to amend.
        if self.phones[n].farm().record(target)?.is_none() {
            return Ok(());
        }
        self.say(format!("amends {} {set:?}", target.short()));
        told(self.phones[n].farm().amend(target, set, None))?;
        Ok(())
    }

    /// The same round on two phones that have not heard of one another's.
    fn twice(&mut self, n: usize, dice: &mut Dice) -> Result<(), FarmError> {
        let (coop, species) = *dice.pick(&[("Orchard", "hen"), ("Pond", "duck")]);
        let other = (n + 1) % self.phones.len();
        let count = dice.below(20) as u32;
        self.say(format!("{coop} {species} {count}, on phone {other} too"));
        told(self.phones[n].farm().log(gather(coop, species, count)))?;
        // A look that fails with the database is made up for at the end of the step.
        let _ = self.note(n);
        self.pass(dice.from_to(0, 80) * 60_000);
        let theirs = gather(coop, species, count + dice.below(2) as u32);
        told(self.phones[other].farm().log(theirs))?;
        Ok(())
    }

    pub(super) fn rows(&self, n: usize) -> Result<Vec<Row>, FarmError> {
        let filter = Filter {
            all: true,
            ..Filter::default()
        };
        let mut rows = self.phones[n].farm().list(&filter)?;
        rows.retain(|row| !row.doc.is_farm());
        Ok(rows)
    }

    fn of_kind(&self, n: usize, kind: &str, dice: &mut Dice) -> Result<Option<Row>, FarmError> {
        let mut rows = self.rows(n)?;
        rows.retain(|row| row.kind == kind && row.standing == "live");
        Ok((!rows.is_empty()).then(|| rows.swap_remove(dice.below(rows.len().min(4)))))
    }

    fn amend(&mut self, n: usize, dice: &mut Dice) -> Result<(), FarmError> {
        let mut rows = self.rows(n)?;
        rows.retain(|row| {
            !matches!(row.kind.as_str(), "amend" | "void" | "decision" | "clock")
                && row.standing != "refused"
        });
        // Mostly the newest few, so that several people amend the same ones.
        let near = rows.len().min(4);
        let Some(row) = rows.get(dice.below(near)) else {
            return Ok(());
        };
        let mut set = Fields::new();
        let eggs = Value::from(dice.from_to(1, 20));
        match (row.kind.as_str(), dice.below(5)) {
            (_, 0) => {
                let at = row.at.plus_ms(HOUR * dice.from_to(-30, 20));
                set.insert("at".into(), at.to_string().into());
            }
            ("reading", _) => drop(set.insert("air_c".into(), (*dice.pick(&[0, 5, 9])).into())),
            ("gather", 1) => drop(set.insert("coop".into(), "Pond".into())),
            ("gather", 2) => drop(set.insert("floor_laid".into(), dice.below(6).into())),
            ("gather", _) => drop(set.insert("count".into(), eggs)),
            ("recount", _) => drop(set.insert("counted".into(), eggs)),
            ("hold", 1) => drop(set.insert("until".into(), Value::Null)),
            ("hold", _) => {
                let until = self.phones[n].farm().today()? + chrono::Days::new(1);
                set.insert("until".into(), until.to_string().into());
            }
            ("carton", 2) => drop(set.insert("best_by".into(), self.best_by(n, dice)?.into())),
            ("carton", 1) => {
                set.insert("eggs_per_carton".into(), 12.into());
                set.insert("parts".into(), parts(row, 12 * whole(row, "cartons")));
            }
            ("carton", _) => {
                let cartons = dice.from_to(1, 3);
                set.insert("cartons".into(), cartons.into());
                set.insert(
                    "parts".into(),
                    parts(row, cartons * whole(row, "eggs_per_carton")),
                );
            }
            ("wash" | "cull" | "out", _) => {
                set.insert("parts".into(), parts(row, dice.from_to(1, 20)));
            }
            _ => drop(set.insert("note".into(), format!("note {}", dice.below(9)).into())),
        }
        let id = row.id;
        self.say(format!("{} {} {set:?}", row.kind, id.short()));
        told(self.phones[n].farm().amend(id, set, None))?;
        Ok(())
    }

    fn void(&mut self, n: usize, dice: &mut Dice) -> Result<(), FarmError> {
        let mut rows = self.rows(n)?;
        if dice.once_in(2) {
            // A void of a void, or of an amendment.
            rows.retain(|row| matches!(row.kind.as_str(), "amend" | "void"));
        }
        let near = rows.len().min(6);
        let Some(row) = rows.get(dice.below(near)) else {
            return Ok(());
        };
        let id = row.id;
        self.say(format!("{} {}", row.kind, id.short()));
        told(self.phones[n].farm().void(id, "by mistake"))?;
        Ok(())
    }
}

/// All eggs of a record in its first lot.
fn parts(row: &Row, eggs: i64) -> Value {
    let lots = row.fields["parts"].as_object();
    let lot = lots
        .and_then(|lots| lots.keys().next())
        .cloned()
        .unwrap_or_default();
    format!("{lot}={}", eggs.max(1)).into()
}

fn whole(row: &Row, field: &str) -> i64 {
    row.fields.get(field).and_then(Value::as_i64).unwrap_or(1)
}

/// The baseline of the United States with a coldest cooler and a last day of delivery of the farm's
/// own.
pub(super) fn own_rules() -> Value {
    let mut pack = RulePack::us_federal();
    pack.code = "custom".into();
    pack.chill.cooler_min = Some(Rule::memory(Celsius(1.0), "our own"));
    let within = DayLimit {
        days: 28,
        counting: Counting::Exclusive,
        from: FromDay::Lay,
    };
    pack.dates.deliver_within = Some(Rule::memory(within, "our own"));
    serde_json::to_value(pack).unwrap_or_default()
}
