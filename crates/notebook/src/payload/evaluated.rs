//! What a determination gave, as it stands in the record: enough to compare, never a substitute for the readings.

use crate::node::Node;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What a determination gave, with the verdict of its rules.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Evaluated {
    /// The results, in the order of the sheet.
    pub results: Vec<Stated>,
    /// True if no rule is broken, every sample keeps its limits and the results hold.
    pub usable: bool,
    /// Codes of the findings, sorted.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub findings: Vec<String>,
    /// How the runs scattered, for pooling.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub scatter: Vec<RunScatter>,
    /// Rule profile and version that judged it.
    pub rules: String,
    /// Program and version that computed it.
    pub program: String,
}

/// One result.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Stated {
    /// What it is about: a solution or a sample.
    pub of: Node,
    /// What it is called, such as "concentration" or "acidity".
    pub name: String,
    /// What it is expressed as.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expressed_as: Option<String>,
    /// Unit of the numbers below.
    pub unit: String,
    /// Value.
    pub value: f64,
    /// Standard uncertainty.
    pub standard_uncertainty: f64,
    /// Expanded uncertainty.
    pub expanded_uncertainty: f64,
    /// Coverage factor.
    pub coverage_factor: f64,
    /// Coverage probability, if one was asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub probability: Option<f64>,
    /// Effective degrees of freedom; none if infinite.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub degrees_of_freedom: Option<f64>,
    /// Probability that it keeps its limits, where it has any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub conformity: Option<f64>,
    /// Whether the limits are kept by the decision rule.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub conforms: Option<bool>,
}

/// How the runs of one set scattered about their mean.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RunScatter {
    /// Standard deviation of one run, relative.
    pub relative: f64,
    /// Runs less one.
    pub degrees_of_freedom: f64,
}
