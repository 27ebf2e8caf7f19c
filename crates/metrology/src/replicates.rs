//! Summary of repeated results: mean, standard deviation, interval; pooling; scatter against prediction.
//!
//! May be used for: results obtained under repeatability conditions that may be treated as independent draws from one
//! distribution. Not for results that drift (see [`crate::trend`]) or that come from several groups (see [`crate::anova`]).
//!
//! Source: JCGM 100:2008 (GUM) 4.2 for mean, s and s/sqrt(n); 4.2.4 and H.3.6 for pooled s; two-pass algorithm with
//! correction: Chan, Golub and LeVeque, Am. Stat. 37 (1983) 242.

use crate::quantiles::{chi_square_lower_tail, chi_square_upper_tail, coverage_factor};
use thiserror::Error;

/// Why a set of replicates or of scatters could not be used.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum ReplicatesError {
    /// One of the values is NaN or infinite.
    #[error("value {} of the replicates is {value}, expected a finite number", index + 1)]
    NotFinite {
        /// Position, counted from 0.
        index: usize,
        /// The value.
        value: f64,
    },
    /// The values are so large that their sum or squares overflow.
    #[error(
        "the replicates are too large to be summed, the largest is {largest:e}; use a larger unit"
    )]
    TooLarge {
        /// Largest magnitude among them.
        largest: f64,
    },
    /// A standard deviation is negative, NaN or infinite.
    #[error("standard deviation {value} of set {} is not a finite number of zero or more", index + 1)]
    BadStandardDeviation {
        /// Position of the set, counted from 0.
        index: usize,
        /// The value.
        value: f64,
    },
    /// Degrees of freedom are not positive and finite.
    #[error("degrees of freedom {value} of set {} are not a finite number above zero", index + 1)]
    BadDegreesOfFreedom {
        /// Position of the set, counted from 0.
        index: usize,
        /// The value.
        value: f64,
    },
}

/// Sum with the rounding errors carried along (Neumaier, Z. Angew. Math. Mech. 54 (1974) 39).
pub(crate) fn accurate_sum(values: impl IntoIterator<Item = f64>) -> f64 {
    let (mut sum, mut lost) = (0.0_f64, 0.0_f64);
    for v in values {
        let next = sum + v;
        lost += if sum.abs() >= v.abs() {
            (sum - next) + v
        } else {
            (v - next) + sum
        };
        sum = next;
    }
    sum + lost
}

/// Summary of the replicates of one quantity, in the unit of the values.
///
/// What cannot be known is `None`: nothing of an empty set, no scatter of a single value. The order of the values
/// makes no difference, to the last bit.
///
/// ```
/// use metrology::replicates::Replicates;
/// let titres = Replicates::of(&[18.64, 18.62, 18.66])?;
/// assert_eq!(titres.n(), 3);
/// assert_eq!(format!("{:.2}", titres.mean().unwrap()), "18.64");
/// assert_eq!(format!("{:.3}", titres.standard_deviation().unwrap()), "0.020");
/// assert_eq!(Replicates::of(&[18.64])?.standard_deviation(), None);
/// # Ok::<(), metrology::replicates::ReplicatesError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Replicates {
    n: usize,
    /// (mean, minimum, maximum); there when n >= 1.
    location: Option<(f64, f64, f64)>,
    /// There when n >= 2.
    standard_deviation: Option<f64>,
}

impl Replicates {
    /// Summarizes the values.
    ///
    /// # Errors
    /// [`ReplicatesError::NotFinite`] if a value is NaN or infinite; [`ReplicatesError::TooLarge`] if sums overflow.
    pub fn of(values: &[f64]) -> Result<Self, ReplicatesError> {
        if let Some((index, &value)) = values.iter().enumerate().find(|(_, v)| !v.is_finite()) {
            return Err(ReplicatesError::NotFinite { index, value });
        }
        let n = values.len();
        // Sums depend on the order in the last bit; sorted, they do not.
        let mut sorted = values.to_vec();
        sorted.sort_by(f64::total_cmp);
        let (Some(&minimum), Some(&maximum)) = (sorted.first(), sorted.last()) else {
            return Ok(Replicates {
                n,
                location: None,
                standard_deviation: None,
            });
        };
        let count = n as f64;
        // Rounding must not put the mean of equal values beside them.
        let mean = (accurate_sum(sorted.iter().copied()) / count).clamp(minimum, maximum);
        // The mean's own rounding error is taken out by the second sum.
        let squares = accurate_sum(sorted.iter().map(|v| (v - mean) * (v - mean)));
        let deviations = accurate_sum(sorted.iter().map(|v| v - mean));
        let variance =
            (squares - deviations * deviations / count).max(0.0) / (count - 1.0).max(1.0);
        if !(squares.is_finite() && deviations.is_finite() && variance.is_finite()) {
            let largest = minimum.abs().max(maximum.abs());
            return Err(ReplicatesError::TooLarge { largest });
        }
        Ok(Replicates {
            n,
            location: Some((mean, minimum, maximum)),
            standard_deviation: (n >= 2).then(|| variance.sqrt()),
        })
    }

    /// Number of values.
    #[must_use]
    pub fn n(&self) -> usize {
        self.n
    }

    /// Arithmetic mean; n >= 1.
    #[must_use]
    pub fn mean(&self) -> Option<f64> {
        self.location.map(|l| l.0)
    }

    /// Smallest value; n >= 1.
    #[must_use]
    pub fn minimum(&self) -> Option<f64> {
        self.location.map(|l| l.1)
    }

    /// Largest value; n >= 1.
    #[must_use]
    pub fn maximum(&self) -> Option<f64> {
        self.location.map(|l| l.2)
    }

    /// Largest minus smallest; n >= 2.
    #[must_use]
    pub fn range(&self) -> Option<f64> {
        let (_, minimum, maximum) = self.location?;
        (self.n >= 2).then_some(maximum - minimum)
    }

    /// Experimental standard deviation of one value, with n - 1; n >= 2.
    #[must_use]
    pub fn standard_deviation(&self) -> Option<f64> {
        self.standard_deviation
    }

    /// Degrees of freedom n - 1; n >= 2.
    #[must_use]
    pub fn degrees_of_freedom(&self) -> Option<f64> {
        (self.n >= 2).then(|| (self.n - 1) as f64)
    }

    /// Relative standard deviation s / |mean|, a fraction; n >= 2 and a mean that is not zero.
    #[must_use]
    pub fn relative_standard_deviation(&self) -> Option<f64> {
        let ratio = self.standard_deviation? / self.mean()?.abs();
        ratio.is_finite().then_some(ratio)
    }

    /// Experimental standard deviation of the mean, s / sqrt(n); n >= 2.
    #[must_use]
    pub fn standard_error(&self) -> Option<f64> {
        Some(self.standard_deviation? / (self.n as f64).sqrt())
    }

    /// Two-sided confidence interval of the mean from this set's own scatter; n >= 2.
    ///
    /// With two or three values it is wide (t = 12.7 and 4.3 at 95 %) and means little: pool the scatter of earlier
    /// work, see [`pooled`].
    #[must_use]
    pub fn confidence_interval(&self, probability: f64) -> Option<(f64, f64)> {
        let half =
            coverage_factor(probability, self.degrees_of_freedom()?) * self.standard_error()?;
        let mean = self.mean()?;
        half.is_finite().then_some((mean - half, mean + half))
    }

    /// This set's scatter, for pooling; n >= 2.
    #[must_use]
    pub fn scatter(&self) -> Option<Scatter> {
        Some(Scatter {
            standard_deviation: self.standard_deviation?,
            degrees_of_freedom: self.degrees_of_freedom()?,
        })
    }
}

/// A standard deviation of single values with the degrees of freedom it was estimated from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// Standard deviation of one value.
    pub standard_deviation: f64,
    /// Degrees of freedom, above zero; need not be whole.
    pub degrees_of_freedom: f64,
}

/// Pooled standard deviation: sqrt(sum nu_i s_i^2 / sum nu_i), with sum nu_i degrees of freedom; `None` without sets.
///
/// May be used when the sets scatter alike (same method, size and hand); an F test or the chi-square comparison tells.
///
/// # Errors
/// A standard deviation that is negative or not finite, degrees of freedom that are not above zero and finite.
pub fn pooled(sets: &[Scatter]) -> Result<Option<Scatter>, ReplicatesError> {
    for (index, set) in sets.iter().enumerate() {
        let (s, nu) = (set.standard_deviation, set.degrees_of_freedom);
        if !s.is_finite() || s < 0.0 {
            return Err(ReplicatesError::BadStandardDeviation { index, value: s });
        }
        if !nu.is_finite() || nu <= 0.0 {
            return Err(ReplicatesError::BadDegreesOfFreedom { index, value: nu });
        }
    }
    // Squares are taken relative to the largest, so that none overflows or vanishes.
    let largest = sets
        .iter()
        .map(|s| s.standard_deviation)
        .fold(0.0, f64::max);
    let degrees_of_freedom = accurate_sum(sets.iter().map(|s| s.degrees_of_freedom));
    if sets.is_empty() {
        return Ok(None);
    }
    if largest <= 0.0 {
        return Ok(Some(Scatter {
            standard_deviation: 0.0,
            degrees_of_freedom,
        }));
    }
    let weighted = accurate_sum(
        sets.iter()
            .map(|s| s.degrees_of_freedom * (s.standard_deviation / largest).powi(2)),
    );
    Ok(Some(Scatter {
        standard_deviation: largest * (weighted / degrees_of_freedom).sqrt(),
        degrees_of_freedom,
    }))
}

/// Observed scatter against a predicted one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScatterComparison {
    /// Observed over predicted standard deviation.
    pub ratio: f64,
    /// nu (s_observed / s_predicted)^2.
    pub chi_square: f64,
    /// Degrees of freedom of the observed scatter.
    pub degrees_of_freedom: f64,
    /// Chance of a scatter at least this large if the prediction holds; small: something else scatters too.
    pub p_at_least: f64,
    /// Chance of a scatter at most this small if the prediction holds; small: too good to be true.
    pub p_at_most: f64,
}

/// Chi-square comparison of an observed scatter with a prediction taken as exact, both tails.
///
/// May be used when the prediction comes from the apparatus (tolerances, resolution) and its own uncertainty is small
/// beside it; against another estimate use the F test ([`crate::hypothesis`]). `None` unless the prediction is above
/// zero and the observed scatter is finite with degrees of freedom above zero.
#[must_use]
pub fn compare_scatter(
    observed: Scatter,
    predicted_standard_deviation: f64,
) -> Option<ScatterComparison> {
    let nu = observed.degrees_of_freedom;
    let ratio = observed.standard_deviation / predicted_standard_deviation;
    let usable = predicted_standard_deviation > 0.0
        && predicted_standard_deviation.is_finite()
        && ratio >= 0.0
        && ratio.is_finite()
        && nu > 0.0
        && nu.is_finite();
    usable.then(|| {
        let chi_square = nu * ratio * ratio;
        ScatterComparison {
            ratio,
            chi_square,
            degrees_of_freedom: nu,
            p_at_least: chi_square_upper_tail(chi_square, nu),
            p_at_most: chi_square_lower_tail(chi_square, nu),
        }
    })
}

/// Lag-1 autocorrelation of values in the order they were made: sum (x_i - m)(x_(i-1) - m) / sum (x_i - m)^2.
///
/// May be used to see whether neighbours hang together (carry-over, drift). `None` for fewer than two values, equal
/// values, or values that are not finite. Source: definition of the NIST StRD univariate sets.
#[must_use]
pub fn lag_1_autocorrelation(values: &[f64]) -> Option<f64> {
    let mean = Replicates::of(values).ok()?.mean()?;
    let squares = accurate_sum(values.iter().map(|v| (v - mean) * (v - mean)));
    let products = accurate_sum(values.windows(2).map(|w| (w[0] - mean) * (w[1] - mean)));
    let r = products / squares;
    (values.len() >= 2 && r.is_finite()).then_some(r)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn nothing_is_known_of_nothing_and_no_scatter_of_one() {
        let none = Replicates::of(&[]).unwrap();
        assert_eq!((none.n(), none.mean(), none.range()), (0, None, None));
        let one = Replicates::of(&[18.64]).unwrap();
        assert_eq!(one.mean(), Some(18.64));
        assert_eq!(one.standard_deviation(), None);
        assert_eq!(one.confidence_interval(0.95), None);
        assert_eq!(one.scatter(), None);
        assert_eq!(lag_1_autocorrelation(&[18.64]), None);
    }

    #[test]
    fn equal_values_have_no_scatter_and_no_autocorrelation() {
        let same = Replicates::of(&[0.1, 0.1, 0.1]).unwrap();
        assert_eq!(same.standard_deviation(), Some(0.0));
        assert_eq!(lag_1_autocorrelation(&[0.1, 0.1, 0.1]), None);
    }

    #[test]
    fn a_value_that_is_no_number_is_named() {
        let e = Replicates::of(&[1.0, f64::NAN]).unwrap_err();
        assert_eq!(
            e.to_string(),
            "value 2 of the replicates is NaN, expected a finite number"
        );
        assert!(matches!(
            Replicates::of(&[1e308, 1e308]),
            Err(ReplicatesError::TooLarge { .. })
        ));
        assert!(matches!(
            Replicates::of(&[-1e308, 1e308]),
            Err(ReplicatesError::TooLarge { .. })
        ));
    }

    #[test]
    fn a_mean_of_zero_has_no_relative_scatter() {
        let r = Replicates::of(&[-1.0, 1.0]).unwrap();
        assert_eq!(r.relative_standard_deviation(), None);
    }

    #[test]
    fn interval_uses_t_of_n_minus_one() {
        // mean 2, s 1, t(95 %, 2) = 4.30265 (two-sided table): half-width 2.48414.
        let (low, high) = Replicates::of(&[1.0, 2.0, 3.0])
            .unwrap()
            .confidence_interval(0.95)
            .unwrap();
        assert_eq!(format!("{low:.4} {high:.4}"), "-0.4841 4.4841");
    }

    #[test]
    fn pooling_weighs_variances_by_degrees_of_freedom() {
        let scatter = |standard_deviation, degrees_of_freedom| Scatter {
            standard_deviation,
            degrees_of_freedom,
        };
        let p = pooled(&[scatter(3.0, 1.0), scatter(1.0, 7.0)])
            .unwrap()
            .unwrap();
        // (9 + 7) / 8 = 2
        assert!((p.standard_deviation - 2.0_f64.sqrt()).abs() < 1e-15);
        assert!((p.degrees_of_freedom - 8.0).abs() < 1e-15);
        assert_eq!(pooled(&[]).unwrap(), None);
        let bad = pooled(&[scatter(1.0, 2.0), scatter(1.0, f64::INFINITY)]);
        assert_eq!(
            bad,
            Err(ReplicatesError::BadDegreesOfFreedom {
                index: 1,
                value: f64::INFINITY
            })
        );
    }

    #[test]
    fn scatter_is_compared_on_both_sides() {
        let observed = Scatter {
            standard_deviation: 2.0,
            degrees_of_freedom: 2.0,
        };
        let c = compare_scatter(observed, 1.0).unwrap();
        // Two degrees of freedom: P(chi2 > x) = exp(-x/2), here x = 8.
        assert!((c.p_at_least - (-4.0_f64).exp()).abs() < 1e-15);
        assert!((c.p_at_least + c.p_at_most - 1.0).abs() < 1e-15);
        let identical = Scatter {
            standard_deviation: 0.0,
            degrees_of_freedom: 4.0,
        };
        assert!(compare_scatter(identical, 0.01).unwrap().p_at_most < 1e-300);
        assert_eq!(compare_scatter(identical, 0.0), None);
    }

    proptest! {
        #[test]
        fn order_is_irrelevant(mut values in prop::collection::vec(-1e6..1e6_f64, 0..20), turn in 0..20_usize) {
            let before = Replicates::of(&values).unwrap();
            if !values.is_empty() {
                let turn = turn % values.len();
                values.rotate_left(turn);
            }
            values.reverse();
            prop_assert_eq!(before, Replicates::of(&values).unwrap());
        }

        #[test]
        fn shifting_and_scaling_do_what_they_should(values in prop::collection::vec(0.0..50.0_f64, 2..12)) {
            let plain = Replicates::of(&values).unwrap();
            let scaled: Vec<f64> = values.iter().map(|v| 8.0 * v).collect();
            let s = plain.standard_deviation().unwrap();
            // A power of two changes no digit.
            prop_assert_eq!(Replicates::of(&scaled).unwrap().standard_deviation(), Some(8.0 * s));
            prop_assert!(plain.minimum() <= plain.mean() && plain.mean() <= plain.maximum());
        }
    }
}
