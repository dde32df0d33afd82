use super::words::{counted, plain};
use super::{CallBack, Got, StillHere, ToCall};
use crate::book::trace::{self, OutReached, Share};
use crate::record::Zone;

impl CallBack {
    /// A call-back list as it stands on paper. `asked` says in words what it goes out from, and
    /// `printed` when that was.
    pub fn of(
        list: &trace::CallBack,
        zone: Zone,
        farm: String,
        asked: String,
        printed: String,
    ) -> CallBack {
        let pulled = list.pulled.iter().map(|pulled| {
            let became = match &pulled.used_for {
                Some(used_for) => format!("pulled, use: {}", plain(used_for)),
                None => "missed by a count".into(),
            };
            format!(
                "{} on {}, {became}: {}",
                counted(i64::from(pulled.eggs), "egg"),
                zone.day(pulled.at),
                if pulled.share == Share::All {
                    "all of them"
                } else {
                    "may be among them"
                }
            )
        });
        CallBack {
            farm,
            asked,
            printed,
            said: list.said.clone(),
            here: here(list),
            people: list
                .people
                .iter()
                .map(|person| ToCall {
                    who: person.who.clone(),
                    contact: person.contact.clone(),
                    got: person.outs.iter().map(|out| got(out, zone)).collect(),
                    came_back: came_back(person),
                })
                .collect(),
            pulled: pulled.collect(),
            cautions: list.cautions.clone(),
        }
    }
}

/// Cartons first, then what is not packed.
fn here(list: &trace::CallBack) -> Vec<StillHere> {
    let runs = list.runs.iter().filter(|reached| reached.cartons_left > 0);
    let cartons = runs.map(|reached| StillHere {
        code: reached.run.printed.clone(),
        place: format!("in cartons, packed {}", reached.run.packed),
        left: match reached.left {
            (least, most) if least < most => format!(
                "at most {}, an open one counted",
                counted(i64::from(reached.cartons_left), "carton")
            ),
            _ => counted(i64::from(reached.cartons_left), "carton"),
        },
        all: reached.share == Share::All,
    });
    let loose = list.standing.iter().map(|standing| StillHere {
        code: standing.lot.code(),
        place: match standing.place.code() {
            "basket" => "in the basket, not cleaned".into(),
            place => plain(place),
        },
        left: counted(standing.eggs, "egg"),
        all: standing.share == Share::All,
    });
    cartons.chain(loose).collect()
}

fn came_back(person: &trace::Person) -> Option<String> {
    let out = counted(i64::from(person.still_out), "egg");
    match (person.returned, person.still_out) {
        (0, _) => None,
        (_, 0) => Some("All of it came back by the records; ask all the same.".into()),
        (back, _) => Some(format!(
            "{} came back; up to {out} still out.",
            counted(i64::from(back), "egg")
        )),
    }
}

fn got(out: &OutReached, zone: Zone) -> Got {
    let eggs = counted(i64::from(out.eggs), "egg");
    Got {
        day: zone.day(out.at),
        way: match out.way.as_str() {
            "returned" => "came back".into(),
            way => way.into(),
        },
        what: match out.cartons {
            Some(n) => format!("{} ({eggs})", counted(i64::from(n), "carton")),
            None => eggs,
        },
        code: out.code.clone(),
        all: out.share == Share::All,
    }
}
