//! Tests for one outlier among replicates: Dixon r10 and Grubbs.
//!
//! May be used to draw attention to the one value that lies farthest off, in a small set from a normal distribution,
//! once. A test advises; a person sets a value aside, for a reason found at the bench. Not to be repeated on what is
//! left, and not for sets of three: see [`Grubbs::hopeless`].
//!
//! Every name says one- or two-tailed, since printed tables differ in nothing else: the two-tailed 90 % Dixon column is
//! the one-tailed 95 % column.
//!
//! Source: W. J. Dixon, Ann. Math. Stat. 22 (1951) 68 (distribution of r10); D. B. Rorabacher, Anal. Chem. 63 (1991)
//! 139 (two-tailed table); F. E. Grubbs, Technometrics 11 (1969) 1.

use crate::quantiles::{normal_upper_tail, student_t_upper_quantile, student_t_upper_tail};
use crate::replicates::{Replicates, ReplicatesError};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::sync::LazyLock;
use thiserror::Error;

/// Why an outlier test could not be made.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum OutlierError {
    /// Fewer than three values.
    #[error("an outlier test needs at least 3 values, got {n}")]
    TooFew {
        /// Number of values.
        n: usize,
    },
    /// More values than r10 is meant for.
    #[error("Dixon r10 is meant for at most {MAX_DIXON} values, got {n}; use the Grubbs test")]
    TooManyForDixon {
        /// Number of values.
        n: usize,
    },
    /// All values are equal (or so nearly that they do not scatter).
    #[error("all {n} values are equal, there is nothing to test")]
    NoScatter {
        /// Number of values.
        n: usize,
    },
    /// Values that cannot be summarized.
    #[error(transparent)]
    Replicates(#[from] ReplicatesError),
}

/// Largest set for r10 (common practice: Dixon himself turned to other ratios from 8 on, Rorabacher gives r10 to 30).
const MAX_DIXON: usize = 30;

/// At which end of the set a value lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// The smallest value.
    Low,
    /// The largest value.
    High,
}

/// The value under suspicion.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Suspect {
    /// Its position among the values given, counted from 0.
    pub index: usize,
    /// The value.
    pub value: f64,
    /// Which end it is.
    pub end: End,
}

/// Dixon's r10 at the end with the larger gap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DixonR10 {
    /// The value with the larger gap to its neighbour.
    pub suspect: Suspect,
    /// Number of values.
    pub n: usize,
    /// Gap to the neighbour over the range, 0 to 1.
    pub ratio: f64,
    /// Chance of so large a ratio at either end in a normal sample, computed by integration (exact where both ends
    /// cannot exceed the ratio together, an upper bound elsewhere).
    pub p_two_tailed: f64,
}

impl DixonR10 {
    /// Whether the ratio exceeds the published two-tailed value; `None` if the table lacks this n or level.
    ///
    /// For procedures that name the table. The table is off by up to 0.005; `p_two_tailed` is not.
    #[must_use]
    pub fn exceeds_published_two_tailed(&self, level: f64) -> Option<bool> {
        Some(self.ratio > published_dixon_r10_two_tailed(self.n, level)?)
    }
}

/// Dixon r10 test for one outlier at either end, 3 to 30 values.
///
/// # Errors
/// Fewer than 3 or more than 30 values, equal values, or values that are not finite.
///
/// ```
/// let titres = [18.64, 18.62, 18.66, 18.92];
/// let test = metrology::outliers::dixon_r10_two_tailed(&titres)?;
/// assert_eq!(test.suspect.index, 3);
/// assert_eq!(format!("{:.3}", test.ratio), "0.867");
/// assert!(test.p_two_tailed < 0.05 && test.p_two_tailed > 0.02);
/// # Ok::<(), metrology::outliers::OutlierError>(())
/// ```
pub fn dixon_r10_two_tailed(values: &[f64]) -> Result<DixonR10, OutlierError> {
    let n = values.len();
    if n > MAX_DIXON {
        return Err(OutlierError::TooManyForDixon { n });
    }
    let sorted = sorted(values)?;
    let range = sorted[n - 1].1 - sorted[0].1;
    let low_gap = sorted[1].1 - sorted[0].1;
    let high_gap = sorted[n - 1].1 - sorted[n - 2].1;
    let (suspect, gap) = if low_gap > high_gap {
        (suspect(sorted[0], End::Low), low_gap)
    } else {
        (suspect(sorted[n - 1], End::High), high_gap)
    };
    let ratio = gap / range;
    Ok(DixonR10 {
        suspect,
        n,
        ratio,
        p_two_tailed: dixon_r10_p_two_tailed(n, ratio).unwrap_or(1.0),
    })
}

/// Chance that r10 of a normal sample of n exceeds `ratio` at either end; `None` unless 3 <= n <= 30.
///
/// # Formula
/// Twice P(R > r) = n (n-1) double integral over x < y of phi(x) phi(y) [Phi(y) - Phi(x + r (y - x))]^(n-2): x and y are the
/// two extremes and the others must lie above the gap. At most 1.
#[must_use]
pub fn dixon_r10_p_two_tailed(n: usize, ratio: f64) -> Option<f64> {
    if !(3..=MAX_DIXON).contains(&n) || ratio.is_nan() {
        return None;
    }
    if ratio >= 1.0 {
        return Some(0.0);
    }
    let r = ratio.max(0.0);
    let one_tailed = if n == 3 {
        // Closed form (Dixon 1951).
        let angle = |r: f64| ((2.0 * r - 1.0) / 3.0_f64.sqrt()).atan();
        3.0 / std::f64::consts::PI * (angle(1.0) - angle(r))
    } else {
        one_end_exceeds(n, r)
    };
    Some((2.0 * one_tailed).clamp(0.0, 1.0))
}

/// The double integral of [`dixon_r10_p_two_tailed`].
fn one_end_exceeds(n: usize, r: f64) -> f64 {
    let inner = i32::try_from(n - 2).unwrap_or(i32::MAX);
    // Middle m and width d of the extremes separate the weights: phi(x) phi(y) = exp(-m^2 - d^2/4) / (2 pi).
    // Both sums are trapezoidal: over m the integrand is Gaussian, over d it is made so by d = exp(s - exp(-s)), and for
    // such integrands the rule converges exponentially. Halving both steps changes nothing above 1e-12.
    const STEP_M: f64 = 0.2;
    const STEP_S: f64 = 0.1;
    let mut sum = 0.0;
    for j in -25..=25 {
        let s = STEP_S * f64::from(j);
        let d = (s - (-s).exp()).exp();
        let weight = d * (1.0 + (-s).exp()) * (-0.25 * d * d).exp();
        let mut over_m = 0.0;
        for i in -30..=30 {
            let m = STEP_M * f64::from(i);
            let (from, to) = (m - 0.5 * d + r * d, m + 0.5 * d);
            over_m += (-m * m).exp() * normal_between(from, to).powi(inner);
        }
        sum += weight * over_m;
    }
    (n * (n - 1)) as f64 * sum * STEP_M * STEP_S / (2.0 * std::f64::consts::PI)
}

/// Normal probability between two points, from the tail in which it keeps its digits.
fn normal_between(from: f64, to: f64) -> f64 {
    let p = if from + to > 0.0 {
        normal_upper_tail(from) - normal_upper_tail(to)
    } else {
        normal_upper_tail(-to) - normal_upper_tail(-from)
    };
    p.max(0.0)
}

/// The r10 that a normal sample of n exceeds at either end with probability `tail`, computed; `None` unless
/// 3 <= n <= 30 and 0 < tail < 1.
#[must_use]
pub fn dixon_r10_critical_two_tailed(n: usize, tail: f64) -> Option<f64> {
    if !(tail > 0.0 && tail < 1.0) {
        return None;
    }
    let (mut low, mut high) = (0.0, 1.0);
    // 34 halvings: ten digits.
    for _ in 0..34 {
        let middle = 0.5 * (low + high);
        if dixon_r10_p_two_tailed(n, middle)? > tail {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(0.5 * (low + high))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct DixonTable {
    source: String,
    tails: u8,
    levels: Vec<f64>,
    critical: BTreeMap<String, Vec<f64>>,
}

/// Read once; a test shows that the file is sound, and without it the published test is simply not to be had.
static DIXON_TABLE: LazyLock<Option<DixonTable>> = LazyLock::new(|| {
    toml::from_str(include_str!("../../../reference/statistics/dixon-r10.toml"))
        .ok()
        .filter(|table: &DixonTable| table.tails == 2)
});

/// Published two-tailed critical value of r10, n = 3 to 10, at the level 0.90, 0.95, 0.96, 0.98 or 0.99.
///
/// Source: `reference/statistics/dixon-r10.toml`.
#[must_use]
pub fn published_dixon_r10_two_tailed(n: usize, level: f64) -> Option<f64> {
    let table = DIXON_TABLE.as_ref()?;
    let column = table.levels.iter().position(|l| (l - level).abs() < 1e-9)?;
    table.critical.get(&n.to_string())?.get(column).copied()
}

/// Where the published Dixon table comes from, for a report that names it.
#[must_use]
pub fn published_dixon_source() -> Option<&'static str> {
    DIXON_TABLE.as_ref().map(|t| t.source.as_str())
}

/// How many ends a test looks at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tails {
    /// The end was named before the data were seen (as when an overshoot can only be high).
    One,
    /// Either end could be off.
    Two,
}

/// Grubbs test for one outlier.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grubbs {
    /// The value farthest from the mean, or the end asked for.
    pub suspect: Suspect,
    /// Number of values.
    pub n: usize,
    /// Distance from the mean in standard deviations of the set, the suspect included.
    pub statistic: f64,
    /// One or two ends.
    pub tails: Tails,
    /// Chance of so large a statistic in a normal sample (Bonferroni bound, exact where only one value can exceed it).
    pub p: f64,
}

impl Grubbs {
    /// True for n = 3: the statistic can never exceed 1.1547, the critical values lie within 0.003 of that, and it is
    /// the closeness of two values that decides, not the distance of the third.
    #[must_use]
    pub fn hopeless(&self) -> bool {
        self.n <= 3
    }

    /// Largest statistic that n values can give: (n - 1)/sqrt(n).
    #[must_use]
    pub fn largest_possible(&self) -> f64 {
        largest_grubbs(self.n)
    }
}

/// Grubbs test of the value farthest from the mean, either end.
///
/// # Errors
/// Fewer than 3 values, equal values, or values that are not finite.
pub fn grubbs_two_tailed(values: &[f64]) -> Result<Grubbs, OutlierError> {
    let low = grubbs_at(values, End::Low, Tails::Two)?;
    let high = grubbs_at(values, End::High, Tails::Two)?;
    Ok(if low.statistic > high.statistic {
        low
    } else {
        high
    })
}

/// Grubbs test of the end that was named before the data were seen.
///
/// # Errors
/// As [`grubbs_two_tailed`].
pub fn grubbs_one_tailed(values: &[f64], end: End) -> Result<Grubbs, OutlierError> {
    grubbs_at(values, end, Tails::One)
}

fn grubbs_at(values: &[f64], end: End, tails: Tails) -> Result<Grubbs, OutlierError> {
    let n = values.len();
    let sorted = sorted(values)?;
    let summary = Replicates::of(values)?;
    let (Some(mean), Some(s)) = (summary.mean(), summary.standard_deviation()) else {
        return Err(OutlierError::TooFew { n });
    };
    if s <= 0.0 {
        return Err(OutlierError::NoScatter { n });
    }
    let suspect = match end {
        End::Low => suspect(sorted[0], end),
        End::High => suspect(sorted[n - 1], end),
    };
    let statistic = (suspect.value - mean).abs() / s;
    Ok(Grubbs {
        suspect,
        n,
        statistic,
        tails,
        p: grubbs_p(n, statistic, tails),
    })
}

fn largest_grubbs(n: usize) -> f64 {
    (n as f64 - 1.0) / (n as f64).sqrt()
}

fn grubbs_p(n: usize, g: f64, tails: Tails) -> f64 {
    let count = n as f64;
    let largest = largest_grubbs(n);
    if g >= largest {
        return 0.0;
    }
    // G = (n-1)/sqrt(n) sqrt(t^2/(n-2+t^2)) solved for t.
    let share = (g / largest).powi(2);
    let t = ((count - 2.0) * share / (1.0 - share)).sqrt();
    (ends(tails) * count * student_t_upper_tail(t, count - 2.0)).min(1.0)
}

/// Critical value of the Grubbs statistic that n normal values exceed with probability `tail`; `None` unless n >= 3 and
/// 0 < tail < 1.
///
/// # Formula
/// (n-1)/sqrt(n) sqrt(t^2/(n-2+t^2)), t the upper quantile at tail/(2n) (two-tailed) or tail/n (one-tailed) with n - 2
/// degrees of freedom.
#[must_use]
pub fn grubbs_critical(n: usize, tail: f64, tails: Tails) -> Option<f64> {
    if n < 3 || !(tail > 0.0 && tail < 1.0) {
        return None;
    }
    let count = n as f64;
    let t = student_t_upper_quantile(tail / (ends(tails) * count), count - 2.0);
    Some(largest_grubbs(n) / (1.0 + (count - 2.0) / (t * t)).sqrt())
}

fn ends(tails: Tails) -> f64 {
    match tails {
        Tails::One => 1.0,
        Tails::Two => 2.0,
    }
}

fn suspect((index, value): (usize, f64), end: End) -> Suspect {
    Suspect { index, value, end }
}

/// At least three finite values that differ, with their positions, ascending.
fn sorted(values: &[f64]) -> Result<Vec<(usize, f64)>, OutlierError> {
    let n = values.len();
    let summary = Replicates::of(values)?;
    if n < 3 {
        return Err(OutlierError::TooFew { n });
    }
    if summary.range().is_none_or(|r| r <= 0.0) {
        return Err(OutlierError::NoScatter { n });
    }
    let mut sorted: Vec<(usize, f64)> = values.iter().copied().enumerate().collect();
    sorted.sort_by(|a, b| a.1.total_cmp(&b.1));
    Ok(sorted)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_table_file_is_sound() {
        let table = DIXON_TABLE.as_ref().unwrap();
        assert_eq!(table.tails, 2);
        assert_eq!(table.critical.len(), 8);
        for (n, row) in &table.critical {
            assert!(n.parse::<usize>().is_ok());
            assert_eq!(row.len(), table.levels.len());
            assert!(row.windows(2).all(|w| w[0] < w[1]) && row[0] > 0.0 && row[4] < 1.0);
        }
        assert_eq!(published_dixon_r10_two_tailed(4, 0.99), Some(0.926));
        assert_eq!(published_dixon_r10_two_tailed(11, 0.99), None);
        assert_eq!(published_dixon_r10_two_tailed(4, 0.97), None);
    }

    #[test]
    fn every_ratio_exceeds_zero_at_one_end() {
        // P(R > 0) = 1 at one end, whatever n: the integral's weight is right.
        for n in [3, 4, 10, 30] {
            let both = dixon_r10_p_two_tailed(n, 1e-12);
            assert_eq!(both, Some(1.0), "{n}");
        }
        for r in [0.01, 0.3, 0.9, 0.99] {
            let closed = dixon_r10_p_two_tailed(3, r).unwrap().min(1.0);
            let integral = (2.0 * one_end_exceeds(3, r)).min(1.0);
            assert!(
                (closed - integral).abs() < 1e-12,
                "{r}: {closed} {integral}"
            );
        }
        // n = 3: the two end ratios add up to one, so exactly one of them exceeds one half: two-tailed p is 1.
        let p = dixon_r10_p_two_tailed(3, 0.5).unwrap();
        assert!((p - 1.0).abs() < 1e-12, "{p}");
    }

    #[test]
    fn too_little_to_test_is_said() {
        assert_eq!(
            dixon_r10_two_tailed(&[1.0, 2.0]),
            Err(OutlierError::TooFew { n: 2 })
        );
        assert_eq!(grubbs_two_tailed(&[]), Err(OutlierError::TooFew { n: 0 }));
        assert_eq!(
            dixon_r10_two_tailed(&[1.0; 4]),
            Err(OutlierError::NoScatter { n: 4 })
        );
        assert_eq!(
            grubbs_two_tailed(&[1.0; 4]),
            Err(OutlierError::NoScatter { n: 4 })
        );
        let many: Vec<f64> = (0..31).map(f64::from).collect();
        assert_eq!(
            dixon_r10_two_tailed(&many),
            Err(OutlierError::TooManyForDixon { n: 31 })
        );
        assert!(matches!(
            grubbs_two_tailed(&[1.0, f64::NAN, 2.0]),
            Err(OutlierError::Replicates(_))
        ));
    }

    #[test]
    fn grubbs_finds_the_end_and_three_values_are_hopeless() {
        let g = grubbs_two_tailed(&[18.64, 17.0, 18.66, 18.65]).unwrap();
        assert_eq!((g.suspect.index, g.suspect.end), (1, End::Low));
        assert!(!g.hopeless() && g.p < 0.01);
        let three = grubbs_two_tailed(&[18.64, 18.65, 25.0]).unwrap();
        assert!(three.hopeless() && three.statistic < three.largest_possible());
        let high = grubbs_one_tailed(&[18.64, 17.0, 18.66, 18.65], End::High).unwrap();
        assert!(high.p > 0.5);
    }

    #[test]
    fn grubbs_p_at_the_critical_value_is_the_level() {
        for n in [4, 7, 20] {
            for tails in [Tails::One, Tails::Two] {
                let g = grubbs_critical(n, 0.01, tails).unwrap();
                assert!((grubbs_p(n, g, tails) - 0.01).abs() < 1e-12);
            }
        }
    }

    proptest! {
        #[test]
        fn order_is_irrelevant(mut values in prop::collection::vec(0.0..50.0_f64, 3..12)) {
            let before = (dixon_r10_two_tailed(&values).unwrap(), grubbs_two_tailed(&values).unwrap());
            values.reverse();
            let after = (dixon_r10_two_tailed(&values).unwrap(), grubbs_two_tailed(&values).unwrap());
            // To the last bit; a tie between the ends may name the other one.
            prop_assert_eq!(before.0.ratio.to_bits(), after.0.ratio.to_bits());
            prop_assert_eq!(before.1.p.to_bits(), after.1.p.to_bits());
        }
    }
}
