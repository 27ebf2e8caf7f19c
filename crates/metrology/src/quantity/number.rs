//! Numbers as people write them, with their decimals.

use std::{fmt, str::FromStr};

/// A decimal number that remembers how it was written.
///
/// A decimal comma is read as a decimal point. The decimals are those of the text: `18.60` has two.
#[derive(Clone, Debug, PartialEq)]
pub struct DecimalNumber {
    text: String,
    value: f64,
    decimals: i32,
}

/// Longest number that is read; longer ones are certainly not readings.
const MAX_LENGTH: usize = 40;

impl DecimalNumber {
    /// The value.
    pub fn value(&self) -> f64 {
        self.value
    }

    /// Digits after the decimal point (negative when an exponent moves the last digit before the point).
    pub fn decimals(&self) -> i32 {
        self.decimals
    }

    /// One step of the last digit written: 0.01 for `18.60`.
    pub fn step(&self) -> f64 {
        10f64.powi(-self.decimals)
    }

    /// The last digit written.
    pub fn last_digit(&self) -> u8 {
        let mantissa = self.text.split(['e', 'E']).next().unwrap_or_default();
        mantissa
            .bytes()
            .rev()
            .find(u8::is_ascii_digit)
            .map_or(0, |digit| digit - b'0')
    }

    /// Reads a number from the start of `text` and returns the rest.
    ///
    /// # Errors
    /// [`NumberError`] if there is no number, it is ambiguous, too long or not finite.
    pub fn parse_prefix(text: &str) -> Result<(Self, &str), NumberError> {
        let shown = || text.chars().take(MAX_LENGTH).collect::<String>();
        let mut clean = String::new();
        let mut rest = text;
        if let Some(after) = rest.strip_prefix(['-', '\u{2212}', '\u{2013}']) {
            clean.push('-');
            rest = after;
        } else if let Some(after) = rest.strip_prefix('+') {
            rest = after;
        }
        let digits =
            |from: &str| from.len() - from.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        let whole = digits(rest);
        clean.push_str(&rest[..whole]);
        rest = &rest[whole..];
        let mut decimals = 0;
        let mut fraction = 0;
        if let Some(after) = rest.strip_prefix(['.', ',']) {
            fraction = digits(after);
            if fraction > 0 {
                clean.push('.');
                clean.push_str(&after[..fraction]);
                decimals = i32::try_from(fraction).unwrap_or(i32::MAX);
            }
            rest = &after[fraction..];
        }
        if whole + fraction == 0 {
            return Err(NumberError::Missing(shown()));
        }
        if rest.starts_with(['.', ',']) {
            return Err(NumberError::TwoSeparators(shown()));
        }
        if whole == 0 {
            let at = usize::from(clean.starts_with('-'));
            clean.insert(at, '0');
        }
        let (exponent, after) = exponent(rest);
        rest = after;
        if whole + fraction > MAX_LENGTH || exponent.abs() > 300 {
            return Err(NumberError::TooLong(shown()));
        }
        if exponent != 0 {
            clean.push_str(&format!("e{exponent}"));
            decimals -= exponent;
        }
        let value: f64 = clean.parse().map_err(|_| NumberError::Missing(shown()))?;
        if !value.is_finite() {
            return Err(NumberError::TooLong(shown()));
        }
        Ok((
            Self {
                text: clean,
                value,
                decimals,
            },
            rest,
        ))
    }
}

/// Reads `e-4`, `×10^-4` or `x 10-4`; 0 if there is none.
fn exponent(text: &str) -> (i32, &str) {
    let body = if let Some(after) = text.strip_prefix(['e', 'E']) {
        after
    } else {
        let trimmed = text.trim_start();
        let Some(after) = trimmed.strip_prefix(['×', 'x', '·', '*']) else {
            return (0, text);
        };
        let Some(after) = after.trim_start().strip_prefix("10") else {
            return (0, text);
        };
        after.strip_prefix('^').unwrap_or(after)
    };
    let (sign, digits) = if let Some(after) = body.strip_prefix(['-', '\u{2212}']) {
        (-1, after)
    } else {
        (1, body.strip_prefix('+').unwrap_or(body))
    };
    let count = digits.len()
        - digits
            .trim_start_matches(|c: char| c.is_ascii_digit())
            .len();
    match digits[..count].parse::<i32>() {
        Ok(value) if count > 0 => (sign * value, &digits[count..]),
        _ if count > 0 => (i32::MAX, &digits[count..]),
        _ => (0, text),
    }
}

impl FromStr for DecimalNumber {
    type Err = NumberError;
    fn from_str(text: &str) -> Result<Self, NumberError> {
        let (number, rest) = Self::parse_prefix(text.trim())?;
        if rest.trim().is_empty() {
            Ok(number)
        } else {
            Err(NumberError::Trailing(
                rest.trim().chars().take(MAX_LENGTH).collect(),
            ))
        }
    }
}

impl fmt::Display for DecimalNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

/// What can be wrong with a written number.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum NumberError {
    /// No digits where a number was expected.
    #[error("expected a number, found \"{0}\"")]
    Missing(String),
    /// Both a point and a comma, or two of either.
    #[error("\"{0}\" has two decimal separators; write it with one, such as 1234.56")]
    TwoSeparators(String),
    /// Beyond any bench reading.
    #[error("\"{0}\" is not a usable number (too long or too large)")]
    TooLong(String),
    /// Something follows the number.
    #[error("unexpected \"{0}\" after the number")]
    Trailing(String),
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn comma_point_and_signs() {
        for (text, value, decimals) in [
            ("18,60", 18.6, 2),
            ("18.6", 18.6, 1),
            ("+5", 5.0, 0),
            ("\u{2212}0.5", -0.5, 1),
            (".5", 0.5, 1),
            ("7.", 7.0, 0),
        ] {
            let n: DecimalNumber = text.parse().unwrap();
            assert_eq!((n.value(), n.decimals()), (value, decimals), "{text}");
        }
    }

    #[test]
    fn exponents_move_the_last_digit() {
        for text in ["2.3e-3", "2.3 x 10-3", "2.3 × 10^-3"] {
            let n: DecimalNumber = text.parse().unwrap();
            assert_eq!((n.value(), n.decimals()), (2.3e-3, 4), "{text}");
        }
    }

    #[test]
    fn what_is_no_number_is_refused() {
        for text in [
            "", "-", "abc", "1,234.5", "1.2.3", "NaN", "inf", "1e999", "12 34",
        ] {
            assert!(text.parse::<DecimalNumber>().is_err(), "{text}");
        }
    }
}
