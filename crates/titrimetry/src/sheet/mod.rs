//! The bench sheet: what a chemist writes down about a determination, as a TOML file.
//!
//! [`Sheet::read`] turns text into a [`Sheet`] or into a [`SheetError`] that names the line and what was expected.
//! Nothing is computed here.

mod apparatus;
mod error;
mod locate;
mod run;
mod standard;
mod written;

pub use apparatus::{
    Apparatus, BalanceSpec, CalibrationSpec, CorrectionPoint, OwnBalance, OwnPiece, PieceSpec,
};
pub use error::SheetError;
pub use run::{CorrectionSpec, Fill, ReadingName, RunKind, RunSpec};
pub use standard::{Dilution, Dissolved, EndPointSpec, Known, Place, Shape, Sought, Stated};
pub use written::{
    Anything, Concentration, Content, Density, Expansion, Flow, Fraction, Kind, Mass, Pressure,
    Temperature, Time, Volume, Written,
};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Longest sheet that is read, in bytes; a bench sheet with hundreds of runs stays far below.
pub const MAX_LENGTH: usize = 4 * 1024 * 1024;

/// A bench sheet of a standardization.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Sheet {
    /// What the determination is called, such as "Base 0.1 for vinegar".
    pub title: String,
    /// Who did it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub analyst: Option<String>,
    /// When it was done, as written.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date: Option<String>,
    /// The solution whose concentration is sought.
    pub sought: Sought,
    /// The substance or solution that is known.
    pub known: Known,
    /// The reaction, such as "NaOH + KHC8H4O4 -> KNaC8H4O4 + H2O"; left out where the standard's own is meant.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reaction: Option<String>,
    /// The glass and the balance.
    pub apparatus: Apparatus,
    /// Temperature and air.
    #[serde(default)]
    pub conditions: Conditions,
    /// How the end was seen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub indicator: Option<String>,
    /// Where the seen end lies, against the equivalence point.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub end_point: Option<EndPointSpec>,
    /// Repeatability known from earlier work.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repeatability: Option<Repeatability>,
    /// Which rules judge the result.
    #[serde(default)]
    pub rules: Rules,
    /// How wide the reported interval is.
    #[serde(default)]
    pub coverage: CoverageSpec,
    /// The runs, in the order in which they were done.
    #[serde(default)]
    pub run: Vec<RunSpec>,
}

/// Temperature and air around the work.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Conditions {
    /// Temperature of the solutions.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature: Option<Written<Temperature>>,
    /// How far the temperature may be off, as a difference such as "2 K".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_within: Option<Written<Temperature>>,
    /// Air pressure at the balance.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pressure: Option<Written<Pressure>>,
    /// Relative humidity at the balance.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub humidity: Option<Written<Fraction>>,
}

/// Standard deviation from run to run, pooled from earlier work.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Repeatability {
    /// Standard deviation of one run: a volume ("0.02 mL") or relative ("0.10 %").
    pub s: Written<Anything>,
    /// Its degrees of freedom: runs less sets, over all earlier sets.
    pub degrees_of_freedom: f64,
    /// Where it comes from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

/// The rules to judge by.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Rules {
    /// Name of a shipped profile.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub profile: Option<String>,
    /// A file with an own profile, beside the sheet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub file: Option<String>,
}

/// The interval to report: a probability, or a fixed factor.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CoverageSpec {
    /// Coverage probability, such as 0.95.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub probability: Option<f64>,
    /// Fixed coverage factor, such as 2.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub factor: Option<f64>,
}

/// Reads a TOML text into any of the forms that people write.
pub(crate) fn read_toml<T: serde::de::DeserializeOwned>(text: &str) -> Result<T, SheetError> {
    if text.trim().is_empty() {
        return Err(SheetError::Empty);
    }
    toml::from_str(text).map_err(|error| SheetError::syntax(text, &error))
}

impl Sheet {
    /// Reads a sheet from text.
    ///
    /// # Errors
    /// [`SheetError::Syntax`] with line, column and what was expected.
    pub fn read(text: &str) -> Result<Self, SheetError> {
        read_toml(text)
    }

    /// The JSON Schema of the sheet, for editors.
    pub fn schema() -> schemars::Schema {
        schemars::schema_for!(Self)
    }

    /// Name of a run as people refer to it: its own, or its number among the runs of its kind.
    pub fn run_name(&self, index: usize) -> String {
        run_name(&self.run, index)
    }
}

/// Name of a run among others: its own, or its number among the runs of its kind.
pub(crate) fn run_name(runs: &[RunSpec], index: usize) -> String {
    let run = &runs[index];
    if let Some(name) = &run.name {
        return name.clone();
    }
    let number = runs[..=index].iter().filter(|r| r.kind == run.kind).count();
    let only = runs.iter().filter(|r| r.kind == run.kind).count() == 1;
    match run.kind {
        RunKind::Replicate => number.to_string(),
        RunKind::Rough if only => "rough".into(),
        RunKind::Blank if only => "blank".into(),
        RunKind::Rough => format!("rough {number}"),
        RunKind::Blank => format!("blank {number}"),
    }
}
