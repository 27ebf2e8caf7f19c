//! Chemical formulas: read, kept as written, printed plainly or with Unicode signs.
//!
//! Accepted: element symbols with counts, brackets `()`, `[]`, `{}`, parts joined by a dot (`·`, `.`, `*`) with a
//! multiplier (`Na2S2O3.5H2O`), charges, the electron `e-`, Unicode subscripts and superscripts.
//!
//! # How a charge is read
//! A charge stands at the end. Unambiguous: `SO4^2-`, `SO4^-2`, `SO₄²⁻`, `SO₄2-`, repeated signs `SO4--`.
//! Without `^`, digits before the sign could be a count or a charge, so:
//! - one element and one digit: a plus makes the digit the charge (`Fe3+` is Fe^3+); a minus does so for O, S, Se, Te
//!   with 2 only (`S2-` is S^2-), since `I3-`, `N3-`, `Br3-` are also written for triiodide, azide, tribromide;
//! - everything in one pair of square brackets: one digit is the charge (`[Fe(CN)6]3-`);
//! - any other formula: one digit is the count and the charge is one (`MnO4-`, `NH4+`, `H2PO4-`);
//! - anything else (`SO42-`, `Hg22+`, `I3-`) is refused with both readings spelled out.
//!
//! A charge that would need more electrons than the species has (`H2+` read as H^2+) is refused too.

mod parse;
mod print;

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::composition::Composition;
use crate::elements::{Element, ElementError};

/// Most characters of a formula.
pub const LONGEST_FORMULA: usize = 1_000;
/// Most brackets within brackets.
pub const DEEPEST_NESTING: usize = 16;
/// Largest number that may be written in a formula.
pub const LARGEST_COUNT: u32 = 1_000_000;

/// A chemical formula with its charge, as written.
///
/// Two formulas are equal if they are written alike (`NaOH` is not `HONa`); compare [`Formula::composition`] and
/// [`Formula::charge`] to ask for the same atoms.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Formula {
    parts: Vec<Part>,
    charge: i32,
    composition: Composition,
}

/// What stands between two dots: a multiplier and units.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
struct Part {
    multiplier: u32,
    units: Vec<Unit>,
}

/// An element or a bracket, with its count.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
enum Unit {
    Atom(Element, u32),
    Group(Bracket, Vec<Unit>, u32),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Bracket {
    Round,
    Square,
    Curly,
}

impl Bracket {
    fn signs(self) -> (char, char) {
        match self {
            Self::Round => ('(', ')'),
            Self::Square => ('[', ']'),
            Self::Curly => ('{', '}'),
        }
    }
}

/// A formula that cannot be read, and why.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("formula `{formula}`: {problem}")]
pub struct FormulaError {
    /// The formula as written, cut if long.
    pub formula: String,
    /// What is wrong.
    #[source]
    pub problem: FormulaProblem,
}

/// What is wrong with a formula; positions count characters from 1.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum FormulaProblem {
    /// Nothing written.
    #[error("nothing is written; expected something like Na2CO3 or SO4^2-")]
    Empty,
    /// Longer than [`LONGEST_FORMULA`].
    #[error("{length} characters; a formula has at most {LONGEST_FORMULA}")]
    TooLong {
        /// Characters given.
        length: usize,
    },
    /// A character that cannot stand there.
    #[error("character {at} is `{}`; expected {expected}", .found.escape_debug())]
    Unexpected {
        /// Position.
        at: usize,
        /// The character.
        found: char,
        /// What could stand there.
        expected: &'static str,
    },
    /// The formula stops where something must follow.
    #[error("ends too early; expected {expected}")]
    EndsEarly {
        /// What must follow.
        expected: &'static str,
    },
    /// A bracket is not closed, or closed by another kind.
    #[error("the `{open}` at character {at} is not closed; expected `{close}`")]
    NotClosed {
        /// Position of the opening bracket.
        at: usize,
        /// The opening bracket.
        open: char,
        /// The bracket that would close it.
        close: char,
    },
    /// Brackets deeper than [`DEEPEST_NESTING`].
    #[error("character {at}: brackets are nested deeper than {DEEPEST_NESTING}")]
    TooDeep {
        /// Position.
        at: usize,
    },
    /// A symbol that is no element.
    #[error("character {at}: {problem}")]
    Element {
        /// Position.
        at: usize,
        /// Which.
        problem: ElementError,
    },
    /// Zero, or above [`LARGEST_COUNT`].
    #[error("character {at}: a count is a whole number from 1 to {LARGEST_COUNT}")]
    Count {
        /// Position.
        at: usize,
    },
    /// `CaSO4.0.5H2O` and the like.
    #[error(
        "character {at}: counts are whole; for a half write the doubled formula, as Ca2(SO4)2.H2O"
    )]
    Fraction {
        /// Position.
        at: usize,
    },
    /// More atoms than a formula unit may hold.
    #[error(
        "the counts multiply to more than {} atoms of one element",
        crate::composition::MOST_ATOMS
    )]
    TooManyAtoms,
    /// Digits before the sign may be a count or a charge.
    #[error("the charge is ambiguous; write {as_charge} or {as_count}")]
    AmbiguousCharge {
        /// The last digit read as the charge.
        as_charge: String,
        /// All digits read as a count.
        as_count: String,
    },
    /// More electrons removed than there are, or a charge out of any range.
    #[error("a charge of {charge:+} is impossible here{}", hint(.suggestion))]
    ImpossibleCharge {
        /// The charge.
        charge: i64,
        /// What may have been meant.
        suggestion: Option<String>,
    },
    /// The letter e without its charge.
    #[error("the electron is written e-")]
    ElectronCharge,
}

fn hint(suggestion: &Option<String>) -> String {
    suggestion.as_ref().map_or_else(String::new, |s| {
        format!("; if the digits are a count write {s}")
    })
}

impl Formula {
    /// Reads a formula; spaces around it and around dots do not matter.
    ///
    /// # Errors
    /// [`FormulaError`] with what is wrong, where, and what was expected.
    ///
    /// # Example
    /// ```
    /// use chemistry::formula::Formula;
    /// let thiosulfate = Formula::parse("Na2S2O3·5H2O")?;
    /// assert_eq!(thiosulfate.to_string(), "Na2S2O3.5H2O");
    /// assert_eq!(thiosulfate.composition().to_string(), "H10Na2O8S2");
    /// assert_eq!(Formula::parse("Fe3+")?.pretty(), "Fe³⁺");
    /// assert!(Formula::parse("SO42-").unwrap_err().to_string().contains("SO4^2-"));
    /// # Ok::<(), chemistry::formula::FormulaError>(())
    /// ```
    pub fn parse(text: &str) -> Result<Self, FormulaError> {
        parse::formula(text)
    }

    /// The electron, e-.
    pub fn electron() -> Self {
        Self {
            parts: Vec::new(),
            charge: -1,
            composition: Composition::default(),
        }
    }

    /// Whether this is the electron.
    pub fn is_electron(&self) -> bool {
        self.parts.is_empty()
    }

    /// Charge number, as -2 for SO4^2-.
    pub fn charge(&self) -> i32 {
        self.charge
    }

    /// Atoms of each element in one formula unit.
    pub fn composition(&self) -> &Composition {
        &self.composition
    }

    /// Whether both have the same atoms and charge, however written.
    pub fn is_same_species(&self, other: &Self) -> bool {
        self.charge == other.charge && self.composition == other.composition
    }

    /// The formula with subscripts, superscripts and a raised dot: `SO₄²⁻`, `Na₂S₂O₃·5H₂O`.
    pub fn pretty(&self) -> String {
        print::pretty(self)
    }

    /// Counts the atoms; the one way a formula is made.
    fn from_parts(parts: Vec<Part>, charge: i32) -> Result<Self, FormulaProblem> {
        fn sum(units: &[Unit]) -> Option<Composition> {
            units
                .iter()
                .try_fold(Composition::default(), |total, unit| match unit {
                    Unit::Atom(element, n) => {
                        total.plus(&Composition::atom(*element), u64::from(*n))
                    }
                    Unit::Group(_, inner, n) => total.plus(&sum(inner)?, u64::from(*n)),
                })
        }
        let composition = parts
            .iter()
            .try_fold(Composition::default(), |total, part| {
                total.plus(&sum(&part.units)?, u64::from(part.multiplier))
            })
            .ok_or(FormulaProblem::TooManyAtoms)?;
        Ok(Self {
            parts,
            charge,
            composition,
        })
    }
}

impl fmt::Display for Formula {
    /// Plain characters that read back to the same formula: `SO4^2-`, `Na2S2O3.5H2O`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&print::plain(self))
    }
}

impl FromStr for Formula {
    type Err = FormulaError;

    fn from_str(s: &str) -> Result<Self, Self::Err> {
        Self::parse(s)
    }
}

impl TryFrom<String> for Formula {
    type Error = FormulaError;

    fn try_from(s: String) -> Result<Self, Self::Error> {
        Self::parse(&s)
    }
}

impl From<Formula> for String {
    fn from(formula: Formula) -> Self {
        formula.to_string()
    }
}

#[cfg(test)]
mod tests;
