//! What can be wrong with a sheet, said so that it can be mended.

use super::locate;
use std::fmt;

/// Why a sheet cannot be used.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum SheetError {
    /// Nothing in the file.
    Empty,
    /// The text is not a sheet.
    Syntax {
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
        /// The offending line, shortened.
        excerpt: String,
        /// What is wrong and what was expected.
        message: String,
    },
    /// An entry reads well but cannot be used.
    Entry {
        /// Path of the entry, such as `run[2].final`.
        path: String,
        /// Line, from 1, once the text was searched for the entry.
        line: Option<usize>,
        /// What is wrong and what was expected.
        message: String,
    },
}

impl SheetError {
    /// An unusable entry.
    pub fn entry(path: impl Into<String>, message: impl Into<String>) -> Self {
        Self::Entry {
            path: path.into(),
            line: None,
            message: message.into(),
        }
    }

    /// The same error with the line of its entry, looked up in the sheet's text.
    #[must_use]
    pub fn located(self, text: &str) -> Self {
        match self {
            Self::Entry {
                path,
                line: None,
                message,
            } => {
                let line = locate::line_of(text, &path);
                Self::Entry {
                    path,
                    line,
                    message,
                }
            }
            other => other,
        }
    }

    pub(crate) fn syntax(text: &str, error: &toml::de::Error) -> Self {
        let at = error.span().map_or(0, |span| span.start.min(text.len()));
        let before = text.get(..at).unwrap_or_default();
        let line = before.matches('\n').count() + 1;
        let start = before.rfind('\n').map_or(0, |i| i + 1);
        let excerpt = text
            .get(start..)
            .unwrap_or_default()
            .lines()
            .next()
            .unwrap_or_default();
        Self::Syntax {
            line,
            column: before[start..].chars().count() + 1,
            excerpt: excerpt.chars().take(100).collect(),
            message: error.message().to_string(),
        }
    }
}

impl fmt::Display for SheetError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => {
                f.write_str("the sheet is empty; `halfdrop sheet` writes one to start from")
            }
            Self::Syntax {
                line,
                column,
                excerpt,
                message,
            } => {
                write!(f, "line {line}, column {column}: {message}")?;
                if !excerpt.trim().is_empty() {
                    write!(f, "\n    {}", excerpt.trim())?;
                }
                Ok(())
            }
            Self::Entry {
                path,
                line: Some(line),
                message,
            } => write!(f, "line {line}, {path}: {message}"),
            Self::Entry {
                path,
                line: None,
                message,
            } => write!(f, "{path}: {message}"),
        }
    }
}

impl std::error::Error for SheetError {}
