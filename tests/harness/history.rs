//! An invented farm's ordinary days, for what is measured over years of history.

use chrono::{Datelike, Days};
use pointdown_core::farm::{Farm, FarmError};
use pointdown_core::record::{Draft, Fields, Kind, Station};
use pointdown_core::trade::Species;
use serde_json::json;

use crate::phone::TestEnv;

/// The first morning of every history.
pub const BEGINS: &str = "2005-03-01T13:00:00Z";

/// The length of a day of the clock, in milliseconds.
pub const DAY_MS: i64 = 86_400_000;

/// Who gathers where: the coop, its birds, and about how many eggs.
const ROUNDS: [(&str, &str, u64); 5] = [
    ("Orchard", "hen", 17),
    ("Hilltop", "hen", 11),
    ("Pond", "duck", 8),
    ("Barn", "hen", 9),
    ("Barn", "duck", 3),
];

/// The set-up of the farm.
pub fn set_up() -> Fields {
    let mut farm = Fields::new();
    farm.insert("name".into(), "Larkmeadow".into());
    farm.insert("zone".into(), "America/Chicago".into());
    farm.insert("rule_pack".into(), "us_federal".into());
    farm
}

/// Logs the coops and the cooler.
pub fn furnish(farm: &Farm) -> Result<(), FarmError> {
    for (coop, species) in [
        ("Orchard", "hen"),
        ("Hilltop", "hen"),
        ("Pond", "duck"),
        ("Barn", "hen,duck"),
    ] {
        let coop = Draft::new(Kind::Coop).with("name", coop);
        farm.log(coop.with("species", species))?;
    }
    farm.log(Draft::new(Kind::Cooler).with("name", "Pantry fridge"))?;
    Ok(())
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

/// What people log on an ordinary day: some fourteen records. The rounds are gathered by each phone
/// in turn; the first one washes, candles, packs and sells what it knows of.
pub fn a_day(phones: &[Farm], env: &TestEnv, day: i64) -> Result<(), FarmError> {
    for round in 0..ROUNDS.len() {
        env.pass_ms(11 * 60_000);
        phones[round % phones.len()].log(gather(round, day))?;
    }
    env.pass_ms(9 * 3_600_000);
    let packer = &phones[0];
    for (species, each) in [(Species::Hen, 12), (Species::Duck, 6)] {
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
            pack_and_sell(packer, env, species, cartons, each)?;
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

fn pack_and_sell(
    packer: &Farm,
    env: &TestEnv,
    species: Species,
    cartons: u32,
    each: u32,
) -> Result<(), FarmError> {
    let parts = json!(packer.oldest_first(Station::Clean, species, cartons * each)?);
    let today = packer.today()?;
    env.pass_ms(60_000);
    let packed = packer.log(
        Draft::new(Kind::Carton)
            .with("parts", parts.clone())
            .with("from", "clean")
            .with("species", species.code())
            .with("eggs_per_carton", each)
            .with("cartons", cartons)
            .with("packed", today.to_string())
            .with("code", format!("{:03}", today.ordinal()))
            .with("best_by", (today + Days::new(27)).to_string()),
    )?;
    env.pass_ms(60_000);
    packer.log(
        Draft::new(Kind::Out)
            .with("way", "sold")
            .with("carton", packed.id.to_string())
            .with("cartons", cartons)
            .with("parts", parts)
            .with("price", format!("{}.50", cartons * 4)),
    )?;
    Ok(())
}

fn all_at(farm: &Farm, station: Station, species: Species) -> Result<u32, FarmError> {
    let on_hand = farm.on_hand()?;
    let here = on_hand
        .iter()
        .filter(|h| h.station == station.into() && h.species == species);
    let eggs: i64 = here.flat_map(|h| h.lots.values()).filter(|n| **n > 0).sum();
    Ok(u32::try_from(eggs).unwrap_or(0))
}
