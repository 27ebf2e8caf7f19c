//! Control charts of individual values: mean, warning and action limits, and run rules.
//!
//! May be used for values that are got one at a time under conditions meant to be the same: the concentration of a
//! titrant at each standardization, the content found in a check sample. What a signal means it cannot say.
//!
//! Source: W. A. Shewhart (1931); limits from moving ranges as in ISO 7870-2 and the NIST/SEMATECH e-Handbook of
//! Statistical Methods, 6.3.2.2; rules as in the Western Electric handbook (1956) and L. S. Nelson, Journal of Quality
//! Technology 16 (1984) 237-239.

use crate::replicates::accurate_sum;
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Expected range of two values from a normal distribution, in standard deviations, as the tables of the trade print it.
const D2: f64 = 1.128;

/// Most values of a chart.
const MOST: usize = 10_000;

/// Why no limits can be set.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum ControlError {
    /// Fewer than three values.
    #[error("limits need at least 3 values, got {n}")]
    TooFew {
        /// Number of values.
        n: usize,
    },
    /// More values than a chart can show.
    #[error("a chart holds at most {MOST} values, got {n}")]
    TooMany {
        /// Number of values.
        n: usize,
    },
    /// A NaN or infinite value.
    #[error("value {} is {number}, expected a finite number", index + 1)]
    NotFinite {
        /// Position, counted from 0.
        index: usize,
        /// The number.
        number: f64,
    },
}

/// How the standard deviation of a chart is got.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Spread {
    /// Mean of the moving ranges over 1.128: a slow drift does not widen the limits.
    MovingRange,
    /// Standard deviation of all values.
    StandardDeviation,
}

/// Mean and standard deviation of a chart.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ControlLimits {
    /// Number of values behind them.
    pub n: usize,
    /// Mean.
    pub mean: f64,
    /// Standard deviation of one value.
    pub s: f64,
    /// How it was got.
    pub spread: Spread,
}

impl ControlLimits {
    /// Limits from values in the order in which they were got.
    ///
    /// # Errors
    /// [`ControlError`]: fewer than three values, or one that is not finite.
    ///
    /// ```
    /// use metrology::control::{ControlLimits, Spread};
    /// let limits = ControlLimits::of(&[9.0, 11.0, 9.0, 11.0], Spread::MovingRange)?;
    /// assert!((limits.at(3.0).1 - (10.0 + 3.0 * 2.0 / 1.128)).abs() < 1e-12);
    /// # Ok::<(), metrology::control::ControlError>(())
    /// ```
    pub fn of(values: &[f64], spread: Spread) -> Result<Self, ControlError> {
        let n = values.len();
        if n < 3 {
            return Err(ControlError::TooFew { n });
        }
        if n > MOST {
            return Err(ControlError::TooMany { n });
        }
        if let Some((index, &number)) = values.iter().enumerate().find(|(_, v)| !v.is_finite()) {
            return Err(ControlError::NotFinite { index, number });
        }
        let mean = accurate_sum(values.iter().copied()) / n as f64;
        let s = match spread {
            Spread::MovingRange => {
                let ranges = values.windows(2).map(|pair| (pair[1] - pair[0]).abs());
                accurate_sum(ranges) / (n as f64 - 1.0) / D2
            }
            Spread::StandardDeviation => {
                let squares = values.iter().map(|v| (v - mean).powi(2));
                (accurate_sum(squares) / (n as f64 - 1.0)).sqrt()
            }
        };
        Ok(Self { n, mean, s, spread })
    }

    /// Lower and upper limit, so many standard deviations off the mean.
    pub fn at(&self, times: f64) -> (f64, f64) {
        (self.mean - times * self.s, self.mean + times * self.s)
    }

    /// Distance of a value from the mean, in standard deviations; 0 where nothing scatters.
    fn score(&self, value: f64) -> f64 {
        if self.s > 0.0 {
            (value - self.mean) / self.s
        } else {
            0.0
        }
    }
}

/// What a run rule looks for.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "kind", deny_unknown_fields)]
pub enum Pattern {
    /// So many of the last `of` points further than `times` standard deviations off, on one side.
    Beyond {
        /// How many.
        points: usize,
        /// Of how many in a row.
        of: usize,
        /// How far off.
        times: f64,
    },
    /// So many points in a row, each higher than the one before, or each lower.
    Steady {
        /// How many.
        points: usize,
    },
    /// So many points in a row, up and down in turn.
    Alternating {
        /// How many.
        points: usize,
    },
    /// So many points in a row within `times` standard deviations of the mean.
    Within {
        /// How many.
        points: usize,
        /// How near.
        times: f64,
    },
    /// So many points in a row further than `times` standard deviations off, on either side, on both in all.
    Outside {
        /// How many.
        points: usize,
        /// How far off.
        times: f64,
    },
}

impl Pattern {
    /// How many points it looks at.
    pub fn length(&self) -> usize {
        match *self {
            Self::Beyond { of, .. } => of,
            Self::Steady { points }
            | Self::Alternating { points }
            | Self::Within { points, .. }
            | Self::Outside { points, .. } => points,
        }
    }

    /// True if the numbers can be meant.
    pub fn is_sensible(&self) -> bool {
        let counts = |points: usize| (1..=100).contains(&points);
        match *self {
            Self::Beyond { points, of, times } => {
                counts(points) && points <= of && counts(of) && (0.0..=10.0).contains(&times)
            }
            Self::Steady { points } | Self::Alternating { points } => counts(points) && points >= 3,
            Self::Within { points, times } | Self::Outside { points, times } => {
                counts(points) && times > 0.0 && times <= 10.0
            }
        }
    }

    /// The points, by index, that complete the pattern at point `last`; none if they do not.
    pub fn completed(
        &self,
        values: &[f64],
        limits: &ControlLimits,
        last: usize,
    ) -> Option<Vec<usize>> {
        let length = self.length();
        if length == 0 || last >= values.len() || last + 1 < length {
            // Of a row that is not full yet, as many as are wanted may already be off.
            return match *self {
                Self::Beyond { points, .. } if last < values.len() && last + 1 >= points => {
                    self.beyond(values, limits, 0, last)
                }
                _ => None,
            };
        }
        let first = last + 1 - length;
        let row = &values[first..=last];
        let score = |value: &f64| limits.score(*value);
        let all = || Some((first..=last).collect());
        match *self {
            Self::Beyond { .. } => self.beyond(values, limits, first, last),
            Self::Steady { .. } => {
                let rises = row.windows(2).all(|pair| pair[1] > pair[0]);
                let falls = row.windows(2).all(|pair| pair[1] < pair[0]);
                (rises || falls).then(all).flatten()
            }
            Self::Alternating { .. } => {
                let turns = row
                    .windows(3)
                    .all(|three| (three[1] - three[0]) * (three[2] - three[1]) < 0.0);
                turns.then(all).flatten()
            }
            Self::Within { times, .. } => {
                let near = limits.s > 0.0 && row.iter().all(|v| score(v).abs() < times);
                near.then(all).flatten()
            }
            Self::Outside { times, .. } => {
                let far = row.iter().all(|v| score(v).abs() > times);
                let both = row.iter().any(|v| score(v) > 0.0) && row.iter().any(|v| score(v) < 0.0);
                (far && both).then(all).flatten()
            }
        }
    }

    fn beyond(
        &self,
        values: &[f64],
        limits: &ControlLimits,
        first: usize,
        last: usize,
    ) -> Option<Vec<usize>> {
        let Self::Beyond { points, times, .. } = *self else {
            return None;
        };
        [1.0, -1.0].into_iter().find_map(|side| {
            let off = |i: usize| side * limits.score(values[i]) > times;
            let found: Vec<usize> = (first..=last).filter(|i| off(*i)).collect();
            (off(last) && found.len() >= points).then_some(found)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, flow rate of ten batches (from memory; the sums
    /// recomputed by hand: 508.1 and 16.9).
    const FLOW: [f64; 10] = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];

    const EXACT: ControlLimits = ControlLimits {
        n: 100,
        mean: 0.0,
        s: 1.0,
        spread: Spread::StandardDeviation,
    };

    #[test]
    fn limits_follow_the_published_example() {
        let limits = ControlLimits::of(&FLOW, Spread::MovingRange).unwrap();
        let (lower, upper) = limits.at(3.0);
        // Printed: centre 50.81, mean moving range 1.8778, upper limit 55.8041, lower limit 45.8159.
        assert_eq!(format!("{:.2}", limits.mean), "50.81");
        assert_eq!(format!("{:.4}", limits.s * D2), "1.8778");
        // The handbook goes on from the rounded range: 3 times half a unit of its last digit, over d2.
        let rounding = 3.0 * 0.000_05 / D2 + 0.000_05;
        assert!((upper - 55.8041).abs() < rounding, "{upper}");
        assert!((lower - 45.8159).abs() < rounding, "{lower}");
        // The handbook finds nothing out of control.
        let action = Pattern::Beyond {
            points: 1,
            of: 1,
            times: 3.0,
        };
        assert!((0..10).all(|i| action.completed(&FLOW, &limits, i).is_none()));
    }

    #[test]
    fn a_standard_deviation_is_that_of_all_values() {
        let limits = ControlLimits::of(&[1.0, 2.0, 3.0, 4.0], Spread::StandardDeviation).unwrap();
        assert!((limits.s - (5.0_f64 / 3.0).sqrt()).abs() < 1e-15);
    }

    #[test]
    fn each_rule_is_completed_where_it_is() {
        let first = |pattern: Pattern, values: &[f64]| {
            assert!(pattern.is_sensible());
            (0..values.len()).find(|i| pattern.completed(values, &EXACT, *i).is_some())
        };
        let beyond = |points, of, times| Pattern::Beyond { points, of, times };
        assert_eq!(first(beyond(1, 1, 3.0), &[0.0, 2.9, -3.1]), Some(2));
        assert_eq!(first(beyond(2, 3, 2.0), &[2.1, 0.0, 2.1, 0.0]), Some(2));
        assert_eq!(first(beyond(2, 3, 2.0), &[2.1, 0.0, -2.1, 0.0]), None);
        // Two of three are two already.
        assert_eq!(first(beyond(2, 3, 2.0), &[2.1, 2.2]), Some(1));
        assert_eq!(
            first(beyond(4, 5, 1.0), &[-1.1, -1.2, 0.0, -1.1, -1.3]),
            Some(4)
        );
        assert_eq!(first(beyond(9, 9, 0.0), &[0.1; 9]), Some(8));
        assert_eq!(first(beyond(9, 9, 0.0), &[0.1; 8]), None);
        let steady = Pattern::Steady { points: 6 };
        assert_eq!(first(steady, &[0.0, 0.1, 0.2, 0.3, 0.4, 0.5]), Some(5));
        assert_eq!(first(steady, &[0.0, 0.1, 0.2, 0.2, 0.4, 0.5]), None);
        let turns: Vec<f64> = (0..14).map(|i| f64::from(i % 2)).collect();
        assert_eq!(first(Pattern::Alternating { points: 14 }, &turns), Some(13));
        let within = Pattern::Within {
            points: 15,
            times: 1.0,
        };
        assert_eq!(first(within, &[0.5; 15]), Some(14));
        let outside = Pattern::Outside {
            points: 8,
            times: 1.0,
        };
        let jumps: Vec<f64> = (0..8)
            .map(|i| if i % 2 == 0 { 1.5 } else { -1.5 })
            .collect();
        assert_eq!(first(outside, &jumps), Some(7));
        assert_eq!(first(outside, &[1.5; 8]), None);
    }

    /// Mean number of points up to the first false signal: C. W. Champ and W. H. Woodall, Technometrics 29 (1987) 393-399
    /// (from memory): the four Western Electric rules together 91.75, the action limits alone 370.40.
    #[test]
    fn false_signals_come_as_often_as_published() {
        let beyond = |points, of, times| Pattern::Beyond { points, of, times };
        let four = [
            beyond(1, 1, 3.0),
            beyond(2, 3, 2.0),
            beyond(4, 5, 1.0),
            beyond(8, 8, 0.0),
        ];
        // Polar method (Marsaglia 1964) on SplitMix64 (2014).
        let mut state = 1_u64;
        let mut unit = move || {
            state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
            let mut z = state;
            z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
        };
        let mut normal = move || loop {
            let (x, y) = (2.0 * unit() - 1.0, 2.0 * unit() - 1.0);
            let q = x * x + y * y;
            if q > 0.0 && q < 1.0 {
                return x * (-2.0 * q.ln() / q).sqrt();
            }
        };
        for (rules, published) in [(&four[..], 91.75), (&four[..1], 370.40)] {
            let rounds = 10_000;
            let mut points = 0_u64;
            for _ in 0..rounds {
                let mut values: Vec<f64> = Vec::new();
                loop {
                    values.push(normal());
                    points += 1;
                    let last = values.len() - 1;
                    if rules
                        .iter()
                        .any(|r| r.completed(&values, &EXACT, last).is_some())
                    {
                        break;
                    }
                    if values.len() > 16 {
                        values.remove(0);
                    }
                }
            }
            // A run length scatters about as much as it is long: four standard errors.
            let mean = points as f64 / f64::from(rounds);
            let within = 4.0 * published / f64::from(rounds).sqrt();
            assert!(
                (mean - published).abs() < within,
                "{mean} {published} {within}"
            );
        }
    }

    #[test]
    fn impossible_values_are_refused() {
        let of = |values: &[f64]| ControlLimits::of(values, Spread::MovingRange);
        assert_eq!(of(&[1.0, 2.0]), Err(ControlError::TooFew { n: 2 }));
        assert!(matches!(
            of(&[1.0, f64::NAN, 2.0]),
            Err(ControlError::NotFinite { index: 1, .. })
        ));
        // Nothing scatters: no rule speaks of distances.
        let flat = of(&[1.0; 20]).unwrap();
        let within = Pattern::Within {
            points: 15,
            times: 1.0,
        };
        assert_eq!(within.completed(&[1.0; 20], &flat, 19), None);
    }
}
