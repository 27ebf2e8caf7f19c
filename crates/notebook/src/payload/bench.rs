//! Determinations: opened, readings taken and corrected, runs set aside, closed, reviewed, approved.

use super::evaluated::Evaluated;
use crate::moment::as_text;
use crate::node::Node;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;
use thiserror::Error;
use titrimetry::method::BlankPlan;
use titrimetry::sheet::{
    Conditions, CoverageSpec, Dilution, Dissolved, EndPointSpec, Flow, Mass, Place, Repeatability,
    RunKind, Stated, Temperature, Volume, Written,
};

/// A determination began.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DeterminationOpened {
    /// What it is called.
    pub title: String,
    /// What is determined, and by what.
    pub plan: Plan,
    /// The burette.
    pub burette: Node,
    /// How finely it is read, if coarser than the decimals written.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub read_to: Option<Written<Volume>>,
    /// The pipette that measures what goes into the flask.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pipette: Option<Node>,
    /// The balance.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub balance: Option<Node>,
    /// Pieces used in the method's steps, by the steps' names.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub pieces: BTreeMap<String, Node>,
    /// The rules that judge it: of the record, or else the program's default or the method's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rules: Option<Node>,
    /// Temperature and air, as far as known at the start.
    #[serde(default)]
    pub conditions: Conditions,
    /// Repeatability known from earlier work.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repeatability: Option<Repeatability>,
    /// How wide the reported interval is.
    #[serde(default)]
    pub coverage: CoverageSpec,
    /// How much of the standard a run is to be weighed, where a plan says it. Since version 3.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weigh: Option<Weigh>,
}

/// The masses between which a plan would have a run weighed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Weigh {
    /// From here.
    pub from: Written<Mass>,
    /// To here.
    pub to: Written<Mass>,
}

/// What is determined, and by what.
// One stands in each determination; a box would save nothing worth having.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(
    tag = "of",
    rename_all = "kebab-case",
    rename_all_fields = "snake_case",
    deny_unknown_fields
)]
pub enum Plan {
    /// A titrant's concentration.
    Standardization {
        /// The solution whose concentration is sought.
        sought: Node,
        /// Where it is.
        place: Place,
        /// Dilutions made before the titration.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        diluted: Vec<Dilution>,
        /// What it is compared with.
        known: KnownBy,
        /// The standard weighed out once and made up to a mark.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        dissolved: Option<Dissolved>,
        /// The reaction, where not the standard's own.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reaction: Option<String>,
        /// How the end is seen.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        indicator: Option<String>,
        /// Where the seen end lies, against the equivalence point.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        end_point: Option<EndPointSpec>,
    },
    /// What samples contain, by a method.
    Assay {
        /// The method, of the record.
        method: Node,
        /// The titrant.
        titrant: Source,
        /// Reagents in known amount, by the names that the method gives them.
        #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
        reagents: BTreeMap<String, Source>,
        /// The samples, in order.
        samples: Vec<Node>,
        /// What the blanks tell, if not what the method foresees. Since version 2.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        blank_is: Option<BlankPlan>,
        /// Most samples between two check samples. Since version 2.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        check_every: Option<usize>,
    },
}

/// A solution of known concentration, and by what it is known.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// The solution, or the lot that was bought as a solution.
    pub known: KnownBy,
    /// Titrant that is used up without sample in the same time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drift: Option<Stated<Flow>>,
    /// Temperature at which it was standardized, where its own expansion counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub standardized_at: Option<Written<Temperature>>,
}

/// What makes a substance or solution known.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum KnownBy {
    /// A lot, by its certificate.
    Lot(Node),
    /// A solution made here, by the determination that standardized it.
    Solution {
        /// The solution.
        solution: Node,
        /// The determination whose result holds; the record fills in the one in force.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by: Option<Node>,
    },
}

/// A run began.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RunStarted {
    /// Its number within the determination, from 1 in the order of beginning.
    pub run: u32,
    /// Rough, replicate or blank.
    #[serde(default)]
    pub run_kind: RunKind,
    /// The sample, in an assay; a blank that serves all has none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sample: Option<Node>,
    /// Which titration of the method, where it has several.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub titration: Option<String>,
    /// A name of its own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
}

/// A reading was taken.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ReadingTaken {
    /// The run; 0 for a reading of a sample that serves all its runs.
    pub run: u32,
    /// The sample, where the run is 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sample: Option<Node>,
    /// Which reading.
    pub reading: Slot,
    /// The value as written: its decimals count.
    pub value: String,
    /// True if it closes a fill before the end of the run, and the burette is refilled. Since version 2.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub refilled: bool,
}

/// A reading was corrected. The first value stays in the record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ReadingCorrected {
    /// The run; 0 for a reading of a sample that serves all its runs.
    pub run: u32,
    /// The sample, where the run is 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sample: Option<Node>,
    /// Which reading.
    pub reading: Slot,
    /// What stood there before; the record fills it in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub was: Option<String>,
    /// What it is, as written.
    pub value: String,
    /// Whether the burette was refilled after it, if that was said wrongly. Since version 2.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refilled: Option<bool>,
    /// Why.
    pub reason: String,
}

/// A run does not count.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RunSetAside {
    /// The run.
    pub run: u32,
    /// Why.
    pub reason: String,
}

/// A run that was set aside counts again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RunRestored {
    /// The run.
    pub run: u32,
    /// Why.
    pub reason: String,
}

/// Something odd was seen.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Remarked {
    /// The run, if it is about one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub run: Option<u32>,
    /// What was seen.
    pub text: String,
}

/// Temperature and air were read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ConditionsNoted {
    /// What was read; what is left out stays as it was.
    pub conditions: Conditions,
}

/// A step of the checklist was done.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CheckedOff {
    /// The step.
    pub step: String,
}

/// The titrant was standardized again between samples. Results are not changed by it; how far it is off is a finding.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TitrantRechecked {
    /// The sample after which it was done.
    pub after: Node,
    /// The determination that found its concentration.
    pub by: Node,
}

/// A photograph or another file belongs to it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FileAttached {
    /// The run, if it is about one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub run: Option<u32>,
    /// The reading, if it is about one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reading: Option<Slot>,
    /// Name of the file.
    pub name: String,
    /// Media type, such as "image/jpeg".
    pub media_type: String,
    /// SHA-256 of its bytes, in hexadecimal.
    pub sha256: String,
    /// Its length in bytes.
    pub bytes: u64,
}

/// No more readings; the result stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DeterminationClosed {
    /// What it gave; the record fills it in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evaluated: Option<Evaluated>,
}

/// It is open again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DeterminationReopened {
    /// Why.
    pub reason: String,
}

/// It was given up without a result.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DeterminationGivenUp {
    /// Why.
    pub reason: String,
}

/// A second person looked at it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DeterminationReviewed {
    /// Whether nothing is left to be mended.
    pub accepted: bool,
    /// What was seen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// It was signed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DeterminationApproved {
    /// What the signature means, such as "approved for use".
    pub meaning: String,
    /// The printed name beside it; the record fills it in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// What was signed; the record fills it in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evaluated: Option<Evaluated>,
    /// Last day on which the result of a standardization holds; by its rules if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub use_before: Option<crate::moment::Day>,
}

/// Something that it rests on was corrected, and it was computed again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DeterminationRecomputed {
    /// Number of the event that is the reason.
    pub because: u64,
    /// What it gave before.
    pub was: Evaluated,
    /// What it gives now; none if it cannot be computed any more.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub now: Option<Evaluated>,
    /// Whether the verdict changed.
    pub flips: bool,
    /// Why it cannot be computed, if so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub failed: Option<String>,
}

/// Why a text names no reading.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error(
    "\"{0}\" is no reading; the readings are initial, final, mass, gross, tare, temperature, duration, added, end-1, refill-1-initial, refill-1-final (and so on)"
)]
pub struct SlotError(String);

/// Which reading it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Slot {
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
    /// Temperature of the titrant.
    Temperature,
    /// How long the titration took.
    Duration,
    /// Volume of the standard that was added to the portion, where the method adds one.
    Added,
    /// Burette reading at an end point before the last, from 1.
    End(u8),
    /// Burette reading after a refill, from 1.
    RefillInitial(u8),
    /// Burette reading at the end of that fill.
    RefillFinal(u8),
}

impl Slot {
    /// The reading that closes a fill, by how many refills were before it.
    pub fn closing(refills: u8) -> Self {
        match refills {
            0 => Self::Final,
            n => Self::RefillFinal(n),
        }
    }

    /// The reading that begins a fill, by how many refills were before it.
    pub fn opening(refills: u8) -> Self {
        match refills {
            0 => Self::Initial,
            n => Self::RefillInitial(n),
        }
    }

    /// True for what is read off the burette.
    pub fn is_of_burette(self) -> bool {
        matches!(
            self,
            Self::Initial
                | Self::Final
                | Self::End(_)
                | Self::RefillInitial(_)
                | Self::RefillFinal(_)
        )
    }
}

impl fmt::Display for Slot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Initial => f.write_str("initial"),
            Self::Final => f.write_str("final"),
            Self::Mass => f.write_str("mass"),
            Self::Gross => f.write_str("gross"),
            Self::Tare => f.write_str("tare"),
            Self::Temperature => f.write_str("temperature"),
            Self::Duration => f.write_str("duration"),
            Self::Added => f.write_str("added"),
            Self::End(n) => write!(f, "end-{n}"),
            Self::RefillInitial(n) => write!(f, "refill-{n}-initial"),
            Self::RefillFinal(n) => write!(f, "refill-{n}-final"),
        }
    }
}

impl FromStr for Slot {
    type Err = SlotError;

    fn from_str(text: &str) -> Result<Self, SlotError> {
        let fail = || SlotError(text.chars().take(40).collect());
        let number = |digits: &str| {
            digits
                .parse::<u8>()
                .ok()
                .filter(|n| *n > 0 && n.to_string() == digits)
                .ok_or_else(fail)
        };
        Ok(match text {
            "initial" => Self::Initial,
            "final" => Self::Final,
            "mass" => Self::Mass,
            "gross" => Self::Gross,
            "tare" => Self::Tare,
            "temperature" => Self::Temperature,
            "duration" => Self::Duration,
            "added" => Self::Added,
            _ => {
                if let Some(n) = text.strip_prefix("end-") {
                    Self::End(number(n)?)
                } else if let Some(rest) = text.strip_prefix("refill-") {
                    match rest.split_once('-') {
                        Some((n, "initial")) => Self::RefillInitial(number(n)?),
                        Some((n, "final")) => Self::RefillFinal(number(n)?),
                        _ => return Err(fail()),
                    }
                } else {
                    return Err(fail());
                }
            }
        })
    }
}

as_text!(Slot);
