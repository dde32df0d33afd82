//! The Haugh unit: the firmness of the white from its height and the weight of the egg.
//!
//! Two forms are in print and differ by 0.2 to 0.5 unit in the usual range; a result has to say
//! which was used.

use serde::{Deserialize, Serialize};

use super::error::{TradeError, within};
use super::size::egg_mass;
use super::units::{Grams, Millimetres};

/// Which printed form of the formula.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HaughForm {
    /// `100·log10(h − 1.7·w^0.37 + 7.6)`, the usual one.
    Short,
    /// `100·log10(h − √32.2·(30·w^0.37 − 100)/100 + 1.9)`, the original.
    Original,
}

/// The Haugh unit of an egg of hens with a thick white of height `height`. `None` where the
/// logarithm is not defined (a very thin white under a heavy egg).
///
/// # Errors
/// When the height is not 0 to 20 mm or no bird can lay an egg of that weight.
///
/// Source: encyclopaedia and extension pages for the short form and for √G = 5.6745.
pub fn haugh(form: HaughForm, height: Millimetres, mass: Grams) -> Result<Option<f64>, TradeError> {
    within("height of the white", height.0, 0.0, 20.0, "mm")?;
    egg_mass(mass)?;
    let power = mass.0.powf(0.37);
    let argument = match form {
        HaughForm::Short => height.0 - 1.7 * power + 7.6,
        HaughForm::Original => height.0 - 32.2_f64.sqrt() * (30.0 * power - 100.0) / 100.0 + 1.9,
    };
    Ok((argument > 0.0).then(|| 100.0 * argument.log10()))
}

/// The height of white that gives a Haugh unit, by the short form.
///
/// # Errors
/// When the unit is not 0 to 130 or no bird can lay an egg of that weight.
pub fn height_for(unit: f64, mass: Grams) -> Result<Millimetres, TradeError> {
    within("Haugh unit", unit, 0.0, 130.0, "HU")?;
    egg_mass(mass)?;
    Ok(Millimetres(
        10_f64.powf(unit / 100.0) + 1.7 * mass.0.powf(0.37) - 7.6,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn short(h: f64, w: f64) -> Option<f64> {
        haugh(HaughForm::Short, Millimetres(h), Grams(w)).unwrap()
    }

    #[test]
    fn the_forms_agree_within_their_known_difference() {
        for h in [4.0, 5.0, 6.0, 7.0, 8.0, 10.0] {
            for w in [50.0, 56.7, 60.0, 70.0, 80.0] {
                let original = haugh(HaughForm::Original, Millimetres(h), Grams(w)).unwrap();
                let difference = short(h, w).unwrap() - original.unwrap();
                assert!(
                    (0.0..0.61).contains(&difference),
                    "{h} mm {w} g: {difference}"
                );
            }
        }
    }

    #[test]
    fn not_defined_is_not_a_number_and_not_an_error() {
        for (w, edge) in [(60.0, 0.13), (70.0, 0.59), (80.0, 1.00), (140.0, 2.98)] {
            assert_eq!(short(edge - 0.01, w), None, "{w} g");
            assert!(short(edge + 0.02, w).is_some(), "{w} g");
        }
        assert!(haugh(HaughForm::Short, Millimetres(-0.1), Grams(60.0)).is_err());
        assert!(haugh(HaughForm::Short, Millimetres(20.1), Grams(60.0)).is_err());
    }

    #[test]
    fn height_is_the_inverse() {
        for unit in [31.0, 60.0, 72.0, 100.0] {
            let h = height_for(unit, Grams(60.0)).unwrap();
            let back = short(h.0, 60.0).unwrap();
            assert!((back - unit).abs() < 1e-9);
        }
    }
}
