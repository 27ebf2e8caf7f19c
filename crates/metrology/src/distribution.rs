//! What is known about an input: the distributions of GUM 4.3 and JCGM 101 table 1.

use serde::{Deserialize, Serialize};

/// State of knowledge about an input, centred on its value; all widths in the input's unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "shape")]
pub enum Distribution {
    /// Known without doubt (a definition, a count).
    Exact,
    /// Gaussian with a standard uncertainty.
    Normal {
        /// Standard uncertainty.
        standard_uncertainty: f64,
    },
    /// Gaussian, stated as an expanded uncertainty with its factor.
    Expanded {
        /// Expanded uncertainty U.
        expanded_uncertainty: f64,
        /// Coverage factor k.
        coverage_factor: f64,
    },
    /// Anywhere within the half-width, equally likely; u = a/√3.
    Rectangular {
        /// Half-width a.
        half_width: f64,
    },
    /// Within the half-width, likelier in the middle; u = a/√6.
    Triangular {
        /// Half-width a.
        half_width: f64,
    },
    /// A sine-like cycle within the half-width; u = a/√2.
    Arcsine {
        /// Half-width a.
        half_width: f64,
    },
    /// Symmetric trapezoid; u = a·√((1 + β²)/6).
    Trapezoidal {
        /// Half-width of the base a.
        half_width: f64,
        /// Ratio of top to base, 0 (triangle) to 1 (rectangle).
        top_ratio: f64,
    },
    /// Rectangle whose half-width is itself only known to ±d; u = √(a²/3 + d²/9) (JCGM 101, 6.4.3).
    CurvilinearTrapezoid {
        /// Mean half-width a.
        half_width: f64,
        /// Inexactness d of the half-width, 0 ≤ d ≤ a.
        inexactness: f64,
    },
    /// Scaled and shifted t from repeated observations; u = scale for first order, with the input's degrees of freedom.
    StudentT {
        /// s/√n of the observations.
        scale: f64,
    },
}

impl Distribution {
    /// The standard uncertainty that first-order propagation uses.
    pub fn standard_uncertainty(&self) -> f64 {
        match *self {
            Self::Exact => 0.0,
            Self::Normal {
                standard_uncertainty,
            } => standard_uncertainty,
            Self::Expanded {
                expanded_uncertainty,
                coverage_factor,
            } => expanded_uncertainty / coverage_factor,
            Self::Rectangular { half_width } => half_width / 3f64.sqrt(),
            Self::Triangular { half_width } => half_width / 6f64.sqrt(),
            Self::Arcsine { half_width } => half_width / 2f64.sqrt(),
            Self::Trapezoidal {
                half_width,
                top_ratio,
            } => half_width * ((1.0 + top_ratio * top_ratio) / 6.0).sqrt(),
            Self::CurvilinearTrapezoid {
                half_width,
                inexactness,
            } => (half_width * half_width / 3.0 + inexactness * inexactness / 9.0).sqrt(),
            Self::StudentT { scale } => scale,
        }
    }

    /// Name of the shape, as a budget prints it.
    pub fn name(&self) -> &'static str {
        match self {
            Self::Exact => "exact",
            Self::Normal { .. } | Self::Expanded { .. } => "normal",
            Self::Rectangular { .. } => "rectangular",
            Self::Triangular { .. } => "triangular",
            Self::Arcsine { .. } => "arcsine",
            Self::Trapezoidal { .. } => "trapezoidal",
            Self::CurvilinearTrapezoid { .. } => "curvilinear trapezoid",
            Self::StudentT { .. } => "Student t",
        }
    }

    /// The same shape with every width multiplied by `factor` (for what-if questions).
    pub fn scaled(&self, factor: f64) -> Self {
        match *self {
            Self::Exact => Self::Exact,
            Self::Normal {
                standard_uncertainty,
            } => Self::Normal {
                standard_uncertainty: standard_uncertainty * factor,
            },
            Self::Expanded {
                expanded_uncertainty,
                coverage_factor,
            } => Self::Expanded {
                expanded_uncertainty: expanded_uncertainty * factor,
                coverage_factor,
            },
            Self::Rectangular { half_width } => Self::Rectangular {
                half_width: half_width * factor,
            },
            Self::Triangular { half_width } => Self::Triangular {
                half_width: half_width * factor,
            },
            Self::Arcsine { half_width } => Self::Arcsine {
                half_width: half_width * factor,
            },
            Self::Trapezoidal {
                half_width,
                top_ratio,
            } => Self::Trapezoidal {
                half_width: half_width * factor,
                top_ratio,
            },
            Self::CurvilinearTrapezoid {
                half_width,
                inexactness,
            } => Self::CurvilinearTrapezoid {
                half_width: half_width * factor,
                inexactness: inexactness * factor,
            },
            Self::StudentT { scale } => Self::StudentT {
                scale: scale * factor,
            },
        }
    }

    /// Why the parameters are impossible, if they are.
    pub(crate) fn fault(&self) -> Option<&'static str> {
        let width_is_usable = |w: f64| w.is_finite() && w >= 0.0;
        let usable = match *self {
            Self::Exact => true,
            Self::Normal {
                standard_uncertainty: w,
            }
            | Self::StudentT { scale: w }
            | Self::Rectangular { half_width: w }
            | Self::Triangular { half_width: w }
            | Self::Arcsine { half_width: w } => width_is_usable(w),
            Self::Expanded {
                expanded_uncertainty,
                coverage_factor,
            } => {
                if !(coverage_factor.is_finite() && coverage_factor > 0.0) {
                    return Some("the coverage factor must be above 0");
                }
                width_is_usable(expanded_uncertainty)
            }
            Self::Trapezoidal {
                half_width,
                top_ratio,
            } => {
                if !(0.0..=1.0).contains(&top_ratio) {
                    return Some("the ratio of top to base must lie between 0 and 1");
                }
                width_is_usable(half_width)
            }
            Self::CurvilinearTrapezoid {
                half_width,
                inexactness,
            } => {
                if !(0.0..=half_width).contains(&inexactness) {
                    return Some("the inexactness must lie between 0 and the half-width");
                }
                width_is_usable(half_width)
            }
        };
        (!usable).then_some("an uncertainty must be a number not below 0")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn divisors_follow_the_guide() {
        // GUM 4.3.7 and 4.3.9; JCGM 101 table 1 (closed forms).
        let u = |d: Distribution| d.standard_uncertainty();
        assert!(
            (u(Distribution::Rectangular { half_width: 0.15 }) - 0.086_602_540_378_443_9).abs()
                < 1e-15
        );
        assert!(
            (u(Distribution::Triangular { half_width: 0.03 }) - 0.012_247_448_713_915_9).abs()
                < 1e-15
        );
        assert!(
            (u(Distribution::Arcsine { half_width: 0.5 }) - 0.353_553_390_593_273_8).abs() < 1e-15
        );
        let top = |top_ratio| {
            u(Distribution::Trapezoidal {
                half_width: 1.0,
                top_ratio,
            })
        };
        assert!((top(0.0) - u(Distribution::Triangular { half_width: 1.0 })).abs() < 1e-15);
        assert!((top(1.0) - u(Distribution::Rectangular { half_width: 1.0 })).abs() < 1e-15);
        assert!(
            (u(Distribution::Expanded {
                expanded_uncertainty: 0.07,
                coverage_factor: 2.0
            }) - 0.035)
                .abs()
                < 1e-15
        );
    }
}
