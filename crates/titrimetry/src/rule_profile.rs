//! Rule profiles: named, versioned sets of acceptance rules, as data.

use serde::{Deserialize, Serialize};

/// A set of acceptance rules; a rule that is left out is not applied.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RuleProfile {
    /// Name by which a sheet refers to it.
    pub name: String,
    /// What it is for, in a sentence.
    pub purpose: String,
    /// Version of the profile.
    pub version: String,
    /// Where its rules come from.
    pub source: String,
    /// Least number of runs that count.
    #[serde(default)]
    pub least_runs: Option<usize>,
    /// Titres (corrected for differing masses) must lie within this many mL of one another.
    #[serde(default)]
    pub concordant_within_ml: Option<f64>,
    /// How many titres must be concordant; all that count if left out.
    #[serde(default)]
    pub concordant_runs: Option<usize>,
    /// Largest relative standard deviation of the concentrations, in %.
    #[serde(default)]
    pub rsd_percent: Option<f64>,
    /// Largest relative range of the concentrations of one analyst, in %.
    #[serde(default)]
    pub range_percent_per_analyst: Option<f64>,
    /// Largest relative range of all concentrations, in %.
    #[serde(default)]
    pub range_percent: Option<f64>,
    /// Number of analysts who must each have done runs.
    #[serde(default)]
    pub analysts: Option<usize>,
    /// Least number of runs of each analyst.
    #[serde(default)]
    pub least_runs_per_analyst: Option<usize>,
    /// Largest deviation from nominal, in %.
    #[serde(default)]
    pub nominal_within_percent: Option<f64>,
    /// Least titre, in % of the burette's capacity.
    #[serde(default)]
    pub titre_least_percent: Option<f64>,
    /// Largest titre, in % of the burette's capacity.
    #[serde(default)]
    pub titre_most_percent: Option<f64>,
    /// Readings must be recorded to this many mL or finer.
    #[serde(default)]
    pub reading_step_ml: Option<f64>,
    /// Largest relative expanded uncertainty of the result, in %.
    #[serde(default)]
    pub expanded_uncertainty_percent: Option<f64>,
    /// Days for which a standardized solution may be used before it is standardized again.
    #[serde(default)]
    pub valid_days: Option<u32>,
}
