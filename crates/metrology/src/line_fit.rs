//! Straight line by least squares, all points with the same weight.
//!
//! May be used for a calibration or a drift where y scatters evenly and x is known much better than y. Whether a line is
//! the right shape it cannot tell: look at the residuals.
//!
//! Source: GUM H.3 (formulas for the parameters, their uncertainties and their correlation); checked against the NIST
//! StRD set Norris.

use crate::quantiles::f_upper_tail;
use crate::replicates::accurate_sum;
use thiserror::Error;

/// Why no line could be fitted.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum LineFitError {
    /// Fewer than three points: two always lie on a line and tell nothing of the scatter.
    #[error("a line fit needs at least 3 points, got {n}")]
    TooFew {
        /// Number of points.
        n: usize,
    },
    /// Not one y for every x.
    #[error("{x} values of x and {y} of y, expected as many")]
    LengthsDiffer {
        /// Number of x.
        x: usize,
        /// Number of y.
        y: usize,
    },
    /// A coordinate is NaN or infinite.
    #[error("point {} has the coordinate {number}, expected a finite number", index + 1)]
    NotFinite {
        /// Position of the point, counted from 0.
        index: usize,
        /// The coordinate.
        number: f64,
    },
    /// Sums of squares overflow.
    #[error("the coordinates are too large to be squared; use larger units")]
    TooLarge,
    /// All x are equal.
    #[error("the points do not spread along x, so no slope can be found")]
    NoSpread,
}

/// A fitted line y = intercept + slope x.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LineFit {
    /// Number of points.
    pub n: usize,
    /// y at x = 0.
    pub intercept: f64,
    /// Slope.
    pub slope: f64,
    /// Standard uncertainty of the intercept.
    pub u_intercept: f64,
    /// Standard uncertainty of the slope.
    pub u_slope: f64,
    /// Correlation coefficient of intercept and slope.
    pub correlation: f64,
    /// Residual standard deviation, with n - 2 degrees of freedom.
    pub residual_standard_deviation: f64,
    /// Sum of squared residuals.
    pub ss_residual: f64,
    /// Sum of squares explained by the slope.
    pub ss_regression: f64,
    /// Mean of x, where the line is known best.
    pub mean_x: f64,
}

impl LineFit {
    /// Degrees of freedom of every uncertainty here: n - 2.
    #[must_use]
    pub fn degrees_of_freedom(&self) -> f64 {
        self.n as f64 - 2.0
    }

    /// Height of the line at x with its standard uncertainty (of the line, not of a new point).
    #[must_use]
    pub fn predict(&self, x: f64) -> (f64, f64) {
        let y = self.intercept + self.slope * x;
        let level = self.residual_standard_deviation / (self.n as f64).sqrt();
        (y, level.hypot(self.u_slope * (x - self.mean_x)))
    }

    /// Share of the sum of squares that the line explains; `None` when y does not vary.
    #[must_use]
    pub fn r_squared(&self) -> Option<f64> {
        let share = self.ss_regression / (self.ss_regression + self.ss_residual);
        share.is_finite().then_some(share)
    }

    /// F of the regression and its p-value; `None` when every point lies on the line.
    #[must_use]
    pub fn f_test(&self) -> Option<(f64, f64)> {
        let f = self.ss_regression / (self.ss_residual / self.degrees_of_freedom());
        f.is_finite()
            .then(|| (f, f_upper_tail(f, 1.0, self.degrees_of_freedom())))
    }
}

/// Fits a straight line to the points (x, y).
///
/// # Errors
/// Fewer than three points, different lengths, coordinates that are not finite, no spread along x, or sums that overflow.
///
/// ```
/// let line = metrology::line_fit::fit_line(&[0.0, 1.0, 2.0], &[1.0, 3.0, 5.0])?;
/// assert!((line.intercept - 1.0).abs() < 1e-12 && (line.slope - 2.0).abs() < 1e-12);
/// # Ok::<(), metrology::line_fit::LineFitError>(())
/// ```
pub fn fit_line(x: &[f64], y: &[f64]) -> Result<LineFit, LineFitError> {
    let n = x.len();
    if y.len() != n {
        return Err(LineFitError::LengthsDiffer { x: n, y: y.len() });
    }
    for series in [x, y] {
        if let Some((index, &number)) = series.iter().enumerate().find(|(_, v)| !v.is_finite()) {
            return Err(LineFitError::NotFinite { index, number });
        }
    }
    if n < 3 {
        return Err(LineFitError::TooFew { n });
    }
    let count = n as f64;
    let mean_x = accurate_sum(x.iter().copied()) / count;
    let mean_y = accurate_sum(y.iter().copied()) / count;
    // About the means nothing large cancels; only the intercept is carried back to x = 0.
    let points = || x.iter().zip(y).map(|(x, y)| (x - mean_x, y - mean_y));
    let sxx = accurate_sum(points().map(|(dx, _)| dx * dx));
    let slope = accurate_sum(points().map(|(dx, dy)| dx * dy)) / sxx;
    if sxx <= 0.0 {
        return Err(LineFitError::NoSpread);
    }
    let ss_residual = accurate_sum(points().map(|(dx, dy)| (dy - slope * dx).powi(2)));
    let ss_regression = slope * slope * sxx;
    if !(sxx.is_finite() && ss_residual.is_finite() && ss_regression.is_finite()) {
        return Err(LineFitError::TooLarge);
    }
    let s = (ss_residual / (count - 2.0)).sqrt();
    let u_slope = s / sxx.sqrt();
    let root_mean_square_x = (sxx / count).sqrt().hypot(mean_x);
    Ok(LineFit {
        n,
        intercept: mean_y - slope * mean_x,
        slope,
        u_intercept: u_slope * root_mean_square_x,
        u_slope,
        correlation: -mean_x / root_mean_square_x,
        residual_standard_deviation: s,
        ss_residual,
        ss_regression,
        mean_x,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nonsense_is_refused() {
        assert_eq!(
            fit_line(&[1.0, 2.0], &[1.0, 2.0]),
            Err(LineFitError::TooFew { n: 2 })
        );
        assert_eq!(
            fit_line(&[1.0; 3], &[1.0, 2.0, 3.0]),
            Err(LineFitError::NoSpread)
        );
        assert_eq!(
            fit_line(&[1.0, 2.0], &[1.0]),
            Err(LineFitError::LengthsDiffer { x: 2, y: 1 })
        );
        let nan = fit_line(&[1.0, f64::NAN, 2.0], &[1.0; 3]);
        assert!(matches!(nan, Err(LineFitError::NotFinite { index: 1, .. })));
        assert_eq!(
            fit_line(&[-1e308, 0.0, 1e308], &[1.0, 2.0, 3.0]),
            Err(LineFitError::TooLarge)
        );
    }

    #[test]
    fn a_perfect_line_has_no_f_and_a_flat_one_no_r_squared() {
        let perfect = fit_line(&[0.0, 1.0, 2.0], &[0.0, 1.0, 2.0]).unwrap();
        assert_eq!(perfect.f_test(), None);
        let flat = fit_line(&[0.0, 1.0, 2.0], &[1.0; 3]).unwrap();
        assert_eq!(flat.r_squared(), None);
        assert_eq!(flat.f_test(), None);
    }

    #[test]
    fn uncertainty_is_least_at_the_mean() {
        let line = fit_line(&[1.0, 2.0, 3.0, 6.0], &[1.0, 2.2, 2.9, 6.1]).unwrap();
        let at_mean = line.predict(3.0).1;
        assert!((at_mean - line.residual_standard_deviation / 2.0).abs() < 1e-15);
        // At x = 0 it is that of the intercept.
        assert!((line.predict(0.0).1 - line.u_intercept).abs() < 1e-14);
    }
}
