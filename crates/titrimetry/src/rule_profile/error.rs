//! What can be wrong with a rule profile.

use thiserror::Error;

/// Why a rule profile cannot be used.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum RuleProfileError {
    /// No shipped profile has that name.
    #[error("there is no rule profile \"{name}\"; there are {}", list(known))]
    Unknown {
        /// The name asked for.
        name: String,
        /// The names that exist.
        known: Vec<String>,
    },
    /// Nothing in the file.
    #[error("the rule profile is empty; it needs at least a name, a purpose and a version")]
    Empty,
    /// The file is certainly not a profile.
    #[error(
        "the rule profile has {bytes} bytes, more than {} are not read",
        super::MAX_LENGTH
    )]
    TooLong {
        /// Its length.
        bytes: usize,
    },
    /// The text is not a profile.
    #[error("rule profile, line {line}: {message}")]
    Syntax {
        /// Line, from 1.
        line: usize,
        /// What is wrong and what was expected.
        message: String,
    },
    /// A limit that cannot be meant.
    #[error("rule profile: {rule} {message}")]
    Limit {
        /// The rule.
        rule: &'static str,
        /// What is wrong and what was expected.
        message: String,
    },
    /// The sheet names both.
    #[error("the sheet names both a rule profile and a file of its own; leave one of them out")]
    NameAndFile,
    /// The file was not handed over.
    #[error("the rule profile \"{path}\" that the sheet names was not found")]
    FileMissing {
        /// The path as the sheet writes it.
        path: String,
    },
}

impl RuleProfileError {
    pub(super) fn limit(rule: &'static str, message: impl Into<String>) -> Self {
        Self::Limit {
            rule,
            message: message.into(),
        }
    }

    pub(super) fn syntax(text: &str, error: &toml::de::Error) -> Self {
        let at = error.span().map_or(0, |span| span.start);
        Self::Syntax {
            line: text.bytes().take(at).filter(|b| *b == b'\n').count() + 1,
            message: error.message().to_string(),
        }
    }
}

fn list(names: &[String]) -> String {
    match names {
        [] => "none".into(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}
