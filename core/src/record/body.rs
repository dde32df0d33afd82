use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::{Fields, Id, Kind, Lot, Parts, Station, Zone};
use crate::trade::Species;
use crate::trade::rules::{HousePolicy, RulePack};

/// A collection round at one coop.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Gather {
    /// Where.
    pub coop: Id,
    /// Whose eggs.
    pub species: Species,
    /// Eggs gathered; 0 is a round that found none.
    pub count: u32,
    /// Of these, eggs not laid in a nest.
    #[serde(default)]
    pub floor_laid: u32,
    /// Whether the lot is of this coop alone.
    #[serde(default)]
    pub apart: bool,
}

/// Eggs pulled out of the flow.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Cull {
    /// Where the eggs were.
    pub station: Station,
    /// Which lots, how many eggs.
    pub parts: Parts,
    /// A defect's code, or another reason.
    pub reason: String,
    /// What became of them.
    #[serde(rename = "use")]
    pub used_for: String,
    /// The carton run they were in.
    pub carton: Option<Id>,
}

/// One cleaning batch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Wash {
    /// Which lots, how many eggs.
    pub parts: Parts,
    /// With what.
    pub means: String,
    /// Cleaning compound, as on its label.
    pub cleaner: Option<String>,
    /// Egg temperature before, °C.
    pub egg_c: Option<f64>,
    /// Water at the start, °C.
    pub water_start_c: Option<f64>,
    /// Water at the end, °C.
    pub water_end_c: Option<f64>,
    /// Rinse water, °C.
    pub rinse_c: Option<f64>,
    /// Available chlorine or equivalent, ppm.
    pub sanitiser_ppm: Option<u32>,
    /// Minutes in the water.
    pub minutes: Option<f64>,
    /// Whether the sink was cleaned first.
    pub sink_cleaned: Option<bool>,
}

/// Looking through the shell with a light.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Candle {
    /// Which lots, how many eggs.
    pub parts: Parts,
    /// How many of each quality.
    pub found: BTreeMap<String, u32>,
    /// Deepest air cell measured, mm.
    pub air_cell_mm: Option<f64>,
}

/// Single egg weights.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Weigh {
    /// Which lot.
    pub lot: Lot,
    /// The weight of each egg, g.
    pub grams: Vec<f64>,
}

/// A run of cartons.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Carton {
    /// Which lots, how many eggs.
    pub parts: Parts,
    /// The station the eggs came from.
    pub from: Station,
    /// Whose eggs.
    pub species: Species,
    /// Eggs in each carton.
    pub eggs_per_carton: u32,
    /// How many cartons.
    pub cartons: u32,
    /// The day of packing.
    pub packed: NaiveDate,
    /// The date on the label.
    pub best_by: Option<NaiveDate>,
    /// Weight class.
    pub size: Option<String>,
    /// Grade.
    pub grade: Option<String>,
    /// The code printed on the cartons.
    pub code: Option<String>,
}

/// Eggs leaving the farm, or coming back.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Out {
    /// Sold, given, eaten or returned.
    pub way: String,
    /// Which lots, how many eggs.
    pub parts: Parts,
    /// The carton run, unless the eggs went loose.
    pub carton: Option<Id>,
    /// How many cartons of the run.
    pub cartons: Option<u32>,
    /// Where they stood; cartoned unless said.
    pub station: Option<Station>,
    /// The outlet they went to.
    pub outlet: Option<Id>,
    /// Who got them.
    pub to: Option<String>,
    /// Paid for all of it, decimal, in the farm's currency.
    pub price: Option<String>,
}

/// What someone really found at a station.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Recount {
    /// Where was counted.
    pub station: Station,
    /// Eggs really found.
    pub counted: u32,
    /// Only this lot.
    pub lot: Option<Lot>,
    /// All lots of this species.
    pub species: Option<Species>,
}

/// A span of farm days whose eggs may not be sold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Hold {
    /// First day held.
    pub from: NaiveDate,
    /// Last day held; open while absent.
    pub until: Option<NaiveDate>,
    /// Only this coop.
    pub coop: Option<Id>,
    /// Only this species.
    pub species: Option<Species>,
    /// Why.
    pub cause: String,
    /// Medicine or treatment.
    pub given: Option<String>,
}

/// Laying birds in a coop.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Headcount {
    /// Where.
    pub coop: Id,
    /// Which birds.
    pub species: Species,
    /// How many.
    pub birds: u32,
}

/// Feed bought or given.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Feed {
    /// How much, kg.
    pub kg: f64,
    /// For this coop.
    pub coop: Option<Id>,
    /// For this species.
    pub species: Option<Species>,
    /// Paid, decimal, in the farm's currency.
    pub cost: Option<String>,
}

/// The temperature of a cooler.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// Which cooler.
    pub cooler: Id,
    /// Air in the cooler, °C.
    pub air_c: f64,
}

/// A brush replaced, cloths laundered, cartons bought.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Supply {
    /// What.
    pub item: String,
    /// How many.
    pub count: Option<u32>,
    /// Paid, decimal, in the farm's currency.
    pub cost: Option<String>,
}

/// Later values for fields of a record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Amend {
    /// The record that is amended.
    pub target: Id,
    /// New values by field; null takes a field away.
    pub set: Fields,
    /// Earlier amendments that the writer had seen.
    #[serde(default)]
    pub over: Vec<Id>,
    /// Why.
    pub why: Option<String>,
}

/// A record that should not stand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Void {
    /// Which record.
    pub target: Id,
    /// Why.
    pub why: String,
    /// Amendments of the record that the writer had seen.
    #[serde(default)]
    pub over: Vec<Id>,
}

/// How far a device's clock was off.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Clock {
    /// Server clock minus the device's, seconds.
    pub offset_s: i64,
}

/// What a person decided about a line of the review list.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Decision {
    /// The line.
    pub line: String,
    /// How it stood then.
    pub state: String,
    /// What was decided.
    pub choice: String,
}

/// The farm itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Farm {
    /// Its name.
    pub name: String,
    /// Its time zone.
    pub zone: Zone,
    /// Unit shown for temperatures, `C` or `F`.
    pub temperature: Option<String>,
    /// Unit shown for weights, `g` or `oz`.
    pub weight: Option<String>,
    /// ISO 4217 code.
    pub currency: Option<String>,
    /// The rules reminded of; [`in_force`](crate::trade::rules::in_force) gives them.
    pub rule_pack: Option<String>,
    /// The farm's own rule pack, in force while `rule_pack` is `custom`.
    pub rules: Option<Box<RulePack>>,
    /// The house policy, on top of the rules.
    pub house: Option<HousePolicy>,
    /// Whether each coop has lots of its own.
    #[serde(default)]
    pub coops_apart: bool,
    /// Producer block for labels.
    pub producer: Option<String>,
}

/// A place where birds lay.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Coop {
    /// Its name.
    pub name: String,
    /// The birds in it.
    pub species: Vec<Species>,
    /// The last day it was used, once that has come.
    pub retired: Option<NaiveDate>,
}

/// A person, device or cooler: a name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Named {
    /// The name.
    pub name: String,
    /// The last day it was used, once that has come.
    pub retired: Option<NaiveDate>,
}

/// Where eggs go.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Outlet {
    /// Its name.
    pub name: String,
    /// How to reach them.
    pub contact: Option<String>,
    /// Cartons that they expect each week, by day of the week.
    pub standing_order: Option<BTreeMap<String, u32>>,
    /// Eggs in each of these; a dozen unless said.
    pub order_eggs_per_carton: Option<u32>,
    /// Whose eggs; hens' unless said.
    pub order_species: Option<Species>,
    /// The last day it was used, once that has come.
    pub retired: Option<NaiveDate>,
}

impl Recount {
    /// The species whose eggs were counted.
    pub fn of_species(&self) -> Option<Species> {
        self.species.or(self.lot.map(|lot| lot.species))
    }
}

/// A person who logs.
pub type Person = Named;
/// An installation that logs.
pub type Device = Named;

/// The fields of a record beside the common ones, by kind.
#[derive(Debug, Clone, PartialEq)]
pub enum Body {
    /// See [`Kind::Gather`].
    Gather(Gather),
    /// See [`Kind::Cull`].
    Cull(Cull),
    /// See [`Kind::Wash`].
    Wash(Wash),
    /// See [`Kind::Candle`].
    Candle(Candle),
    /// See [`Kind::Weigh`].
    Weigh(Weigh),
    /// See [`Kind::Carton`].
    Carton(Carton),
    /// See [`Kind::Out`].
    Out(Out),
    /// See [`Kind::Recount`].
    Recount(Recount),
    /// See [`Kind::Hold`].
    Hold(Hold),
    /// See [`Kind::Headcount`].
    Headcount(Headcount),
    /// See [`Kind::Feed`].
    Feed(Feed),
    /// See [`Kind::Reading`].
    Reading(Reading),
    /// See [`Kind::Supply`].
    Supply(Supply),
    /// See [`Kind::Amend`].
    Amend(Amend),
    /// See [`Kind::Void`].
    Void(Void),
    /// See [`Kind::Clock`].
    Clock(Clock),
    /// See [`Kind::Decision`].
    Decision(Decision),
    /// See [`Kind::Farm`].
    Farm(Farm),
    /// See [`Kind::Coop`].
    Coop(Coop),
    /// See [`Kind::Person`].
    Person(Named),
    /// See [`Kind::Device`].
    Device(Named),
    /// See [`Kind::Cooler`].
    Cooler(Named),
    /// See [`Kind::Outlet`].
    Outlet(Outlet),
}

impl Body {
    /// Reads checked fields; `None` where a required one is missing or of another type.
    pub(super) fn read(kind: Kind, fields: &Fields) -> Option<Body> {
        fn as_body<T: serde::de::DeserializeOwned>(fields: &Fields) -> Option<T> {
            serde_json::from_value(Value::Object(fields.clone())).ok()
        }
        Some(match kind {
            Kind::Gather => Body::Gather(as_body(fields)?),
            Kind::Cull => Body::Cull(as_body(fields)?),
            Kind::Wash => Body::Wash(as_body(fields)?),
            Kind::Candle => Body::Candle(as_body(fields)?),
            Kind::Weigh => Body::Weigh(as_body(fields)?),
            Kind::Carton => Body::Carton(as_body(fields)?),
            Kind::Out => Body::Out(as_body(fields)?),
            Kind::Recount => Body::Recount(as_body(fields)?),
            Kind::Hold => Body::Hold(as_body(fields)?),
            Kind::Headcount => Body::Headcount(as_body(fields)?),
            Kind::Feed => Body::Feed(as_body(fields)?),
            Kind::Reading => Body::Reading(as_body(fields)?),
            Kind::Supply => Body::Supply(as_body(fields)?),
            Kind::Amend => Body::Amend(as_body(fields)?),
            Kind::Void => Body::Void(as_body(fields)?),
            Kind::Clock => Body::Clock(as_body(fields)?),
            Kind::Decision => Body::Decision(as_body(fields)?),
            Kind::Farm => Body::Farm(as_body(fields)?),
            Kind::Coop => Body::Coop(as_body(fields)?),
            Kind::Person => Body::Person(as_body(fields)?),
            Kind::Device => Body::Device(as_body(fields)?),
            Kind::Cooler => Body::Cooler(as_body(fields)?),
            Kind::Outlet => Body::Outlet(as_body(fields)?),
        })
    }

    /// The kind of the record.
    pub const fn kind(&self) -> Kind {
        match self {
            Body::Gather(_) => Kind::Gather,
            Body::Cull(_) => Kind::Cull,
            Body::Wash(_) => Kind::Wash,
            Body::Candle(_) => Kind::Candle,
            Body::Weigh(_) => Kind::Weigh,
            Body::Carton(_) => Kind::Carton,
            Body::Out(_) => Kind::Out,
            Body::Recount(_) => Kind::Recount,
            Body::Hold(_) => Kind::Hold,
            Body::Headcount(_) => Kind::Headcount,
            Body::Feed(_) => Kind::Feed,
            Body::Reading(_) => Kind::Reading,
            Body::Supply(_) => Kind::Supply,
            Body::Amend(_) => Kind::Amend,
            Body::Void(_) => Kind::Void,
            Body::Clock(_) => Kind::Clock,
            Body::Decision(_) => Kind::Decision,
            Body::Farm(_) => Kind::Farm,
            Body::Coop(_) => Kind::Coop,
            Body::Person(_) => Kind::Person,
            Body::Device(_) => Kind::Device,
            Body::Cooler(_) => Kind::Cooler,
            Body::Outlet(_) => Kind::Outlet,
        }
    }

    /// The lots that the record speaks of, and how many eggs of each; nothing for other kinds.
    pub fn parts(&self) -> Option<&Parts> {
        match self {
            Body::Cull(b) => Some(&b.parts),
            Body::Wash(b) => Some(&b.parts),
            Body::Candle(b) => Some(&b.parts),
            Body::Carton(b) => Some(&b.parts),
            Body::Out(b) => Some(&b.parts),
            _ => None,
        }
    }
}
