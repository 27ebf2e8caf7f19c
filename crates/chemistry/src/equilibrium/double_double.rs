//! Numbers of about 32 digits as unevaluated sums of two doubles, for balances in which a trace hangs on the difference of two
//! large amounts.
//!
//! Source: Dekker, Numer. Math. 18 (1971) 224; Knuth, The Art of Computer Programming 2, 4.2.2 (error-free sum and product).

use std::ops::{Add, Div, Mul, Sub};

/// What the elimination needs of a number.
pub(crate) trait Number:
    Copy
    + PartialOrd
    + From<f64>
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
{
    /// Rounded to a double.
    fn rounded(self) -> f64;
}

impl Number for f64 {
    #[inline]
    fn rounded(self) -> f64 {
        self
    }
}

/// `high + low` with `|low|` at most half a unit in the last place of `high`.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub(crate) struct DoubleDouble {
    high: f64,
    low: f64,
}

impl From<f64> for DoubleDouble {
    fn from(high: f64) -> Self {
        Self { high, low: 0.0 }
    }
}

impl Number for DoubleDouble {
    fn rounded(self) -> f64 {
        self.high + self.low
    }
}

/// Sum and its rounding error.
fn two_sum(a: f64, b: f64) -> (f64, f64) {
    let sum = a + b;
    let part = sum - a;
    (sum, (a - (sum - part)) + (b - part))
}

/// Product and its rounding error.
fn two_product(a: f64, b: f64) -> (f64, f64) {
    let split = |x: f64| {
        let scaled = 134_217_729.0 * x;
        let high = scaled - (scaled - x);
        (high, x - high)
    };
    let product = a * b;
    let ((a1, a2), (b1, b2)) = (split(a), split(b));
    (
        product,
        a2 * b2 - (((product - a1 * b1) - a2 * b1) - a1 * b2),
    )
}

fn renormalised(high: f64, low: f64) -> DoubleDouble {
    let sum = high + low;
    DoubleDouble {
        high: sum,
        low: low - (sum - high),
    }
}

impl Add for DoubleDouble {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        let (high, error) = two_sum(self.high, other.high);
        let (low, error_low) = two_sum(self.low, other.low);
        let first = renormalised(high, error + low);
        renormalised(first.high, first.low + error_low)
    }
}

impl Sub for DoubleDouble {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        self + Self {
            high: -other.high,
            low: -other.low,
        }
    }
}

impl Mul for DoubleDouble {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        let (high, error) = two_product(self.high, other.high);
        renormalised(
            high,
            error + (self.high * other.low + self.low * other.high),
        )
    }
}

impl Div for DoubleDouble {
    type Output = Self;
    fn div(self, other: Self) -> Self {
        let first = self.high / other.high;
        let rest = self - other * Self::from(first);
        let second = rest.high / other.high;
        let rest = rest - other * Self::from(second);
        renormalised(first, second) + Self::from(rest.high / other.high)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_parts_survive_next_to_large_ones() {
        let number = DoubleDouble::from(1.0) + DoubleDouble::from(1e-25);
        assert!(((number - DoubleDouble::from(1.0)).rounded() / 1e-25 - 1.0).abs() < 1e-6);
        let third = DoubleDouble::from(1.0) / DoubleDouble::from(3.0);
        let rest = (third * DoubleDouble::from(3.0) - DoubleDouble::from(1.0)).rounded();
        assert!(rest.abs() < 1e-31, "{rest:e}");
        let square = DoubleDouble::from(0.1) * DoubleDouble::from(0.1);
        // 0.1 as a double is 0.1000000000000000055511151231257827; its square minus 0.01 as a double
        assert!(
            ((square - DoubleDouble::from(0.01)).rounded() / 9.020_562_075_079_397e-19 - 1.0).abs()
                < 1e-12
        );
    }
}
