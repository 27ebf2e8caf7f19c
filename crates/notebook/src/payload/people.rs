//! People, their roles, their comings and goings.

use crate::moment::Moment;
use crate::node::Node;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A role of the trade.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Does the work at the bench.
    Analyst,
    /// Looks at it and signs.
    Reviewer,
    /// Teaches: sets the work, sees all.
    Instructor,
    /// Learns: does exercises.
    Student,
    /// Keeps the record: people, methods, apparatus, backups.
    Keeper,
}

impl Role {
    /// All roles.
    pub const ALL: [Self; 5] = [
        Self::Analyst,
        Self::Reviewer,
        Self::Instructor,
        Self::Student,
        Self::Keeper,
    ];

    /// The role in words.
    pub fn word(self) -> &'static str {
        match self {
            Self::Analyst => "analyst",
            Self::Reviewer => "reviewer",
            Self::Instructor => "instructor",
            Self::Student => "student",
            Self::Keeper => "keeper",
        }
    }
}

/// The record was opened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RecordOpened {
    /// What the record is called, such as the laboratory's name.
    pub name: String,
}

/// The record is called otherwise from now on: the heading of its certificates.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RecordNamed {
    /// What the record is called.
    pub name: String,
}

/// From now on people sign in, and the permission table holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RecordShared {}

/// Everything that rested on a correction was computed again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CorrectionSettled {
    /// Number of the event that corrected.
    pub because: u64,
    /// How many determinations came out otherwise.
    pub changed: u64,
    /// How many verdicts flipped.
    pub flips: u64,
    /// How many certificates were superseded.
    pub superseded: u64,
}

/// Something was asked that may not be.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AttemptRefused {
    /// What it was about.
    pub on: Node,
    /// The kind of event that was asked for.
    pub asked: String,
    /// What the person was told.
    pub told: String,
    /// How often since the last such event: what one name tries within a minute is one event.
    #[serde(default = "once", skip_serializing_if = "is_once")]
    pub times: u64,
}

fn once() -> u64 {
    1
}

fn is_once(times: &u64) -> bool {
    *times == 1
}

/// A person signed in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SignedIn {
    /// "passphrase" or "code".
    pub by: String,
}

/// A session ended.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SignedOut {
    /// How it ended.
    pub how: String,
}

/// A sign-in failed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SignInFailed {
    /// "passphrase" or "code".
    pub by: String,
    /// Failures in a row, this one included.
    pub in_a_row: u32,
}

/// A person is locked out for a while.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LockedOut {
    /// Until when.
    pub until: Moment,
}

/// A passphrase or code was set; neither stands in the record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SecretSet {
    /// "passphrase" or "code".
    pub which: String,
}

/// A person joined.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PersonAdded {
    /// The name as it is printed beside a signature.
    pub name: String,
    /// What the person does here.
    pub roles: Vec<Role>,
}

/// A person's roles changed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RolesChanged {
    /// The roles from now on.
    pub roles: Vec<Role>,
    /// Why.
    pub reason: String,
}

/// A person left.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PersonLeft {
    /// Why.
    pub reason: String,
}
