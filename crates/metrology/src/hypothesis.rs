//! F test and t tests on replicate results.
//!
//! May be used to compare two scatters (F) or two means (t), of normal results, one question at a time. A p-value is the
//! chance of a difference at least this large if there is none; it does not say how large the difference is: look at
//! `difference` and `standard_error` too.
//!
//! Source: Student, Biometrika 6 (1908) 1; B. L. Welch, Biometrika 34 (1947) 28; ISO 5725-6 and textbooks for the F test.

use crate::quantiles::{coverage_factor, f_lower_tail, f_upper_tail, student_t_two_sided_tail};
use crate::replicates::{Replicates, ReplicatesError, Scatter, pooled};
use thiserror::Error;

/// Why a test could not be made.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum HypothesisError {
    /// A set is too small for its scatter to be known.
    #[error("the test needs at least {needed} values in each set, got {n}")]
    TooFew {
        /// Number of values in the smaller set.
        n: usize,
        /// Number needed.
        needed: usize,
    },
    /// Nothing scatters, so that no difference can be weighed.
    #[error(
        "the values do not scatter at all, so the difference cannot be weighed against anything"
    )]
    NoScatter,
    /// Pairs need partners.
    #[error("{first} values against {second}, expected pairs")]
    LengthsDiffer {
        /// Size of the first set.
        first: usize,
        /// Size of the second set.
        second: usize,
    },
    /// Values or scatters that cannot be used.
    #[error(transparent)]
    Replicates(#[from] ReplicatesError),
}

/// Result of a t test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TTest {
    /// Difference of the means, first less second.
    pub difference: f64,
    /// Standard uncertainty of the difference from the scatter.
    pub standard_error: f64,
    /// t: difference over standard error.
    pub statistic: f64,
    /// Degrees of freedom; fractional for Welch.
    pub degrees_of_freedom: f64,
    /// Chance of so large a |t| without a difference.
    pub p_two_sided: f64,
}

impl TTest {
    fn new(
        difference: f64,
        standard_error: f64,
        degrees_of_freedom: f64,
    ) -> Result<Self, HypothesisError> {
        let statistic = difference / standard_error;
        if !(standard_error > 0.0 && statistic.is_finite()) {
            return Err(HypothesisError::NoScatter);
        }
        Ok(TTest {
            difference,
            standard_error,
            statistic,
            degrees_of_freedom,
            p_two_sided: student_t_two_sided_tail(statistic, degrees_of_freedom),
        })
    }

    /// Two-sided confidence interval of the difference.
    #[must_use]
    pub fn confidence_interval(&self, probability: f64) -> (f64, f64) {
        let half = coverage_factor(probability, self.degrees_of_freedom) * self.standard_error;
        (self.difference - half, self.difference + half)
    }
}

/// Mean of one set against a reference value taken as exact.
///
/// # Errors
/// [`HypothesisError::TooFew`] below two values, [`HypothesisError::NoScatter`] when all are equal.
pub fn one_sample_t_test(set: &Replicates, reference: f64) -> Result<TTest, HypothesisError> {
    let one = known(set)?;
    TTest::new(one.mean - reference, one.s / one.n.sqrt(), one.n - 1.0)
}

/// Mean difference of pairs: the same samples by two methods or two people.
///
/// # Errors
/// [`HypothesisError::LengthsDiffer`]; [`HypothesisError::TooFew`] below two pairs; [`HypothesisError::NoScatter`] when all
/// differences are equal; values that are not finite.
pub fn paired_t_test(first: &[f64], second: &[f64]) -> Result<TTest, HypothesisError> {
    if first.len() != second.len() {
        return Err(HypothesisError::LengthsDiffer {
            first: first.len(),
            second: second.len(),
        });
    }
    let differences: Vec<f64> = first.iter().zip(second).map(|(a, b)| a - b).collect();
    let summary = Replicates::of(&differences)?;
    // 18.66 - 18.64 and 18.64 - 18.62 differ in the last bits only; that is no scatter.
    let largest = first
        .iter()
        .chain(second)
        .fold(0.0_f64, |m, v| m.max(v.abs()));
    if summary
        .standard_deviation()
        .is_some_and(|s| s <= 4.0 * f64::EPSILON * largest)
    {
        return Err(HypothesisError::NoScatter);
    }
    one_sample_t_test(&summary, 0.0)
}

/// Two means with the scatter pooled. May be used when the two scatters are alike; else [`welch_t_test`].
///
/// # Errors
/// As [`one_sample_t_test`].
pub fn equal_variance_t_test(
    first: &Replicates,
    second: &Replicates,
) -> Result<TTest, HypothesisError> {
    let (a, b) = (known(first)?, known(second)?);
    let both = pooled(&[a.scatter(), b.scatter()])?.ok_or(HypothesisError::NoScatter)?;
    TTest::new(
        a.mean - b.mean,
        both.standard_deviation * (1.0 / a.n + 1.0 / b.n).sqrt(),
        both.degrees_of_freedom,
    )
}

/// Two means, each with its own scatter; degrees of freedom after Welch, not rounded.
///
/// # Errors
/// As [`one_sample_t_test`].
pub fn welch_t_test(first: &Replicates, second: &Replicates) -> Result<TTest, HypothesisError> {
    let (a, b) = (known(first)?, known(second)?);
    let (ua, ub) = (a.s / a.n.sqrt(), b.s / b.n.sqrt());
    let standard_error = ua.hypot(ub);
    let (pa, pb) = ((ua / standard_error).powi(4), (ub / standard_error).powi(4));
    let degrees_of_freedom = 1.0 / (pa / (a.n - 1.0) + pb / (b.n - 1.0));
    TTest::new(a.mean - b.mean, standard_error, degrees_of_freedom)
}

struct Known {
    n: f64,
    mean: f64,
    s: f64,
}

impl Known {
    fn scatter(&self) -> Scatter {
        Scatter {
            standard_deviation: self.s,
            degrees_of_freedom: self.n - 1.0,
        }
    }
}

fn known(set: &Replicates) -> Result<Known, HypothesisError> {
    match (set.mean(), set.standard_deviation()) {
        (Some(mean), Some(s)) => Ok(Known {
            n: set.n() as f64,
            mean,
            s,
        }),
        _ => Err(HypothesisError::TooFew {
            n: set.n(),
            needed: 2,
        }),
    }
}

/// Result of an F test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FTest {
    /// First variance over second.
    pub statistic: f64,
    /// Degrees of freedom of the first scatter.
    pub numerator_dof: f64,
    /// Degrees of freedom of the second scatter.
    pub denominator_dof: f64,
    /// Chance of so large a ratio if the scatters are alike: is the first larger?
    pub p_first_larger: f64,
    /// Chance of a ratio this far from one, either way.
    pub p_two_sided: f64,
}

/// Compares two scatters by the ratio of their variances.
///
/// # Errors
/// [`HypothesisError::NoScatter`] if the second is zero; scatters or degrees of freedom that make no sense.
pub fn f_test(first: Scatter, second: Scatter) -> Result<FTest, HypothesisError> {
    // Pooling refuses what makes no sense, and names it.
    pooled(&[first, second])?;
    let ratio = first.standard_deviation / second.standard_deviation;
    let statistic = ratio * ratio;
    if !statistic.is_finite() {
        return Err(HypothesisError::NoScatter);
    }
    let (m, n) = (first.degrees_of_freedom, second.degrees_of_freedom);
    let (above, below) = (f_upper_tail(statistic, m, n), f_lower_tail(statistic, m, n));
    Ok(FTest {
        statistic,
        numerator_dof: m,
        denominator_dof: n,
        p_first_larger: above,
        p_two_sided: (2.0 * above.min(below)).min(1.0),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: f64, b: f64, relative: f64) -> bool {
        (a - b).abs() <= relative * b.abs()
    }

    // Student (1908): hours of sleep gained by ten patients with two drugs, the data set known as `sleep`.
    const DRUG_1: [f64; 10] = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0];
    const DRUG_2: [f64; 10] = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4];

    #[test]
    fn students_own_data() {
        // t = -4.0621, df = 9, p = 0.002833 (paired); t = -1.8608, df = 17.776, p = 0.07939 (Welch); df = 18,
        // p = 0.07919 (equal variances): as printed by R for its data set `sleep`; from memory, and the same from
        // scipy 1.17.1 with more digits, which the test demands.
        let paired = paired_t_test(&DRUG_1, &DRUG_2).unwrap();
        assert!(
            near(paired.statistic, PAIRED_T, 1e-12) && near(paired.p_two_sided, PAIRED_P, 1e-11)
        );
        let (a, b) = (
            Replicates::of(&DRUG_1).unwrap(),
            Replicates::of(&DRUG_2).unwrap(),
        );
        let welch = welch_t_test(&a, &b).unwrap();
        assert!(
            near(welch.statistic, WELCH_T, 1e-12)
                && near(welch.degrees_of_freedom, WELCH_DOF, 1e-12)
        );
        assert!(near(welch.p_two_sided, WELCH_P, 1e-11));
        let equal = equal_variance_t_test(&a, &b).unwrap();
        assert!(
            near(equal.degrees_of_freedom, 18.0, 1e-15) && near(equal.p_two_sided, EQUAL_P, 1e-11)
        );
        let (low, high) = paired.confidence_interval(0.95);
        assert_eq!(format!("{low:.4} {high:.4}"), "-2.4599 -0.7001");
        let f = f_test(a.scatter().unwrap(), b.scatter().unwrap()).unwrap();
        assert!(
            near(f.statistic, F_RATIO, 1e-12) && near(f.p_two_sided, F_P, 1e-11),
            "{f:?}"
        );
    }

    // scipy 1.17.1: ttest_rel, ttest_ind(equal_var=False), ttest_ind, f.sf and f.cdf.
    const PAIRED_T: f64 = -4.062_127_683_382_037;
    const PAIRED_P: f64 = 0.002_832_890_197_384_273;
    const WELCH_T: f64 = -1.860_813_467_486_852_6;
    const WELCH_DOF: f64 = 17.776_473_516_178_488;
    const WELCH_P: f64 = 0.079_394_140_187_358_3;
    const EQUAL_P: f64 = 0.079_186_714_215_938_22;
    const F_RATIO: f64 = 0.798_342_617_998_392_3;
    const F_P: f64 = 0.742_719_931_726_045_3;

    #[test]
    fn what_cannot_be_weighed_is_refused() {
        let one = Replicates::of(&[1.0]).unwrap();
        let same = Replicates::of(&[1.0, 1.0]).unwrap();
        assert_eq!(
            one_sample_t_test(&one, 0.0),
            Err(HypothesisError::TooFew { n: 1, needed: 2 })
        );
        assert_eq!(
            one_sample_t_test(&same, 0.0),
            Err(HypothesisError::NoScatter)
        );
        assert_eq!(welch_t_test(&same, &same), Err(HypothesisError::NoScatter));
        assert!(matches!(
            paired_t_test(&[1.0], &[]),
            Err(HypothesisError::LengthsDiffer { .. })
        ));
        let scatter = |standard_deviation, degrees_of_freedom| Scatter {
            standard_deviation,
            degrees_of_freedom,
        };
        assert_eq!(
            f_test(scatter(1.0, 2.0), scatter(0.0, 2.0)),
            Err(HypothesisError::NoScatter)
        );
        assert!(f_test(scatter(f64::NAN, 2.0), scatter(1.0, 2.0)).is_err());
        assert!(f_test(scatter(1.0, 0.0), scatter(1.0, 2.0)).is_err());
    }
}
