//! Trend of results with the order of the runs or with clock time: Mann-Kendall test and Theil-Sen slope.
//!
//! May be used to notice drift (titrant aging, carbon dioxide uptake, warming) in a handful of runs; it assumes nothing
//! about the distribution and is not upset by one odd value. It cannot say *why* something drifts, and with three runs
//! it cannot reach 5 % at all (the smallest two-sided p is 1/3).
//!
//! Source: H. B. Mann, Econometrica 13 (1945) 245; M. G. Kendall, Rank Correlation Methods (1970), chapter 4 for ties;
//! P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379 for the slope.

use crate::quantiles::normal_upper_tail;
use std::cmp::Ordering;
use thiserror::Error;

/// Why a trend could not be tested.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum TrendError {
    /// Fewer than three values, or no two that differ in time.
    #[error("a trend needs at least 3 values at 2 different times, got {n} values")]
    TooFew {
        /// Number of values.
        n: usize,
    },
    /// More values than every pair can be looked at.
    #[error("a trend is tested over at most {MOST_VALUES} values, got {n}")]
    TooMany {
        /// Number of values.
        n: usize,
    },
    /// Not one time for every value.
    #[error("{times} times for {values} values, expected one for each")]
    LengthsDiffer {
        /// Number of times.
        times: usize,
        /// Number of values.
        values: usize,
    },
    /// A NaN or infinite value or time.
    #[error("value or time {} is {number}, expected a finite number", index + 1)]
    NotFinite {
        /// Position, counted from 0.
        index: usize,
        /// The number.
        number: f64,
    },
}

/// The test looks at every pair, and this is for replicates, not for logged curves.
const MOST_VALUES: usize = 2000;

/// How a significance was got.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// Exact distribution over all orders of the values.
    Exact,
    /// Normal approximation with correction for ties and for continuity.
    NormalApproximation,
}

/// Result of a trend test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// Number of values.
    pub n: usize,
    /// Mann-Kendall S: pairs that rise less pairs that fall; pairs tied in value or time count nothing.
    pub s: i64,
    /// Chance of so large an |S|, either direction, if the order is random.
    pub p_two_sided: f64,
    /// Chance of so large an S if the order is random: small for a rise.
    pub p_rising: f64,
    /// Chance of so small an S if the order is random: small for a fall.
    pub p_falling: f64,
    /// How the chances were got.
    pub method: Method,
    /// Theil-Sen slope: median of the slopes of all pairs, in unit of the value per run or per unit of time.
    pub slope: f64,
}

/// Trend of values in the order in which they were made; the slope is per run.
///
/// # Errors
/// Fewer than three or more than 2000 values, or a value that is not finite.
///
/// ```
/// let trend = metrology::trend::trend_with_order(&[18.60, 18.62, 18.63, 18.66, 18.67])?;
/// assert_eq!(trend.s, 10);
/// assert!((trend.p_two_sided - 2.0 / 120.0).abs() < 1e-12);
/// # Ok::<(), metrology::trend::TrendError>(())
/// ```
pub fn trend_with_order(values: &[f64]) -> Result<Trend, TrendError> {
    let order: Vec<f64> = (0..values.len()).map(|i| i as f64).collect();
    trend_with_time(&order, values)
}

/// Trend of values with clock time (any unit, any origin); the slope is per unit of time.
///
/// The times need not be sorted; the test uses their order, the slope their distances.
///
/// # Errors
/// Different lengths, fewer than three or more than 2000 values, all times equal, or a number that is not finite.
pub fn trend_with_time(times: &[f64], values: &[f64]) -> Result<Trend, TrendError> {
    let n = values.len();
    if times.len() != n {
        return Err(TrendError::LengthsDiffer {
            times: times.len(),
            values: n,
        });
    }
    if n > MOST_VALUES {
        return Err(TrendError::TooMany { n });
    }
    for series in [times, values] {
        if let Some((index, &number)) = series.iter().enumerate().find(|(_, v)| !v.is_finite()) {
            return Err(TrendError::NotFinite { index, number });
        }
    }
    let mut slopes = Vec::with_capacity(n * n / 2);
    for j in 1..n {
        for i in 0..j {
            let dt = times[j] - times[i];
            if dt.abs() > 0.0 {
                slopes.push((values[j] - values[i]) / dt);
            }
        }
    }
    if n < 3 || slopes.is_empty() {
        return Err(TrendError::TooFew { n });
    }
    let slope = median(&mut slopes);
    let s = kendall_s(times, values);
    let time_ties = tie_sizes(times);
    let value_ties = tie_sizes(values);
    let (p_two_sided, p_rising, p_falling, method) =
        match distribution(times, values, &time_ties, &value_ties) {
            Some(counts) => {
                let total: f64 = counts.iter().map(|c| c.1).sum();
                let share = |keep: &dyn Fn(i64) -> bool| {
                    counts
                        .iter()
                        .filter(|c| keep(c.0))
                        .map(|c| c.1)
                        .sum::<f64>()
                        / total
                };
                let two_sided = share(&|x| x.abs() >= s.abs());
                (
                    two_sided,
                    share(&|x| x >= s),
                    share(&|x| x <= s),
                    Method::Exact,
                )
            }
            None => {
                let sd = kendall_variance(n, &time_ties, &value_ties).sqrt();
                // Half the distance of neighbouring values of S, which is two without ties.
                let tail = |x: f64| {
                    if sd > 0.0 {
                        normal_upper_tail((x - 1.0) / sd)
                    } else {
                        1.0
                    }
                };
                let s = s as f64;
                (
                    (2.0 * tail(s.abs())).min(1.0),
                    tail(s),
                    tail(-s),
                    Method::NormalApproximation,
                )
            }
        };
    Ok(Trend {
        n,
        s,
        p_two_sided,
        p_rising,
        p_falling,
        method,
        slope,
    })
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    if values.len() % 2 == 1 {
        values[middle]
    } else {
        // Halved first, so that the sum cannot overflow.
        0.5 * values[middle - 1] + 0.5 * values[middle]
    }
}

fn sign(a: f64, b: f64) -> i64 {
    match b.partial_cmp(&a) {
        Some(Ordering::Greater) => 1,
        Some(Ordering::Less) => -1,
        _ => 0,
    }
}

fn kendall_s(times: &[f64], values: &[f64]) -> i64 {
    let mut s = 0;
    for j in 1..values.len() {
        for i in 0..j {
            s += sign(times[i], times[j]) * sign(values[i], values[j]);
        }
    }
    s
}

/// Sizes of the groups of equal numbers, singles included.
fn tie_sizes(numbers: &[f64]) -> Vec<usize> {
    let mut sorted = numbers.to_vec();
    sorted.sort_by(f64::total_cmp);
    // Equality of the numbers, not of the bits: 0.0 and -0.0 tie.
    sorted
        .chunk_by(|a, b| sign(*a, *b) == 0)
        .map(<[f64]>::len)
        .collect()
}

/// Largest set for which the exact distribution is worked out when ties are in the values or in the times only.
const EXACT_WITH_ONE_SIDED_TIES: usize = 40;
/// Largest set for which all orders are counted one by one: needed when values and times both have ties.
const EXACT_BY_ENUMERATION: usize = 8;

/// Values of S with the number of orders that give each (or a multiple of it); `None` when the set is too large.
fn distribution(
    times: &[f64],
    values: &[f64],
    time_ties: &[usize],
    value_ties: &[usize],
) -> Option<Vec<(i64, f64)>> {
    let n = values.len();
    let (no_time_ties, no_value_ties) = (time_ties.len() == n, value_ties.len() == n);
    if (no_time_ties || no_value_ties) && n <= EXACT_WITH_ONE_SIDED_TIES {
        Some(inversion_counts(if no_time_ties {
            value_ties
        } else {
            time_ties
        }))
    } else if n <= EXACT_BY_ENUMERATION {
        Some(enumerated_counts(times, values))
    } else {
        None
    }
}

/// Distribution of S over the distinct orders of a set with groups of ties: the q-multinomial coefficient.
///
/// The number of orders with k inversions is the coefficient of q^k in the product of Gaussian binomials that merge one
/// group after another; S = pairs - 2k. Only sums of positive numbers occur, so nothing cancels.
fn inversion_counts(groups: &[usize]) -> Vec<(i64, f64)> {
    let mut counts = vec![1.0];
    let mut placed = 0;
    for &size in groups {
        counts = product(&counts, &gaussian_binomial(placed, size));
        placed += size;
    }
    let pairs = counts.len() as i64 - 1;
    counts
        .into_iter()
        .enumerate()
        .map(|(k, c)| (pairs - 2 * k as i64, c))
        .collect()
}

/// Coefficients of the Gaussian binomial (a + b choose b) in q, by its Pascal rule
/// (a + b, b) = (a + b - 1, b - 1) + q^b (a + b - 1, b).
fn gaussian_binomial(a: usize, b: usize) -> Vec<f64> {
    // row[i] holds (i + j choose j) for the current j.
    let mut row: Vec<Vec<f64>> = vec![vec![1.0]; a + 1];
    for j in 1..=b {
        for i in 1..=a {
            let shifted = row[i - 1].len() + j;
            let mut next = row[i].clone();
            next.resize(next.len().max(shifted), 0.0);
            for (k, c) in row[i - 1].iter().enumerate() {
                next[k + j] += c;
            }
            row[i] = next;
        }
    }
    row.pop().unwrap_or_default()
}

fn product(a: &[f64], b: &[f64]) -> Vec<f64> {
    let mut out = vec![0.0; a.len() + b.len() - 1];
    for (i, x) in a.iter().enumerate() {
        for (j, y) in b.iter().enumerate() {
            out[i + j] += x * y;
        }
    }
    out
}

/// S of every order of the values against the times, by Heap's method of interchanges.
fn enumerated_counts(times: &[f64], values: &[f64]) -> Vec<(i64, f64)> {
    let n = values.len();
    let pairs = n * (n - 1) / 2;
    let mut counts = vec![0.0; 2 * pairs + 1];
    let mut count = |order: &[f64]| {
        let index = kendall_s(times, order) + pairs as i64;
        if let Some(c) = usize::try_from(index).ok().and_then(|i| counts.get_mut(i)) {
            *c += 1.0;
        }
    };
    let mut order = values.to_vec();
    let mut used = vec![0; n];
    count(&order);
    let mut i = 1;
    while i < n {
        if used[i] < i {
            order.swap(if i % 2 == 0 { 0 } else { used[i] }, i);
            count(&order);
            used[i] += 1;
            i = 1;
        } else {
            used[i] = 0;
            i += 1;
        }
    }
    counts
        .into_iter()
        .enumerate()
        .map(|(k, c)| (k as i64 - pairs as i64, c))
        .collect()
}

/// Variance of S with ties in both series (Kendall 1970, chapter 4).
fn kendall_variance(n: usize, time_ties: &[usize], value_ties: &[usize]) -> f64 {
    let n = n as f64;
    let sum =
        |ties: &[usize], f: &dyn Fn(f64) -> f64| ties.iter().map(|t| f(*t as f64)).sum::<f64>();
    let cubic = |t: f64| t * (t - 1.0) * (2.0 * t + 5.0);
    let triple = |t: f64| t * (t - 1.0) * (t - 2.0);
    let double = |t: f64| t * (t - 1.0);
    (cubic(n) - sum(time_ties, &cubic) - sum(value_ties, &cubic)) / 18.0
        + sum(time_ties, &triple) * sum(value_ties, &triple) / (9.0 * triple(n))
        + sum(time_ties, &double) * sum(value_ties, &double) / (2.0 * double(n))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn close(a: f64, b: f64) -> bool {
        (a - b).abs() <= 1e-12 * b.abs()
    }

    #[test]
    fn printed_probabilities_of_kendalls_s() {
        // Kendall, Rank Correlation Methods, appendix table 1 (upper tails; from memory): n = 4: S >= 4 0.167, S >= 6 0.042;
        // n = 5: 8 0.042, 10 0.0083; n = 8: 16 0.031, 18 0.016; n = 10: 21 0.036, 29 0.0046.
        for (n, s, printed, decimals) in [
            (4, 4, 0.167, 3),
            (4, 6, 0.042, 3),
            (5, 8, 0.042, 3),
            (5, 10, 0.0083, 4),
            (8, 16, 0.031, 3),
            (8, 18, 0.016, 3),
            (10, 21, 0.036, 3),
            (10, 29, 0.0046, 4),
        ] {
            let counts = inversion_counts(&vec![1; n]);
            let total: f64 = counts.iter().map(|c| c.1).sum();
            let above: f64 = counts.iter().filter(|c| c.0 >= s).map(|c| c.1).sum();
            let scale = 10_f64.powi(decimals);
            assert!(
                ((above / total * scale).round() / scale - printed).abs() < 1e-9,
                "{n} {s} {}",
                above / total
            );
        }
    }

    #[test]
    fn two_algorithms_agree_with_and_without_ties() {
        let times = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0];
        for values in [
            [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0],
            [1.0, 1.0, 3.0, 3.0, 3.0, 6.0, 7.0],
            [2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 1.0],
        ] {
            let by_hand = enumerated_counts(&times, &values);
            let total: f64 = by_hand.iter().map(|c| c.1).sum();
            assert!(close(total, 5040.0));
            let exact = inversion_counts(&tie_sizes(&values));
            let exact_total: f64 = exact.iter().map(|c| c.1).sum();
            for (s, c) in exact {
                let same = by_hand.iter().find(|h| h.0 == s).unwrap().1;
                assert!(close(c / exact_total, same / total), "{s}");
            }
        }
    }

    #[test]
    fn three_runs_cannot_show_a_trend() {
        let t = trend_with_order(&[1.0, 2.0, 3.0]).unwrap();
        assert!(close(t.p_two_sided, 1.0 / 3.0) && close(t.p_rising, 1.0 / 6.0));
        assert_eq!(t.method, Method::Exact);
    }

    #[test]
    fn equal_values_show_none() {
        let t = trend_with_order(&[1.0; 5]).unwrap();
        assert!(t.s == 0 && close(t.p_two_sided, 1.0) && t.slope.abs() < 1e-300);
        let many = trend_with_order(&[1.0; 50]).unwrap();
        assert!(close(many.p_two_sided, 1.0));
    }

    #[test]
    fn the_normal_approximation_meets_the_exact_one() {
        // At n = 40 exact, at n = 41 approximate: nearly the same significance for nearly the same pattern.
        let series = |n: usize| -> Vec<f64> {
            (0..n)
                .map(|i| (i * 7 % 41) as f64 + 0.25 * i as f64)
                .collect()
        };
        let exact = trend_with_order(&series(40)).unwrap();
        let sd = kendall_variance(40, &[1; 40], &[1; 40]).sqrt();
        let normal = 2.0 * normal_upper_tail((exact.s.abs() as f64 - 1.0) / sd);
        assert_eq!(exact.method, Method::Exact);
        assert!(
            (exact.p_two_sided - normal).abs() < 0.003,
            "{exact:?} {normal}"
        );
        assert_eq!(
            trend_with_order(&series(41)).unwrap().method,
            Method::NormalApproximation
        );
    }

    #[test]
    fn clock_time_gives_the_slope_its_unit() {
        // One value a minute but for a long pause.
        let t = trend_with_time(&[0.0, 1.0, 2.0, 60.0], &[1.00, 1.01, 1.02, 1.60]).unwrap();
        assert!((t.slope - 0.01).abs() < 1e-12, "{}", t.slope);
        let shuffled = trend_with_time(&[60.0, 1.0, 0.0, 2.0], &[1.60, 1.01, 1.00, 1.02]).unwrap();
        assert_eq!(t.s, shuffled.s);
    }

    #[test]
    fn runs_at_the_same_time_and_equal_values_are_counted_one_by_one() {
        let t = trend_with_time(&[0.0, 0.0, 1.0, 1.0], &[1.0, 1.0, 2.0, 2.0]).unwrap();
        // Of the six arrangements of the two values on the four places one gives S = 4 and one S = -4.
        assert_eq!((t.s, t.method), (4, Method::Exact));
        assert!(close(t.p_two_sided, 2.0 / 6.0) && close(t.p_rising, 1.0 / 6.0));
    }

    #[test]
    fn nonsense_is_refused() {
        assert_eq!(
            trend_with_order(&[1.0, 2.0]),
            Err(TrendError::TooFew { n: 2 })
        );
        assert_eq!(
            trend_with_time(&[1.0; 3], &[1.0, 2.0, 3.0]),
            Err(TrendError::TooFew { n: 3 })
        );
        assert!(matches!(
            trend_with_time(&[1.0], &[1.0, 2.0]),
            Err(TrendError::LengthsDiffer { .. })
        ));
        assert!(matches!(
            trend_with_order(&[1.0, f64::NAN, 2.0]),
            Err(TrendError::NotFinite { index: 1, .. })
        ));
    }

    proptest! {
        #[test]
        fn reversing_the_runs_turns_the_trend(values in prop::collection::vec((0..20_i32).prop_map(f64::from), 3..12)) {
            let forward = trend_with_order(&values).unwrap();
            let reversed: Vec<f64> = values.into_iter().rev().collect();
            let backward = trend_with_order(&reversed).unwrap();
            prop_assert_eq!(forward.s, -backward.s);
            prop_assert!(close(forward.p_rising, backward.p_falling));
            prop_assert!(close(forward.p_two_sided, backward.p_two_sided));
            prop_assert!((forward.slope + backward.slope).abs() <= 1e-12);
        }
    }
}
