//! Dimensions as exponents of seven base quantities.

use std::fmt;
use std::ops::{Div, Mul};

/// Exponents of length, mass, time, temperature, amount of substance, electric current and chemical equivalents.
///
/// Equivalents are a base of their own: "meq" becomes "mmol" only through the reaction that defines it, so that
/// a normality is never taken for an amount concentration.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
pub struct Dimension(pub(crate) [i8; 7]);

/// Names that people use for the common dimensions.
const NAMES: &[([i8; 7], &str)] = &[
    ([0, 0, 0, 0, 0, 0, 0], "a number"),
    ([1, 0, 0, 0, 0, 0, 0], "a length"),
    ([3, 0, 0, 0, 0, 0, 0], "a volume"),
    ([0, 1, 0, 0, 0, 0, 0], "a mass"),
    ([0, 0, 1, 0, 0, 0, 0], "a time"),
    ([0, 0, 0, 1, 0, 0, 0], "a temperature"),
    ([0, 0, 0, -1, 0, 0, 0], "a coefficient per kelvin"),
    ([0, 0, 0, 0, 1, 0, 0], "an amount of substance"),
    ([0, 0, 0, 0, 0, 1, 0], "an electric current"),
    ([0, 0, 0, 0, 0, 0, 1], "an amount of equivalents"),
    ([-3, 0, 0, 0, 1, 0, 0], "an amount concentration"),
    ([-3, 0, 0, 0, 0, 0, 1], "an equivalent concentration"),
    ([-3, 1, 0, 0, 0, 0, 0], "a mass concentration or density"),
    ([0, 1, 0, 0, -1, 0, 0], "a molar mass"),
    ([0, -1, 0, 0, 1, 0, 0], "an amount per mass"),
    ([0, -1, 0, 0, 0, 0, 1], "equivalents per mass"),
    ([-1, 1, -2, 0, 0, 0, 0], "a pressure"),
    ([2, 1, -3, 0, 0, -1, 0], "an electric potential"),
];

const BASE: [&str; 7] = ["cm", "g", "s", "K", "mol", "A", "eq"];

impl Dimension {
    /// The dimension of a pure number.
    pub const NUMBER: Self = Self([0; 7]);

    /// The dimension raised to a whole power; `None` beyond the range of the exponents.
    pub fn power(self, n: i32) -> Option<Self> {
        let mut out = [0; 7];
        for (o, e) in out.iter_mut().zip(self.0) {
            *o = i8::try_from(i32::from(e).checked_mul(n)?).ok()?;
        }
        Some(Self(out))
    }

    /// The square root; `None` if an exponent is odd.
    pub fn square_root(self) -> Option<Self> {
        self.0
            .iter()
            .all(|e| e % 2 == 0)
            .then(|| Self(self.0.map(|e| e / 2)))
    }

    /// The unit of the coherent system for this dimension, in words such as `cm^-3 mol`.
    pub fn coherent_symbol(self) -> String {
        let mut parts = Vec::new();
        for (e, base) in self.0.iter().zip(BASE) {
            match e {
                0 => {}
                1 => parts.push(base.to_string()),
                e => parts.push(format!("{base}^{e}")),
            }
        }
        if parts.is_empty() {
            "1".to_string()
        } else {
            parts.join("·")
        }
    }

    fn combine(self, other: Self, sign: i8) -> Self {
        let mut out = self.0;
        for (o, e) in out.iter_mut().zip(other.0) {
            *o = o.saturating_add(e.saturating_mul(sign));
        }
        Self(out)
    }
}

impl Mul for Dimension {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        self.combine(other, 1)
    }
}

impl Div for Dimension {
    type Output = Self;
    fn div(self, other: Self) -> Self {
        self.combine(other, -1)
    }
}

impl fmt::Display for Dimension {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match NAMES.iter().find(|(exponents, _)| *exponents == self.0) {
            Some((_, name)) => f.write_str(name),
            None => write!(f, "a quantity in {}", self.coherent_symbol()),
        }
    }
}
