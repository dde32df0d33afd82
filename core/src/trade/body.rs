//! An egg as a body: its surface, density, heat capacity and conductivity, from its weight.

use serde::{Deserialize, Serialize};

use super::error::{TradeError, within};
use super::size::egg_mass;
use super::species::Species;
use super::units::{Celsius, Grams, Minutes};

/// Specific heat of egg shell, J/(kg·K); from memory.
const SHELL_SPECIFIC_HEAT: f64 = 900.0;
/// Share of the shell in the weight of an egg: 9.5 % in hens (food-science chapter), 9–11 % in
/// ducks.
const SHELL_SHARE: f64 = 0.10;
/// Conductivity of the contents in W/(m·K), computed by the parallel model from the composition.
pub const CONDUCTIVITY: f64 = 0.516;

/// The composition of egg contents in percent by mass.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Composition {
    /// Water.
    pub water: f64,
    /// Protein.
    pub protein: f64,
    /// Fat.
    pub fat: f64,
    /// Carbohydrate.
    pub carbohydrate: f64,
    /// Ash.
    pub ash: f64,
}

impl Composition {
    /// Whole contents of the species' eggs, from memory of the USDA nutrient tables. Guinea fowl
    /// are taken as hens.
    pub const fn of(species: Species) -> Composition {
        let (water, protein, fat, carbohydrate, ash) = match species {
            Species::Hen | Species::Guinea => (76.15, 12.56, 9.51, 0.72, 1.06),
            Species::Duck => (70.83, 12.81, 13.77, 1.45, 1.14),
            Species::Goose => (70.43, 13.87, 13.27, 1.35, 1.08),
            Species::Turkey => (72.50, 13.68, 11.88, 1.15, 0.79),
            Species::Quail => (74.35, 13.05, 11.09, 0.41, 1.10),
        };
        Composition {
            water,
            protein,
            fat,
            carbohydrate,
            ash,
        }
    }

    /// Specific heat in J/(kg·K) at a temperature, by the Choi–Okos model as the refrigeration
    /// handbook prints it (from memory).
    ///
    /// # Errors
    /// When the temperature is not 0 to 60 °C (below, water freezes; above, the egg cooks).
    pub fn specific_heat(&self, at: Celsius) -> Result<f64, TradeError> {
        let t = within("egg temperature", at.0, 0.0, 60.0, "°C")?;
        let polynomial = |a: f64, b: f64, c: f64| a + b * t + c * t * t;
        let sum = self.water * polynomial(4.1289, -9.0864e-5, 5.4731e-6)
            + self.protein * polynomial(2.0082, 1.2089e-3, -1.3129e-6)
            + self.fat * polynomial(1.9842, 1.4733e-3, -4.8008e-6)
            + self.carbohydrate * polynomial(1.5488, 1.9625e-3, -5.9399e-6)
            + self.ash * polynomial(1.0926, 1.8896e-3, -3.6817e-6);
        Ok(sum * 10.0)
    }
}

/// The surface of an egg in cm²: 4.835·W^0.662 (The Condor 76:319–325, coefficients from memory).
///
/// # Errors
/// When no bird can lay an egg of that weight.
pub fn surface_area(mass: Grams) -> Result<f64, TradeError> {
    Ok(4.835 * egg_mass(mass)?.0.powf(0.662))
}

/// The density of an egg in g/cm³: 1.038·W^0.006 (the same, an average over many species; a fresh
/// hen's egg is denser, 1.09).
///
/// # Errors
/// When no bird can lay an egg of that weight.
pub fn density(mass: Grams) -> Result<f64, TradeError> {
    Ok(1.038 * egg_mass(mass)?.0.powf(0.006))
}

/// The weight of the shell: 0.0482·W^1.132 g (the same).
///
/// # Errors
/// When no bird can lay an egg of that weight.
pub fn shell_mass(mass: Grams) -> Result<Grams, TradeError> {
    Ok(Grams(0.0482 * egg_mass(mass)?.0.powf(1.132)))
}

/// The diameter in mm of one round spot that covers a share of the shell: an aid for judging
/// stains of 1/32 and 1/16.
///
/// # Errors
/// When the share is not 0 to 1 or no bird can lay an egg of that weight.
pub fn spot_diameter(mass: Grams, share: f64) -> Result<f64, TradeError> {
    within("share of the surface", share, 0.0, 1.0, "(share)")?;
    let area = share * surface_area(mass)? * 100.0;
    Ok(2.0 * (area / std::f64::consts::PI).sqrt())
}

/// An egg as a sphere of the same volume.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Egg {
    /// Its weight.
    pub mass: Grams,
    /// Radius of the sphere in metres.
    pub radius: f64,
    /// Heat capacity of the whole egg in J/K.
    pub heat_capacity: f64,
    /// Thermal diffusivity in m²/s.
    pub diffusivity: f64,
}

impl Egg {
    /// The egg of a species with this weight.
    ///
    /// # Errors
    /// When no bird can lay an egg of that weight.
    pub fn new(species: Species, mass: Grams) -> Result<Egg, TradeError> {
        let density = density(mass)? * 1000.0;
        let contents = Composition::of(species).specific_heat(Celsius(20.0))?;
        let specific_heat = (1.0 - SHELL_SHARE) * contents + SHELL_SHARE * SHELL_SPECIFIC_HEAT;
        let kilograms = mass.0 / 1000.0;
        let volume = kilograms / density;
        Ok(Egg {
            mass,
            radius: (volume * 3.0 / (4.0 * std::f64::consts::PI)).cbrt(),
            heat_capacity: kilograms * specific_heat,
            diffusivity: CONDUCTIVITY / (density * specific_heat),
        })
    }

    /// The usual egg of a species: hen 60 g, duck 70 g, goose 150 g, turkey 85 g, guinea 45 g,
    /// quail 10 g (trade figures; weigh your own).
    pub fn usual_mass(species: Species) -> Grams {
        Grams(match species {
            Species::Hen => 60.0,
            Species::Duck => 70.0,
            Species::Goose => 150.0,
            Species::Turkey => 85.0,
            Species::Guinea => 45.0,
            Species::Quail => 10.0,
        })
    }

    /// Biot number at a surface coefficient in W/(m²·K), on the radius.
    pub fn biot(&self, coefficient: f64) -> f64 {
        coefficient * self.radius / CONDUCTIVITY
    }

    /// Fourier number after a time.
    pub fn fourier(&self, time: Minutes) -> f64 {
        self.diffusivity * time.seconds() / (self.radius * self.radius)
    }

    /// The time that belongs to a Fourier number.
    pub fn time(&self, fourier: f64) -> Minutes {
        Minutes(fourier * self.radius * self.radius / self.diffusivity / 60.0)
    }

    /// Whether the egg may be taken as of one temperature throughout: radius/3 as length, Biot
    /// number at most 0.1.
    pub fn is_lumped(&self, coefficient: f64) -> bool {
        self.biot(coefficient) / 3.0 <= 0.1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_usual_egg_is_about_what_the_handbooks_say() {
        let egg = Egg::new(Species::Hen, Grams(60.0)).unwrap();
        let specific_heat = egg.heat_capacity / 0.060;
        assert!((specific_heat - 3360.0).abs() < 40.0, "{specific_heat}");
        assert!((egg.radius - 0.0238).abs() < 0.0002, "{}", egg.radius);
        assert!(
            (egg.diffusivity - 1.44e-7).abs() < 0.03e-7,
            "{}",
            egg.diffusivity
        );
        assert!(egg.is_lumped(5.0) && !egg.is_lumped(10.0));
        assert!(Egg::new(Species::Hen, Grams(0.0)).is_err());
    }

    #[test]
    fn a_thirty_second_of_the_shell_is_a_spot_of_17_mm() {
        let cases = [(50.0, 16.0, 22.6), (60.0, 17.0, 24.1), (70.0, 17.9, 25.3)];
        for (mass, small, large) in cases {
            assert!((spot_diameter(Grams(mass), 1.0 / 32.0).unwrap() - small).abs() < 0.06);
            assert!((spot_diameter(Grams(mass), 1.0 / 16.0).unwrap() - large).abs() < 0.06);
        }
    }

    #[test]
    fn the_laws_of_shape_give_the_values_worked_out_apart() {
        for (mass, area, dense, shell) in [
            (10.0, 22.20, 1.052, 0.65),
            (45.0, 60.09, 1.062, 3.58),
            (60.0, 72.70, 1.064, 4.96),
            (150.0, 133.34, 1.070, 14.01),
        ] {
            assert!(
                (surface_area(Grams(mass)).unwrap() - area).abs() < 0.006,
                "{mass}"
            );
            assert!(
                (density(Grams(mass)).unwrap() - dense).abs() < 0.0006,
                "{mass}"
            );
            assert!(
                (shell_mass(Grams(mass)).unwrap().0 - shell).abs() < 0.006,
                "{mass}"
            );
        }
    }
}
