//! Runs: the readings as they were written.

use super::{Anything, Mass, Temperature, Time, Volume, Written};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// One run.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RunSpec {
    /// What kind of run it is; a replicate if nothing is said.
    #[serde(default)]
    pub kind: RunKind,
    /// A name of its own; otherwise runs are numbered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Who did it, if not the analyst of the sheet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub analyst: Option<String>,
    /// Clock time, as "10:42".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time: Option<String>,
    /// Net mass of the standard, as read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mass: Option<Written<Mass>>,
    /// Gross mass, as read (with `tare`).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gross: Option<Written<Mass>>,
    /// Tare, as read (with `gross`).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tare: Option<Written<Mass>>,
    /// Initial burette reading.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub initial: Option<Written<Volume>>,
    /// Final burette reading.
    #[serde(rename = "final", default, skip_serializing_if = "Option::is_none")]
    pub final_reading: Option<Written<Volume>>,
    /// Volume of the standard that was added to this portion, where the method adds one; nothing if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub added: Option<Written<Volume>>,
    /// Which titration of the method it is, where the method has several.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub titration: Option<String>,
    /// Readings at the end points before the last, in order, where the method has several.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub ends: Vec<Written<Volume>>,
    /// In which fill of the burette each of these ends was read, 1 being the first; only where the readings leave it open.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub end_fills: Vec<usize>,
    /// Further fills of the burette within this run, after the first pair of readings.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub refill: Vec<Fill>,
    /// Temperature of the titrant in this run, if it differs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature: Option<Written<Temperature>>,
    /// How long the titration took, where the titrant is used up by drift meanwhile.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub duration: Option<Written<Time>>,
    /// Readings that were corrected; the old value is kept here, with the reason.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub corrected: Vec<CorrectionSpec>,
    /// Why the run does not count, if it was set aside.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set_aside: Option<String>,
    /// Anything odd.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remark: Option<String>,
}

/// What kind of run it is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum RunKind {
    /// A quick first run to find the region; never averaged.
    Rough,
    /// A run that counts.
    #[default]
    Replicate,
    /// Without the known substance; its titre is subtracted.
    Blank,
}

/// A further pair of readings after the burette was refilled within a run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Fill {
    /// Reading after the refill.
    pub initial: Written<Volume>,
    /// Reading at the end of this fill.
    #[serde(rename = "final")]
    pub final_reading: Written<Volume>,
}

/// A corrected reading.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CorrectionSpec {
    /// Which reading.
    pub reading: ReadingName,
    /// What stood there before.
    pub was: Written<Anything>,
    /// Why it was changed.
    pub reason: String,
    /// Who changed it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// When it was changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub when: Option<String>,
}

/// Name of a reading within a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReadingName {
    /// Initial burette reading.
    Initial,
    /// Final burette reading.
    Final,
    /// Net mass.
    Mass,
    /// Gross mass.
    Gross,
    /// Tare.
    Tare,
}
