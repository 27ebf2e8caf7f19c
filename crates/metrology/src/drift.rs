//! Drift of a value with time: a straight line by least squares, weighted with the uncertainties of the points and their
//! covariances, and when it leaves a tolerance.
//!
//! Points that share an input (one burette, one lot of standard) are wrong together: that moves the line up or down and
//! does not tilt it. So the covariances count, and the uncertainty of a slope is that of what differs from point to point.
//! Whether a line is the right shape it cannot tell; it says whether the points lie about it as they should.
//!
//! Source: ISO/TS 28037:2010, clause 6 (known uncertainties) and clause 9 (covariances); R. T. Birge, Phys. Rev. 40 (1932)
//! 207 for points that scatter more than their uncertainties say; E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175 for the
//! limits of a crossing.

use crate::cholesky;
use crate::quantiles::coverage_factor;
use thiserror::Error;

/// Why no line can be laid.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum DriftError {
    /// Fewer than three points.
    #[error("a drift needs at least 3 points, got {n}")]
    TooFew {
        /// Number of points.
        n: usize,
    },
    /// Not one time, value and row of covariances for every point.
    #[error("times, values and covariances are not as many as one another")]
    LengthsDiffer,
    /// A number is NaN or infinite.
    #[error("point {} has a number that is not finite", index + 1)]
    NotFinite {
        /// Position of the point, counted from 0.
        index: usize,
    },
    /// A point without uncertainty, or covariances that cannot occur together.
    #[error("the covariances of the points cannot be used: each needs an uncertainty of its own")]
    Covariance,
    /// All times are equal.
    #[error("all points are of one time, so no slope can be found")]
    NoSpread,
}

/// A line y = level + slope (t - origin).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Number of points.
    pub n: usize,
    /// Time at which the level holds: the mean of the times.
    pub origin: f64,
    /// Level there.
    pub level: f64,
    /// Slope per unit of time.
    pub slope: f64,
    /// Variance of the level, after widening.
    pub level_variance: f64,
    /// Variance of the slope, after widening.
    pub slope_variance: f64,
    /// Their covariance, after widening.
    pub covariance: f64,
    /// Sum of the squared weighted residuals; about n - 2 where the points lie as their uncertainties say.
    pub chi_squared: f64,
    /// By how much the uncertainties were widened, 1 if not: the root of chi squared over its degrees of freedom, where
    /// that is above 1.
    pub widened: f64,
}

/// When a line leaves a tolerance, in its unit of time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Leaving {
    /// When the line does; none if it leads back, or nowhere.
    pub expected: Option<f64>,
    /// The earliest time that cannot be excluded; none if none is found.
    pub earliest: Option<f64>,
    /// The latest; none if it may never.
    pub latest: Option<f64>,
}

impl Drift {
    /// Lays a line through points with their covariances (variances on the diagonal).
    ///
    /// # Errors
    /// [`DriftError`].
    pub fn of(times: &[f64], values: &[f64], covariances: &[Vec<f64>]) -> Result<Self, DriftError> {
        let n = times.len();
        if values.len() != n
            || covariances.len() != n
            || covariances.iter().any(|row| row.len() != n)
        {
            return Err(DriftError::LengthsDiffer);
        }
        if n < 3 {
            return Err(DriftError::TooFew { n });
        }
        let finite = |i: usize| {
            times[i].is_finite()
                && values[i].is_finite()
                && covariances[i].iter().all(|c| c.is_finite())
        };
        if let Some(index) = (0..n).find(|i| !finite(*i)) {
            return Err(DriftError::NotFinite { index });
        }
        let u: Vec<f64> = (0..n).map(|i| covariances[i][i].max(0.0).sqrt()).collect();
        if u.contains(&0.0) {
            return Err(DriftError::Covariance);
        }
        let correlations: Vec<Vec<f64>> = (0..n)
            .map(|i| (0..n).map(|j| covariances[i][j] / (u[i] * u[j])).collect())
            .collect();
        let factor = cholesky::factor(&correlations).ok_or(DriftError::Covariance)?;
        if (0..n).any(|i| factor[i][i] < 1e-6) {
            return Err(DriftError::Covariance);
        }
        let origin = times.iter().sum::<f64>() / n as f64;
        // Solves L x = y / u: what is left is independent and of equal weight.
        let whitened = |y: &dyn Fn(usize) -> f64| {
            let mut x: Vec<f64> = Vec::with_capacity(n);
            for i in 0..n {
                let known: f64 = (0..i).map(|k| factor[i][k] * x[k]).sum();
                x.push((y(i) / u[i] - known) / factor[i][i]);
            }
            x
        };
        // Values about their first, so that small differences keep their digits.
        let (ones, rises, heights) = (
            whitened(&|_| 1.0),
            whitened(&|i| times[i] - origin),
            whitened(&|i| values[i] - values[0]),
        );
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
        let (aa, ab, bb) = (dot(&ones, &ones), dot(&ones, &rises), dot(&rises, &rises));
        let determinant = aa * bb - ab * ab;
        if times.iter().all(|t| (t - times[0]).abs() <= 0.0) || determinant <= 0.0 {
            return Err(DriftError::NoSpread);
        }
        let (ay, by) = (dot(&ones, &heights), dot(&rises, &heights));
        let (level, slope) = (
            (bb * ay - ab * by) / determinant,
            (aa * by - ab * ay) / determinant,
        );
        let chi_squared: f64 = (0..n)
            .map(|i| (heights[i] - level * ones[i] - slope * rises[i]).powi(2))
            .sum();
        let widened = (chi_squared / (n as f64 - 2.0)).sqrt().max(1.0);
        let wide = widened * widened / determinant;
        Ok(Self {
            n,
            origin,
            level: level + values[0],
            slope,
            level_variance: bb * wide,
            slope_variance: aa * wide,
            covariance: -ab * wide,
            chi_squared,
            widened,
        })
    }

    /// Standard uncertainty of the slope.
    pub fn u_slope(&self) -> f64 {
        self.slope_variance.sqrt()
    }

    /// Degrees of freedom of the uncertainties: infinite as stated, n - 2 once they were widened by what the points show.
    pub fn degrees_of_freedom(&self) -> f64 {
        if self.widened > 1.0 {
            self.n as f64 - 2.0
        } else {
            f64::INFINITY
        }
    }

    /// The coverage factor of the uncertainties for a probability.
    pub fn coverage_factor(&self, probability: f64) -> f64 {
        coverage_factor(probability, self.degrees_of_freedom())
    }

    /// Whether a drift is to be seen: the slope beyond its expanded uncertainty.
    pub fn is_seen(&self, probability: f64) -> bool {
        self.slope.abs() > self.coverage_factor(probability) * self.u_slope()
    }

    /// Height of the line at a time and its standard uncertainty.
    pub fn at(&self, time: f64) -> (f64, f64) {
        let t = time - self.origin;
        let variance =
            self.level_variance + 2.0 * t * self.covariance + t * t * self.slope_variance;
        (self.level + self.slope * t, variance.max(0.0).sqrt())
    }

    /// When the line leaves a tolerance after `now`.
    pub fn leaves(&self, (lower, upper): (f64, f64), now: f64, probability: f64) -> Leaving {
        let k = self.coverage_factor(probability);
        let bound = if self.slope < 0.0 { lower } else { upper };
        let expected = Some(self.origin + (bound - self.level) / self.slope)
            .filter(|t| t.is_finite() && *t >= now);
        let after = |times: Vec<f64>| times.into_iter().filter(|t| *t >= now);
        let own = self.crossings(bound, k);
        let either = [lower, upper].map(|bound| self.crossings(bound, k));
        // Where a bound lies within the band already, it may have been left by now.
        let (height, u) = self.at(now);
        let already = height - k * u <= lower || height + k * u >= upper;
        let first = either
            .into_iter()
            .flat_map(after)
            .fold(f64::INFINITY, f64::min);
        let earliest = if already {
            Some(now)
        } else {
            Some(first).filter(|t| t.is_finite())
        };
        let latest = self
            .is_seen(probability)
            .then(|| own.into_iter().fold(f64::NEG_INFINITY, f64::max))
            .filter(|t| t.is_finite() && *t >= now);
        Leaving {
            expected,
            earliest,
            latest,
        }
    }

    /// The times at which a bound is k standard uncertainties off the line.
    fn crossings(&self, bound: f64, k: f64) -> Vec<f64> {
        let d = bound - self.level;
        let (a, b, c) = (
            self.slope.powi(2) - k * k * self.slope_variance,
            -2.0 * (d * self.slope + k * k * self.covariance),
            d * d - k * k * self.level_variance,
        );
        let discriminant = b * b - 4.0 * a * c;
        if discriminant < 0.0 || a == 0.0 {
            return Vec::new();
        }
        // The root without cancellation first.
        let q = -0.5 * (b + discriminant.sqrt().copysign(b));
        let mut roots = vec![q / a];
        if q != 0.0 {
            roots.push(c / q);
        }
        roots.retain(|t| t.is_finite());
        roots.into_iter().map(|t| t + self.origin).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn diagonal(u: &[f64]) -> Vec<Vec<f64>> {
        let at = |i: usize, j: usize| if i == j { u[i] * u[i] } else { 0.0 };
        (0..u.len())
            .map(|i| (0..u.len()).map(|j| at(i, j)).collect())
            .collect()
    }

    const TIMES: [f64; 6] = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0];

    /// ISO/TS 28037:2010, 6.3, two examples, as printed: a, b, u(a), u(b), cov(a, b), chi squared.
    #[test]
    fn lines_follow_the_published_examples() {
        for (values, u, printed) in [
            (
                [3.3, 5.6, 7.1, 9.3, 10.7, 12.1],
                [0.5; 6],
                ["1.867", "1.757", "0.465", "0.120", "-0.050", "1.665"],
            ),
            (
                [3.2, 4.3, 7.6, 8.6, 11.7, 12.8],
                [0.5, 0.5, 0.5, 1.0, 1.0, 1.0],
                ["0.885", "2.057", "0.530", "0.178", "-0.082", "4.131"],
            ),
        ] {
            let drift = Drift::of(&TIMES, &values, &diagonal(&u)).unwrap();
            // The published uncertainties are not widened; the second set scatters a little more than it says.
            let w = drift.widened.powi(2);
            let (a, u_a) = drift.at(0.0);
            let covariance = (drift.covariance - drift.origin * drift.slope_variance) / w;
            let found = [
                a,
                drift.slope,
                u_a / w.sqrt(),
                drift.u_slope() / w.sqrt(),
                covariance,
                drift.chi_squared,
            ];
            let found = found.map(|x| format!("{x:.3}"));
            assert_eq!(found, printed);
        }
    }

    #[test]
    fn what_is_shared_does_not_tilt_the_line() {
        let values = [10.0, 10.2, 10.1, 10.4, 10.3, 10.5];
        let own = diagonal(&[0.1; 6]);
        let mut shared = own.clone();
        for row in &mut shared {
            for c in row.iter_mut() {
                *c += 0.25;
            }
        }
        let (alone, together) = (
            Drift::of(&TIMES, &values, &own).unwrap(),
            Drift::of(&TIMES, &values, &shared).unwrap(),
        );
        assert!((alone.slope / together.slope - 1.0).abs() < 1e-9);
        assert!((alone.u_slope() / together.u_slope() - 1.0).abs() < 1e-9);
        // The level carries all of the shared variance.
        let more = together.level_variance / together.widened.powi(2)
            - alone.level_variance / alone.widened.powi(2);
        assert!((more / 0.25 - 1.0).abs() < 1e-9, "{more}");
    }

    #[test]
    fn a_line_leaves_its_tolerance_where_it_crosses_the_bound() {
        let values = [10.00, 9.95, 9.91, 9.84, 9.80, 9.76];
        let drift = Drift::of(&TIMES, &values, &diagonal(&[0.02; 6])).unwrap();
        assert!(drift.is_seen(0.95));
        let leaving = drift.leaves((9.5, 10.5), 6.0, 0.95);
        let expected = leaving.expected.unwrap();
        assert!((drift.at(expected).0 - 9.5).abs() < 1e-9);
        let (earliest, latest) = (leaving.earliest.unwrap(), leaving.latest.unwrap());
        assert!(earliest < expected && expected < latest);
        // At both limits the bound lies k standard uncertainties off the line.
        let k = drift.coverage_factor(0.95);
        for t in [earliest, latest] {
            let (y, u) = drift.at(t);
            assert!(((9.5 - y).abs() / (k * u) - 1.0).abs() < 1e-9, "{t}");
        }
    }

    #[test]
    fn a_bound_within_the_band_may_be_left_by_now() {
        let values = [10.00, 9.95, 9.91, 9.84, 9.80, 9.76];
        let drift = Drift::of(&TIMES, &values, &diagonal(&[0.2; 6])).unwrap();
        let leaving = drift.leaves((9.7, 10.5), 6.0, 0.95);
        assert_eq!(leaving.earliest, Some(6.0));
    }

    #[test]
    fn where_no_drift_is_to_be_seen_none_is_claimed() {
        let values = [10.00, 10.02, 9.98, 10.01, 9.99, 10.00];
        let drift = Drift::of(&TIMES, &values, &diagonal(&[0.02; 6])).unwrap();
        assert!(!drift.is_seen(0.95));
        let leaving = drift.leaves((9.9, 10.1), 6.0, 0.95);
        assert_eq!(leaving.latest, None);
        // But a drift that cannot be excluded would leave some day.
        assert!(leaving.earliest.is_some());
    }

    #[test]
    fn scatter_beyond_the_uncertainties_widens_them() {
        let values = [10.0, 10.5, 9.5, 10.5, 9.5, 10.0];
        let narrow = Drift::of(&TIMES, &values, &diagonal(&[0.01; 6])).unwrap();
        let wide = Drift::of(&TIMES, &values, &diagonal(&[0.02; 6])).unwrap();
        assert!(narrow.widened > 10.0);
        // Then only the scatter counts, as with equal weights and nothing known.
        assert!((narrow.u_slope() / wide.u_slope() - 1.0).abs() < 1e-9);
        let line = crate::line_fit::fit_line(&TIMES, &values).unwrap();
        assert!((narrow.u_slope() / line.u_slope - 1.0).abs() < 1e-9);
        assert!((narrow.degrees_of_freedom() - 4.0).abs() < 1e-12);
    }

    #[test]
    fn impossible_points_are_refused() {
        let u = diagonal(&[0.1; 6]);
        let of = |times: &[f64], values: &[f64], u: &[Vec<f64>]| Drift::of(times, values, u);
        assert_eq!(of(&[1.0; 6], &TIMES, &u), Err(DriftError::NoSpread));
        assert_eq!(
            of(&TIMES, &TIMES, &diagonal(&[0.1, 0.1, 0.0, 0.1, 0.1, 0.1])),
            Err(DriftError::Covariance)
        );
        assert_eq!(
            of(&TIMES[..2], &TIMES[..2], &diagonal(&[0.1; 2])),
            Err(DriftError::TooFew { n: 2 })
        );
        assert_eq!(of(&TIMES, &TIMES[..5], &u), Err(DriftError::LengthsDiffer));
        let mut nan = TIMES;
        nan[3] = f64::NAN;
        assert_eq!(
            of(&TIMES, &nan, &u),
            Err(DriftError::NotFinite { index: 3 })
        );
        // Nothing of their own: all points are one.
        let same = vec![vec![0.01; 6]; 6];
        assert_eq!(of(&TIMES, &TIMES, &same), Err(DriftError::Covariance));
    }
}
