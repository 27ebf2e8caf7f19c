//! What can be wrong with wishes, said so that it can be mended.

use crate::rule_profile::RuleProfileError;
use crate::sheet::SheetError;
use thiserror::Error;

/// Why there is no plan.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum PlanError {
    /// Nothing in the file.
    #[error("no wishes: at least a [titrant] table with its substance is needed")]
    Empty,
    /// The file is certainly not one of wishes.
    #[error(
        "the file of wishes has {bytes} bytes, more than {} are not read",
        super::wishes::MAX_LENGTH
    )]
    TooLong {
        /// Its length.
        bytes: usize,
    },
    /// An entry cannot be read or used.
    #[error(transparent)]
    Entry(#[from] SheetError),
    /// The rule profile asked for.
    #[error(transparent)]
    Rules(#[from] RuleProfileError),
    /// No combination of glass, mass and strength works.
    #[error("nothing on the shelf fits: {reason}")]
    NothingFits {
        /// What stands in the way, and what would help.
        reason: String,
    },
}

impl PlanError {
    pub(super) fn entry(path: impl Into<String>, message: impl Into<String>) -> Self {
        Self::Entry(SheetError::entry(path, message))
    }

    /// The same error with the line of its entry, looked up in the text of the wishes.
    #[must_use]
    pub fn located(self, text: &str) -> Self {
        match self {
            Self::Entry(error) => Self::Entry(error.located(text)),
            other => other,
        }
    }
}
