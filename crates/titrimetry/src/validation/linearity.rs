//! Titre against portion of one sample: what a titration does that the portion does not explain.
//!
//! A line through the origin is what a titration promises. An intercept is an amount of titrant that does not grow with
//! the portion: a constant error, such as a blank that is not subtracted or an indicator that turns late. A slope that is
//! not the expected one is a share: a proportional error, such as a wrong concentration or a pipette that delivers short.

use super::{Criterion, Estimate, LinearityData, ValidationError, positive};
use crate::sheet::SheetError;
use metrology::line_fit::{LineFit, fit_line};
use metrology::quantiles::f_upper_tail;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

const PART: &str = "linearity";

/// A line of titre against portion.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Linearity {
    /// Unit of the portions.
    pub portion_unit: String,
    /// Unit of the titres.
    pub titre_unit: String,
    /// The points, in the order of the file.
    pub points: Vec<[f64; 2]>,
    /// Titre at no portion: the constant error.
    pub intercept: Estimate,
    /// Titre for one unit of portion.
    pub slope: Estimate,
    /// Expected titre for one unit of portion.
    pub expected_slope: Option<f64>,
    /// Standard deviation of the residuals.
    pub residual_standard_deviation: f64,
    /// Largest residual, with its sign.
    pub largest_residual: f64,
    /// Test of the straight shape, where portions were repeated.
    pub lack_of_fit: Option<LackOfFit>,
    /// Constant error as a share of the smallest titre on the line.
    pub intercept_of_smallest: f64,
    /// Constant error as a share of the largest titre on the line.
    pub intercept_of_largest: f64,
    /// The limits that the file states.
    pub criteria: Vec<Criterion>,
}

/// Scatter about the line against scatter of repeated portions.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct LackOfFit {
    /// Mean square of the means about the line over mean square within repeated portions.
    pub f: f64,
    /// Degrees of freedom of the means about the line.
    pub numerator_dof: f64,
    /// Degrees of freedom within repeated portions.
    pub denominator_dof: f64,
    /// Chance of so large an F if the line is straight.
    pub p: f64,
}

impl Linearity {
    /// Lays the line.
    ///
    /// # Errors
    /// Fewer than three points, portions that are all alike or not above 0.
    pub fn of(data: &LinearityData, confidence: f64) -> Result<Self, ValidationError> {
        if let Some(at) = data.points.iter().position(|p| p[0] <= 0.0) {
            return Err(SheetError::entry(
                format!("linearity.points[{}]", at + 1),
                "a portion must be above 0; a blank belongs to the titration, not to the line",
            )
            .into());
        }
        let portions: Vec<f64> = data.points.iter().map(|p| p[0]).collect();
        let titres: Vec<f64> = data.points.iter().map(|p| p[1]).collect();
        let line = fit_line(&portions, &titres)
            .map_err(|source| ValidationError::Line { part: PART, source })?;
        let largest_titre = titres.iter().fold(0.0_f64, |m, t| m.max(t.abs()));
        if line.residual_standard_deviation <= 16.0 * f64::EPSILON * largest_titre {
            return Err(SheetError::entry(
                "linearity.points",
                "the titres lie on a line without any scatter, which readings never do: give them as they were read",
            )
            .into());
        }
        let dof = line.degrees_of_freedom();
        let at = |x: f64| line.intercept + line.slope * x;
        let largest_residual = data
            .points
            .iter()
            .map(|p| p[1] - at(p[0]))
            .fold(0.0_f64, |m, r| if r.abs() > m.abs() { r } else { m });
        let smallest = portions.iter().copied().fold(f64::INFINITY, f64::min);
        let largest = portions.iter().copied().fold(0.0, f64::max);
        let mut criteria = Vec::new();
        if let Some(limit) = positive(data.largest_intercept, "linearity.largest_intercept")? {
            criteria.push(Criterion {
                what: "intercept".into(),
                found: line.intercept,
                from: Some(-limit),
                to: Some(limit),
            });
        }
        Ok(Self {
            portion_unit: data.portion_unit.clone(),
            titre_unit: data.titre_unit.clone(),
            points: data.points.clone(),
            intercept: Estimate::new(line.intercept, line.u_intercept, dof, confidence),
            slope: Estimate::new(line.slope, line.u_slope, dof, confidence),
            expected_slope: positive(data.expected_slope, "linearity.expected_slope")?,
            residual_standard_deviation: line.residual_standard_deviation,
            largest_residual,
            lack_of_fit: lack_of_fit(&data.points, &line),
            intercept_of_smallest: line.intercept / at(smallest),
            intercept_of_largest: line.intercept / at(largest),
            criteria,
        })
    }

    /// Slope over the expected one, less one: the proportional error as a share, with its interval.
    pub fn proportional_error(&self) -> Option<Estimate> {
        self.expected_slope.map(|expected| Estimate {
            value: self.slope.value / expected - 1.0,
            standard_uncertainty: self.slope.standard_uncertainty / expected,
            lower: self.slope.lower / expected - 1.0,
            upper: self.slope.upper / expected - 1.0,
            ..self.slope
        })
    }
}

/// Splits the residuals into what repeated portions scatter and what the shape leaves over.
fn lack_of_fit(points: &[[f64; 2]], line: &LineFit) -> Option<LackOfFit> {
    let mut levels: BTreeMap<u64, Vec<f64>> = BTreeMap::new();
    for [portion, titre] in points {
        // Portions are above 0, so their bits rise with them.
        levels.entry(portion.to_bits()).or_default().push(*titre);
    }
    let within: f64 = levels
        .values()
        .map(|titres| {
            let mean = titres.iter().sum::<f64>() / titres.len() as f64;
            titres.iter().map(|t| (t - mean).powi(2)).sum::<f64>()
        })
        .sum();
    let numerator_dof = levels.len() as f64 - 2.0;
    let denominator_dof = points.len() as f64 - levels.len() as f64;
    if numerator_dof < 1.0 || denominator_dof < 1.0 || within <= 0.0 {
        return None;
    }
    let left_over = (line.ss_residual - within).max(0.0);
    let f = (left_over / numerator_dof) / (within / denominator_dof);
    Some(LackOfFit {
        f,
        numerator_dof,
        denominator_dof,
        p: f_upper_tail(f, numerator_dof, denominator_dof),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_portion_of_nothing_is_refused() {
        let data = LinearityData {
            portion_unit: "mL".into(),
            titre_unit: "mL".into(),
            points: vec![[0.0, 0.1], [1.0, 1.1], [2.0, 2.1]],
            expected_slope: None,
            largest_intercept: None,
        };
        let error = Linearity::of(&data, 0.95).unwrap_err().to_string();
        assert!(error.contains("linearity.points[1]"), "{error}");
    }
}
