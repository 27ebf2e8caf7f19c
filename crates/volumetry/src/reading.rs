//! What the eye can read on a burette, and how uncertain a reading as written is.
//!
//! Common practice: the eye divides the space between two lines into tenths, safely into fifths. A reading of a 50 mL
//! burette graduated 0.1 mL is written to 0.01 mL and trusted to 0.02 mL.

/// How a reading as written uses what the burette allows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReadingGrade {
    /// Written to a fifth of the graduation or finer.
    Fine,
    /// Written to half the graduation or finer.
    Coarse,
    /// Written coarser than half the graduation: the burette allows more.
    Poor,
}

/// The uncertainty of one reading: a distribution of known half-width, mL.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ReadingUncertainty {
    /// The eye limits: triangular.
    Triangular {
        /// Half-width, mL.
        half_width_ml: f64,
    },
    /// The rounding limits: rectangular.
    Rectangular {
        /// Half-width, mL.
        half_width_ml: f64,
    },
}

impl ReadingUncertainty {
    /// Standard uncertainty, mL.
    #[must_use]
    pub fn standard_uncertainty_ml(self) -> f64 {
        match self {
            Self::Triangular { half_width_ml } => half_width_ml / 6f64.sqrt(),
            Self::Rectangular { half_width_ml } => half_width_ml / 3f64.sqrt(),
        }
    }
}

/// Step in which a reading was written: 18.60 is written in steps of 0.01.
#[must_use]
pub fn step_of_decimals(decimals: u32) -> f64 {
    10f64.powi(-i32::try_from(decimals).unwrap_or(i32::MAX))
}

/// Finest step the eye makes out between the lines of a scale, mL: a tenth of the graduation.
#[must_use]
pub fn finest_step_ml(graduation_ml: f64) -> f64 {
    graduation_ml / 10.0
}

/// Step that the eye makes out safely, mL: a fifth of the graduation. A burette "allows" readings this fine.
#[must_use]
pub fn safe_step_ml(graduation_ml: f64) -> f64 {
    graduation_ml / 5.0
}

/// Judges the step in which readings are written against the graduation.
#[must_use]
pub fn grade(step_ml: f64, graduation_ml: f64) -> ReadingGrade {
    // The steps are decimal fractions, equal ones differ by rounding.
    let slack = 1.0 + 1e-9;
    if step_ml <= safe_step_ml(graduation_ml) * slack {
        ReadingGrade::Fine
    } else if step_ml <= graduation_ml / 2.0 * slack {
        ReadingGrade::Coarse
    } else {
        ReadingGrade::Poor
    }
}

/// Uncertainty of one reading written in steps of `step_ml`.
///
/// The rule: the larger of what the eye does (triangular, half-width one fifth of the graduation) and what the
/// rounding does (rectangular, half a step). A scale without lines (a display) has the rounding only.
///
/// For a burette graduated 0.1 mL: written to 0.01, triangular ±0.02 mL, which makes 0.012 mL for a titre of two
/// readings; to the nearest 0.05, rectangular ±0.025 mL, which makes 0.020 mL.
#[must_use]
pub fn uncertainty(step_ml: f64, graduation_ml: Option<f64>) -> ReadingUncertainty {
    let rounding = ReadingUncertainty::Rectangular {
        half_width_ml: step_ml / 2.0,
    };
    let Some(graduation_ml) = graduation_ml else {
        return rounding;
    };
    let eye = ReadingUncertainty::Triangular {
        half_width_ml: safe_step_ml(graduation_ml),
    };
    if rounding.standard_uncertainty_ml() > eye.standard_uncertainty_ml() {
        rounding
    } else {
        eye
    }
}

/// Titres that use a burette well, mL: 30 to 100 % of its capacity (USP <541> and <31>).
#[must_use]
pub fn good_titres_ml(nominal_ml: f64) -> std::ops::RangeInclusive<f64> {
    0.3 * nominal_ml..=nominal_ml
}

#[cfg(test)]
mod tests {
    use super::*;

    fn titre_u(step: f64, graduation: f64) -> f64 {
        uncertainty(step, Some(graduation)).standard_uncertainty_ml() * 2f64.sqrt()
    }

    #[test]
    fn titre_uncertainties_are_those_of_the_trade() {
        // Closed forms: 0.02 sqrt(2/6) = 0.011547 and 0.025 sqrt(2/3) = 0.020412; in the trade 0.012 and 0.020 mL.
        assert!((titre_u(0.01, 0.1) - 0.011547).abs() < 1e-6);
        assert!((titre_u(0.05, 0.1) - 0.020412).abs() < 1e-6);
    }

    #[test]
    fn writing_coarser_is_never_better() {
        let mut last = 0.0;
        for step in [0.001, 0.01, 0.02, 0.05, 0.1, 0.5] {
            let u = titre_u(step, 0.1);
            assert!(u >= last, "{step}");
            last = u;
        }
    }

    #[test]
    fn grades_follow_the_graduation() {
        assert_eq!(grade(step_of_decimals(2), 0.1), ReadingGrade::Fine);
        assert_eq!(grade(0.05, 0.1), ReadingGrade::Coarse);
        assert_eq!(grade(step_of_decimals(1), 0.1), ReadingGrade::Poor);
        assert_eq!(grade(step_of_decimals(2), 0.05), ReadingGrade::Fine);
        assert_eq!(grade(step_of_decimals(0), 0.2), ReadingGrade::Poor);
    }
}
