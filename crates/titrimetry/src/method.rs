//! Methods: the fixed plan of a determination, as data. One file a method in `reference/methods/`.
//!
//! A method says what is done and which reactions run; the evaluation follows from both. It holds no equation and no
//! factor.

mod check;
mod library;

pub use check::MethodError;
pub(crate) use check::{Balanced, Measured, equivalents, species};
pub use library::{all, find};

use crate::sheet::{Anything, Concentration, Expansion, Fraction, PieceSpec, Stated, Written};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The plan of a determination.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Method {
    /// Name by which a sheet refers to it, such as "vinegar-acidity".
    pub name: String,
    /// What it determines, as a heading.
    pub title: String,
    /// What it is for, and where it does not serve.
    pub purpose: String,
    /// Version of the method.
    pub version: String,
    /// Family of reactions.
    pub family: Family,
    /// How the end is seen.
    pub end_point: String,
    /// The analytes, as they stand in the reactions.
    pub analyte: Vec<Analyte>,
    /// What is in the burette.
    pub titrant: TitrantPlan,
    /// Reagents that are measured: added in known amount, or of an amount that a blank fixes.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reagent: Vec<ReagentPlan>,
    /// The reactions, balanced, in the order in which they take place.
    pub reaction: Vec<String>,
    /// The titrations; one with one end point and all reactions if left out.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub titration: Vec<TitrationPlan>,
    /// How the sample gets into the flask, in order.
    pub step: Vec<Step>,
    /// What the blank is for.
    #[serde(default)]
    pub blank: BlankPlan,
    /// True if the analytes are acids or bases that stand in water as the reactions write them, alone: the engine's curve is
    /// then that of the titration, and a sheet may ask where the ends of its indicators lie.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub in_water: bool,
    /// What is reported.
    pub result: Vec<ResultPlan>,
    /// What titre to expect for what content.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub range: Vec<RangePlan>,
    /// Published precision, where there is one.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub precision: Vec<PrecisionPlan>,
    /// Name of the rule profile that judges it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rules: Option<String>,
    /// The usual cautions; the safety data sheets, local rules and licensed practice come first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub caution: Vec<String>,
    /// What becomes of the waste.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub disposal: Option<String>,
    /// Where the method and its figures come from.
    pub source: Vec<String>,
}

impl Method {
    /// What is added to portions of the sample, if the method is one of standard addition.
    pub fn spike(&self) -> Option<&SpikePlan> {
        self.step.iter().find_map(|step| match step {
            Step::SpikedWith(plan) => Some(plan.as_ref()),
            _ => None,
        })
    }

    /// The JSON Schema of a method file, for editors.
    pub fn schema() -> schemars::Schema {
        schemars::schema_for!(Self)
    }

    /// How many of its first steps are done once for all runs of a sample; those after them are done for each run.
    pub fn steps_once(&self) -> usize {
        let takes_after = |at: usize| {
            self.step[at + 1..]
                .iter()
                .any(|s| matches!(s, Step::Take { .. }))
        };
        let mixes = |at: &usize| match &self.step[*at] {
            Step::MakeUp { .. } | Step::Add { .. } => true,
            // A vessel that is titrated whole is filled anew for every run.
            Step::Displace { .. } => takes_after(*at),
            Step::Weigh { .. } | Step::Take { .. } | Step::SpikedWith(_) => false,
        };
        (0..self.step.len()).rfind(mixes).map_or(0, |last| last + 1)
    }
}

/// Family of reactions.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Family {
    /// Proton transfer.
    AcidBase,
    /// Formation of complexes.
    Complexometric,
    /// Formation of a solid.
    Precipitation,
    /// Electron transfer.
    Redox,
    /// Water by iodine and sulfur dioxide.
    Water,
}

/// A species whose amount is sought.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Analyte {
    /// The species, as it stands in the reactions.
    pub species: String,
    /// Its name.
    pub name: String,
    /// What it means if less than none of it is found: which assumption of the method fails, which method serves.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub if_negative: Option<String>,
}

/// What is in the burette.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TitrantPlan {
    /// The dissolved substance: a name of the catalogue or a formula.
    pub substance: String,
    /// The species that reacts; the substance itself if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub acts_as: Option<String>,
    /// The concentration it is made for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nominal: Option<Written<Concentration>>,
    /// The reaction that defines one equivalent, for concentrations in eq/L (N): one H+, OH^- or e- counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub equivalent: Option<String>,
    /// The analyte (species) of which a titer tells the mass, where concentrations are stated as titers (mg/mL).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub titer_of: Option<String>,
    /// Cubic expansion coefficient of a titrant that is not a dilute aqueous solution.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expansion: Option<Stated<Expansion>>,
}

/// A reagent that is measured.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ReagentPlan {
    /// Name by which a sheet gives its concentration.
    pub name: String,
    /// The dissolved substance.
    pub substance: String,
    /// The species that reacts; the substance itself if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub acts_as: Option<String>,
    /// How its volume is measured; left out if a blank fixes its amount.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measured_by: Option<PieceSpec>,
    /// Name of the step before which it is added, so that the steps from there on share it out with the sample; into
    /// the flask that is titrated if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub before: Option<String>,
    /// The concentration it is made for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nominal: Option<Written<Concentration>>,
    /// The reaction that defines one equivalent, for concentrations in eq/L (N).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub equivalent: Option<String>,
}

/// One titration of a sample; a method has several if a sample is titrated under several conditions.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TitrationPlan {
    /// Name by which a run says which titration it is.
    pub name: String,
    /// What is done differently in this one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub condition: Option<String>,
    /// End points in the order in which they show.
    pub end_point: Vec<EndPointPlan>,
}

/// One end point of a titration.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct EndPointPlan {
    /// Its name, such as "pink fades, pH 8.3".
    pub name: String,
    /// Numbers (from 1) of the reactions that are complete when it shows.
    pub reactions: Vec<usize>,
}

/// One thing done with the sample.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, rename_all = "snake_case")]
pub enum Step {
    /// Weighed out; the mass stands on the sheet.
    Weigh {
        /// Name by which a sheet gives another balance.
        name: String,
    },
    /// A volume is taken of the liquid at hand.
    Take {
        /// Name by which a sheet gives another piece.
        name: String,
        /// The piece.
        with: PieceSpec,
    },
    /// Made up to the mark.
    MakeUp {
        /// Name by which a sheet gives another flask.
        name: String,
        /// The flask.
        to: PieceSpec,
    },
    /// A measured volume of diluent is added: the volumes add up.
    Add {
        /// Name by which a sheet gives another piece.
        name: String,
        /// The piece that measures the diluent.
        with: PieceSpec,
    },
    /// A measured volume goes into a full vessel and pushes as much of the sample out.
    Displace {
        /// Name by which a sheet gives another piece.
        name: String,
        /// The piece that measures what goes in.
        with: PieceSpec,
    },
    /// Known amounts of the analyte are added to portions of the sample, so that the content follows from the line of what
    /// is found against what was added (standard addition); each run says its volume as `added`.
    SpikedWith(Box<SpikePlan>),
}

/// What is added to portions of the sample.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SpikePlan {
    /// Name by which a sheet gives its concentration, as a reagent, and another piece.
    pub name: String,
    /// The dissolved substance.
    pub substance: String,
    /// The species that is the analyte; the substance itself if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub acts_as: Option<String>,
    /// The piece that measures the additions: a burette, a piston pipette, or a one-mark pipette that is used several
    /// times.
    pub with: PieceSpec,
    /// The concentration it is made for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nominal: Option<Written<Concentration>>,
    /// The reaction that defines one equivalent, for concentrations in eq/L (N).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub equivalent: Option<String>,
}

impl Step {
    /// Name by which a sheet refers to it.
    pub fn name(&self) -> &str {
        match self {
            Self::Weigh { name }
            | Self::Take { name, .. }
            | Self::MakeUp { name, .. }
            | Self::Add { name, .. }
            | Self::Displace { name, .. } => name,
            Self::SpikedWith(plan) => &plan.name,
        }
    }
}

/// What the blank is for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum BlankPlan {
    /// No blank is foreseen; blank runs on the sheet are subtracted all the same.
    #[default]
    None,
    /// What the blank takes is taken by the reagents of every run: its titre is subtracted.
    Subtract,
    /// The blank fixes the amount of a reagent that was added alike to every flask.
    Reagent,
}

/// A quantity that is reported.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ResultPlan {
    /// What it is called.
    pub name: String,
    /// The analyte (species) it tells of; several add up.
    pub of: Vec<String>,
    /// The substance it is expressed as; the analyte itself if left out.
    #[serde(rename = "as", default, skip_serializing_if = "Option::is_none")]
    pub expressed_as: Option<String>,
    /// The reaction that ties the two, such as "CaCO3 -> Ca^2+ + CO3^2-"; needed if they differ. One for each analyte
    /// if several add up.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub basis: Option<Basis>,
    /// The reaction that defines one equivalent of what it is expressed as, for units such as meq/L; needed if that is
    /// not H+, OH^- or e- itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub equivalent: Option<String>,
    /// A named factor beyond the reactions, such as protein per nitrogen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub times: Option<NamedFactor>,
    /// Unit it is reported in.
    pub unit: String,
    /// Further units it is shown in.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub also: Vec<String>,
    /// Why more than the sample weighs is ordinary, where the result is no part of the sample, such as what it takes up.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub may_exceed_sample: Option<String>,
}

/// One reaction, or one for each analyte.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Basis {
    /// One reaction.
    One(String),
    /// Several; each analyte takes the first that shows it together with what the result is expressed as.
    Several(Vec<String>),
}

impl Basis {
    /// The reactions.
    pub fn reactions(&self) -> &[String] {
        match self {
            Self::One(reaction) => std::slice::from_ref(reaction),
            Self::Several(reactions) => reactions,
        }
    }
}

/// A conventional factor.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NamedFactor {
    /// What it is.
    pub name: String,
    /// Its value; a conventional factor is exact.
    pub value: Stated<Anything>,
    /// Where it comes from.
    pub source: String,
}

/// What titre a content leads to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RangePlan {
    /// Name of the result.
    pub result: String,
    /// Least content for which the portion is right.
    pub from: Written<Anything>,
    /// Largest content for which the portion is right.
    pub to: Written<Anything>,
    /// What else to say, such as the portion to take.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// How well results agree by a published trial of the method (ISO 5725).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PrecisionPlan {
    /// Name of the result.
    pub result: String,
    /// Repeatability limit r: two results by one hand differ by more once in twenty.
    pub repeatability: LimitPlan,
    /// Reproducibility limit R: two results of different laboratories differ by more once in twenty.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reproducibility: Option<LimitPlan>,
    /// Least result that it was found for; any if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<Written<Anything>>,
    /// Largest result that it was found for; any if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<Written<Anything>>,
    /// Where it was published.
    pub source: String,
}

/// A limit of precision: a constant, a share of the result, or the sum of both, such as 0.044 (X + 1).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LimitPlan {
    /// The constant part, in a unit of the result.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub constant: Option<Written<Anything>>,
    /// The part that grows with the result, such as "4.4 %".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub share: Option<Written<Fraction>>,
}
