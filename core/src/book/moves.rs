use serde::{Deserialize, Serialize};

use crate::record::{Body, Lot, Parts, Record, Station, Zone};

/// Where eggs can be, on the farm and beyond.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// Where they are laid; never counted empty.
    Nest,
    /// Gathered, not cleaned yet.
    Basket,
    /// Cleaned, or found clean.
    Clean,
    /// Packed in cartons.
    Cartoned,
    /// Sold, given or eaten.
    Out,
    /// Pulled out of the flow.
    Pulled,
    /// What a recount did not find, or found too much of.
    Unaccounted,
}

impl Place {
    /// Every place, in the order of the flow.
    pub const ALL: [Place; 7] = [
        Place::Nest,
        Place::Basket,
        Place::Clean,
        Place::Cartoned,
        Place::Out,
        Place::Pulled,
        Place::Unaccounted,
    ];

    /// The word in tables and files.
    pub const fn code(self) -> &'static str {
        match self {
            Place::Nest => "nest",
            Place::Basket => "basket",
            Place::Clean => "clean",
            Place::Cartoned => "cartoned",
            Place::Out => "out",
            Place::Pulled => "pulled",
            Place::Unaccounted => "unaccounted",
        }
    }

    /// The place with this word, if there is one.
    pub fn from_code(code: &str) -> Option<Place> {
        Place::ALL.into_iter().find(|p| p.code() == code)
    }

    /// The station that this place is, where eggs can be counted.
    pub const fn station(self) -> Option<Station> {
        match self {
            Place::Basket => Some(Station::Basket),
            Place::Clean => Some(Station::Clean),
            Place::Cartoned => Some(Station::Cartoned),
            _ => None,
        }
    }
}

impl From<Station> for Place {
    fn from(station: Station) -> Place {
        match station {
            Station::Basket => Place::Basket,
            Station::Clean => Place::Clean,
            Station::Cartoned => Place::Cartoned,
        }
    }
}

/// So many eggs of a lot going from one place to another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Move {
    /// Which lot.
    pub lot: Lot,
    /// Where they were.
    pub from: Place,
    /// Where they are then.
    pub to: Place,
    /// How many.
    pub eggs: u32,
}

/// The moves that a record makes by itself. A recount makes none here: what it moves depends on
/// what was expected, see [`super::settle`].
pub fn moves(record: &Record, zone: Zone) -> Vec<Move> {
    match &record.body {
        Body::Gather(g) if g.count > 0 => {
            let coop = g.apart.then_some(g.coop);
            let lot = Lot {
                day: zone.day(record.at),
                species: g.species,
                coop,
            };
            vec![Move {
                lot,
                from: Place::Nest,
                to: Place::Basket,
                eggs: g.count,
            }]
        }
        Body::Cull(c) => each(&c.parts, c.station.into(), Place::Pulled),
        Body::Wash(w) => each(&w.parts, Place::Basket, Place::Clean),
        Body::Carton(c) => each(&c.parts, c.from.into(), Place::Cartoned),
        Body::Out(o) => {
            let stood = o.station.unwrap_or(Station::Cartoned).into();
            if o.way == "returned" {
                each(&o.parts, Place::Out, stood)
            } else {
                each(&o.parts, stood, Place::Out)
            }
        }
        _ => Vec::new(),
    }
}

fn each(parts: &Parts, from: Place, to: Place) -> Vec<Move> {
    parts
        .0
        .iter()
        .map(|(lot, eggs)| Move {
            lot: *lot,
            from,
            to,
            eggs: *eggs,
        })
        .collect()
}
