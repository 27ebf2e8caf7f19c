//! Numbers and names as the findings say them.

use metrology::rounding::{TieRule, round_significant};

/// A number to so many significant digits, or to the unit where that is finer than asked.
pub(crate) fn digits(value: f64, count: u32) -> String {
    if value.abs() >= 10f64.powi(count.cast_signed()) {
        return format!("{value:.0}");
    }
    round_significant(value, count, TieRule::HalfEven).unwrap_or_else(|_| value.to_string())
}

/// A volume without sign: to 0.01 mL, smaller ones to two digits.
pub(crate) fn ml(value: f64) -> String {
    let value = value.abs();
    if value == 0.0 || value >= 0.0995 {
        format!("{value:.2} mL")
    } else {
        format!("{} mL", digits(value, 2))
    }
}

/// A volume with its sign.
pub(crate) fn signed_ml(value: f64) -> String {
    let sign = if value < 0.0 { '\u{2212}' } else { '+' };
    format!("{sign}{}", ml(value))
}

/// A relative number without sign in percent: two digits, from 10 % on three.
pub(crate) fn percent(fraction: f64) -> String {
    let value = 100.0 * fraction.abs();
    let count = if value >= 9.95 { 3 } else { 2 };
    format!("{} %", digits(value, count))
}

/// A chance, as "p = 0.017".
pub(crate) fn chance(p: f64) -> String {
    if p < 0.001 {
        "p < 0.001".into()
    } else {
        format!("p = {}", digits(p, 2))
    }
}

/// How many times something is something else.
pub(crate) fn times(ratio: f64) -> String {
    digits(ratio, 2)
}

/// Which way the result goes, as in "the result reads 0.27 % high".
pub(crate) fn reads(effect: f64) -> String {
    let way = if effect < 0.0 { "low" } else { "high" };
    format!("the result reads {} {way}", percent(effect))
}

/// Runs by name: "Run 1", "Runs 1 and 2", "Runs 1, 2 and 3".
pub(crate) fn runs<S: AsRef<str>>(names: &[S]) -> String {
    let names: Vec<&str> = names.iter().map(AsRef::as_ref).collect();
    match names.as_slice() {
        [one] => format!("Run {one}"),
        _ => format!("Runs {}", list(&names)),
    }
}

/// "a, b and c".
pub(crate) fn list(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_string(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_keep_what_matters() {
        assert_eq!(ml(10.0213), "10.02 mL");
        assert_eq!(ml(-0.1), "0.10 mL");
        assert_eq!(ml(0.01234), "0.012 mL");
        assert_eq!(ml(0.0), "0.00 mL");
        assert_eq!(signed_ml(-0.5), "\u{2212}0.50 mL");
        assert_eq!(percent(0.002_044), "0.20 %");
        assert_eq!(percent(-0.1234), "12.3 %");
        assert_eq!(digits(234.4, 2), "234");
        assert_eq!(times(219.5), "220");
        assert_eq!(chance(0.016_67), "p = 0.017");
        assert_eq!(chance(1e-7), "p < 0.001");
        assert_eq!(reads(-0.0027), "the result reads 0.27 % low");
        assert_eq!(runs(&["1", "2", "3"]), "Runs 1, 2 and 3");
        assert_eq!(runs(&["A"]), "Run A");
    }
}
