//! Validation of a method and comparison of two methods, from results on file.
//!
//! Four questions, each with its own data: do two methods agree on the same samples ([`Comparison`]), does the titre
//! follow the portion ([`Linearity`]), how far do results scatter within and between days or persons ([`Precision`]), is
//! what was added found again ([`Recovery`]). [`validate`] answers those that the file asks.
//!
//! Sources: ISO 5725-2 and -6 (repeatability, intermediate precision, limits); Bland and Altman, Lancet 1 (1986) 307 and
//! Stat. Methods Med. Res. 8 (1999) 135 (limits of agreement); Deming (1943) and Linnet, Clin. Chem. 39 (1993) 424 (line
//! with errors in both methods, jackknife); ICH Q2(R1) for the terms.

mod comparison;
mod file;
mod linearity;
mod precision;
mod recovery;

pub use comparison::{Agreement, Comparison, Deming};
pub use file::{
    ComparisonData, LinearityData, PrecisionData, RecoveryData, RecoveryLevel, Table,
    ValidationFile,
};
pub use linearity::{LackOfFit, Linearity};
pub use precision::{Between, Precision};
pub use recovery::Recovery;

use crate::sheet::SheetError;
use metrology::anova::AnovaError;
use metrology::hypothesis::HypothesisError;
use metrology::line_fit::LineFitError;
use metrology::replicates::ReplicatesError;
use schemars::JsonSchema;
use serde::Serialize;
use thiserror::Error;

/// Why a validation cannot be worked out.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum ValidationError {
    /// The file does not read, or an entry cannot be used.
    #[error(transparent)]
    File(#[from] SheetError),
    /// Nothing to work out.
    #[error(
        "nothing to validate: write a [comparison], [linearity], [precision] or [recovery] table"
    )]
    Nothing,
    /// Data that a test cannot use.
    #[error("{part}: {source}")]
    Test {
        /// The table of the file.
        part: &'static str,
        /// What is wrong.
        source: HypothesisError,
    },
    /// Values that cannot be summarized.
    #[error("{part}: {source}")]
    Values {
        /// The table of the file.
        part: &'static str,
        /// What is wrong.
        source: ReplicatesError,
    },
    /// Points that no line can be laid through.
    #[error("{part}: {source}")]
    Line {
        /// The table of the file.
        part: &'static str,
        /// What is wrong.
        source: LineFitError,
    },
    /// Groups that cannot be compared.
    #[error("precision: {0}")]
    Groups(#[from] AnovaError),
    /// The two methods do not vary together, so that no line ties them.
    #[error(
        "comparison: the two methods do not rise and fall together over the samples, so no line ties them; samples of more different content are needed"
    )]
    NoCommonSlope,
}

/// An estimate with its uncertainty and interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Standard uncertainty from the scatter of the data.
    pub standard_uncertainty: f64,
    /// Degrees of freedom of it.
    pub degrees_of_freedom: f64,
    /// Lower end of the confidence interval.
    pub lower: f64,
    /// Upper end of the confidence interval.
    pub upper: f64,
}

impl Estimate {
    fn new(value: f64, u: f64, dof: f64, confidence: f64) -> Self {
        let half = metrology::quantiles::coverage_factor(confidence, dof) * u;
        Self {
            value,
            standard_uncertainty: u,
            degrees_of_freedom: dof,
            lower: value - half,
            upper: value + half,
        }
    }

    /// True if the interval holds a value.
    pub fn holds(&self, value: f64) -> bool {
        self.lower <= value && value <= self.upper
    }

    /// Chance of an estimate so far from a value, if that is the truth.
    pub fn p_against(&self, value: f64) -> f64 {
        let t = (self.value - value) / self.standard_uncertainty;
        metrology::quantiles::student_t_two_sided_tail(t, self.degrees_of_freedom)
    }
}

/// A limit that the file states, and what was found.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Criterion {
    /// What it limits.
    pub what: String,
    /// What was found.
    pub found: f64,
    /// Least value, if there is one.
    pub from: Option<f64>,
    /// Largest value, if there is one.
    pub to: Option<f64>,
}

impl Criterion {
    fn at_most(what: &str, found: f64, to: f64) -> Self {
        Self {
            what: what.into(),
            found,
            from: None,
            to: Some(to),
        }
    }

    /// True if the limits are kept.
    pub fn is_met(&self) -> bool {
        self.from.is_none_or(|from| self.found >= from) && self.to.is_none_or(|to| self.found <= to)
    }
}

/// Everything that was worked out of a file.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Validation {
    /// Title of the file.
    pub title: String,
    /// Unit of the results.
    pub unit: String,
    /// Confidence of every interval and level of every test.
    pub confidence: f64,
    /// Two methods on the same samples.
    pub comparison: Option<Comparison>,
    /// Titre against portion.
    pub linearity: Option<Linearity>,
    /// Scatter within and between groups.
    pub precision: Option<Precision>,
    /// What was added and found.
    pub recovery: Option<Recovery>,
}

impl Validation {
    /// The limits that the file states, with what was found.
    pub fn criteria(&self) -> Vec<&Criterion> {
        let lists = [
            self.comparison.as_ref().map(|c| &c.criteria),
            self.linearity.as_ref().map(|l| &l.criteria),
            self.precision.as_ref().map(|p| &p.criteria),
            self.recovery.as_ref().map(|r| &r.criteria),
        ];
        lists.into_iter().flatten().flatten().collect()
    }
}

/// Works out what a file asks.
///
/// # Errors
/// [`ValidationError`], naming the table and what is wrong with its data.
pub fn validate(file: &ValidationFile) -> Result<Validation, ValidationError> {
    let confidence = file.confidence.unwrap_or(0.95);
    if !(confidence > 0.5 && confidence < 1.0) {
        return Err(SheetError::entry(
            "confidence",
            "a level of confidence lies between 0.5 and 1, such as 0.95",
        )
        .into());
    }
    let validation = Validation {
        title: file.title.clone(),
        unit: file.unit.clone(),
        confidence,
        comparison: file
            .comparison
            .as_ref()
            .map(|data| Comparison::of(data, confidence))
            .transpose()?,
        linearity: file
            .linearity
            .as_ref()
            .map(|data| Linearity::of(data, confidence))
            .transpose()?,
        precision: file
            .precision
            .as_ref()
            .map(|data| Precision::of(data, confidence))
            .transpose()?,
        recovery: file
            .recovery
            .as_ref()
            .map(|data| Recovery::of(data, confidence))
            .transpose()?,
    };
    let asked = file.comparison.is_some()
        || file.linearity.is_some()
        || file.precision.is_some()
        || file.recovery.is_some();
    if asked {
        Ok(validation)
    } else {
        Err(ValidationError::Nothing)
    }
}

/// A stated limit must be a positive number.
fn positive(value: Option<f64>, path: &str) -> Result<Option<f64>, ValidationError> {
    match value {
        Some(value) if !(value.is_finite() && value > 0.0) => {
            Err(SheetError::entry(path, "a limit must be a number above 0").into())
        }
        other => Ok(other),
    }
}
