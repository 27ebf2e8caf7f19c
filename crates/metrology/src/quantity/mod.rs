//! Quantities: a number with a unit, dimension-checked.
//!
//! Inside the crate every value is held in the coherent system cm, g, s, K, mol, A, eq, in which the bench's
//! commonest units (mL, g, mol, g/mL, g/mol) have the factor 1 and readings stay the numbers that were written.

mod dimension;
mod number;
mod unit;

pub use dimension::Dimension;
pub use number::{DecimalNumber, NumberError};
pub use unit::{Unit, UnitError};

use serde::{Deserialize, Serialize};
use std::{fmt, str::FromStr};

/// A value with its unit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Quantity {
    /// Numerical value in `unit`.
    pub value: f64,
    /// The unit.
    pub unit: Unit,
}

impl Quantity {
    /// A quantity from a value and a unit.
    pub fn new(value: f64, unit: Unit) -> Self {
        Self { value, unit }
    }

    /// The dimensionless number `value`.
    pub fn number(value: f64) -> Self {
        Self::new(value, Unit::one())
    }

    /// Value in the coherent system (cm, g, s, K, mol, A, eq).
    pub fn coherent(&self) -> f64 {
        self.unit.to_coherent(self.value)
    }

    /// The same quantity expressed in another unit.
    ///
    /// # Errors
    /// [`QuantityError::Dimension`] if the dimensions differ; both are named.
    pub fn to(&self, unit: &Unit) -> Result<Self, QuantityError> {
        if unit.dimension() != self.unit.dimension() {
            return Err(QuantityError::Dimension {
                given: self.unit.to_string(),
                given_is: self.unit.dimension().to_string(),
                wanted: unit.to_string(),
                wanted_is: unit.dimension().to_string(),
            });
        }
        Ok(Self::new(unit.from_coherent(self.coherent()), unit.clone()))
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.value)?;
        if self.unit.symbol() != "1" {
            write!(f, " {}", self.unit)?;
        }
        Ok(())
    }
}

/// A quantity as a person wrote it: the decimals count.
///
/// # Example
/// ```
/// use metrology::WrittenQuantity;
/// let reading: WrittenQuantity = "18,60 mL".parse().unwrap();
/// assert_eq!(reading.number.value(), 18.6);
/// assert_eq!(reading.number.decimals(), 2);
/// assert_eq!(reading.to_string(), "18.60 mL");
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct WrittenQuantity {
    /// The number with its decimals.
    pub number: DecimalNumber,
    /// The unit; `1` if none was written.
    pub unit: Unit,
}

impl WrittenQuantity {
    /// The value without the memory of its decimals.
    pub fn quantity(&self) -> Quantity {
        Quantity::new(self.number.value(), self.unit.clone())
    }

    /// The value in `unit`, as a plain number.
    ///
    /// # Errors
    /// [`QuantityError::Dimension`] if the dimensions differ.
    pub fn value_in(&self, unit: &Unit) -> Result<f64, QuantityError> {
        Ok(self.quantity().to(unit)?.value)
    }

    /// One step of the last digit written, in the written unit.
    pub fn step(&self) -> f64 {
        self.number.step()
    }
}

impl FromStr for WrittenQuantity {
    type Err = QuantityError;

    fn from_str(text: &str) -> Result<Self, QuantityError> {
        let text = text.trim();
        let (number, rest) = DecimalNumber::parse_prefix(text)?;
        let unit = match rest.trim() {
            "" => Unit::one(),
            unit => unit.parse()?,
        };
        Ok(Self { number, unit })
    }
}

impl fmt::Display for WrittenQuantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.number)?;
        if self.unit.symbol() != "1" {
            write!(f, " {}", self.unit)?;
        }
        Ok(())
    }
}

impl Serialize for WrittenQuantity {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for WrittenQuantity {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

/// What can be wrong with a quantity.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum QuantityError {
    /// The number could not be read.
    #[error(transparent)]
    Number(#[from] NumberError),
    /// The unit could not be read.
    #[error(transparent)]
    Unit(#[from] UnitError),
    /// The unit measures something else than was asked for.
    #[error("{given} is {given_is}, but {wanted} ({wanted_is}) was expected")]
    Dimension {
        /// The unit given.
        given: String,
        /// What it measures.
        given_is: String,
        /// The unit wanted.
        wanted: String,
        /// What that measures.
        wanted_is: String,
    },
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn written_decimals_are_kept() {
        let a: WrittenQuantity = "18.60 mL".parse().unwrap();
        let b: WrittenQuantity = "18.6 mL".parse().unwrap();
        assert_ne!(a, b);
        assert_eq!(a.quantity(), b.quantity());
        assert!((a.step() - 0.01).abs() < 1e-17 && (b.step() - 0.1).abs() < 1e-17);
    }

    #[test]
    fn a_wrong_dimension_names_both_sides() {
        let mass: WrittenQuantity = "0.3888 g".parse().unwrap();
        let error = mass.value_in(&"mL".parse().unwrap()).unwrap_err();
        assert_eq!(
            error.to_string(),
            "g is a mass, but mL (a volume) was expected"
        );
    }

    #[test]
    fn celsius_converts_with_its_offset() {
        let t: WrittenQuantity = "20 degC".parse().unwrap();
        assert!((t.value_in(&"K".parse().unwrap()).unwrap() - 293.15).abs() < 1e-12);
    }
}
