//! The temperature of an egg that nobody measured, from where it lay and how long; and how long it
//! takes to get cold. Surface coefficients of nests, trays and cartons are rough, so every answer
//! is a range.

use serde::{Deserialize, Serialize};

use super::body::Egg;
use super::conduction::{At, fourier_for, ratio};
use super::error::{TradeError, within};
use super::finding::{COLD_CAUTION, Finding, Mark, Reason};
use super::species::Species;
use super::units::{Celsius, Grams, Minutes, Range};

/// The temperature at which an egg leaves the bird: 40 to 42 °C; common practice, no source.
pub const LAID: Range<Celsius> = Range {
    low: Celsius(40.0),
    likely: Celsius(41.0),
    high: Celsius(42.0),
};

/// What surrounds an egg.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Surroundings {
    /// In nest litter.
    Nest,
    /// Loose on a table or a wire shelf, still air.
    Loose,
    /// On an open tray of one layer.
    Tray,
    /// In one closed carton.
    Carton,
    /// In a basket several layers deep.
    Basket,
    /// In a stack of cases with side vents.
    VentedCase,
    /// In a stack of cases without vents.
    ClosedCase,
    /// Loose before a fan.
    Fan,
    /// In moving water.
    Water,
}

impl Surroundings {
    /// Every kind.
    pub const ALL: [Surroundings; 9] = [
        Surroundings::Nest,
        Surroundings::Loose,
        Surroundings::Tray,
        Surroundings::Carton,
        Surroundings::Basket,
        Surroundings::VentedCase,
        Surroundings::ClosedCase,
        Surroundings::Fan,
        Surroundings::Water,
    ];

    /// The surface coefficient of one egg in W/(m²·K). For baskets and cases it is the value that
    /// reproduces the cooling times of J. Appl. Poultry Res. 9(2):258–268 (10 h, 22–28 h, more than
    /// two days); for loose eggs the handbook range of still and moving air; for the rest judgement
    /// between these.
    pub const fn coefficient(self) -> Range<f64> {
        let (low, likely, high) = match self {
            Surroundings::Nest => (2.0, 4.0, 8.0),
            Surroundings::Loose => (5.0, 7.5, 10.0),
            Surroundings::Tray => (3.0, 5.0, 8.0),
            Surroundings::Carton => (1.2, 2.2, 4.5),
            Surroundings::Basket => (1.2, 1.7, 3.0),
            Surroundings::VentedCase => (0.5, 0.7, 1.0),
            Surroundings::ClosedCase => (0.12, 0.25, 0.4),
            Surroundings::Fan => (12.0, 20.0, 35.0),
            Surroundings::Water => (200.0, 500.0, 1000.0),
        };
        Range { low, likely, high }
    }
}

/// A stay of an egg somewhere.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Stay {
    /// What surrounded it.
    pub surroundings: Surroundings,
    /// The temperature of the air or water there.
    pub around: Celsius,
    /// How uncertain that temperature is, either way.
    pub give_or_take: f64,
    /// The shortest it can have lain there.
    pub at_least: Minutes,
    /// The longest it can have lain there.
    pub at_most: Minutes,
}

impl Stay {
    /// A stay of known length at a temperature known to 1 °C.
    pub fn exactly(surroundings: Surroundings, around: Celsius, minutes: f64) -> Stay {
        Stay {
            surroundings,
            around,
            give_or_take: 1.0,
            at_least: Minutes(minutes),
            at_most: Minutes(minutes),
        }
    }

    fn check(&self) -> Result<(), TradeError> {
        within(
            "temperature around the egg",
            self.around.0,
            -30.0,
            60.0,
            "°C",
        )?;
        within("uncertainty of it", self.give_or_take, 0.0, 20.0, "°C")?;
        let most = within(
            "longest stay",
            self.at_most.0,
            0.0,
            60.0 * 24.0 * 60.0,
            "minutes",
        )?;
        within("shortest stay", self.at_least.0, 0.0, most, "minutes")?;
        Ok(())
    }
}

/// The mean temperature of an egg after its stays, beginning with `start` (for a fresh egg
/// [`LAID`]). The range holds for the ends of every coefficient, temperature and time given; at
/// the beginning of each stay the egg is taken as even throughout.
///
/// # Errors
/// When a temperature, a time or the weight cannot be.
pub fn estimate(
    species: Species,
    mass: Grams,
    start: Range<Celsius>,
    stays: &[Stay],
) -> Result<Finding<Range<Celsius>>, TradeError> {
    for t in [start.low, start.likely, start.high] {
        within("egg temperature", t.0, -10.0, 60.0, "°C")?;
    }
    let egg = Egg::new(species, mass)?;
    let mut now = start;
    for stay in stays {
        stay.check()?;
        now = after(&egg, now, stay);
    }
    let words = format!(
        "Cooling of a {} g {} egg over {} stay(s): likely {}, between {} and {}",
        mass.0,
        species.code(),
        stays.len(),
        now.likely,
        now.low,
        now.high
    );
    let why = Reason::new(
        words,
        "series solution for a sphere; coefficients are rough",
        Mark::CommonPractice,
    );
    let caution = "An estimate, with the range it deserves: use the warm end for the least water \
         temperature and the cold end for cracks, or measure an egg (a probe in one that is eaten).";
    Ok(Finding::because(now, vec![why], caution))
}

/// One stay. The temperature rises with the start and with the surroundings and moves one way in
/// time and coefficient, so the extremes are at the corners.
fn after(egg: &Egg, start: Range<Celsius>, stay: &Stay) -> Range<Celsius> {
    let h = stay.surroundings.coefficient();
    let step = |from: Celsius, around: f64, h: f64, time: Minutes| {
        let ratio = ratio(At::Mean, egg.biot(h), egg.fourier(time));
        around + (from.0 - around) * ratio
    };
    let corners = |from: Celsius, around: f64| {
        [h.low, h.high].into_iter().flat_map(move |h| {
            [stay.at_least, stay.at_most].map(|time| step(from, around, h, time))
        })
    };
    let low = corners(start.low, stay.around.0 - stay.give_or_take).fold(f64::MAX, f64::min);
    let high = corners(start.high, stay.around.0 + stay.give_or_take).fold(f64::MIN, f64::max);
    let middle = Minutes(0.5 * (stay.at_least.0 + stay.at_most.0));
    Range {
        low: Celsius(low),
        likely: Celsius(step(start.likely, stay.around.0, h.likely, middle)),
        high: Celsius(high),
    }
}

/// How long the centre of an egg takes from `start` to `target` in these surroundings, as a range.
///
/// # Errors
/// When the target does not lie between start and surroundings (in a room at 45 °F an egg never
/// reaches 45 °F), or a temperature or the weight cannot be.
pub fn time_to_reach(
    species: Species,
    mass: Grams,
    start: Celsius,
    surroundings: Surroundings,
    around: Celsius,
    target: Celsius,
) -> Result<Finding<Range<Minutes>>, TradeError> {
    within("egg temperature", start.0, -10.0, 60.0, "°C")?;
    let fraction = remaining(start, around, target)?;
    let egg = Egg::new(species, mass)?;
    let h = surroundings.coefficient();
    let time = |h: f64| egg.time(fourier_for(At::Centre, egg.biot(h), fraction));
    let value = Range {
        low: time(h.high),
        likely: time(h.likely),
        high: time(h.low),
    };
    let words = format!(
        "From {start} to {target} in {around}: likely {:.1} hours, between {:.1} and {:.1}",
        value.likely.hours(),
        value.low.hours(),
        value.high.hours()
    );
    let why = Reason::new(
        words,
        "series solution for a sphere; J. Appl. Poultry Res. 9(2):258–268 for bulk packs",
        Mark::CommonPractice,
    );
    let caution = format!(
        "No cooling times for small packs are published; fit yours from two \
         thermometer readings. {COLD_CAUTION}"
    );
    Ok(Finding::new(value, why, caution))
}

/// What is left of a temperature difference, as a share strictly between 0 and 1 (1 when already
/// there).
fn remaining(start: Celsius, around: Celsius, target: Celsius) -> Result<f64, TradeError> {
    within("surrounding temperature", around.0, -30.0, 100.0, "°C")?;
    let fraction = (target.0 - around.0) / (start.0 - around.0);
    if fraction > 0.0 && fraction <= 1.0 {
        Ok(fraction)
    } else {
        Err(TradeError::not_allowed(
            "target temperature",
            target,
            format!("between the start, {start}, and the surroundings, {around}, without these"),
        ))
    }
}

/// Cooling by halves: in each half-cooling time the difference to the surroundings halves.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HalfCooling(pub Minutes);

impl HalfCooling {
    /// From two thermometer readings some time apart.
    ///
    /// # Errors
    /// When the second reading does not lie between the first and the surroundings, or the time is
    /// not above zero.
    pub fn fit(
        first: Celsius,
        second: Celsius,
        apart: Minutes,
        around: Celsius,
    ) -> Result<HalfCooling, TradeError> {
        within(
            "time between the readings",
            apart.0,
            1.0,
            60.0 * 24.0 * 14.0,
            "minutes",
        )?;
        let fraction = remaining(first, around, second)?;
        if fraction == 1.0 {
            return Err(TradeError::not_allowed(
                "second reading",
                second,
                "different from the first",
            ));
        }
        Ok(HalfCooling(Minutes(apart.0 * 2_f64.ln() / -fraction.ln())))
    }

    /// The half-cooling time of one egg as a lump: `ln 2 · m·c/(h·A)`.
    ///
    /// # Errors
    /// When no bird can lay an egg of that weight.
    pub fn of(
        species: Species,
        mass: Grams,
        surroundings: Surroundings,
    ) -> Result<Range<HalfCooling>, TradeError> {
        let egg = Egg::new(species, mass)?;
        let area = super::body::surface_area(mass)? * 1e-4;
        let half =
            |h: f64| HalfCooling(Minutes(2_f64.ln() * egg.heat_capacity / (h * area) / 60.0));
        let h = surroundings.coefficient();
        Ok(Range {
            low: half(h.high),
            likely: half(h.likely),
            high: half(h.low),
        })
    }

    /// The temperature after a time.
    pub fn after(&self, start: Celsius, around: Celsius, time: Minutes) -> Celsius {
        Celsius(around.0 + (start.0 - around.0) * 2_f64.powf(-time.0 / self.0.0))
    }

    /// The time to a temperature.
    ///
    /// # Errors
    /// When it is never reached.
    pub fn time_to(
        &self,
        start: Celsius,
        around: Celsius,
        target: Celsius,
    ) -> Result<Minutes, TradeError> {
        Ok(Minutes(
            -remaining(start, around, target)?.log2() * self.0.0,
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn f(fahrenheit: f64) -> Celsius {
        Celsius::from_fahrenheit(fahrenheit)
    }

    #[test]
    fn halves() {
        let half = HalfCooling(Minutes(60.0));
        for (hours, expected) in [(1.0, 62.5), (2.0, 51.25), (3.0, 45.625), (5.0, 41.40625)] {
            let got = half
                .after(f(85.0), f(40.0), Minutes::from_hours(hours))
                .fahrenheit();
            assert!((got - expected).abs() < 1e-9, "{hours} h: {got}");
        }
        let to = |start: f64| half.time_to(f(start), f(40.0), f(45.0)).unwrap().hours();
        assert!((to(85.0) - 3.17).abs() < 0.005);
        assert!((to(70.0) - 2.58).abs() < 0.005);
        assert!((to(98.0) - 3.54).abs() < 0.005);
        let never = half.time_to(f(85.0), f(45.0), f(45.0)).unwrap_err();
        assert!(never.to_string().contains("target temperature"), "{never}");
        let fitted = HalfCooling::fit(f(85.0), f(62.5), Minutes(60.0), f(40.0)).unwrap();
        assert!((fitted.0.0 - 60.0).abs() < 1e-9);
        assert!(HalfCooling::fit(f(85.0), f(85.0), Minutes(60.0), f(40.0)).is_err());
    }

    #[test]
    fn a_loose_egg_halves_in_half_an_hour_to_an_hour() {
        let half = HalfCooling::of(Species::Hen, Grams(60.0), Surroundings::Loose).unwrap();
        assert!((half.high.0.0 - 64.0).abs() < 1.5, "{:?}", half);
        assert!((half.low.0.0 - 32.0).abs() < 1.0, "{:?}", half);
    }

    #[test]
    fn a_fresh_egg_takes_the_temperature_of_the_nest_in_hours() {
        let stay = |minutes| Stay::exactly(Surroundings::Nest, Celsius(20.0), minutes);
        let at = |minutes| {
            estimate(Species::Hen, Grams(60.0), LAID, &[stay(minutes)])
                .unwrap()
                .value
        };
        let (now, hour, day) = (at(0.0), at(60.0), at(1440.0));
        assert_eq!(now.likely, LAID.likely);
        assert!(hour.low < hour.likely && hour.likely < hour.high);
        assert!(hour.likely.0 > 25.0 && hour.likely.0 < 38.0, "{hour:?}");
        assert!((day.likely.0 - 20.0).abs() < 0.1, "{day:?}");
        assert!(day.high.0 - day.low.0 <= 2.2, "{day:?}");
    }

    #[test]
    fn bulk_packs_cool_as_slowly_as_published() {
        let hours = |s| {
            let found = time_to_reach(Species::Hen, Grams(60.0), f(85.0), s, f(40.0), f(45.0));
            let v = found.unwrap().value;
            (v.low.hours(), v.high.hours())
        };
        let (low, high) = hours(Surroundings::Basket);
        assert!(low < 10.0 && 10.0 < high, "{low} {high}");
        let (low, high) = hours(Surroundings::VentedCase);
        assert!(low < 22.0 && 28.0 < high, "{low} {high}");
        let (low, _) = hours(Surroundings::ClosedCase);
        assert!(low > 36.0, "{low}");
    }

    #[test]
    fn the_time_is_that_of_the_centre() {
        let (start, around, target) = (Celsius(30.0), Celsius(4.0), Celsius(7.0));
        let water = Surroundings::Water;
        let found = time_to_reach(Species::Hen, Grams(60.0), start, water, around, target);
        let egg = Egg::new(Species::Hen, Grams(60.0)).unwrap();
        let fourier = egg.fourier(found.unwrap().value.likely);
        let left = ratio(At::Centre, egg.biot(water.coefficient().likely), fourier);
        assert!((left - 3.0 / 26.0).abs() < 1e-6, "{left}");
    }

    #[test]
    fn the_range_keeps_what_is_uncertain_of_the_place() {
        let stay = Stay {
            give_or_take: 3.0,
            ..Stay::exactly(Surroundings::Tray, Celsius(18.0), 10_000.0)
        };
        let found = estimate(Species::Hen, Grams(60.0), LAID, &[stay])
            .unwrap()
            .value;
        for (got, expected) in [(found.low, 15.0), (found.likely, 18.0), (found.high, 21.0)] {
            assert!((got.0 - expected).abs() < 0.01, "{found:?}");
        }
        let short = Stay {
            at_least: Minutes(10.0),
            at_most: Minutes(60.0),
            ..stay
        };
        let one = |m: f64| {
            let stay = Stay {
                at_least: Minutes(m),
                at_most: Minutes(m),
                ..stay
            };
            estimate(Species::Hen, Grams(60.0), LAID, &[stay])
                .unwrap()
                .value
        };
        let wide = estimate(Species::Hen, Grams(60.0), LAID, &[short])
            .unwrap()
            .value;
        assert!(wide.low == one(60.0).low && wide.high == one(10.0).high);
    }
}
