//! Labels of dissolved species and the charge they carry.
//!
//! A label is a formula or a trade abbreviation with the charge last: `"H3PO4"`, `"NH4+"`, `"HPO4^2-"`, `"Ca^2+"`.

use crate::equilibrium_error::EquilibriumError;

/// Charge number of a species label.
///
/// # Errors
/// [`EquilibriumError::Charge`] if what follows `^` is no charge.
///
/// # Example
/// ```
/// assert_eq!(chemistry::species::charge("HPO4^2-").unwrap(), -2);
/// assert_eq!(chemistry::species::charge("NH4+").unwrap(), 1);
/// assert_eq!(chemistry::species::charge("CH3COOH").unwrap(), 0);
/// ```
pub fn charge(label: &str) -> Result<i32, EquilibriumError> {
    let refused = || EquilibriumError::Charge {
        label: label.to_owned(),
    };
    let sign = match label.chars().last() {
        Some('+') => 1,
        Some('-') => -1,
        Some(_) if !label.contains('^') => return Ok(0),
        _ => return Err(refused()),
    };
    let body = &label[..label.len() - 1];
    if body.is_empty() {
        return if label == "e-" {
            Ok(-1)
        } else {
            Err(refused())
        };
    }
    match body.rsplit_once('^') {
        None => Ok(sign),
        Some((_, digits)) => match digits.parse::<i32>() {
            Ok(number @ 1..=9) => Ok(sign * number),
            _ => Err(refused()),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::charge;

    #[test]
    fn charges_are_read_from_the_end() {
        for (label, expected) in [
            ("Cl-", -1),
            ("H+", 1),
            ("Fe^3+", 3),
            ("B(OH)4-", -1),
            ("Y^4-", -4),
            ("Fe(CN)6^4-", -4),
            ("CO2", 0),
            ("e-", -1),
        ] {
            assert_eq!(charge(label).unwrap(), expected, "{label}");
        }
        for wrong in ["SO4^", "SO4^x-", "-", "SO4^0-", "A^2"] {
            assert!(charge(wrong).is_err(), "{wrong}");
        }
    }
}
