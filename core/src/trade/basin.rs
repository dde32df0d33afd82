//! How many eggs a basin of wash water can take before it falls out of its window, and when to
//! change it: an energy balance. Each egg takes heat with it; the air takes the rest.

use serde::{Deserialize, Serialize};

use super::body::Egg;
use super::conduction::{At, ratio};
use super::error::{TradeError, within};
use super::finding::{Finding, Mark, Reason, WASH_CAUTION};
use super::rules::RulePack;
use super::species::Species;
use super::temperature::Surroundings;
use super::units::{Celsius, Grams, Litres, Minutes};
use super::wash::WaterWindow;

/// Heat capacity of a litre of warm water in J/K (4.18 kJ/(kg·K), 0.99 kg/L).
const LITRE: f64 = 4140.0;

/// More eggs than a day's work at one basin.
const MANY: u32 = 10_000;

/// A basin and the eggs that go through it one after the other.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Basin {
    /// How much water.
    pub water: Litres,
    /// Its temperature at the start.
    pub start: Celsius,
    /// The temperature of the room.
    pub room: Celsius,
    /// Heat lost to the room in W per °C of difference; about 40 W/(m²·K) of open surface, most of
    /// it by evaporation, so 4 for a bowl of 35 cm. Judgement, no source.
    pub loss: f64,
    /// The species of the eggs.
    pub species: Species,
    /// The weight of one egg.
    pub egg_mass: Grams,
    /// The temperature of the eggs.
    pub egg: Celsius,
    /// How long each egg is in the water.
    pub each: Minutes,
}

/// What a basin can take.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BasinUse {
    /// How many eggs until the water is too cold; at most 10 000.
    pub eggs: u32,
    /// The temperature of the water after them.
    pub end: Celsius,
    /// How long that takes, one egg at a time.
    pub time: Minutes,
    /// Whether the age of the water ends it before its temperature does.
    pub ended_by_age: bool,
}

impl Basin {
    fn check(&self) -> Result<(), TradeError> {
        within("water in the basin", self.water.0, 0.5, 500.0, "L")?;
        within("water temperature", self.start.0, 0.0, 60.0, "°C")?;
        within("room temperature", self.room.0, -10.0, 50.0, "°C")?;
        within("heat loss", self.loss, 0.0, 200.0, "W/°C")?;
        within("egg temperature", self.egg.0, -5.0, 50.0, "°C")?;
        within("minutes for each egg", self.each.0, 0.05, 30.0, "minutes")?;
        Ok(())
    }

    /// The water after `eggs` eggs, before any more warm water is added. Each egg takes the heat
    /// that conduction brings into it in its time, at the highest coefficient for moving water, so
    /// that the true fall is smaller.
    ///
    /// # Errors
    /// When a measurement cannot be.
    pub fn after(&self, eggs: u32) -> Result<Celsius, TradeError> {
        self.check()?;
        let step = self.step()?;
        let mut t = self.start.0;
        for _ in 0..eggs {
            t = step(t);
        }
        Ok(Celsius(t))
    }

    fn step(&self) -> Result<impl Fn(f64) -> f64 + use<>, TradeError> {
        let egg = Egg::new(self.species, self.egg_mass)?;
        let h = Surroundings::Water.coefficient().high;
        let share = 1.0 - ratio(At::Mean, egg.biot(h), egg.fourier(self.each));
        let water = self.water.0 * LITRE;
        let (egg_temperature, room) = (self.egg.0, self.room.0);
        // Water and the warmed part of the egg meet in the middle.
        let taken = {
            let c = egg.heat_capacity * share;
            c / (water + c)
        };
        let lost = (-self.loss * self.each.seconds() / water).exp();
        Ok(move |t: f64| {
            let t = t - taken * (t - egg_temperature);
            room + (t - room) * lost
        })
    }

    /// How many eggs until the water leaves its window or grows too old for the pack.
    ///
    /// # Errors
    /// When a measurement cannot be, or the water is not in its window at the start.
    pub fn capacity(
        &self,
        window: &WaterWindow,
        pack: &RulePack,
    ) -> Result<Finding<BasinUse>, TradeError> {
        self.check()?;
        if !window.contains(self.start) {
            return Err(TradeError::not_allowed(
                "water temperature",
                self.start,
                window,
            ));
        }
        let step = self.step()?;
        let age = pack.cleaning.water_age_max.as_ref();
        let by_age = age
            .map_or(MANY, |r| (r.value.0 / self.each.0).floor() as u32)
            .min(MANY);
        let (mut eggs, mut t) = (0, self.start.0);
        while eggs < by_age {
            let next = step(t);
            if !window.contains(Celsius(next)) {
                break;
            }
            t = next;
            eggs += 1;
        }
        let value = BasinUse {
            eggs,
            end: Celsius(t),
            time: Minutes(f64::from(eggs) * self.each.0),
            ended_by_age: eggs == by_age && by_age < MANY,
        };
        let words = format!(
            "{:.1} L at {} take {eggs} eggs of {} one after the other and end at {}; the window \
             ends at {}",
            self.water.0, self.start, self.egg, value.end, window.low
        );
        let mut why = vec![Reason::new(
            words,
            "energy balance: heat into the eggs and the room",
            Mark::CommonPractice,
        )];
        if let Some(rule) = age {
            why.push(rule.reason(format!(
                "Wash water is changed after {} hours at the latest, and at the end of the work",
                rule.value.hours()
            )));
        }
        if let Some(rule) = &pack.cleaning.baskets_max {
            why.push(rule.reason(format!("A bucket is changed after {} baskets", rule.value)));
        }
        let caution = format!(
            "Change the water sooner when it looks or smells dirty, and check it with a \
             thermometer. Eggs may not stand in it. {WASH_CAUTION}"
        );
        Ok(Finding::because(value, why, caution))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bowl() -> Basin {
        Basin {
            water: Litres(10.0),
            start: Celsius(40.0),
            room: Celsius(20.0),
            loss: 4.0,
            species: Species::Hen,
            egg_mass: Grams(60.0),
            egg: Celsius(20.0),
            each: Minutes(0.5),
        }
    }

    #[test]
    fn many_small_steps_keep_the_energy() {
        // No loss, and every egg in the water until it is as warm as the water.
        let basin = Basin {
            loss: 0.0,
            each: Minutes(30.0),
            ..bowl()
        };
        let capacity = Egg::new(Species::Hen, Grams(60.0)).unwrap().heat_capacity;
        let water = 10.0 * LITRE;
        let expected = 20.0 + 20.0 * (water / (water + capacity)).powi(12);
        let got = basin.after(12).unwrap().0;
        assert!((got - expected).abs() < 0.02, "{got} {expected}");
    }

    #[test]
    fn warmer_eggs_and_more_water_mean_more_eggs() {
        let pack = RulePack::us_federal();
        let window = WaterWindow {
            low: Celsius(33.0),
            high: Some(Celsius(45.0)),
        };
        let eggs = |b: Basin| b.capacity(&window, &pack).unwrap().value.eggs;
        assert!(eggs(bowl()) > 5);
        assert!(
            eggs(Basin {
                water: Litres(20.0),
                ..bowl()
            }) > eggs(bowl())
        );
        assert!(
            eggs(Basin {
                egg: Celsius(22.0),
                ..bowl()
            }) >= eggs(bowl())
        );
        let cold = Basin {
            start: Celsius(32.0),
            ..bowl()
        };
        assert!(cold.capacity(&window, &pack).is_err());
    }

    #[test]
    fn old_water_is_changed_even_when_it_is_warm() {
        let pack = RulePack::us_federal();
        let window = WaterWindow {
            low: Celsius(33.0),
            high: Some(Celsius(45.0)),
        };
        let tub = Basin {
            water: Litres(500.0),
            loss: 0.0,
            each: Minutes(1.0),
            ..bowl()
        };
        let found = tub.capacity(&window, &pack).unwrap().value;
        assert!(found.ended_by_age);
        assert_eq!(found.eggs, 240);
    }

    #[test]
    fn a_short_dip_takes_a_part_of_the_heat() {
        let drop = |minutes| {
            let basin = Basin {
                loss: 0.0,
                each: Minutes(minutes),
                ..bowl()
            };
            40.0 - basin.after(1).unwrap().0
        };
        let (dip, minute, soak) = (drop(0.1), drop(1.0), drop(30.0));
        assert!(
            dip < 0.35 * soak && dip < minute && minute < 0.8 * soak,
            "{dip} {minute} {soak}"
        );
    }

    /// Water at 40 °C: 992.2 kg/m³ and 4.179 kJ/(kg·K), steam tables, from memory.
    #[test]
    fn a_litre_of_water_holds_what_the_tables_say() {
        let basin = Basin {
            egg_mass: Grams(1.0),
            each: Minutes(10.0),
            ..bowl()
        };
        let expected = 20.0 + 20.0 * (-4.0_f64 * 3600.0 / (9.922 * 4179.0)).exp();
        let got = basin.after(6).unwrap().0;
        assert!((got - expected).abs() < 0.05, "{got} {expected}");
    }

    #[test]
    fn the_room_takes_its_heat_by_the_law_of_cooling() {
        // Eggs as warm as the water take nothing; the rest is exp(−loss·t/C).
        let basin = Basin {
            start: Celsius(35.0),
            egg: Celsius(35.0),
            each: Minutes(10.0),
            ..bowl()
        };
        let expected = 20.0 + 15.0 * (-4.0_f64 * 3600.0 / (10.0 * LITRE)).exp();
        let got = basin.after(6).unwrap().0;
        // The last eggs give a little of their warmth back.
        assert!(got >= expected && got - expected < 0.35, "{got} {expected}");
    }
}
