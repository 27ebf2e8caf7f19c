//! What stands on the shelf: lots, apparatus, solutions, samples, methods, rules.

use super::evaluated::Evaluated;
use crate::moment::Day;
use crate::node::Node;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use titrimetry::assay::{Limits, SampleKind};
use titrimetry::method::Method;
use titrimetry::rule_profile::RuleProfile;
use titrimetry::sheet::{
    Anything, BalanceSpec, Concentration, Content, Density, Fraction, PieceSpec, Stated, Volume,
    Written,
};

/// What a lot is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum LotUse {
    /// A standard: its certificate states what it is worth.
    Standard,
    /// A reagent.
    Reagent,
}

/// What a lot's certificate states.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LotCertificate {
    /// Its number.
    pub number: String,
    /// Purity of a solid, as a mass fraction.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub purity: Option<Stated<Fraction>>,
    /// Concentration of a solution.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub concentration: Option<Stated<Concentration>>,
}

/// A lot came in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LotReceived {
    /// The substance: a name or formula.
    pub substance: String,
    /// What it is for.
    pub serves_as: LotUse,
    /// The maker's lot number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub makers_lot: Option<String>,
    /// Its certificate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub certificate: Option<LotCertificate>,
    /// Density of the solid, for air buoyancy.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub density: Option<Written<Density>>,
    /// Last day of use.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires: Option<Day>,
}

/// Its bottle was opened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LotOpened {
    /// Last day of use once opened, where that comes sooner.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires: Option<Day>,
}

/// Its certificate was entered wrongly, or a new one replaces it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LotCertificateCorrected {
    /// What the certificate states.
    pub certificate: LotCertificate,
    /// What stood there before; the record fills it in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub was: Option<LotCertificate>,
    /// Why.
    pub reason: String,
}

/// It is gone.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LotDiscarded {
    /// Why: used up, expired, spoiled.
    pub reason: String,
}

/// A piece of glass or a balance, as the calibration describes it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Piece {
    /// A piece of glass.
    Glass(PieceSpec),
    /// A balance.
    Balance(BalanceSpec),
}

/// A piece of glass or a balance was taken into use.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ApparatusRegistered {
    /// What it is: a catalogue name, or a piece with figures of its own.
    pub piece: Piece,
    /// Last day of use before the next calibration, if there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due: Option<Day>,
}

/// It was calibrated.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ApparatusCalibrated {
    /// The calibration's certificate.
    pub certificate: String,
    /// The piece as calibrated.
    pub piece: Piece,
    /// Last day of use before the next calibration.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due: Option<Day>,
}

/// A calibration was entered wrongly, or withdrawn by who made it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CalibrationCorrected {
    /// The calibration's certificate.
    pub certificate: String,
    /// The piece as it should have been entered.
    pub piece: Piece,
    /// What stood there before; the record fills it in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub was: Option<Piece>,
    /// Why.
    pub reason: String,
}

/// It may not be used.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ApparatusOutOfService {
    /// Why.
    pub reason: String,
}

/// It may be used again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ApparatusReturned {
    /// What was done about it.
    pub reason: String,
}

/// Something that went into a solution.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Ingredient {
    /// The lot or solution it was taken from.
    pub from: Node,
    /// How much, as written.
    pub amount: Written<Anything>,
}

/// A solution was made.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SolutionPrepared {
    /// The dissolved substance: a name or formula.
    pub substance: String,
    /// The concentration it was made for.
    pub nominal: Written<Concentration>,
    /// What it was made of.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub made_of: Vec<Ingredient>,
    /// How much was made.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub volume: Option<Written<Volume>>,
    /// Glass and balance used.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub apparatus: Vec<Node>,
    /// Where it stands.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kept: Option<String>,
    /// Last day of use.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub use_before: Option<Day>,
    /// The hazard line of its label, entered by a person from the safety data sheet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hazard: Option<String>,
}

/// Something was added to it: its concentration is no longer known.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SolutionToppedUp {
    /// With what.
    pub with: Vec<Ingredient>,
    /// Why.
    pub reason: String,
}

/// It stands elsewhere.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SolutionMoved {
    /// Where it stands.
    pub kept: String,
}

/// It is gone.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SolutionDiscarded {
    /// Why.
    pub reason: String,
}

/// The determination that gave its concentration cannot be computed any more, after a correction.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StandardizationLost {
    /// The determination.
    pub determination: Node,
    /// Number of the event that corrected.
    pub because: u64,
    /// Why.
    pub reason: String,
}

/// Its concentration is known from now on. Written when a standardization is approved.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SolutionStandardized {
    /// By which determination.
    pub determination: Node,
    /// What was found.
    pub evaluated: Evaluated,
    /// Last day on which this holds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub use_before: Option<Day>,
}

/// A sample came in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SampleReceived {
    /// What it is, such as "pickling vinegar, tank 4".
    pub what: String,
    /// A sample, or one of known content.
    #[serde(default)]
    pub role: SampleKind,
    /// Who or where it comes from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<String>,
    /// Limits that its result must keep.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limits: Option<Limits>,
    /// What the result is known to be, for a check sample.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expected: Option<Stated<Content>>,
    /// Its density.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub density: Option<Stated<Density>>,
}

/// It is gone.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SampleDiscarded {
    /// Why.
    pub reason: String,
}

/// A method, or its next version, is in use. The whole method stands in the record, so that a later program still
/// computes by it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MethodAdopted {
    /// The method.
    pub method: Method,
}

/// A method is no longer used.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MethodWithdrawn {
    /// Why.
    pub reason: String,
}

/// A rule profile, or its next version, is in use.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RulesAdopted {
    /// The profile.
    #[schemars(with = "serde_json::Value")]
    pub profile: RuleProfile,
}

/// A rule profile is no longer used.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RulesWithdrawn {
    /// Why.
    pub reason: String,
}
