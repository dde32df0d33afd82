use super::field::{MOST, STATIONS};
use super::{FieldSpec, FieldType as T, Kind};
use crate::trade::rules::RulePack;
use crate::trade::{Disposal, Means};

const fn must(name: &'static str, ty: T, about: &'static str) -> FieldSpec {
    FieldSpec {
        name,
        ty,
        required: true,
        about,
    }
}

const fn may(name: &'static str, ty: T, about: &'static str) -> FieldSpec {
    FieldSpec {
        name,
        ty,
        required: false,
        about,
    }
}

/// Words for what a look through the shell can say of an egg: the grades of the rule packs, best
/// first, and what is packed under none of them.
const QUALITIES: [&str; 9] = [
    "extra", "aa", "a", "b", "dirty", "check", "leaker", "loss", "inedible",
];

/// The words of [`Means`].
const MEANS: [&str; Means::ALL.len()] = {
    let mut words = [""; Means::ALL.len()];
    let mut i = 0;
    while i < words.len() {
        words[i] = Means::ALL[i].code();
        i += 1;
    }
    words
};

/// The words of [`Disposal`].
const USES: [&str; Disposal::ALL.len()] = {
    let mut words = [""; Disposal::ALL.len()];
    let mut i = 0;
    while i < words.len() {
        words[i] = Disposal::ALL[i].code();
        i += 1;
    }
    words
};

/// What every record carries beside its kind and the time in its id.
pub const COMMON: &[FieldSpec] = &[
    may("by", T::Ref(Kind::Person), "who did it"),
    may(
        "device",
        T::Ref(Kind::Device),
        "the installation that logged it",
    ),
    may("note", T::Text(500), "anything worth knowing"),
];

const COUNT: T = T::Count(0, MOST);
const SOME: T = T::Count(1, MOST);

const GATHER: &[FieldSpec] = &[
    must("coop", T::Ref(Kind::Coop), "where"),
    must("species", T::Species, "whose eggs"),
    must(
        "count",
        COUNT,
        "eggs gathered; 0 is a round that found none",
    ),
    may("floor_laid", COUNT, "of these, eggs not laid in a nest"),
    may("apart", T::Flag, "the lot is of this coop alone"),
];

const CULL: &[FieldSpec] = &[
    must("station", T::Choice(&STATIONS), "where the eggs were"),
    must("parts", T::Parts, "which lots, how many eggs"),
    must("reason", T::CullReason, "why"),
    must("use", T::Choice(&USES), "what became of them"),
    may(
        "carton",
        T::Ref(Kind::Carton),
        "the carton run they were in",
    ),
];

const WASH: &[FieldSpec] = &[
    must("parts", T::Parts, "which lots, how many eggs"),
    must("means", T::Choice(&MEANS), "with what"),
    may("cleaner", T::Text(80), "cleaning compound, as on its label"),
    may(
        "egg_c",
        T::Temperature(-5.0, 50.0),
        "temperature of the eggs before, °C",
    ),
    may(
        "water_start_c",
        T::Temperature(0.0, 80.0),
        "water at the start, °C",
    ),
    may(
        "water_end_c",
        T::Temperature(0.0, 80.0),
        "water at the end, °C",
    ),
    may("rinse_c", T::Temperature(0.0, 80.0), "rinse water, °C"),
    may(
        "sanitiser_ppm",
        T::Count(0, MOST),
        "available chlorine or equivalent, ppm",
    ),
    may(
        "minutes",
        T::Number(0.0, 240.0, 1, "minutes"),
        "time in the water",
    ),
    may("sink_cleaned", T::Flag, "the sink was cleaned first"),
];

const CANDLE: &[FieldSpec] = &[
    must("parts", T::Parts, "which lots, how many eggs"),
    must("found", T::Tally(&QUALITIES), "how many of each quality"),
    may(
        "air_cell_mm",
        T::Number(0.0, 40.0, 1, "mm"),
        "deepest air cell measured",
    ),
];

const WEIGH: &[FieldSpec] = &[
    must("lot", T::Lot, "which lot"),
    must("grams", T::Weights, "the weight of each egg, g"),
];

const CARTON: &[FieldSpec] = &[
    must("parts", T::Parts, "which lots, how many eggs"),
    must(
        "from",
        T::Choice(&["basket", "clean"]),
        "the station the eggs came from",
    ),
    must(
        "species",
        T::Species,
        "whose eggs: one species to a carton, always",
    ),
    must("eggs_per_carton", T::Count(1, 60), "eggs in each carton"),
    must("cartons", SOME, "how many cartons"),
    must("packed", T::Day, "the day of packing"),
    may("best_by", T::Day, "the date on the label"),
    may("size", T::Text(24), "weight class"),
    may("grade", T::Text(12), "grade"),
    may("code", T::Text(40), "the code printed on the cartons"),
];

const OUT: &[FieldSpec] = &[
    must(
        "way",
        T::Choice(&["sold", "given", "eaten", "returned"]),
        "how the eggs left, or came back",
    ),
    must("parts", T::Parts, "which lots, how many eggs"),
    may(
        "carton",
        T::Ref(Kind::Carton),
        "the carton run, unless the eggs went loose",
    ),
    may("cartons", SOME, "how many cartons of the run"),
    may(
        "station",
        T::Choice(&STATIONS),
        "where they stood; cartoned unless said",
    ),
    may("outlet", T::Ref(Kind::Outlet), "the outlet they went to"),
    may("to", T::Text(120), "who got them"),
    may(
        "price",
        T::Money,
        "paid for all of it, in the farm's currency",
    ),
];

const RECOUNT: &[FieldSpec] = &[
    must("station", T::Choice(&STATIONS), "where was counted"),
    must("counted", COUNT, "eggs really found"),
    may("lot", T::Lot, "only this lot"),
    may("species", T::Species, "all lots of this species"),
    may(
        "expected",
        T::Number(-1e9, 1e9, 0, "eggs"),
        "what the book here expected; filled in by the program",
    ),
];

const HOLD: &[FieldSpec] = &[
    must("from", T::Day, "first farm day whose eggs are held"),
    must(
        "cause",
        T::Choice(&["medicine", "illness", "flood", "test", "other"]),
        "why",
    ),
    may("until", T::Day, "last farm day held; open while not given"),
    may(
        "coop",
        T::Ref(Kind::Coop),
        "only this coop; the whole farm unless said",
    ),
    may("species", T::Species, "only this species"),
    may(
        "given",
        T::Text(200),
        "medicine or treatment, as on its label",
    ),
];

const HEADCOUNT: &[FieldSpec] = &[
    must("coop", T::Ref(Kind::Coop), "where"),
    must("species", T::Species, "which birds"),
    must("birds", COUNT, "laying birds"),
];

const FEED: &[FieldSpec] = &[
    must("kg", T::Number(0.0, 100_000.0, 3, "kg"), "feed"),
    may("coop", T::Ref(Kind::Coop), "for this coop"),
    may("species", T::Species, "for this species"),
    may("cost", T::Money, "paid, in the farm's currency"),
];

const READING: &[FieldSpec] = &[
    must("cooler", T::Ref(Kind::Cooler), "which cooler"),
    must(
        "air_c",
        T::Temperature(-40.0, 60.0),
        "air in the cooler, °C",
    ),
];

const SUPPLY: &[FieldSpec] = &[
    must(
        "item",
        T::Choice(&[
            "brush_replaced",
            "cloths_laundered",
            "cartons",
            "cleaner",
            "bedding",
            "other",
        ]),
        "what",
    ),
    may("count", COUNT, "how many"),
    may("cost", T::Money, "paid, in the farm's currency"),
];

const AMEND: &[FieldSpec] = &[
    must("target", T::AnyRecord, "the record that is amended"),
    must(
        "set",
        T::Values,
        "new values by field; null takes a field away",
    ),
    may(
        "over",
        T::Seen,
        "earlier amendments of these fields that the writer had seen",
    ),
    may("why", T::Text(200), "why"),
];

const VOID: &[FieldSpec] = &[
    must("target", T::AnyRecord, "the record that should not stand"),
    must("why", T::Text(200), "why"),
    may(
        "over",
        T::Seen,
        "amendments of the record that the writer had seen",
    ),
];

const CLOCK: &[FieldSpec] = &[must(
    "offset_s",
    T::Number(-4e9, 4e9, 0, "seconds"),
    "server clock minus this device's",
)];

const DECISION: &[FieldSpec] = &[
    must("line", T::Text(120), "the line of the review list"),
    must(
        "state",
        T::Text(120),
        "how it stood then; a line that gets worse comes back",
    ),
    must(
        "choice",
        T::Choice(&["seen", "both_right"]),
        "what was decided",
    ),
];

const FARM: &[FieldSpec] = &[
    must("name", T::Text(80), "the farm's name"),
    must("zone", T::Zone, "its time zone"),
    may(
        "temperature",
        T::Choice(&["C", "F"]),
        "unit shown for temperatures",
    ),
    may("weight", T::Choice(&["g", "oz"]), "unit shown for weights"),
    may(
        "currency",
        T::Choice(&["USD", "EUR", "GBP", "CAD", "AUD", "NZD", "CHF", "ZAR"]),
        "money",
    ),
    may(
        "rule_pack",
        T::Choice(&RulePack::CODES),
        "the rules reminded of",
    ),
    may(
        "rules",
        T::RulePack,
        "the farm's own rule pack, in force while rule_pack is custom",
    ),
    may(
        "house",
        T::HousePolicy,
        "the house policy, on top of the rules",
    ),
    may(
        "coops_apart",
        T::Flag,
        "keep a lot of its own for each coop",
    ),
    may("producer", T::Text(300), "producer block for labels"),
];

const COOP: &[FieldSpec] = &[
    must("name", T::Text(60), "its name"),
    must("species", T::SpeciesList, "the birds in it"),
    may("retired", T::Day, "the last day it was used"),
];

const NAMED: &[FieldSpec] = &[
    must("name", T::Text(60), "the name"),
    may("retired", T::Day, "the last day it was used"),
];

const OUTLET: &[FieldSpec] = &[
    must("name", T::Text(60), "its name"),
    may("contact", T::Text(200), "how to reach them on a bad day"),
    may(
        "standing_order",
        T::Tally(&["mon", "tue", "wed", "thu", "fri", "sat", "sun"]),
        "cartons each week, such as fri=3",
    ),
    may(
        "order_eggs_per_carton",
        T::Count(1, 60),
        "eggs in each of these cartons; 12 unless said",
    ),
    may(
        "order_species",
        T::Species,
        "whose eggs they are; hen unless said",
    ),
    may("retired", T::Day, "the last day it was used"),
];

/// The fields of a kind, beside [`COMMON`].
pub const fn spec(kind: Kind) -> &'static [FieldSpec] {
    match kind {
        Kind::Gather => GATHER,
        Kind::Cull => CULL,
        Kind::Wash => WASH,
        Kind::Candle => CANDLE,
        Kind::Weigh => WEIGH,
        Kind::Carton => CARTON,
        Kind::Out => OUT,
        Kind::Recount => RECOUNT,
        Kind::Hold => HOLD,
        Kind::Headcount => HEADCOUNT,
        Kind::Feed => FEED,
        Kind::Reading => READING,
        Kind::Supply => SUPPLY,
        Kind::Amend => AMEND,
        Kind::Void => VOID,
        Kind::Clock => CLOCK,
        Kind::Decision => DECISION,
        Kind::Farm => FARM,
        Kind::Coop => COOP,
        Kind::Person | Kind::Device | Kind::Cooler => NAMED,
        Kind::Outlet => OUTLET,
    }
}
