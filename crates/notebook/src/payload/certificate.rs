//! Certificates: issued, superseded, withdrawn; never edited.

use super::evaluated::Evaluated;
use crate::moment::Day;
use crate::node::Node;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A certificate was issued.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CertificateIssued {
    /// The determination it states.
    pub determination: Node,
    /// What the signature means, such as "approved for use".
    pub meaning: String,
    /// What it states; the record fills it in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evaluated: Option<Evaluated>,
    /// Last day on which it holds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub use_before: Option<Day>,
    /// The certificate that this one replaces.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replaces: Option<Node>,
}

/// A certificate no longer holds, since something beneath it was corrected or a new one replaces it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CertificateSuperseded {
    /// Why, for people.
    pub reason: String,
    /// Number of the event that is the reason, if it was a correction.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub because: Option<u64>,
    /// The certificate that replaces it, if there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<Node>,
}

/// A certificate was withdrawn.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CertificateWithdrawn {
    /// Why.
    pub reason: String,
}
