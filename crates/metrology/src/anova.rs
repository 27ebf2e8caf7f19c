//! One-way analysis of variance: scatter within groups and between them.
//!
//! May be used for results that fall into groups by one cause (day, analyst, burette, bottle), each group made under
//! repeatability conditions with like scatter: to test whether the groups differ and to separate the repeatability from
//! what changes between groups (intermediate precision). Not for runs that drift within a group.
//!
//! Source: ISO 5725-2 for the variance components with unequal group sizes; GUM H.5 for its use in uncertainty;
//! checked against the NIST StRD sets.

use crate::quantiles::f_upper_tail;
use crate::replicates::{Replicates, ReplicatesError, accurate_sum};
use thiserror::Error;

/// Why an analysis of variance could not be made.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum AnovaError {
    /// Fewer than two groups.
    #[error("analysis of variance needs at least 2 groups, got {groups}")]
    TooFewGroups {
        /// Number of groups.
        groups: usize,
    },
    /// A group without values.
    #[error("group {} is empty", group + 1)]
    EmptyGroup {
        /// Position of the group, counted from 0.
        group: usize,
    },
    /// No group has two values.
    #[error("no group has two values, so the scatter within groups is unknown")]
    NoReplicates,
    /// Nothing scatters within the groups.
    #[error("the values within the groups do not scatter at all, so the groups cannot be compared")]
    NoScatter,
    /// Values that cannot be summarized.
    #[error("group {}: {source}", group + 1)]
    Values {
        /// Position of the group, counted from 0.
        group: usize,
        /// What is wrong with them.
        source: ReplicatesError,
    },
}

/// Result of a one-way analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneWayAnova {
    /// Mean of all values.
    pub grand_mean: f64,
    /// Sum of squares between groups.
    pub ss_between: f64,
    /// Degrees of freedom between groups: groups - 1.
    pub dof_between: f64,
    /// Sum of squares within groups.
    pub ss_within: f64,
    /// Degrees of freedom within groups: values - groups.
    pub dof_within: f64,
    /// Mean square between over mean square within.
    pub f_statistic: f64,
    /// Chance of so large an F if the groups do not differ.
    pub p: f64,
    /// Effective group size n0 = (N - sum n_i^2 / N) / (groups - 1).
    pub effective_group_size: f64,
}

impl OneWayAnova {
    /// Standard deviation within groups (repeatability, residual).
    #[must_use]
    pub fn repeatability(&self) -> f64 {
        (self.ss_within / self.dof_within).sqrt()
    }

    /// Between-group variance component as estimated, negative when the groups differ less than their scatter explains.
    #[must_use]
    pub fn between_variance_estimate(&self) -> f64 {
        (self.ss_between / self.dof_between - self.ss_within / self.dof_within)
            / self.effective_group_size
    }

    /// Between-group standard deviation, zero when the estimate of its variance is negative.
    #[must_use]
    pub fn between_standard_deviation(&self) -> f64 {
        self.between_variance_estimate().max(0.0).sqrt()
    }

    /// Standard deviation of one result under changing groups: within and between together.
    #[must_use]
    pub fn intermediate_precision(&self) -> f64 {
        self.repeatability()
            .hypot(self.between_standard_deviation())
    }

    /// Share of the sum of squares that lies between groups, R squared.
    #[must_use]
    pub fn r_squared(&self) -> f64 {
        self.ss_between / (self.ss_between + self.ss_within)
    }
}

/// One-way analysis of variance of groups that may differ in size.
///
/// # Errors
/// Fewer than two groups, an empty one, no scatter within, or values that are not finite.
pub fn one_way_anova(groups: &[&[f64]]) -> Result<OneWayAnova, AnovaError> {
    if groups.len() < 2 {
        return Err(AnovaError::TooFewGroups {
            groups: groups.len(),
        });
    }
    let summaries = groups
        .iter()
        .enumerate()
        .map(|(group, values)| {
            Replicates::of(values).map_err(|source| AnovaError::Values { group, source })
        })
        .collect::<Result<Vec<_>, _>>()?;
    // Distances from one value instead of from zero: constant leading digits drop out without rounding.
    let origin = summaries
        .iter()
        .find_map(Replicates::minimum)
        .unwrap_or(0.0);
    let mut shifted = Vec::with_capacity(groups.len());
    for (group, values) in groups.iter().enumerate() {
        if values.is_empty() {
            return Err(AnovaError::EmptyGroup { group });
        }
        let moved: Vec<f64> = values.iter().map(|v| v - origin).collect();
        let mean = accurate_sum(moved.iter().copied()) / moved.len() as f64;
        shifted.push((moved, mean));
    }
    let sizes = || shifted.iter().map(|(values, _)| values.len() as f64);
    let total = accurate_sum(sizes());
    let dof_between = groups.len() as f64 - 1.0;
    let dof_within = total - groups.len() as f64;
    if dof_within < 1.0 {
        return Err(AnovaError::NoReplicates);
    }
    let grand = accurate_sum(
        shifted
            .iter()
            .flat_map(|(values, _)| values.iter().copied()),
    ) / total;
    let ss_within = accurate_sum(
        shifted
            .iter()
            .flat_map(|(values, mean)| values.iter().map(move |v| (v - mean) * (v - mean))),
    );
    let ss_between = accurate_sum(
        shifted
            .iter()
            .map(|(values, mean)| values.len() as f64 * (mean - grand) * (mean - grand)),
    );
    let f_statistic = (ss_between / dof_between) / (ss_within / dof_within);
    if !(ss_within > 0.0 && f_statistic.is_finite()) {
        return Err(AnovaError::NoScatter);
    }
    let squares = accurate_sum(sizes().map(|n| n * n));
    Ok(OneWayAnova {
        grand_mean: origin + grand,
        ss_between,
        dof_between,
        ss_within,
        dof_within,
        f_statistic,
        p: f_upper_tail(f_statistic, dof_between, dof_within),
        effective_group_size: (total - squares / total) / dof_between,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_groups_give_the_square_of_t() {
        let (a, b) = ([1.0, 2.0, 4.0], [3.0, 5.0, 5.5, 7.0]);
        let anova = one_way_anova(&[&a, &b]).unwrap();
        let t = crate::hypothesis::equal_variance_t_test(
            &Replicates::of(&a).unwrap(),
            &Replicates::of(&b).unwrap(),
        )
        .unwrap();
        assert!((anova.f_statistic - t.statistic * t.statistic).abs() < 1e-12 * anova.f_statistic);
        assert!((anova.p - t.p_two_sided).abs() < 1e-12 * anova.p);
    }

    #[test]
    fn groups_that_differ_less_than_chance_have_no_component() {
        let anova = one_way_anova(&[&[1.0, 3.0], &[1.1, 2.9]]).unwrap();
        assert!(anova.between_variance_estimate() < 0.0);
        assert!(anova.between_standard_deviation().abs() < 1e-300);
        assert!((anova.intermediate_precision() - anova.repeatability()).abs() < 1e-15);
    }

    #[test]
    fn nonsense_is_refused() {
        assert_eq!(
            one_way_anova(&[&[1.0, 2.0]]),
            Err(AnovaError::TooFewGroups { groups: 1 })
        );
        assert_eq!(
            one_way_anova(&[&[1.0], &[]]),
            Err(AnovaError::EmptyGroup { group: 1 })
        );
        assert_eq!(
            one_way_anova(&[&[1.0], &[2.0]]),
            Err(AnovaError::NoReplicates)
        );
        assert_eq!(
            one_way_anova(&[&[1.0, 1.0], &[2.0]]),
            Err(AnovaError::NoScatter)
        );
        let e = one_way_anova(&[&[1.0, 1.5], &[f64::NAN]]).unwrap_err();
        assert_eq!(
            e.to_string(),
            "group 2: value 1 of the replicates is NaN, expected a finite number"
        );
    }
}
