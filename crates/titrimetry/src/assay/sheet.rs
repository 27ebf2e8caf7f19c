//! The assay sheet: what was done with samples by a method.

use crate::method::BlankPlan;
use crate::sheet::{
    Anything, Apparatus, Conditions, Content, CoverageSpec, Density, Flow, Fraction, Mass,
    PieceSpec, Repeatability, Rules, RunSpec, SheetError, Stated, Temperature, Volume, Written,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A sheet for the determination of samples.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AssaySheet {
    /// What it is called.
    pub title: String,
    /// Name of a shipped method.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub method: Option<String>,
    /// A file with an own method, beside the sheet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub method_file: Option<String>,
    /// Who did it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub analyst: Option<String>,
    /// When it was done, as written.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date: Option<String>,
    /// The titrant.
    pub titrant: Solution,
    /// Reagents in known amount, and a standard that is added to portions, by the names that the method gives them.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub reagent: BTreeMap<String, Solution>,
    /// Burette and balance.
    pub apparatus: Apparatus,
    /// Pieces used in the method's steps, by the steps' names, where they differ from the method's.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub piece: BTreeMap<String, PieceSpec>,
    /// Temperature and air.
    #[serde(default)]
    pub conditions: Conditions,
    /// Repeatability known from earlier work.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repeatability: Option<Repeatability>,
    /// Which rules judge it, if not the method's.
    #[serde(default)]
    pub rules: Rules,
    /// How wide the reported interval is.
    #[serde(default)]
    pub coverage: CoverageSpec,
    /// Where the seen ends lie, against the equivalence points.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub end_point: Option<EndPoints>,
    /// Blank runs that serve all samples.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub blank: Vec<RunSpec>,
    /// What the blank runs tell, if not what the method foresees: a blank with all of the reagent fixes its amount.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub blank_is: Option<BlankPlan>,
    /// Most samples between two check samples.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub check_every: Option<usize>,
    /// Standardizations of the titrant between samples; results are not changed by them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub recheck: Vec<RecheckSpec>,
    /// The samples, in the order in which they were done.
    #[serde(default)]
    pub sample: Vec<SampleSpec>,
}

/// Where the seen ends lie, against the equivalence points: stated, or predicted by the equilibrium engine.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct EndPoints {
    /// Titrant between the equivalence point and the end that is seen, positive if the end comes late; of the last end point,
    /// if there are several. It counts before a predicted one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub late: Option<Stated<Volume>>,
    /// The indicator of each end point, in their order, or a level such as "pH 8.3": where its end lies is then predicted
    /// from the curve of each sample, and every titre is corrected. For methods that say `in_water`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub by_indicator: Vec<String>,
    /// Volume in the flask before the first drop, water and all; needed for the prediction.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub flask_volume: Option<Written<Volume>>,
}

/// A solution of known concentration.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Solution {
    /// The dissolved substance, if another than the method's gives the species that reacts, such as sulfuric for
    /// hydrochloric acid.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub substance: Option<String>,
    /// Its concentration: mol/L, or eq/L (N) where the method says what an equivalent is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub concentration: Option<Stated<Anything>>,
    /// The sheet, beside this one, that standardized it; its whole formula is carried along.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sheet: Option<String>,
    /// Identity of the bottle.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bottle: Option<String>,
    /// Titrant that is used up without sample in the same time; each run then says its duration.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drift: Option<Stated<Flow>>,
    /// Temperature at which the solution was standardized, where its own expansion counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub standardized_at: Option<Written<Temperature>>,
}

/// The titrant standardized again, between samples.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RecheckSpec {
    /// Identity of the sample after which it was done.
    pub after: String,
    /// What was found: a concentration, or the sheet of the standardization.
    pub titrant: Solution,
}

/// One sample.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SampleSpec {
    /// Its identity.
    pub id: String,
    /// What it is.
    #[serde(default)]
    pub kind: SampleKind,
    /// Net mass of the sample if it was weighed once for all its runs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mass: Option<Written<Mass>>,
    /// Gross mass (with `tare`).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gross: Option<Written<Mass>>,
    /// Tare (with `gross`).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tare: Option<Written<Mass>>,
    /// Density of the sample; needed only where a result per mass is asked of a measured volume, or the reverse.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub density: Option<Stated<Density>>,
    /// Share of the analyte that reaches the flask, where losses on the way are known; results are divided by it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recovery: Option<Stated<Fraction>>,
    /// What the first result is known to be, for a check sample; in any unit in which it can be reported.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expected: Option<Stated<Content>>,
    /// Limits that the first result must keep; in any unit in which it can be reported, one for all of them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limits: Option<Limits>,
    /// Its runs.
    #[serde(default)]
    pub run: Vec<RunSpec>,
}

/// What a sample is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum SampleKind {
    /// A sample.
    #[default]
    Sample,
    /// Of known content, to check the work.
    Check,
}

/// A specification.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Limits {
    /// Least value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<Written<Content>>,
    /// Largest value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<Written<Content>>,
    /// Least probability of conformity that is accepted (decision rule); 0.95 if no rule is declared.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub probability: Option<f64>,
    /// Guard band inside each limit, as the decision rule; "0 %" in the unit of the result is simple acceptance.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub guard_band: Option<Written<Content>>,
    /// Guard band as a multiple of the expanded uncertainty, as the decision rule: 1 guards the user, 0 is simple
    /// acceptance.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub guard_factor: Option<f64>,
}

impl AssaySheet {
    /// Reads an assay sheet from text.
    ///
    /// # Errors
    /// [`SheetError::Syntax`] with line, column and what was expected.
    pub fn read(text: &str) -> Result<Self, SheetError> {
        crate::sheet::read_toml(text)
    }

    /// The JSON Schema of the sheet, for editors.
    pub fn schema() -> schemars::Schema {
        schemars::schema_for!(Self)
    }
}
