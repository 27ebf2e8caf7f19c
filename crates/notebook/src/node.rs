//! What the record speaks of: a lot, a bottle, a determination, each with the short name that stands on its label.
//!
//! A node is written `kind/name`, such as `solution/T-0117`. It names a stream of events, a thing on a list, and a point
//! of the traceability graph.

use crate::moment::as_text;
use std::fmt;
use std::str::FromStr;
use thiserror::Error;

/// Longest name.
pub const MAX_NAME: usize = 100;

/// Why a text names nothing.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum NodeError {
    /// No such kind.
    #[error("\"{0}\" does not start with a kind of thing; write it like solution/T-0117 (kinds: {kinds})", kinds = Kind::list())]
    Kind(String),
    /// An empty name, one that is too long, or one with blanks at its ends or control characters.
    #[error(
        "\"{0}\" is no name: 1 to {MAX_NAME} characters, none of them \"/\" or a control character, no blank at the ends"
    )]
    Name(String),
}

macro_rules! kinds {
    ($($(#[$doc:meta])* $kind:ident $word:literal,)*) => {
        /// A kind of thing.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Kind { $($(#[$doc])* $kind,)* }

        impl Kind {
            /// All kinds.
            pub const ALL: &'static [Self] = &[$(Self::$kind,)*];

            /// The word before the stroke.
            pub fn word(self) -> &'static str {
                match self { $(Self::$kind => $word,)* }
            }
        }
    };
}

kinds! {
    /// The record itself; there is one.
    Record "record",
    /// A person who works here.
    Person "person",
    /// Comings and goings of a person: sign-ins, refused attempts.
    Access "access",
    /// A bottle of bought substance or solution, with its certificate.
    Lot "lot",
    /// A piece of glass or a balance.
    Apparatus "apparatus",
    /// A solution made here.
    Solution "solution",
    /// A sample.
    Sample "sample",
    /// A method.
    Method "method",
    /// A rule profile.
    Rules "rules",
    /// A determination.
    Determination "determination",
    /// A certificate.
    Certificate "certificate",
}

impl Kind {
    fn list() -> String {
        Self::ALL
            .iter()
            .map(|kind| kind.word())
            .collect::<Vec<_>>()
            .join(", ")
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

impl FromStr for Kind {
    type Err = NodeError;

    fn from_str(word: &str) -> Result<Self, NodeError> {
        Self::ALL
            .iter()
            .copied()
            .find(|kind| kind.word() == word)
            .ok_or_else(|| NodeError::Kind(word.chars().take(60).collect()))
    }
}

/// A thing that the record speaks of.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Node {
    kind: Kind,
    name: String,
}

impl Node {
    /// A thing by its kind and name.
    ///
    /// # Errors
    /// [`NodeError::Name`].
    pub fn new(kind: Kind, name: &str) -> Result<Self, NodeError> {
        let wrong = name.is_empty()
            || name.chars().count() > MAX_NAME
            || name.trim() != name
            || name.chars().any(|c| c == '/' || c.is_control());
        if wrong {
            return Err(NodeError::Name(name.chars().take(60).collect()));
        }
        Ok(Self {
            kind,
            name: name.to_string(),
        })
    }

    /// The record itself.
    pub fn record() -> Self {
        Self {
            kind: Kind::Record,
            name: "record".into(),
        }
    }

    /// Its kind.
    pub fn kind(&self) -> Kind {
        self.kind
    }

    /// Its name, without the kind.
    pub fn name(&self) -> &str {
        &self.name
    }
}

impl fmt::Display for Node {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.kind, self.name)
    }
}

impl FromStr for Node {
    type Err = NodeError;

    fn from_str(text: &str) -> Result<Self, NodeError> {
        let (kind, name) = text
            .split_once('/')
            .ok_or_else(|| NodeError::Kind(text.chars().take(60).collect()))?;
        Self::new(kind.parse()?, name)
    }
}

as_text!(Node);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nodes_are_read_as_written() {
        let node: Node = "solution/T-0117".parse().unwrap();
        assert_eq!((node.kind(), node.name()), (Kind::Solution, "T-0117"));
        assert_eq!(node.to_string(), "solution/T-0117");
        for wrong in [
            "T-0117",
            "bottle/T-0117",
            "solution/",
            "solution/a/b",
            "solution/ a",
            "lot/a\nb",
        ] {
            assert!(wrong.parse::<Node>().is_err(), "{wrong}");
        }
    }
}
