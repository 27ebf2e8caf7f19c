//! Numbers as people read them: rounded once, here, from the full value.

use metrology::rounding::{
    Rounded, TieRule, round_decimal, round_significant, round_to_uncertainty,
};

/// Significant digits of a reported uncertainty (JCGM 100, 7.2.6).
const UNCERTAINTY_DIGITS: u32 = 2;

/// A value with the digits that its uncertainty leaves it, and the uncertainty beside it.
pub fn by_uncertainty(value: f64, uncertainty: f64) -> Rounded {
    match round_to_uncertainty(value, uncertainty, UNCERTAINTY_DIGITS, TieRule::HalfEven) {
        Ok(rounded) => Rounded {
            value_text: typeset(&rounded.value_text),
            uncertainty_text: typeset(&rounded.uncertainty_text),
            concise: typeset(&rounded.concise),
            plus_minus: typeset(&rounded.plus_minus),
            last_place: rounded.last_place,
        },
        // Only an unbounded uncertainty comes here; then no digit can be vouched for.
        Err(_) => Rounded {
            value_text: significant(value, 1),
            uncertainty_text: not_finite(uncertainty),
            concise: significant(value, 1),
            plus_minus: significant(value, 1),
            last_place: None,
        },
    }
}

/// A minus sign instead of a hyphen.
fn typeset(number: &str) -> String {
    number.replace('-', "\u{2212}")
}

/// A figure with a fixed count of significant digits.
pub fn significant(value: f64, digits: u32) -> String {
    round_significant(value, digits, TieRule::HalfEven)
        .map_or_else(|_| not_finite(value), |text| typeset(&text))
}

/// A figure with a fixed count of decimals.
pub(crate) fn decimals(value: f64, decimals: usize) -> String {
    i32::try_from(decimals)
        .ok()
        .and_then(|d| round_decimal(value, d, TieRule::HalfEven).ok())
        .map_or_else(|| not_finite(value), |text| typeset(&text))
}

/// A value in the working: seven significant digits, more than any input has, without trailing zeros.
pub fn in_working(value: f64) -> String {
    let text = significant(value, 7);
    let (number, power) = match text.split_once('×') {
        Some((number, power)) => (number, format!("×{power}")),
        None => (text.as_str(), String::new()),
    };
    let number = if number.contains('.') {
        number.trim_end_matches('0').trim_end_matches('.')
    } else {
        number
    };
    format!("{number}{power}")
}

/// Shares below this are not told apart, in per cent.
const LEAST_PERCENT: f64 = 0.01;

/// A text with its powers of ten raised, for pages: 4.9×10⁻⁵ where a terminal has 4.9×10^−5.
pub fn raised(text: &str) -> String {
    let mut parts = text.split("×10^");
    let mut out = parts.next().unwrap_or_default().to_string();
    for part in parts {
        out.push_str("×10");
        let mut exponent = true;
        for (index, c) in part.chars().enumerate() {
            let up = match c {
                '\u{2212}' | '-' if index == 0 => Some('⁻'),
                '1' => Some('¹'),
                '2' => Some('²'),
                '3' => Some('³'),
                '0' => Some('⁰'),
                '4'..='9' => char::from_u32('⁴' as u32 + c as u32 - '4' as u32),
                _ => None,
            };
            exponent &= up.is_some();
            out.push(up.filter(|_| exponent).unwrap_or(c));
        }
    }
    out
}

/// A fraction as a percentage with two significant digits, as far as anybody cares.
pub fn percent(fraction: f64) -> String {
    let percent = fraction * 100.0;
    if percent != 0.0 && percent.abs() < LEAST_PERCENT {
        format!("below {LEAST_PERCENT} %")
    } else if percent >= 99.5 {
        format!("{} %", significant(percent, 3))
    } else {
        format!("{} %", significant(percent, 2))
    }
}

/// Degrees of freedom; never cut to whole numbers in the calculation, shown with one decimal while small.
pub fn degrees_of_freedom(value: f64) -> String {
    if value.is_infinite() {
        "∞".into()
    } else if value < 100.0 {
        let text = decimals(value, 1);
        text.strip_suffix(".0").map_or(text.clone(), str::to_string)
    } else if value < 1e6 {
        decimals(value, 0)
    } else {
        significant(value, 2)
    }
}

/// A probability as "95 times in 100".
pub(crate) fn times_in_100(probability: f64) -> String {
    let text = decimals(probability * 100.0, 2);
    format!(
        "{} times in 100",
        text.trim_end_matches('0').trim_end_matches('.')
    )
}

/// Whole percentages that add up to 100, each within one of its share (largest remainders first).
///
/// Shares that do not add up to 1 (no uncertainty at all) come back as zeros.
pub(crate) fn whole_percentages(shares: &[f64]) -> Vec<i64> {
    let total: f64 = shares.iter().sum();
    if !total.is_finite() || total <= 0.0 {
        return vec![0; shares.len()];
    }
    let exact: Vec<f64> = shares.iter().map(|s| 100.0 * s / total).collect();
    let mut whole: Vec<i64> = exact.iter().map(|e| e.floor() as i64).collect();
    let mut order: Vec<usize> = (0..exact.len()).collect();
    order.sort_by(|&a, &b| (exact[b] - exact[b].floor()).total_cmp(&(exact[a] - exact[a].floor())));
    let missing = 100 - whole.iter().sum::<i64>();
    for &i in order.iter().take(usize::try_from(missing).unwrap_or(0)) {
        whole[i] += 1;
    }
    whole
}

fn not_finite(value: f64) -> String {
    if value.is_nan() {
        "not a number".into()
    } else if value > 0.0 {
        "∞".into()
    } else {
        "\u{2212}∞".into()
    }
}

/// A count in groups of three: 1 000 000.
pub fn thousands(count: usize, space: char) -> String {
    let digits = count.to_string();
    let mut text = String::new();
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            text.push(space);
        }
        text.push(digit);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn degrees_of_freedom_are_read_at_a_glance() {
        assert_eq!(degrees_of_freedom(f64::INFINITY), "∞");
        assert_eq!(degrees_of_freedom(8.0), "8");
        assert_eq!(degrees_of_freedom(12.34), "12.3");
        assert_eq!(degrees_of_freedom(4321.7), "4322");
    }

    #[test]
    fn powers_are_raised_for_pages() {
        assert_eq!(raised("4.9×10^\u{2212}5"), "4.9×10⁻⁵");
        assert_eq!(raised("1.2×10^13"), "1.2×10¹³");
        assert_eq!(raised("18.64"), "18.64");
        assert_eq!(
            raised("1 + (9.9×10^\u{2212}6 1/K \u{2212} 2×10^3 1/K) · 5"),
            "1 + (9.9×10⁻⁶ 1/K \u{2212} 2×10³ 1/K) · 5"
        );
    }

    #[test]
    fn counts_are_grouped() {
        assert_eq!(thousands(1_000_000, ' '), "1 000 000");
        assert_eq!(thousands(999, ' '), "999");
        for (count, text) in [
            (7, "7"),
            (1_000, "1\u{202f}000"),
            (100_000, "100\u{202f}000"),
        ] {
            assert_eq!(thousands(count, '\u{202f}'), text);
        }
    }

    #[test]
    fn probabilities_in_words() {
        assert_eq!(times_in_100(0.95), "95 times in 100");
        assert_eq!(times_in_100(0.9545), "95.45 times in 100");
    }

    #[test]
    fn values_of_the_working_keep_seven_digits() {
        assert_eq!(in_working(18.64), "18.64");
        assert_eq!(in_working(204.221_2), "204.2212");
        assert_eq!(in_working(-0.062), "\u{2212}0.062");
    }

    proptest! {
        #[test]
        fn percentages_add_up(shares in prop::collection::vec(0.0..1.0_f64, 1..12)) {
            let total: f64 = shares.iter().sum();
            prop_assume!(total > 1e-3);
            let whole = whole_percentages(&shares);
            prop_assert_eq!(whole.iter().sum::<i64>(), 100);
            for (share, whole) in shares.iter().zip(whole) {
                prop_assert!((100.0 * share / total - whole as f64).abs() < 1.0);
            }
        }
    }
}
