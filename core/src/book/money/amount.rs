use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Neg, Sub};
use std::str::FromStr;

use serde::{Serialize, Serializer};

/// An exact amount of money in thousandths of the currency's unit: what a record can hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Amount(i128);

/// A text that is no amount.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} is no amount; allowed is an amount such as 4.50, with at most three decimals")]
pub struct AmountError(String);

impl Amount {
    /// Nothing.
    pub const ZERO: Amount = Amount(0);

    /// So many thousandths.
    pub const fn thousandths(n: i64) -> Amount {
        Amount(n as i128)
    }

    /// The amount times `by` over `of`, rounded to hundredths, halves away from zero; nothing for
    /// an `of` of 0.
    pub fn share(self, by: u64, of: u64) -> Option<Amount> {
        if of == 0 {
            return None;
        }
        let (n, d) = (self.0 * i128::from(by), i128::from(of) * 10);
        // Half of an odd number is not whole, so both sides are doubled.
        let hundredths = (2 * n.abs() + d) / (2 * d);
        Some(Amount(hundredths * 10 * n.signum()))
    }
}

impl FromStr for Amount {
    type Err = AmountError;
    fn from_str(text: &str) -> Result<Amount, AmountError> {
        let wrong = || AmountError(text.chars().take(40).collect());
        let (units, decimals) = text.split_once('.').unwrap_or((text, ""));
        let digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
        let fits = !units.is_empty() && units.len() <= 15 && decimals.len() <= 3;
        if !fits || !digits(units) || !digits(decimals) || text.ends_with('.') {
            return Err(wrong());
        }
        let whole: i128 = units.parse().map_err(|_| wrong())?;
        let part: i128 = format!("{decimals:0<3}").parse().map_err(|_| wrong())?;
        Ok(Amount(whole * 1000 + part))
    }
}

impl fmt::Display for Amount {
    /// With two decimals, or three where they are needed.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        let (units, part) = (self.0.abs() / 1000, self.0.abs() % 1000);
        if part % 10 == 0 {
            write!(f, "{sign}{units}.{:02}", part / 10)
        } else {
            write!(f, "{sign}{units}.{part:03}")
        }
    }
}

impl Serialize for Amount {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_str(self)
    }
}

impl Add for Amount {
    type Output = Amount;
    fn add(self, other: Amount) -> Amount {
        Amount(self.0.saturating_add(other.0))
    }
}

impl Sub for Amount {
    type Output = Amount;
    fn sub(self, other: Amount) -> Amount {
        Amount(self.0.saturating_sub(other.0))
    }
}

impl Neg for Amount {
    type Output = Amount;
    fn neg(self) -> Amount {
        Amount(-self.0)
    }
}

impl AddAssign for Amount {
    fn add_assign(&mut self, other: Amount) {
        *self = *self + other;
    }
}

impl Sum for Amount {
    fn sum<I: Iterator<Item = Amount>>(all: I) -> Amount {
        all.fold(Amount::ZERO, Add::add)
    }
}
