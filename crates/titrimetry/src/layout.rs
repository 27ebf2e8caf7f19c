//! Layouts: what is known and what is sought, and which of them is in the burette.

use crate::sheet::Place;
use serde::Serialize;

/// What is in the burette.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Layout {
    /// The known substance or solution is in the flask; the sought solution is the titrant.
    SoughtInBurette,
    /// The sought solution is in the flask; the known one is the titrant.
    SoughtInFlask,
}

impl Layout {
    /// The layout of a sheet.
    pub fn of(sought: Place) -> Self {
        match sought {
            Place::Burette => Self::SoughtInBurette,
            Place::Flask => Self::SoughtInFlask,
        }
    }

    /// The layout in words.
    pub fn describe(self) -> &'static str {
        match self {
            Self::SoughtInBurette => "known in the flask, sought in the burette",
            Self::SoughtInFlask => "sought in the flask, known in the burette",
        }
    }
}
