//! Rounding for people: a result by its uncertainty, never a digit too many.
//!
//! May be used at the very end and once, for what is read or printed; calculation and records keep all digits.
//! Rounding is done on decimal digits. A binary number stands for the shortest decimal that reads back as it.
//!
//! Source: ISO 80000-1:2009 Annex B for the two tie rules (from memory); GUM 7.2.6 for two significant digits of u and
//! y to the place of u; concise notation as in GUM 7.2.2.

mod decimal;

use decimal::{Decimal, MAX_EXPONENT};
use std::fmt;
use thiserror::Error;

/// Why a number could not be rounded.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum RoundingError {
    /// NaN or infinite.
    #[error("cannot round {value}, expected a finite number")]
    NotFinite {
        /// The value.
        value: f64,
    },
    /// An uncertainty below zero.
    #[error("the uncertainty {uncertainty} is negative, expected zero or more")]
    NegativeUncertainty {
        /// The uncertainty.
        uncertainty: f64,
    },
    /// Text that is not a decimal number.
    #[error("`{text}` is not a decimal number; write it like 18.60, 18,60 or 1.860e1")]
    NotADecimal {
        /// The start of the text.
        text: String,
    },
    /// A count of digits that makes no sense.
    #[error("cannot show {digits} significant digits, expected 1 to 17")]
    Digits {
        /// The count asked for.
        digits: u32,
    },
    /// A decimal place out of all proportion.
    #[error("cannot round to {decimals} decimals, expected -{MAX_EXPONENT} to {MAX_EXPONENT}")]
    Decimals {
        /// The decimals asked for.
        decimals: i32,
    },
}

/// What to do when the part dropped is exactly one half.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Default, Hash, serde::Serialize, serde::Deserialize,
)]
#[serde(rename_all = "kebab-case")]
pub enum TieRule {
    /// To the even last digit: ISO 80000-1 rule A, without bias in a long series.
    #[default]
    HalfEven,
    /// To the greater magnitude: ISO 80000-1 rule B; European Pharmacopoeia (EDQM) and USP 7.20 practice.
    HalfUp,
}

/// A result with its uncertainty, both to the same last place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rounded {
    /// The value: "0.10214"; with a power of ten where digits alone would mislead: "1.235×10^6".
    pub value_text: String,
    /// The uncertainty in the same form: "0.00010"; "0" when it is zero.
    pub uncertainty_text: String,
    /// The uncertainty in units of the last digit, in brackets: "0.10214(10)"; the value alone when u is zero.
    pub concise: String,
    /// Value, sign and uncertainty, ready for a unit: "(0.10214 ± 0.00010)"; the value alone when u is zero.
    pub plus_minus: String,
    /// Power of ten of the last digit of both; `None` when u is zero and the value stands as it is.
    pub last_place: Option<i32>,
}

impl fmt::Display for Rounded {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.concise)
    }
}

/// Digits that a binary64 number can carry.
const CARRIED_DIGITS: i32 = 17;

/// Rounds `u` to `digits` significant digits (two as a rule) and `y` to the same place.
///
/// - An uncertainty that rounds up into a new decade keeps its count of digits: 0.0996 becomes 0.10.
/// - With u = 0 the value is exact and stands as it is, unrounded.
/// - Places that a 64-bit number does not carry are not shown, however small u is; u is then shown as at least one unit
///   of the last place.
///
/// # Errors
/// [`RoundingError::NotFinite`] for NaN or infinite `y` or `u`, [`RoundingError::NegativeUncertainty`],
/// [`RoundingError::Digits`] unless 1 to 17 digits are asked for.
///
/// ```
/// use metrology::rounding::{round_to_uncertainty, TieRule};
/// let c = round_to_uncertainty(0.1021361597, 1.0050072e-4, 2, TieRule::HalfEven)?;
/// assert_eq!(c.concise, "0.10214(10)");
/// assert_eq!(c.plus_minus, "(0.10214 ± 0.00010)");
/// # Ok::<(), metrology::rounding::RoundingError>(())
/// ```
pub fn round_to_uncertainty(
    y: f64,
    u: f64,
    digits: u32,
    tie: TieRule,
) -> Result<Rounded, RoundingError> {
    let digits_shown = checked_digits(digits)?;
    let value = Decimal::from_f64(y)?;
    if u < 0.0 {
        return Err(RoundingError::NegativeUncertainty { uncertainty: u });
    }
    let uncertainty = Decimal::from_f64(u)?;
    let Some(leading) = uncertainty.leading_place() else {
        let value = value.trimmed();
        let text = Form::by_size(value.leading_place()).text(&value);
        return Ok(Rounded {
            value_text: text.clone(),
            uncertainty_text: "0".to_owned(),
            concise: text.clone(),
            plus_minus: text,
            last_place: None,
        });
    };
    let mut place = leading + 1 - digits_shown;
    if let Some(first) = value.leading_place() {
        place = place.max(first + 1 - CARRIED_DIGITS);
    }
    let mut u_rounded = uncertainty.rounded_to(place, tie);
    if u_rounded.leading_place().is_some_and(|l| l > leading) && leading + 1 - digits_shown == place
    {
        // Rolled into a new decade: one place less, from the unrounded number, so that nothing is rounded twice.
        place += 1;
        u_rounded = uncertainty.rounded_to(place, tie);
    }
    if u_rounded.is_zero() {
        u_rounded = Decimal::last_unit(place);
    }
    let y_rounded = value.rounded_to(place, tie);
    let form = Form::of(&y_rounded, &u_rounded);
    let (y_text, u_text) = (form.mantissa(&y_rounded), form.mantissa(&u_rounded));
    let power = form.power_text();
    Ok(Rounded {
        value_text: format!("{y_text}{power}"),
        uncertainty_text: format!("{u_text}{power}"),
        concise: format!("{y_text}({}){power}", u_rounded.whole_text()),
        plus_minus: format!("({y_text} ± {u_text}){power}"),
        last_place: Some(place),
    })
}

/// Rounds a number to `decimals` places after the point (negative: tens, hundreds), written out without power of ten.
///
/// # Errors
/// [`RoundingError::NotFinite`]; [`RoundingError::Decimals`] out of range.
pub fn round_decimal(value: f64, decimals: i32, tie: TieRule) -> Result<String, RoundingError> {
    rounded_text(&Decimal::from_f64(value)?, decimals, tie)
}

/// Rounds a number written as text (point or comma, optional power of ten) to `decimals` places; see [`round_decimal`].
///
/// # Errors
/// [`RoundingError::NotADecimal`]; [`RoundingError::Decimals`] out of range.
pub fn round_decimal_text(
    text: &str,
    decimals: i32,
    tie: TieRule,
) -> Result<String, RoundingError> {
    rounded_text(&Decimal::parse(text)?, decimals, tie)
}

/// [`round_decimal`] with ties to even, ISO 80000-1 rule A.
///
/// # Errors
/// As [`round_decimal`].
///
/// ```
/// use metrology::rounding::round_half_even_decimal;
/// assert_eq!(round_half_even_decimal(12.35, 1)?, "12.4");
/// assert_eq!(round_half_even_decimal(0.125, 2)?, "0.12");
/// # Ok::<(), metrology::rounding::RoundingError>(())
/// ```
pub fn round_half_even_decimal(value: f64, decimals: i32) -> Result<String, RoundingError> {
    round_decimal(value, decimals, TieRule::HalfEven)
}

/// Rounds to a number of significant digits, for figures that carry no uncertainty of their own.
///
/// Very large and very small numbers get a power of ten; trailing zeros are kept as significant.
///
/// # Errors
/// [`RoundingError::NotFinite`]; [`RoundingError::Digits`] unless 1 to 17 digits are asked for.
pub fn round_significant(value: f64, digits: u32, tie: TieRule) -> Result<String, RoundingError> {
    let digits = checked_digits(digits)?;
    let exact = Decimal::from_f64(value)?;
    let Some(leading) = exact.leading_place() else {
        return Ok("0".to_owned());
    };
    let mut rounded = exact.rounded_to(leading + 1 - digits, tie);
    if rounded.leading_place() > Some(leading) {
        rounded = exact.rounded_to(leading + 2 - digits, tie);
    }
    Ok(Form::of(&rounded, &rounded).text(&rounded))
}

fn checked_digits(digits: u32) -> Result<i32, RoundingError> {
    i32::try_from(digits)
        .ok()
        .filter(|d| (1..=CARRIED_DIGITS).contains(d))
        .ok_or(RoundingError::Digits { digits })
}

fn rounded_text(exact: &Decimal, decimals: i32, tie: TieRule) -> Result<String, RoundingError> {
    if !(-MAX_EXPONENT..=MAX_EXPONENT).contains(&decimals) {
        return Err(RoundingError::Decimals { decimals });
    }
    Ok(exact.rounded_to(-decimals, tie).positional_text())
}

/// Written out, or with a power of ten taken off.
struct Form {
    power: i32,
}

impl Form {
    /// Written out while the first digit stands between the fourth decimal and the hundred millions (common practice).
    fn by_size(first: Option<i32>) -> Self {
        let power = first.filter(|f| !(-4..9).contains(f)).unwrap_or(0);
        Form { power }
    }

    /// As [`Form::by_size`], but with a power of ten too if the last digit is above the unit: zeros written to fill up
    /// would be read as significant.
    fn of(value: &Decimal, uncertainty: &Decimal) -> Self {
        let first = value.leading_place().max(uncertainty.leading_place());
        match first {
            Some(power) if value.last_place() > 0 => Form { power },
            _ => Form::by_size(first),
        }
    }

    fn mantissa(&self, number: &Decimal) -> String {
        number.clone().scaled_down(self.power).positional_text()
    }

    fn power_text(&self) -> String {
        if self.power == 0 {
            String::new()
        } else {
            format!("×10^{}", self.power)
        }
    }

    fn text(&self, number: &Decimal) -> String {
        format!("{}{}", self.mantissa(number), self.power_text())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn concise(y: f64, u: f64) -> String {
        round_to_uncertainty(y, u, 2, TieRule::HalfEven)
            .unwrap()
            .concise
    }

    #[test]
    fn fill_up_zeros_become_a_power_of_ten() {
        assert_eq!(concise(1_234_567.0, 12_000.0), "1.235(12)×10^6");
        assert_eq!(concise(12.0, 250.0), "0.1(25)×10^2");
        assert_eq!(concise(1.754e-5, 3.1e-7), "1.754(31)×10^-5");
        assert_eq!(concise(0.000_213_4, 3.1e-6), "0.0002134(31)");
        assert_eq!(concise(6.022_140_76e23, 1.2e18), "6.022141(12)×10^23");
    }

    #[test]
    fn zero_is_shown_to_the_place_of_its_uncertainty_and_without_sign() {
        assert_eq!(concise(0.0, 0.012), "0.000(12)");
        assert_eq!(concise(-0.000_1, 0.012), "0.000(12)");
        assert_eq!(concise(-0.0, 250.0), "0.0(25)×10^2");
    }

    #[test]
    fn without_uncertainty_the_value_stands_as_it_is() {
        let r = round_to_uncertainty(100.0, 0.0, 2, TieRule::HalfEven).unwrap();
        assert_eq!(
            (r.concise.as_str(), r.uncertainty_text.as_str()),
            ("100", "0")
        );
        assert_eq!(concise(0.1, 0.0), "0.1");
        assert_eq!(concise(0.0, 0.0), "0");
        assert_eq!(concise(1e30, 0.0), "1×10^30");
    }

    #[test]
    fn places_that_the_number_does_not_carry_are_not_invented() {
        assert_eq!(concise(1.0, 1e-30), "1.0000000000000000(1)");
        assert_eq!(concise(1e300, 5e-324), "1.0000000000000000(1)×10^300");
        assert_eq!(concise(5e-324, 1e300), "0.0(10)×10^300");
    }

    #[test]
    fn nonsense_is_refused_with_a_reason() {
        let round = |y, u, digits| round_to_uncertainty(y, u, digits, TieRule::HalfEven);
        assert!(matches!(
            round(f64::NAN, 1.0, 2),
            Err(RoundingError::NotFinite { .. })
        ));
        assert!(matches!(
            round(1.0, f64::NAN, 2),
            Err(RoundingError::NotFinite { .. })
        ));
        assert!(matches!(
            round(1.0, f64::INFINITY, 2),
            Err(RoundingError::NotFinite { .. })
        ));
        assert!(matches!(
            round(1.0, -1.0, 2),
            Err(RoundingError::NegativeUncertainty { .. })
        ));
        assert_eq!(round(1.0, 1.0, 0), Err(RoundingError::Digits { digits: 0 }));
        assert_eq!(
            round(1.0, 1.0, 18),
            Err(RoundingError::Digits { digits: 18 })
        );
        for text in [
            "",
            ".",
            "-",
            "1.2.3",
            "abc",
            "1e",
            "1e99999999999",
            "1e5000",
            "--1",
            "1_000",
        ] {
            assert!(
                round_decimal_text(text, 2, TieRule::HalfUp).is_err(),
                "{text}"
            );
        }
        assert!(round_decimal_text(&"9".repeat(5000), 2, TieRule::HalfUp).is_err());
        assert!(round_decimal(1.0, i32::MIN, TieRule::HalfUp).is_err());
    }

    #[test]
    fn text_is_rounded_as_written() {
        let half_up = |t, n| round_decimal_text(t, n, TieRule::HalfUp).unwrap();
        assert_eq!(half_up("18,645", 2), "18.65");
        assert_eq!(half_up("18.6", 2), "18.60");
        assert_eq!(half_up("1.860e1", 1), "18.6");
        assert_eq!(half_up("149", -2), "100");
        assert_eq!(half_up("49", -2), "0");
        assert_eq!(half_up("50", -2), "100");
        assert_eq!(half_up("\u{2212}0.125", 2), "-0.13");
        assert_eq!(half_up(" 0.004 ", 2), "0.00");
    }

    #[test]
    fn significant_digits() {
        let sig = |v, n| round_significant(v, n, TieRule::HalfEven).unwrap();
        assert_eq!(sig(2.776_445, 3), "2.78");
        assert_eq!(sig(0.099_96, 3), "0.100");
        assert_eq!(sig(1234.0, 2), "1.2×10^3");
        assert_eq!(sig(1234.0, 4), "1234");
        assert_eq!(sig(0.0, 4), "0");
        assert_eq!(sig(2.5e-7, 2), "2.5×10^-7");
    }

    proptest! {
        #[test]
        fn no_number_panics_or_strays(y in any::<f64>(), u in any::<f64>(), digits in 0..20_u32) {
            let _ = round_to_uncertainty(y, u, digits, TieRule::HalfUp);
            let _ = round_significant(y, digits, TieRule::HalfUp);
        }

        #[test]
        fn rounding_moves_the_value_by_half_a_unit_at_most(y in -1e6..1e6_f64, u in 1e-4..1e2_f64) {
            let r = round_to_uncertainty(y, u, 2, TieRule::HalfEven).unwrap();
            let shown: f64 = r.value_text.replace("×10^", "e").parse().unwrap();
            let unit = 10_f64.powi(r.last_place.unwrap());
            prop_assert!((shown - y).abs() <= 0.5 * unit * (1.0 + 1e-9) + 1e-15 * y.abs());
            let bracket = r.concise.split(['(', ')']).nth(1).unwrap();
            prop_assert_eq!(bracket.len(), 2, "{}", r.concise);
        }

        #[test]
        fn text_never_panics(text in "[-+0-9.,eE]{0,30}", decimals in -1200..1200) {
            let _ = round_decimal_text(&text, decimals, TieRule::HalfEven);
        }
    }
}
