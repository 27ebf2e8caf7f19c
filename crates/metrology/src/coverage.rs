//! From a standard uncertainty to an expanded one (JCGM 100, clause 6 and annex G).

use crate::quantiles::coverage_factor;
use serde::{Deserialize, Serialize};

/// How an interval is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Coverage {
    /// A coverage probability, such as 0.95; the factor then follows from the degrees of freedom.
    Probability(f64),
    /// A fixed coverage factor, such as 2; no probability is claimed for it.
    Factor(f64),
}

/// An expanded uncertainty and the interval it makes, in the unit of the value.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Expanded {
    /// Coverage factor k.
    pub coverage_factor: f64,
    /// Coverage probability, if one was asked for.
    pub probability: Option<f64>,
    /// Expanded uncertainty U = k·u.
    pub expanded_uncertainty: f64,
    /// The value less U.
    pub lower: f64,
    /// The value plus U.
    pub upper: f64,
}

impl Expanded {
    /// How the interval was asked for, so that another can be asked for in the same way.
    #[must_use]
    pub fn coverage(&self) -> Coverage {
        match self.probability {
            Some(p) => Coverage::Probability(p),
            None => Coverage::Factor(self.coverage_factor),
        }
    }
}

/// Expands a standard uncertainty `u` with effective degrees of freedom `dof`.
///
/// The factor is the two-sided Student t quantile at *fractional* degrees of freedom. JCGM 100, G.4.1 lets them be
/// cut to the next lower whole number instead, which the tables of its time needed; to reproduce such a figure, pass
/// `dof.floor()`. Infinite degrees of freedom give the normal quantile.
///
/// It never fails: a probability of 1 or more, or degrees of freedom not above 0, give an unbounded interval, and a
/// probability of 0 or less an empty one.
///
/// # Example
/// ```
/// use metrology::{Coverage, expand};
/// let expanded = expand(50_000_838.0, 31.66, 16.0, Coverage::Probability(0.99));
/// assert_eq!(format!("{:.2}", expanded.coverage_factor), "2.92"); // t99(16), JCGM 100, table G.2
/// ```
#[must_use]
pub fn expand(value: f64, u: f64, dof: f64, coverage: Coverage) -> Expanded {
    let (coverage_factor, probability) = match coverage {
        Coverage::Probability(p) => (coverage_factor(p, dof), Some(p)),
        Coverage::Factor(k) => (k, None),
    };
    // No uncertainty stays none, even where the factor is unbounded.
    let expanded_uncertainty = if u == 0.0 { 0.0 } else { coverage_factor * u };
    Expanded {
        coverage_factor,
        probability,
        expanded_uncertainty,
        lower: value - expanded_uncertainty,
        upper: value + expanded_uncertainty,
    }
}

#[cfg(test)]
#[allow(clippy::float_cmp)]
mod tests {
    use super::*;

    #[test]
    fn factors_follow_table_g2_of_the_guide() {
        // JCGM 100:2008, table G.2 (t for 95 %, 95.45 % and 99 %), printed to two decimals.
        for (dof, p, printed) in [
            (1.0, 0.95, "12.71"),
            (4.0, 0.95, "2.78"),
            (5.0, 0.9545, "2.65"),
            (16.0, 0.99, "2.92"),
            (f64::INFINITY, 0.95, "1.96"),
        ] {
            let k = expand(0.0, 1.0, dof, Coverage::Probability(p)).coverage_factor;
            assert_eq!(format!("{k:.2}"), printed, "{dof} {p}");
        }
    }

    #[test]
    fn degrees_of_freedom_are_not_cut_to_whole_numbers() {
        let k = |dof| expand(0.0, 1.0, dof, Coverage::Probability(0.95)).coverage_factor;
        assert!(k(4.0) > k(4.7) && k(4.7) > k(5.0));
    }

    #[test]
    fn a_fixed_factor_claims_no_probability() {
        let expanded = expand(10.0, 0.25, 3.0, Coverage::Factor(2.0));
        assert_eq!(expanded.probability, None);
        assert_eq!((expanded.lower, expanded.upper), (9.5, 10.5));
    }

    #[test]
    fn senseless_arguments_claim_nothing() {
        let wide = expand(1.0, 0.1, 4.0, Coverage::Probability(1.0));
        assert_eq!((wide.lower, wide.upper), (f64::NEG_INFINITY, f64::INFINITY));
        assert!(
            expand(1.0, 0.1, f64::NAN, Coverage::Probability(0.95))
                .upper
                .is_infinite()
        );
        assert_eq!(expand(1.0, 0.1, 4.0, Coverage::Probability(0.0)).upper, 1.0);
        assert_eq!(
            expand(1.0, 0.0, 0.0, Coverage::Probability(0.95)).upper,
            1.0
        );
    }
}
