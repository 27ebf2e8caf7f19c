//! Why a command could not do its work, told with the name of the file.

use crate::sheet_file::FileError;
use metrology::monte_carlo::MonteCarloError;
use titrimetry::SheetError;
use titrimetry::method::MethodError;
use titrimetry::rule_profile::RuleProfileError;
use titrimetry::validation::ValidationError;

/// Why a command failed; every variant names what it was about.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub(crate) enum Failure {
    /// A file cannot be read.
    #[error("{name}: {error}")]
    File {
        /// The file, as it was named.
        name: String,
        /// What is wrong with it.
        error: FileError,
    },
    /// A certificate or label cannot be printed or checked.
    #[error("{0}")]
    Paper(String),
    /// A passphrase cannot be taken.
    #[error("{0}; nothing was changed")]
    Passphrase(String),
    /// The bench cannot be served.
    #[error("{0}")]
    Serve(String),
    /// A file that a sheet names cannot be read.
    #[error("{name}: {error} (named by {entry} of {sheet})")]
    Named {
        /// The file, where it was looked for.
        name: String,
        /// What is wrong with it.
        error: FileError,
        /// The entry that names it.
        entry: &'static str,
        /// The sheet that names it.
        sheet: String,
    },
    /// A sheet cannot be used.
    #[error("{name}: {error}")]
    Sheet {
        /// The sheet, as it was named.
        name: String,
        /// What is wrong with it.
        error: SheetError,
    },
    /// A rule profile cannot be used.
    #[error("{name}: {error}")]
    Rules {
        /// The sheet or profile, as it was named.
        name: String,
        /// What is wrong with it.
        error: RuleProfileError,
    },
    /// A method cannot be used.
    #[error("{name}: {error}")]
    Method {
        /// The file or the name asked for.
        name: String,
        /// What is wrong with it.
        error: MethodError,
    },
    /// A validation cannot be worked out.
    #[error("{name}: {error}")]
    Validation {
        /// The file, as it was named.
        name: String,
        /// What is wrong with its data.
        error: ValidationError,
    },
    /// Sheets rest on each other in a ring, or on too many.
    #[error("{name}: known.sheet: {reason}")]
    Chain {
        /// The sheet at which it was seen.
        name: String,
        /// What is wrong.
        reason: String,
    },
    /// Wishes that cannot be planned, or an option that cannot be read.
    #[error("{0}")]
    Plan(String),
    /// The record refuses, or cannot be used.
    #[error("{0}")]
    Record(#[from] store::StoreError),
    /// The simulation cannot be run.
    #[error("--trials: {0}")]
    Simulation(#[from] MonteCarloError),
    /// The output cannot be put into words.
    #[error("the result cannot be written as JSON: {0}")]
    Json(#[from] serde_json::Error),
    /// The output cannot be written.
    #[error("the output cannot be written: {0}")]
    Output(#[from] std::io::Error),
}

impl Failure {
    /// The message without characters of the input that would steer a terminal.
    pub(crate) fn printable(&self) -> String {
        report::without_control(&self.to_string())
    }
}

impl From<server::paper::PaperError> for Failure {
    fn from(error: server::paper::PaperError) -> Self {
        Self::Paper(error.to_string())
    }
}

impl From<certificate::CertificateError> for Failure {
    fn from(error: certificate::CertificateError) -> Self {
        Self::Paper(error.to_string())
    }
}
