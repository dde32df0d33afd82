//! Programs of others, and of later versions, that write into the same documents.

use pointdown_core::farm::{Farm, Location};
use pointdown_core::ledger::read_change;
use pointdown_core::record::{Actor, DocName, Id, Instant, Kind};
use pointdown_core::sync::phone::{State, Unsent};
use serde_json::{Value, json};

use super::hall::Killed;
use super::model::Fact;
use super::world::Outcome;
use super::{Dice, World};
use crate::phone::TestEnv;
use crate::raw::Foreign;

impl World {
    /// A foreign program writes beside what a phone has, or apart from everything, and its change
    /// comes by hand or by the server.
    pub(super) fn foreign(&mut self, n: usize, dice: &mut Dice) -> Outcome {
        self.foreign += 1;
        if dice.once_in(8) {
            return self.foreign_farm_void(n, dice);
        }
        let at = Instant::from_ms(self.now);
        let doc = DocName::month_of(at);
        let id = Id::at(self.now, dice.bytes());
        let coop = self.phones[n].farm().find(Kind::Coop, "Orchard");
        let coop = coop
            .map(|id| id.to_string())
            .unwrap_or_else(|_| id.to_string());
        let count = dice.below(20);
        let gathers: Vec<Id> = self
            .facts
            .values()
            .filter(|f| f.fields["kind"] == "gather" && f.doc == doc.as_str())
            .filter(|f| self.phones[n].has.contains(&f.id))
            .map(|f| f.id)
            .collect();
        let some = (!gathers.is_empty()).then(|| *dice.pick(&gathers));
        let gather = json!({"kind": "gather", "coop": coop, "species": "hen", "count": count});
        let mut other = gather.clone();
        other["note"] = format!("program {}", self.foreign).into();
        let (key, fields, beside, what) = match (dice.below(6), some) {
            (0, _) => (
                id,
                json!({"kind": "moult", "coop": coop}),
                true,
                "an unknown kind",
            ),
            (1, _) => {
                let mut newer = gather.clone();
                newer["colour"] = "brown".into();
                (id, newer, dice.once_in(2), "an unknown field")
            }
            (2, _) => {
                let mut broken = gather.clone();
                broken["count"] = "many".into();
                (id, broken, true, "a bad value")
            }
            (3, Some(there)) => (there, other, true, "over another's record"),
            (4, Some(there)) => {
                let amend = json!({"kind": "amend", "target": there.to_string(),
                    "set": {"count": count}});
                (id, amend, dice.once_in(2), "an amendment that saw nothing")
            }
            _ => (id, gather, false, "a record apart"),
        };
        self.say(format!("{what}: {key} {fields}"));
        self.befell("foreign write");
        self.plant(n, doc, (key, id), fields, beside, dice)
    }

    /// What no program of ours does: the farm's own record is voided.
    fn foreign_farm_void(&mut self, n: usize, dice: &mut Dice) -> Outcome {
        let id = Id::at(self.now, dice.bytes());
        let farm = self.hall.farm;
        let void = json!({"kind": "void", "target": farm.to_string(), "why": "not ours any more"});
        self.say(format!("a void of the farm: {id}"));
        self.befell("foreign write");
        let beside = dice.once_in(2);
        self.plant(n, DocName::farm(), (id, id), void, beside, dice)
    }

    /// The program writes `fields` under a key; under a fresh id they are a fact.
    fn plant(
        &mut self,
        n: usize,
        doc: DocName,
        (key, id): (Id, Id),
        fields: Value,
        beside: bool,
        dice: &mut Dice,
    ) -> Outcome {
        let farm = self.phones[n].farm();
        let mut program = if beside {
            Foreign::beside(farm, doc.as_str(), self.foreign)
        } else {
            Foreign::apart(farm.id(), doc.as_str(), self.foreign)
        };
        let (_, bytes) = program.put(&[(key.to_string(), fields.clone())]);
        if key == id {
            let seen = if beside {
                self.phones[n].has.clone()
            } else {
                Default::default()
            };
            let fact = Fact {
                id,
                doc: doc.to_string(),
                fields: fields.as_object().cloned().unwrap_or_default(),
                seen,
                made_s: 0,
                foreign: true,
            };
            self.planted.insert(id, fact);
        }
        if dice.once_in(2) && self.hall.head()? > 0 {
            return self.push(doc, bytes, dice);
        }
        // By hand: through a phone of the program's own.
        let env = TestEnv::new(Instant::from_ms(self.now), dice.any());
        let file = farm.export().map_err(|e| e.message)?;
        let mule = Farm::from_export(&Location::Memory, env, &file).map_err(|e| e.message)?;
        mule.take(&[(doc, bytes)]).map_err(|e| e.message)?;
        let file = mule.export().map_err(|e| e.message)?;
        farm.import(&file).map_err(|e| e.message)?;
        Ok(())
    }

    fn push(&mut self, doc: DocName, bytes: Vec<u8>, dice: &mut Dice) -> Outcome {
        let auth = self.hall.join(&[], self.now, dice)?;
        let (change, _) = read_change(&doc, &bytes).map_err(|e| e.to_string())?;
        let unsent = Unsent {
            changes: vec![change],
            actors: vec![Actor([self.foreign; 16])],
            ..Unsent::default()
        };
        let ask = State::default().ask(&unsent, self.now);
        let now = self.now;
        self.hall.ask(&auth, &ask, now, Killed::No, dice).map(drop)
    }
}

/// Whether fields are what a foreign program wrote wrong, and nobody mended.
pub(super) fn is_bad(fields: &serde_json::Map<String, Value>) -> bool {
    fields.get("kind").and_then(Value::as_str) == Some("moult")
        || fields.get("count").and_then(Value::as_str) == Some("many")
}
