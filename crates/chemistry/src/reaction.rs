//! Chemical reactions: read, checked for balance, balanced, and asked for the stoichiometric ratio.
//!
//! A reaction is written `2 MnO4- + 5 C2O4^2- + 16 H+ -> 2 Mn^2+ + 10 CO2 + 8 H2O`. Arrows: `->`, `-->`, `=`, `=>`,
//! `<=>`, `<->` and their Unicode signs. States `(aq)`, `(s)`, `(l)`, `(g)`, `(cr)` are read over.

mod balance;
mod parse;

use std::collections::BTreeSet;
use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::elements::Element;
use crate::formula::{Formula, FormulaError};

/// Most characters of a reaction.
pub const LONGEST_REACTION: usize = 4_000;
/// Most species in a reaction.
pub const MOST_SPECIES: usize = 40;

/// A species with its stoichiometric number as written, before its sign.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Term {
    /// Stoichiometric number, at least 1.
    pub number: u64,
    /// The species.
    pub formula: Formula,
}

/// A reaction as written; it need not be balanced.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Reaction {
    reactants: Vec<Term>,
    products: Vec<Term>,
}

/// An exact ratio of amounts of substance, in lowest terms.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Ratio {
    /// Upper number.
    pub numerator: u64,
    /// Lower number.
    pub denominator: u64,
}

impl Ratio {
    /// The ratio in lowest terms; `None` if either number is 0.
    pub fn new(numerator: u64, denominator: u64) -> Option<Self> {
        if numerator == 0 || denominator == 0 {
            return None;
        }
        let divisor = balance::greatest_common_divisor(numerator.into(), denominator.into());
        let cut = |n: u64| u64::try_from(u128::from(n) / divisor).unwrap_or(n);
        Some(Self {
            numerator: cut(numerator),
            denominator: cut(denominator),
        })
    }

    /// As a number.
    pub fn value(self) -> f64 {
        self.numerator as f64 / self.denominator as f64
    }

    /// The ratio turned over.
    #[must_use]
    pub fn inverse(self) -> Self {
        Self {
            numerator: self.denominator,
            denominator: self.numerator,
        }
    }

    /// Product of two ratios; `None` if it does not fit.
    pub fn times(self, other: Self) -> Option<Self> {
        let a = Self::new(self.numerator, other.denominator)?;
        let b = Self::new(other.numerator, self.denominator)?;
        Self::new(
            a.numerator.checked_mul(b.numerator)?,
            a.denominator.checked_mul(b.denominator)?,
        )
    }
}

impl fmt::Display for Ratio {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.denominator == 1 {
            write!(f, "{}", self.numerator)
        } else {
            write!(f, "{}/{}", self.numerator, self.denominator)
        }
    }
}

/// What does not balance: an element or the charge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Conserved {
    /// Atoms of an element.
    Element(Element),
    /// The sum of charges.
    Charge,
}

/// One side against the other for one conserved thing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Imbalance {
    /// What is counted.
    pub of: Conserved,
    /// Sum on the left side.
    pub left: i128,
    /// Sum on the right side.
    pub right: i128,
}

impl fmt::Display for Imbalance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.of {
            Conserved::Element(e) => write!(
                f,
                "{} ({e}) {} left, {} right",
                e.name(),
                self.left,
                self.right
            ),
            Conserved::Charge => write!(f, "charge {:+} left, {:+} right", self.left, self.right),
        }
    }
}

/// Why a reaction cannot be read, does not balance, or does not answer.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum ReactionError {
    /// Longer than [`LONGEST_REACTION`].
    #[error("{length} characters; a reaction has at most {LONGEST_REACTION}")]
    TooLong {
        /// Characters given.
        length: usize,
    },
    /// No arrow.
    #[error("no arrow in the reaction; write reactants -> products")]
    NoArrow,
    /// More than one arrow.
    #[error("a second arrow at character {at}; a reaction has one")]
    SecondArrow {
        /// Position of the second arrow.
        at: usize,
    },
    /// Nothing before or after the arrow, or between two plus signs.
    #[error("character {at}: a species is missing, expected something like 2 H2O")]
    MissingSpecies {
        /// Position.
        at: usize,
    },
    /// Two formulas without a plus between them.
    #[error(
        "character {at}: `{text}` is more than one formula; put a plus with a space on each side between two species"
    )]
    NoPlus {
        /// Position.
        at: usize,
        /// The text between two plus signs.
        text: String,
    },
    /// A stoichiometric number that is 0, not whole, or too large.
    #[error(
        "character {at}: a stoichiometric number is whole, from 1 to 1000000; multiply the reaction to avoid fractions"
    )]
    Number {
        /// Position.
        at: usize,
    },
    /// A formula that cannot be read.
    #[error("species at character {at}: {problem}")]
    Formula {
        /// Position of the species.
        at: usize,
        /// What is wrong; its positions count from the start of the species.
        #[source]
        problem: FormulaError,
    },
    /// More than [`MOST_SPECIES`].
    #[error("{0} species; a reaction has at most {MOST_SPECIES}")]
    TooManySpecies(usize),
    /// Elements or charge differ between the sides.
    #[error("not balanced: {}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
    Unbalanced(Vec<Imbalance>),
    /// An element stands on one side only, so no numbers can balance it.
    #[error("impossible: {} occurs on one side only", named(.0))]
    OneSided(Element),
    /// No set of numbers balances it.
    #[error("impossible: no stoichiometric numbers balance every element and the charge")]
    Impossible,
    /// It balances only with a species moved to the other side or left out.
    #[error("impossible as written: {species} would have to {}", place(.absent))]
    WrongSide {
        /// The species.
        species: String,
        /// Whether its number comes out as 0.
        absent: bool,
    },
    /// More than one independent reaction is hidden in it.
    #[error(
        "not determined: {independent} independent reactions can be made from these species, so no single set of numbers is right; leave out a species or write the numbers"
    )]
    Underdetermined {
        /// Number of independent reactions.
        independent: usize,
    },
    /// The same species is written on both sides.
    #[error("{0} stands on both sides; write it once")]
    OnBothSides(String),
    /// The numbers of the balanced reaction do not fit.
    #[error("the stoichiometric numbers become too large to be a real reaction")]
    TooLarge,
    /// A species asked for is not in the reaction.
    #[error("{asked} does not take part in the reaction {reaction}; there are {}", .species.join(", "))]
    NotInReaction {
        /// The species asked for.
        asked: String,
        /// The reaction.
        reaction: String,
        /// The species there are.
        species: Vec<String>,
    },
}

fn named(element: &Element) -> String {
    format!("{} ({element})", element.name())
}

fn place(absent: &bool) -> &'static str {
    if *absent {
        "be left out"
    } else {
        "stand on the other side"
    }
}

impl Reaction {
    /// Reads a reaction; it need not be balanced.
    ///
    /// # Errors
    /// [`ReactionError`] with what is wrong and where.
    ///
    /// # Example
    /// ```
    /// use chemistry::{formula::Formula, reaction::Reaction};
    /// let reaction = Reaction::parse("MnO4- + C2O4^2- + H+ -> Mn^2+ + CO2 + H2O")?.balanced()?;
    /// assert_eq!(reaction.to_string(), "2 MnO4^- + 5 C2O4^2- + 16 H^+ -> 2 Mn^2+ + 10 CO2 + 8 H2O");
    /// let [oxalate, permanganate] = ["C2O4^2-", "MnO4-"].map(|f| Formula::parse(f).unwrap());
    /// assert_eq!(reaction.ratio(&oxalate, &permanganate)?.to_string(), "5/2");
    /// # Ok::<(), chemistry::reaction::ReactionError>(())
    /// ```
    pub fn parse(text: &str) -> Result<Self, ReactionError> {
        parse::reaction(text)
    }

    /// Species left of the arrow.
    pub fn reactants(&self) -> &[Term] {
        &self.reactants
    }

    /// Species right of the arrow.
    pub fn products(&self) -> &[Term] {
        &self.products
    }

    /// Checks that every element and the charge have the same sum on both sides.
    ///
    /// # Errors
    /// [`ReactionError::Unbalanced`] with every element (and the charge) that differs, and both sums.
    pub fn check_balance(&self) -> Result<(), ReactionError> {
        let elements: BTreeSet<_> = self
            .terms()
            .flat_map(|t| t.formula.composition().elements())
            .collect();
        let conserved = elements
            .into_iter()
            .map(Conserved::Element)
            .chain([Conserved::Charge]);
        let unequal: Vec<_> = conserved
            .map(|of| {
                let sum = |side: &[Term]| {
                    side.iter()
                        .map(|t| i128::from(t.number) * of.amount(&t.formula))
                        .sum()
                };
                Imbalance {
                    of,
                    left: sum(&self.reactants),
                    right: sum(&self.products),
                }
            })
            .filter(|i| i.left != i.right)
            .collect();
        if unequal.is_empty() {
            Ok(())
        } else {
            Err(ReactionError::Unbalanced(unequal))
        }
    }

    /// The reaction with the smallest whole numbers that balance it; the numbers written are ignored.
    ///
    /// # Errors
    /// [`ReactionError`] if no numbers, or more than one independent set of numbers, balance it, or if a species
    /// would have to change sides.
    pub fn balanced(&self) -> Result<Self, ReactionError> {
        balance::balanced(self)
    }

    /// n(a)/n(b): amount of `a` that reacts, or forms, for the amount of `b`.
    ///
    /// Species are found by atoms and charge, so `C8H5KO4` finds `KHC8H4O4`.
    ///
    /// # Errors
    /// [`ReactionError::Unbalanced`]; [`ReactionError::NotInReaction`]; [`ReactionError::OnBothSides`] if one of them is made as well as used.
    pub fn ratio(&self, a: &Formula, b: &Formula) -> Result<Ratio, ReactionError> {
        self.check_balance()?;
        let (n_a, n_b) = (self.number_of(a)?, self.number_of(b)?);
        Ratio::new(n_a, n_b).ok_or(ReactionError::TooLarge)
    }

    /// Whether the species takes part, by atoms and charge.
    pub fn has(&self, species: &Formula) -> bool {
        self.terms().any(|t| t.formula.is_same_species(species))
    }

    fn number_of(&self, species: &Formula) -> Result<u64, ReactionError> {
        let sum = |side: &[Term]| -> u64 {
            side.iter()
                .filter(|t| t.formula.is_same_species(species))
                .map(|t| t.number)
                .sum()
        };
        match (sum(&self.reactants), sum(&self.products)) {
            (0, 0) => Err(ReactionError::NotInReaction {
                asked: species.to_string(),
                reaction: self.to_string(),
                species: self.terms().map(|t| t.formula.to_string()).collect(),
            }),
            (n, 0) | (0, n) => Ok(n),
            _ => Err(ReactionError::OnBothSides(species.to_string())),
        }
    }

    fn terms(&self) -> impl Iterator<Item = &Term> {
        self.reactants.iter().chain(&self.products)
    }

    /// The reaction with subscripts, superscripts and an arrow: `Ag⁺ + Cl⁻ → AgCl`.
    pub fn pretty(&self) -> String {
        self.write(" → ", Formula::pretty)
    }

    fn write(&self, arrow: &str, species: impl Fn(&Formula) -> String) -> String {
        let term = |t: &Term| match t.number {
            1 => species(&t.formula),
            n => format!("{n} {}", species(&t.formula)),
        };
        let side = |terms: &[Term]| terms.iter().map(term).collect::<Vec<_>>().join(" + ");
        format!("{}{arrow}{}", side(&self.reactants), side(&self.products))
    }
}

impl Conserved {
    /// Atoms of the element, or charge, of one formula unit.
    fn amount(self, formula: &Formula) -> i128 {
        match self {
            Self::Element(element) => formula.composition().count(element).into(),
            Self::Charge => formula.charge().into(),
        }
    }
}

impl fmt::Display for Reaction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.write(" -> ", Formula::to_string))
    }
}

impl FromStr for Reaction {
    type Err = ReactionError;

    fn from_str(s: &str) -> Result<Self, Self::Err> {
        Self::parse(s)
    }
}

impl TryFrom<String> for Reaction {
    type Error = ReactionError;

    fn try_from(s: String) -> Result<Self, Self::Error> {
        Self::parse(&s)
    }
}

impl From<Reaction> for String {
    fn from(reaction: Reaction) -> Self {
        reaction.to_string()
    }
}

#[cfg(test)]
mod tests;
