//! Two methods on the same samples: mean difference, limits of agreement, and the line that ties them.

use super::{ComparisonData, Criterion, Estimate, ValidationError, positive};
use crate::sheet::SheetError;
use metrology::hypothesis::{HypothesisError, TTest, paired_t_test};
use metrology::line_fit::fit_line;
use metrology::quantiles::normal_upper_quantile;
use metrology::replicates::Replicates;
use schemars::JsonSchema;
use serde::Serialize;

/// Part of the file, for errors.
const PART: &str = "comparison";

/// Two methods compared.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Comparison {
    /// Name of the first method.
    pub first: String,
    /// Name of the second method.
    pub second: String,
    /// The pairs, in the order of the file.
    pub pairs: Vec<[f64; 2]>,
    /// t of the paired test: mean difference over its standard uncertainty.
    pub t: f64,
    /// Chance of so large a mean difference between methods that agree.
    pub p: f64,
    /// Limits of agreement (Bland and Altman).
    pub agreement: Agreement,
    /// Line with errors in both methods; absent below four samples.
    pub deming: Option<Deming>,
    /// The limits that the file states.
    pub criteria: Vec<Criterion>,
}

/// Limits of agreement: between them lie the differences of nearly all single samples.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Agreement {
    /// Mean difference, second less first.
    pub bias: Estimate,
    /// Standard deviation of the differences.
    pub standard_deviation: f64,
    /// Lower limit.
    pub lower: Estimate,
    /// Upper limit.
    pub upper: Estimate,
    /// Slope of the difference against the mean of the two: not 0 where the bias grows with the content. Absent where the
    /// samples do not differ in content.
    pub trend: Option<Estimate>,
}

/// Line second = intercept + slope first, with errors in both methods.
///
/// # Formula
/// slope = (S_yy - r S_xx + sqrt((S_yy - r S_xx)^2 + 4 r S_xy^2)) / (2 S_xy), r = variance of the errors of the second
/// method over that of the first; uncertainties by the jackknife, intervals with n - 2 degrees of freedom.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Deming {
    /// Variance ratio of the errors.
    pub variance_ratio: f64,
    /// Slope: not 1 where one method reads a share too high.
    pub slope: Estimate,
    /// Intercept: not 0 where one method reads an amount too high.
    pub intercept: Estimate,
}

impl Comparison {
    /// Compares two methods.
    ///
    /// # Errors
    /// Fewer than two pairs, differences that do not scatter, methods that do not vary together.
    pub fn of(data: &ComparisonData, confidence: f64) -> Result<Self, ValidationError> {
        let ratio = data.variance_ratio.unwrap_or(1.0);
        if !(ratio.is_finite() && ratio > 0.0) {
            return Err(SheetError::entry(
                "comparison.variance_ratio",
                "the ratio of two variances is a number above 0",
            )
            .into());
        }
        let first: Vec<f64> = data.pairs.iter().map(|p| p[0]).collect();
        let second: Vec<f64> = data.pairs.iter().map(|p| p[1]).collect();
        let test = paired_t_test(&second, &first)
            .map_err(|source| ValidationError::Test { part: PART, source })?;
        let agreement = Agreement::of(&first, &second, &test, confidence)?;
        let deming = if first.len() >= 4 {
            Some(Deming::fit(&first, &second, ratio, confidence)?)
        } else {
            None
        };
        let mut criteria = Vec::new();
        if let Some(limit) = positive(data.largest_bias, "comparison.largest_bias")? {
            criteria.push(Criterion {
                what: "mean difference".into(),
                found: agreement.bias.value,
                from: Some(-limit),
                to: Some(limit),
            });
        }
        if let Some(limit) = positive(data.largest_difference, "comparison.largest_difference")? {
            let widest = agreement.lower.value.abs().max(agreement.upper.value.abs());
            criteria.push(Criterion::at_most(
                "wider limit of agreement",
                widest,
                limit,
            ));
        }
        Ok(Self {
            first: data.first.clone(),
            second: data.second.clone(),
            pairs: data.pairs.clone(),
            t: test.statistic,
            p: test.p_two_sided,
            agreement,
            deming,
            criteria,
        })
    }
}

impl Agreement {
    fn of(
        first: &[f64],
        second: &[f64],
        test: &TTest,
        confidence: f64,
    ) -> Result<Self, ValidationError> {
        let differences: Vec<f64> = second.iter().zip(first).map(|(b, a)| b - a).collect();
        let summary = Replicates::of(&differences)
            .map_err(|source| ValidationError::Values { part: PART, source })?;
        let Some(s) = summary.standard_deviation() else {
            return Err(ValidationError::Test {
                part: PART,
                source: HypothesisError::NoScatter,
            });
        };
        let n = differences.len() as f64;
        let dof = n - 1.0;
        let z = normal_upper_quantile((1.0 - confidence) / 2.0);
        // Variance of mean plus z times standard deviation (Bland and Altman 1999, section 2).
        let u_limit = s * (1.0 / n + z * z / (2.0 * dof)).sqrt();
        let at = |value: f64| Estimate::new(value, u_limit, dof, confidence);
        let means: Vec<f64> = first
            .iter()
            .zip(second)
            .map(|(a, b)| f64::midpoint(*a, *b))
            .collect();
        let trend = fit_line(&means, &differences).ok().map(|line| {
            Estimate::new(
                line.slope,
                line.u_slope,
                line.degrees_of_freedom(),
                confidence,
            )
        });
        Ok(Self {
            bias: Estimate::new(test.difference, test.standard_error, dof, confidence),
            standard_deviation: s,
            lower: at(test.difference - z * s),
            upper: at(test.difference + z * s),
            trend,
        })
    }
}

impl Deming {
    /// Fits the line and leaves out each sample in turn for the uncertainties.
    fn fit(
        first: &[f64],
        second: &[f64],
        ratio: f64,
        confidence: f64,
    ) -> Result<Self, ValidationError> {
        let all: Vec<usize> = (0..first.len()).collect();
        let whole = line(first, second, &all, ratio).ok_or(ValidationError::NoCommonSlope)?;
        let n = first.len() as f64;
        let mut pseudo: [Vec<f64>; 2] = [Vec::new(), Vec::new()];
        for left_out in &all {
            let kept: Vec<usize> = all.iter().copied().filter(|i| i != left_out).collect();
            let part = line(first, second, &kept, ratio).ok_or(ValidationError::NoCommonSlope)?;
            for (values, (whole, part)) in pseudo.iter_mut().zip(whole.iter().zip(part)) {
                values.push(n * whole - (n - 1.0) * part);
            }
        }
        let estimate = |which: usize| -> Result<Estimate, ValidationError> {
            let summary = Replicates::of(&pseudo[which])
                .map_err(|source| ValidationError::Values { part: PART, source })?;
            let u = summary.standard_error().unwrap_or(f64::INFINITY);
            Ok(Estimate::new(whole[which], u, n - 2.0, confidence))
        };
        Ok(Self {
            variance_ratio: ratio,
            slope: estimate(0)?,
            intercept: estimate(1)?,
        })
    }
}

/// Slope and intercept through the points kept; `None` where they do not vary together.
fn line(x: &[f64], y: &[f64], kept: &[usize], ratio: f64) -> Option<[f64; 2]> {
    let n = kept.len() as f64;
    let mean = |values: &[f64]| kept.iter().map(|i| values[*i]).sum::<f64>() / n;
    let (mean_x, mean_y) = (mean(x), mean(y));
    let sum = |f: &dyn Fn(usize) -> f64| kept.iter().map(|i| f(*i)).sum::<f64>();
    let sxx = sum(&|i| (x[i] - mean_x).powi(2));
    let syy = sum(&|i| (y[i] - mean_y).powi(2));
    let sxy = sum(&|i| (x[i] - mean_x) * (y[i] - mean_y));
    let excess = syy - ratio * sxx;
    let root = excess.hypot(2.0 * ratio.sqrt() * sxy);
    // Of two equal forms, the one in which nothing cancels.
    let slope = if excess >= 0.0 {
        (excess + root) / (2.0 * sxy)
    } else {
        2.0 * ratio * sxy / (root - excess)
    };
    let vary_together = sxy.abs() > 1e-12 * (sxx * syy).sqrt();
    (vary_together && slope.is_finite()).then_some([slope, mean_y - slope * mean_x])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn data(pairs: &[[f64; 2]]) -> ComparisonData {
        ComparisonData {
            first: "a".into(),
            second: "b".into(),
            pairs: pairs.to_vec(),
            variance_ratio: None,
            largest_bias: None,
            largest_difference: None,
        }
    }

    #[test]
    fn the_line_does_not_care_which_method_is_first() {
        let pairs = [[1.0, 1.2], [2.0, 1.9], [3.0, 3.3], [4.0, 4.1], [5.0, 5.2]];
        let turned: Vec<[f64; 2]> = pairs.iter().map(|p| [p[1], p[0]]).collect();
        let slope = |pairs: &[[f64; 2]]| {
            let comparison = Comparison::of(&data(pairs), 0.95).unwrap();
            comparison.deming.unwrap().slope.value
        };
        assert!((slope(&pairs) * slope(&turned) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn unusable_pairs_are_refused() {
        assert!(Comparison::of(&data(&[[1.0, 2.0]]), 0.95).is_err());
        assert!(Comparison::of(&data(&[[1.0, 2.0], [2.0, 3.0], [3.0, 4.0]]), 0.95).is_err());
        assert!(Comparison::of(&data(&[[1.0, f64::NAN], [2.0, 3.5]]), 0.95).is_err());
        let level = [[1.0, 1.0], [1.0, 2.0], [1.0, 3.0], [1.0, 4.0]];
        assert_eq!(
            Comparison::of(&data(&level), 0.95),
            Err(ValidationError::NoCommonSlope)
        );
    }
}
