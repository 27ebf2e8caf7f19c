//! The hash that ties an event to all before it.
//!
//! SHA-256 (FIPS 180-4), not a faster one: in thirty years anybody can still check a record with the `sha256sum` of any
//! machine, and at the size of an event the hash is not what takes the time.

use crate::moment::as_text;
use sha2::{Digest, Sha256};
use std::fmt::{self, Write};
use std::str::FromStr;
use thiserror::Error;

/// A text that is no hash.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("\"{0}\" is no hash; 64 hexadecimal digits in lower case were expected")]
pub struct HashError(String);

/// A SHA-256 hash.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Hash([u8; 32]);

impl Hash {
    /// What stands before the first event.
    pub const ZERO: Self = Self([0; 32]);

    /// The hash of bytes.
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }
}

impl fmt::Display for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        const DIGITS: [char; 16] = [
            '0', '1', '2', '3', '4', '5', '6', '7', '8', '9', 'a', 'b', 'c', 'd', 'e', 'f',
        ];
        for byte in self.0 {
            f.write_char(DIGITS[usize::from(byte >> 4)])?;
            f.write_char(DIGITS[usize::from(byte & 15)])?;
        }
        Ok(())
    }
}

impl fmt::Debug for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Hash {
    type Err = HashError;

    fn from_str(text: &str) -> Result<Self, HashError> {
        let fail = || HashError(text.chars().take(70).collect());
        let digits = text.as_bytes();
        if digits.len() != 64 {
            return Err(fail());
        }
        let value = |digit: u8| match digit {
            b'0'..=b'9' => Ok(digit - b'0'),
            b'a'..=b'f' => Ok(digit - b'a' + 10),
            _ => Err(fail()),
        };
        let mut bytes = [0; 32];
        for (byte, pair) in bytes.iter_mut().zip(digits.chunks_exact(2)) {
            *byte = value(pair[0])? << 4 | value(pair[1])?;
        }
        Ok(Self(bytes))
    }
}

as_text!(Hash);

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4 example "abc" (from memory; `printf abc | sha256sum` gives the same).
    #[test]
    fn the_published_example() {
        let text = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(Hash::of(b"abc").to_string(), text);
        assert_eq!(text.parse::<Hash>().unwrap(), Hash::of(b"abc"));
        assert!(text.to_uppercase().parse::<Hash>().is_err());
        assert!("é".repeat(32).parse::<Hash>().is_err());
    }
}
