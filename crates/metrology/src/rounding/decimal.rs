//! A decimal number as its digits, so that a tie is a tie: binary 12.35 is not halfway between 12.3 and 12.4.

use super::{RoundingError, TieRule};

/// Largest power of ten, up or down, that a number or a wanted place may have.
pub(super) const MAX_EXPONENT: i32 = 1100;

/// Most digits that a number written as text may have.
const MAX_DIGITS: usize = 1000;

/// (-1)^negative times the digits read as a whole number, times 10^place. No digits means zero.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Decimal {
    negative: bool,
    /// 0 to 9, most significant first, without leading zeros.
    digits: Vec<u8>,
    /// Power of ten of the last digit.
    place: i32,
}

impl Decimal {
    /// The shortest decimal that reads back as this number.
    pub(super) fn from_f64(value: f64) -> Result<Self, RoundingError> {
        if !value.is_finite() {
            return Err(RoundingError::NotFinite { value });
        }
        Self::parse(&format!("{value:e}"))
    }

    /// Reads digits with an optional sign, decimal point or comma, and power of ten ("e-5").
    pub(super) fn parse(text: &str) -> Result<Self, RoundingError> {
        let refuse = || RoundingError::NotADecimal {
            text: text.chars().take(40).collect(),
        };
        let trimmed = text.trim();
        let (mantissa, exponent) = match trimmed.split_once(['e', 'E']) {
            Some((m, e)) => (m, e.parse::<i32>().map_err(|_| refuse())?),
            None => (trimmed, 0),
        };
        let (negative, unsigned) = match mantissa.strip_prefix(['-', '\u{2212}']) {
            Some(rest) => (true, rest),
            None => (false, mantissa.strip_prefix('+').unwrap_or(mantissa)),
        };
        let (whole, decimals) = unsigned.split_once(['.', ',']).unwrap_or((unsigned, ""));
        let digits: Option<Vec<u8>> = whole
            .bytes()
            .chain(decimals.bytes())
            .map(|b| b.is_ascii_digit().then(|| b - b'0'))
            .collect();
        let digits = digits
            .filter(|d| !d.is_empty() && d.len() <= MAX_DIGITS)
            .ok_or_else(refuse)?;
        let place = i32::try_from(decimals.len())
            .ok()
            .and_then(|n| exponent.checked_sub(n))
            .filter(|p| p.abs() <= MAX_EXPONENT)
            .ok_or_else(refuse)?;
        Ok(Decimal {
            negative,
            digits: digits.into_iter().skip_while(|d| *d == 0).collect(),
            place,
        })
    }

    pub(super) fn is_zero(&self) -> bool {
        self.digits.is_empty()
    }

    /// Power of ten of the first digit; `None` for zero.
    pub(super) fn leading_place(&self) -> Option<i32> {
        let n = i32::try_from(self.digits.len()).ok()?;
        (n > 0).then(|| self.place + n - 1)
    }

    /// Power of ten of the last digit, also of a zero.
    pub(super) fn last_place(&self) -> i32 {
        self.place
    }

    /// Nearest multiple of 10^place; longer if needed, so that the last digit always stands at `place`.
    pub(super) fn rounded_to(&self, place: i32, tie: TieRule) -> Self {
        let mut digits = self.digits.clone();
        let gap = place.saturating_sub(self.place);
        if gap <= 0 {
            if !digits.is_empty() {
                digits.resize(digits.len() + gap.unsigned_abs() as usize, 0);
            }
        } else {
            let dropped = gap as usize;
            // Enough leading zeros to have a digit at the wanted place.
            let missing = (dropped + 1).saturating_sub(digits.len());
            digits.splice(0..0, std::iter::repeat_n(0, missing));
            let tail = digits.split_off(digits.len() - dropped);
            let last_is_odd = digits.last().is_some_and(|d| d % 2 == 1);
            let half = tail[0] == 5 && tail[1..].iter().all(|d| *d == 0);
            let up = match (half, tie) {
                (true, TieRule::HalfEven) => last_is_odd,
                (true, TieRule::HalfUp) => true,
                (false, _) => tail[0] >= 5,
            };
            if up {
                increment(&mut digits);
            }
        }
        Decimal {
            negative: self.negative,
            digits: digits.into_iter().skip_while(|d| *d == 0).collect(),
            place,
        }
    }

    /// The digits as a whole number, "0" for zero.
    pub(super) fn whole_text(&self) -> String {
        if self.is_zero() {
            return "0".to_owned();
        }
        self.digits.iter().map(|d| char::from(b'0' + d)).collect()
    }

    /// One in the last place, same sign.
    pub(super) fn last_unit(place: i32) -> Self {
        Decimal {
            negative: false,
            digits: vec![1],
            place,
        }
    }

    /// This number over 10^exponent.
    pub(super) fn scaled_down(mut self, exponent: i32) -> Self {
        self.place -= exponent;
        self
    }

    /// Without trailing zeros after the decimal point.
    pub(super) fn trimmed(mut self) -> Self {
        while self.place < 0 && self.digits.last() == Some(&0) {
            self.digits.pop();
            self.place += 1;
        }
        if self.is_zero() {
            self.place = 0;
        }
        self
    }

    /// Written out without a power of ten. A zero has no sign.
    pub(super) fn positional_text(&self) -> String {
        let mut text = self.whole_text();
        if self.place > 0 && !self.is_zero() {
            text.extend(std::iter::repeat_n('0', self.place.unsigned_abs() as usize));
        } else if self.place < 0 {
            let decimals = self.place.unsigned_abs() as usize;
            if text.len() <= decimals {
                text.insert_str(0, &"0".repeat(decimals + 1 - text.len()));
            }
            text.insert(text.len() - decimals, '.');
        }
        if self.negative && !self.is_zero() {
            text.insert(0, '-');
        }
        text
    }
}

fn increment(digits: &mut Vec<u8>) {
    for d in digits.iter_mut().rev() {
        if *d < 9 {
            *d += 1;
            return;
        }
        *d = 0;
    }
    digits.insert(0, 1);
}
