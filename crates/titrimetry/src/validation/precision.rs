//! Scatter of results of one sample, within and between groups.

use super::{Criterion, PrecisionData, ValidationError, positive};
use crate::sheet::SheetError;
use metrology::anova::{AnovaError, one_way_anova};
use metrology::quantiles::{chi_square_upper_quantile, normal_upper_quantile};
use metrology::replicates::Replicates;
use schemars::JsonSchema;
use serde::Serialize;

const PART: &str = "precision";

/// Scatter within and between groups.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Precision {
    /// What differs between the groups.
    pub by: String,
    /// Name, number and mean of each group.
    pub groups: Vec<(String, usize, f64)>,
    /// Mean of all results.
    pub mean: f64,
    /// Standard deviation under repeatability.
    pub repeatability: f64,
    /// Interval of it, by chi square.
    pub repeatability_interval: [f64; 2],
    /// Degrees of freedom of it.
    pub degrees_of_freedom: f64,
    /// Largest difference to expect between two results under repeatability (ISO 5725-6).
    pub repeatability_limit: f64,
    /// What the groups add, where there are two or more.
    pub between: Option<Between>,
    /// The limits that the file states.
    pub criteria: Vec<Criterion>,
}

/// What groups add to the scatter.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Between {
    /// Mean square between over mean square within.
    pub f: f64,
    /// Chance of so large an F if the groups do not differ.
    pub p: f64,
    /// Standard deviation between groups; 0 where the groups differ less than their scatter explains.
    pub standard_deviation: f64,
    /// Standard deviation of one result, within and between together.
    pub intermediate_precision: f64,
    /// Largest difference to expect between two results of different groups.
    pub limit: f64,
}

impl Precision {
    /// Separates the scatter.
    ///
    /// # Errors
    /// No group, no group with two results, results that do not scatter.
    pub fn of(data: &PrecisionData, confidence: f64) -> Result<Self, ValidationError> {
        let named: Vec<(&String, &Vec<f64>)> = data.groups.iter().collect();
        if let Some((name, _)) = named.iter().find(|(_, values)| values.is_empty()) {
            return Err(SheetError::entry(
                format!("precision.groups.{name}"),
                "the group has no results",
            )
            .into());
        }
        let mut groups = Vec::new();
        for (name, values) in &named {
            let summary = Replicates::of(values)
                .map_err(|source| ValidationError::Values { part: PART, source })?;
            groups.push((
                (*name).clone(),
                values.len(),
                summary.mean().unwrap_or(f64::NAN),
            ));
        }
        let (mean, repeatability, dof, between) = match named.as_slice() {
            [(_, values)] => {
                let summary = Replicates::of(values)
                    .map_err(|source| ValidationError::Values { part: PART, source })?;
                let (Some(mean), Some(s), Some(dof)) = (
                    summary.mean(),
                    summary.standard_deviation(),
                    summary.degrees_of_freedom(),
                ) else {
                    return Err(SheetError::entry(
                        "precision.groups",
                        "one result does not scatter: give two or more",
                    )
                    .into());
                };
                if s <= 0.0 {
                    return Err(AnovaError::NoScatter.into());
                }
                (mean, s, dof, None)
            }
            _ => {
                let sets: Vec<&[f64]> = named.iter().map(|(_, v)| v.as_slice()).collect();
                let anova = one_way_anova(&sets)?;
                let intermediate = anova.intermediate_precision();
                let between = Between {
                    f: anova.f_statistic,
                    p: anova.p,
                    standard_deviation: anova.between_standard_deviation(),
                    intermediate_precision: intermediate,
                    limit: limit(intermediate, confidence),
                };
                (
                    anova.grand_mean,
                    anova.repeatability(),
                    anova.dof_within,
                    Some(between),
                )
            }
        };
        let tail = (1.0 - confidence) / 2.0;
        let bound = |tail: f64| repeatability * (dof / chi_square_upper_quantile(tail, dof)).sqrt();
        let percent = |s: f64| 100.0 * s / mean.abs();
        let mut criteria = Vec::new();
        if let Some(to) = positive(
            data.largest_repeatability_percent,
            "precision.largest_repeatability_percent",
        )? {
            criteria.push(Criterion::at_most(
                "repeatability in per cent",
                percent(repeatability),
                to,
            ));
        }
        if let (Some(to), Some(between)) = (
            positive(
                data.largest_intermediate_percent,
                "precision.largest_intermediate_percent",
            )?,
            &between,
        ) {
            criteria.push(Criterion::at_most(
                "intermediate precision in per cent",
                percent(between.intermediate_precision),
                to,
            ));
        }
        Ok(Self {
            by: data.by.clone(),
            groups,
            mean,
            repeatability,
            repeatability_interval: [bound(tail), bound(1.0 - tail)],
            degrees_of_freedom: dof,
            repeatability_limit: limit(repeatability, confidence),
            between,
            criteria,
        })
    }
}

/// Largest difference of two results to expect with a probability: z sqrt(2) s, 2.8 s for 95 % (ISO 5725-6).
fn limit(s: f64, probability: f64) -> f64 {
    normal_upper_quantile((1.0 - probability) / 2.0) * std::f64::consts::SQRT_2 * s
}
