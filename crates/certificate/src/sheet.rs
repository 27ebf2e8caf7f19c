//! What a certificate says: the data that is printed and attached.
//!
//! The attached JSON is this, whole. It holds the text of the event that issued the certificate, so that anybody can
//! hash it again, and everything that the page shows.

use notebook::payload::Stated;
use notebook::{Day, Moment, Node};
use serde::{Deserialize, Serialize};

/// Name of the format of the attached JSON.
pub const FORMAT: &str = "halfdrop-certificate/1";

/// A certificate with all that it shows.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CertificateSheet {
    /// [`FORMAT`].
    pub format: String,
    /// Program and version that made the document.
    pub program: String,
    /// The certificate.
    pub certificate: Node,
    /// The record, by its name.
    pub laboratory: String,
    /// The determination that it states.
    pub determination: Node,
    /// What the determination is called.
    pub title: String,
    /// The event that issued it.
    pub event: IssuedBy,
    /// Whether it held when the document was made.
    pub standing: Standing,
    /// The results.
    pub results: Vec<Line>,
    /// The rules and their verdict.
    pub rules: Verdict,
    /// Limits, and the rule by which they were judged.
    pub decisions: Vec<Decision>,
    /// What the value rests on, nearest first.
    pub traced: Vec<Thread>,
    /// Apparatus, with what its value goes by.
    pub apparatus: Vec<Thread>,
    /// The method, in a few lines.
    pub method: Vec<String>,
    /// Temperature and air, as written.
    pub conditions: Vec<(String, String)>,
    /// Last day on which it holds.
    pub use_before: Option<Day>,
    /// Who did, reviewed, approved, issued.
    pub people: Vec<Signed>,
    /// The runs.
    pub runs: Vec<RunLine>,
    /// The budgets; none if this version of the program does not compute these numbers.
    pub budgets: Vec<BudgetSheet>,
}

/// The event that issued a certificate.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct IssuedBy {
    /// Its number in the record.
    pub number: u64,
    /// Its identity.
    pub id: String,
    /// SHA-256 of its text.
    pub hash: String,
    /// Its text, as it stands in the record.
    pub body: String,
}

/// Whether a certificate holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "is", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Standing {
    /// It holds.
    Current,
    /// It was superseded.
    Superseded {
        /// When.
        at: Moment,
        /// Why.
        reason: String,
        /// What replaces it.
        by: Option<Node>,
    },
    /// It was withdrawn.
    Withdrawn {
        /// When.
        at: Moment,
        /// Why.
        reason: String,
    },
}

/// A result.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Line {
    /// What the solution or sample is, in words.
    pub what: String,
    /// The result as the record states it.
    pub stated: Stated,
}

/// Rules and their verdict.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Verdict {
    /// Profile and version.
    pub profile: String,
    /// What the profile is for.
    pub purpose: Option<String>,
    /// True if the record calls the result usable.
    pub usable: bool,
    /// What was found.
    pub findings: Vec<Found>,
}

/// A finding.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Found {
    /// Its code.
    pub code: String,
    /// How much it weighs, in words.
    pub weight: Option<String>,
    /// What was seen.
    pub message: Option<String>,
}

/// A decision about limits.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Decision {
    /// The sample.
    pub of: Node,
    /// The limits, as written; none if they are no longer known.
    pub limits: Option<String>,
    /// Probability that they are kept.
    pub probability: f64,
    /// Least probability that is accepted, where that is the decision rule.
    pub wanted: Option<f64>,
    /// Another decision rule, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rule: Option<String>,
    /// Whether the rule accepts.
    pub accepted: bool,
}

/// Something that a value rests on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Thread {
    /// The thing.
    pub on: Node,
    /// What it is.
    pub what: String,
    /// By what its own value is known; none if the record names nothing.
    pub by: Option<String>,
}

/// A person and what he put his name to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Signed {
    /// Done, reviewed, approved, issued.
    pub did: String,
    /// The printed name.
    pub name: String,
    /// What the signature means.
    pub meaning: Option<String>,
    /// When.
    pub at: Moment,
}

/// A run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RunLine {
    /// The sample, in an assay.
    pub of: Option<String>,
    /// Its name.
    pub name: String,
    /// The titre in mL, as read.
    pub titre: String,
    /// Result of this run alone, in the unit of the result.
    pub value: Option<f64>,
    /// Whether it counts, and if not, why.
    pub status: String,
    /// True if it is part of the mean.
    pub counts: bool,
}

/// What an uncertainty is made of.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BudgetSheet {
    /// Which result.
    pub of: String,
    /// Its unit.
    pub unit: String,
    /// Combined standard uncertainty, in that unit.
    pub combined: f64,
    /// Effective degrees of freedom; none if infinite.
    pub degrees_of_freedom: Option<f64>,
    /// Shares of the variance by group, largest first.
    pub groups: Vec<(String, f64)>,
    /// The inputs, largest share first.
    pub inputs: Vec<BudgetInput>,
}

/// An input of a budget.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BudgetInput {
    /// Symbol in the working.
    pub symbol: String,
    /// What it is.
    pub what: String,
    /// Where it comes from.
    pub origin: String,
    /// Value.
    pub value: f64,
    /// Standard uncertainty.
    pub standard_uncertainty: f64,
    /// Unit of the two.
    pub unit: String,
    /// Contribution to the standard uncertainty of the result, in its unit, with its sign.
    pub contribution: f64,
    /// Share of the variance.
    pub share: f64,
}
