//! Why a certificate or label cannot be made or checked.

use notebook::{EventError, Node};
use thiserror::Error;

/// Why no PDF came about.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum CertificateError {
    /// It is not in the record.
    #[error("{0} is not in the record")]
    Missing(Node),
    /// A certificate that states nothing.
    #[error("{0} states no result; only a certificate issued by the record can be printed")]
    Empty(Node),
    /// The event that issued it cannot be written as text.
    #[error("the event that issued the certificate cannot be written: {0}")]
    Event(#[from] EventError),
    /// The result cannot be written as JSON.
    #[error("the result cannot be written as JSON: {0}")]
    Json(#[from] serde_json::Error),
    /// A font that this program carries cannot be read.
    #[error("the font {0} that this program carries cannot be read")]
    Font(&'static str),
    /// A code holds more than its squares can carry.
    #[error("\"{0}\" is too long for a code that a camera reads")]
    Code(String),
    /// Something that a label may not leave out does not fit on it.
    #[error("the {1} of {0} is too long for a label; shorten it, or write the label by hand")]
    Long(Node, &'static str),
    /// A page of labels without a label.
    #[error("no label to print; name at least one solution")]
    NoLabel,
    /// The document breaks a rule of its standard.
    #[error("the document is not valid PDF/A-3: {0}")]
    Standard(String),
}
