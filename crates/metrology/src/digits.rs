//! Preference for the last digits 0 and 5.
//!
//! May be used on readings whose last digit was estimated between the marks: if it was, all ten digits come up alike.
//! Too many 0 and 5 mean that the burette was read to half a division, whatever was written, and the resolution entered
//! should be that. Not for digital readings, nor where the graduation itself ends in 0 or 5, nor for differences.
//!
//! Source: binomial and chi-square tests; the application to burette readings is our own.

use crate::quantiles::{binomial_upper_tail, chi_square_upper_tail};
use thiserror::Error;

/// Why last digits could not be tested.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum DigitsError {
    /// Not a digit.
    #[error("last digit {} is {digit}, expected 0 to 9", index + 1)]
    NotADigit {
        /// Position, counted from 0.
        index: usize,
        /// What stood there.
        digit: u8,
    },
}

/// How often each last digit came up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LastDigits {
    /// Count of each digit from 0 to 9.
    pub counts: [u32; 10],
}

/// Readings needed for the chi-square test: an expected count of five of each digit (common practice).
const CHI_SQUARE_LEAST: u32 = 50;

impl LastDigits {
    /// Counts last digits.
    ///
    /// # Errors
    /// [`DigitsError::NotADigit`] for a number above nine.
    ///
    /// ```
    /// let digits = metrology::digits::LastDigits::count([0, 5, 0, 2, 5, 0])?;
    /// assert_eq!((digits.n(), digits.zeros_and_fives()), (6, 5));
    /// # Ok::<(), metrology::digits::DigitsError>(())
    /// ```
    pub fn count(digits: impl IntoIterator<Item = u8>) -> Result<Self, DigitsError> {
        let mut counts = [0_u32; 10];
        for (index, digit) in digits.into_iter().enumerate() {
            let count = counts
                .get_mut(usize::from(digit))
                .ok_or(DigitsError::NotADigit { index, digit })?;
            *count = count.saturating_add(1);
        }
        Ok(LastDigits { counts })
    }

    /// Number of readings.
    #[must_use]
    pub fn n(&self) -> u32 {
        self.counts
            .iter()
            .fold(0, |sum: u32, c| sum.saturating_add(*c))
    }

    /// Number of readings that end in 0 or 5.
    #[must_use]
    pub fn zeros_and_fives(&self) -> u32 {
        self.counts[0].saturating_add(self.counts[5])
    }

    /// Chance of so many 0 and 5 if all digits come up alike (binomial with one in five; one-sided); 1 without readings.
    #[must_use]
    pub fn p_zeros_and_fives(&self) -> f64 {
        binomial_upper_tail(self.zeros_and_fives(), self.n(), 0.2)
    }

    /// Chi-square of all ten digits against equal counts with its p-value (9 degrees of freedom); `None` below 50
    /// readings, where the test is not to be trusted.
    #[must_use]
    pub fn chi_square(&self) -> Option<(f64, f64)> {
        let n = self.n();
        if n < CHI_SQUARE_LEAST {
            return None;
        }
        let expected = f64::from(n) / 10.0;
        let chi_square = self
            .counts
            .iter()
            .map(|c| (f64::from(*c) - expected).powi(2) / expected)
            .sum();
        Some((chi_square, chi_square_upper_tail(chi_square, 9.0)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with(zeros_and_fives: usize, n: usize) -> LastDigits {
        let digits = (0..n).map(|i| match i {
            i if i >= zeros_and_fives => 3,
            i if i % 2 == 0 => 0,
            _ => 5,
        });
        LastDigits::count(digits).unwrap()
    }

    #[test]
    fn twelve_of_thirty_and_fifteen_of_forty_pass_one_per_cent() {
        assert!(with(12, 30).p_zeros_and_fives() < 0.01 && with(11, 30).p_zeros_and_fives() > 0.01);
        assert!(with(15, 40).p_zeros_and_fives() < 0.01 && with(14, 40).p_zeros_and_fives() > 0.01);
    }

    #[test]
    fn small_numbers_agree_with_counting() {
        // Three readings: 0.2^3, and 1 - 0.8^3.
        assert!((with(3, 3).p_zeros_and_fives() - 0.008).abs() < 1e-15);
        assert!((with(1, 3).p_zeros_and_fives() - 0.488).abs() < 1e-14);
        assert!((with(0, 3).p_zeros_and_fives() - 1.0).abs() < 1e-15);
        assert!((with(0, 0).p_zeros_and_fives() - 1.0).abs() < 1e-15);
    }

    #[test]
    fn chi_square_wants_enough_readings() {
        assert_eq!(with(10, 49).chi_square(), None);
        let even = LastDigits::count((0..100).map(|i| i % 10)).unwrap();
        assert!(
            even.chi_square()
                .is_some_and(|(x, p)| x.abs() < 1e-12 && (p - 1.0).abs() < 1e-12)
        );
        assert!(with(40, 100).chi_square().is_some_and(|(_, p)| p < 1e-6));
    }

    #[test]
    fn eleven_is_no_digit() {
        let e = LastDigits::count([1, 11]).unwrap_err();
        assert_eq!(e.to_string(), "last digit 2 is 11, expected 0 to 9");
    }
}
