//! Whether a quantity keeps its limits: probability of conformity, guard bands, acceptance limits.
//!
//! Source: JCGM 106:2012, 7.3 and 7.4 (probability of conformity for one and two limits) and 8.3 (guard bands). The value is
//! taken as Student distributed with its effective degrees of freedom, which is the normal case where these are infinite.

use crate::quantiles::{student_t_upper_quantile, student_t_upper_tail};

/// Tolerance or acceptance limits; at least one of them is given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Least value, if there is one.
    pub lower: Option<f64>,
    /// Largest value, if there is one.
    pub upper: Option<f64>,
}

impl Limits {
    /// True if a value lies within, the limits included.
    pub fn contains(&self, value: f64) -> bool {
        self.lower.is_none_or(|lower| value >= lower)
            && self.upper.is_none_or(|upper| value <= upper)
    }

    /// Probability that the quantity keeps the limits.
    ///
    /// # Formula
    /// p = T((upper - y)/u) - T((lower - y)/u), T the distribution function of Student's t; a missing limit drops a term.
    pub fn probability(&self, value: f64, u: f64, dof: f64) -> f64 {
        if u <= 0.0 {
            return f64::from(u8::from(self.contains(value)));
        }
        let above = |limit: f64| student_t_upper_tail((limit - value) / u, dof);
        self.lower.map_or(1.0, above) - self.upper.map_or(0.0, above)
    }

    /// The limits moved inwards by a guard band, outwards if it is negative; none if nothing is left between them.
    pub fn guarded(&self, width: f64) -> Option<Self> {
        let moved = Self {
            lower: self.lower.map(|lower| lower + width),
            upper: self.upper.map(|upper| upper - width),
        };
        match (moved.lower, moved.upper) {
            (Some(lower), Some(upper)) if lower > upper => None,
            _ => Some(moved),
        }
    }

    /// The guard band that leaves just the values which conform with at least this probability; none if no value does.
    ///
    /// For one limit it is the quantile times u. For two the other limit counts as well, which matters where they are less
    /// than about four u apart.
    pub fn guard_band(&self, u: f64, dof: f64, probability: f64) -> Option<f64> {
        let one = student_t_upper_quantile(1.0 - probability, dof) * u;
        let (Some(lower), Some(upper)) = (self.lower, self.upper) else {
            return Some(one);
        };
        let middle = lower + (upper - lower) / 2.0;
        if self.probability(middle, u, dof) < probability {
            return None;
        }
        // The probability falls from the middle outwards.
        let (mut inside, mut outside) = (middle, upper + one.abs() + 40.0 * u);
        for _ in 0..200 {
            let value = inside + (outside - inside) / 2.0;
            if self.probability(value, u, dof) >= probability {
                inside = value;
            } else {
                outside = value;
            }
        }
        Some(upper - inside)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_uncertainty_a_value_keeps_its_limits_or_not() {
        let limits = Limits {
            lower: Some(1.0),
            upper: None,
        };
        assert!((limits.probability(1.0, 0.0, f64::INFINITY) - 1.0).abs() < 1e-15);
        assert!(limits.probability(0.9, 0.0, f64::INFINITY).abs() < 1e-15);
    }

    #[test]
    fn limits_that_are_too_narrow_accept_nothing() {
        let limits = Limits {
            lower: Some(-1.0),
            upper: Some(1.0),
        };
        // At the middle 68.27 %.
        assert_eq!(limits.guard_band(1.0, f64::INFINITY, 0.95), None);
        assert!(limits.guard_band(1.0, f64::INFINITY, 0.68).is_some());
        assert_eq!(limits.guarded(1.1), None);
    }
}
