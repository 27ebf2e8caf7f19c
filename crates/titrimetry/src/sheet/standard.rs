//! What is sought and what is known.

use super::{Concentration, Density, Fraction, Mass, PieceSpec, Volume, Written};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The solution whose concentration is sought.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Sought {
    /// The dissolved substance: a name or a formula, such as "sodium hydroxide" or "NaOH".
    pub substance: String,
    /// Where this solution is; the known one is in the other place.
    pub place: Place,
    /// The concentration it was made for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nominal: Option<Written<Concentration>>,
    /// Its concentration as it was found before, to see whether it has changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub earlier: Option<Stated<Concentration>>,
    /// Identity of the bottle.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bottle: Option<String>,
    /// Dilutions made before the titration, in their order; the result is that of the undiluted solution.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub diluted: Vec<Dilution>,
}

/// One step of a dilution: what was taken, and the mark it was made up to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Dilution {
    /// The pipette that took the stronger solution.
    pub take: PieceSpec,
    /// The flask in which it was made up.
    pub to: PieceSpec,
}

/// Where the seen end lies, against the equivalence point.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct EndPointSpec {
    /// Titrant between the equivalence point and the end that is seen, positive if the end comes late; subtracted from
    /// every titre.
    pub late: Stated<Volume>,
}

/// Where a solution is during the titration.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// It is the titrant.
    Burette,
    /// It is the titrand.
    Flask,
}

/// The substance or solution that is known.
///
/// Exactly one of three: weighed out for each run (`purity`, and a mass in each run), weighed out once and made up
/// (`dissolved`), or a solution of known `concentration`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Known {
    /// A name or a formula, such as "potassium hydrogen phthalate" or "HCl".
    pub substance: String,
    /// Purity of the weighed standard as a mass fraction.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub purity: Option<Stated<Fraction>>,
    /// Concentration of a known solution.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub concentration: Option<Stated<Concentration>>,
    /// Another sheet, beside this one, whose result is the concentration; its whole formula is carried along.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sheet: Option<String>,
    /// The standard weighed out once and made up to volume.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dissolved: Option<Dissolved>,
    /// Density of the solid, for air buoyancy; taken from the substance's data if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub density: Option<Written<Density>>,
    /// Identity of the bottle or lot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bottle: Option<String>,
}

/// A standard weighed out once and made up to a mark.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Dissolved {
    /// Net mass as read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mass: Option<Written<Mass>>,
    /// Gross mass as read (with `tare`).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gross: Option<Written<Mass>>,
    /// Tare as read (with `gross`).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tare: Option<Written<Mass>>,
    /// The flask it was made up in.
    pub flask: PieceSpec,
}

/// A value somebody else states, with its uncertainty in one of the usual forms.
///
/// Give `U` with `k`, or `u`, or `within` (a half-width, rectangular unless `shape` says otherwise), or `exact`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[serde(bound(serialize = "", deserialize = "K: super::Kind"))]
#[schemars(rename = "Stated{K}", bound = "K: super::Kind + JsonSchema")]
pub struct Stated<K: super::Kind> {
    /// The value.
    pub value: Written<K>,
    /// Expanded uncertainty.
    #[serde(rename = "U", default, skip_serializing_if = "Option::is_none")]
    pub expanded: Option<Written<K>>,
    /// Coverage factor of `U`; 2 if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub k: Option<f64>,
    /// Standard uncertainty.
    #[serde(rename = "u", default, skip_serializing_if = "Option::is_none")]
    pub standard: Option<Written<K>>,
    /// Half-width of the limits.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub within: Option<Written<K>>,
    /// Shape between the limits.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shape: Option<Shape>,
    /// True if the value is taken without uncertainty.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub exact: bool,
    /// Degrees of freedom of the stated uncertainty.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub degrees_of_freedom: Option<f64>,
    /// The certificate or document that states it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub certificate: Option<String>,
}

/// Shape of limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Shape {
    /// Equally likely within the limits.
    Rectangular,
    /// Likelier in the middle.
    Triangular,
    /// A cycle between the limits.
    Arcsine,
}
