//! Primary standards and titrants, and which reacts with which.
//!
//! The data are in `reference/substances/`, one file a family; they are validated when read: names unique, formulas
//! readable, every reaction balanced. Marks there say which facts were seen in a source and which are from memory.
//!
//! # Safety
//! Hazard statements are a short reminder by GHS code. The safety data sheet of the bottle, local rules and licensed
//! practice decide how a substance is handled.

mod load;
mod near;

use std::collections::{HashMap, HashSet};
use std::fmt;
use std::sync::LazyLock;

use serde::Deserialize;
use thiserror::Error;

use crate::formula::Formula;
use crate::reaction::{Ratio, Reaction, ReactionError};

/// A primary standard, a titrant or a reagent.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Substance {
    /// Name in words.
    pub name: String,
    /// Other names it is found by.
    pub synonyms: Vec<String>,
    /// Names that leave open which hydrate is meant.
    #[serde(default)]
    pub unclear: Vec<String>,
    /// What is weighed or counted, with its water of crystallization.
    pub formula: Formula,
    /// Not found by its formula, since another substance has the same.
    #[serde(default)]
    pub by_name_only: bool,
    /// What it serves as.
    pub kinds: Vec<Kind>,
    /// Reactions that give the species it acts as.
    #[serde(default)]
    pub dissolves: Vec<Reaction>,
    /// Other hydrates and forms mistaken for it.
    #[serde(default)]
    pub relatives: Vec<Relative>,
    /// Density for the correction of air buoyancy.
    #[serde(default)]
    pub density: Option<Density>,
    /// How it is dried before weighing.
    #[serde(default)]
    pub drying: Option<Note>,
    /// Water and carbon dioxide taken up, storage.
    #[serde(default)]
    pub keeping: Option<Note>,
    /// GHS hazard statements by code, from memory.
    #[serde(default)]
    pub hazard: Vec<String>,
}

/// What a substance serves as.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
pub enum Kind {
    /// Weighed out; its purity gives the amount.
    #[serde(rename = "primary standard")]
    PrimaryStandard,
    /// In solution in the burette; standardized.
    #[serde(rename = "titrant")]
    Titrant,
    /// Used in other ways.
    #[serde(rename = "reagent")]
    Reagent,
}

/// A form of a substance that is mistaken for it.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Relative {
    /// Name in words.
    pub name: String,
    /// Its formula.
    pub formula: Formula,
}

/// Density with an allowance, kg/m3.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Density {
    /// Value, kg/m3.
    pub value: f64,
    /// Half-width of the allowance, kg/m3 (common practice).
    pub half_width: f64,
    /// Whether it was seen in a source.
    pub mark: Mark,
}

/// A short statement with its origin.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Note {
    /// The statement.
    pub text: String,
    /// Whether it was seen in a source.
    pub mark: Mark,
    /// The source, for statements that were seen in one.
    #[serde(default)]
    pub source: Option<String>,
}

/// Whether a fact was seen in its source.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
pub enum Mark {
    /// Seen in the source named.
    #[serde(rename = "V")]
    Verified,
    /// From memory.
    #[serde(rename = "M")]
    FromMemory,
}

/// Which substances react with which, and how.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Titration {
    /// Names of the substances that may be the known one.
    pub standards: Vec<String>,
    /// Names of the substances titrated against them.
    pub titrants: Vec<String>,
    /// Species of the reaction that stands for the standard.
    pub standard_acts_as: Formula,
    /// Species of the reaction that stands for the titrant.
    pub titrant_acts_as: Formula,
    /// Balanced net reaction.
    pub reaction: Reaction,
    /// Reactions in a row that the net reaction is the sum of.
    #[serde(default)]
    pub steps: Vec<Reaction>,
    /// Usual indicator and conditions (common practice).
    pub end_point: String,
}

/// The reaction between two substances and what it says about their amounts.
#[derive(Clone, Debug, PartialEq)]
pub struct Stoichiometry<'a> {
    /// The reaction and its conditions.
    pub titration: &'a Titration,
    /// n(first)/n(second) of formula units at the equivalence point.
    pub ratio: Ratio,
}

/// A set of substances and titrations.
#[derive(Clone, Debug, PartialEq)]
pub struct Catalogue {
    substances: Vec<Substance>,
    titrations: Vec<Titration>,
    /// Place of each substance by the keys of its names.
    by_name: HashMap<String, usize>,
    /// Keys of the names that leave something open.
    unclear: HashSet<String>,
}

/// Why a substance or a reaction is not found.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum SubstanceError {
    /// No substance has this name, synonym or formula.
    #[error("no substance `{asked}` in the catalogue{}", near_names(.near))]
    Unknown {
        /// What was asked for, cut if long.
        asked: String,
        /// Names that are written alike.
        near: Vec<String>,
    },
    /// The name does not say which hydrate is meant.
    #[error("`{asked}` does not say which hydrate is meant; write one of: {}", .choices.join("; "))]
    Unclear {
        /// What was asked for.
        asked: String,
        /// Name and formula of each choice.
        choices: Vec<String>,
    },
    /// No titration of the catalogue joins the two.
    #[error("no reaction between {first} and {second} in the catalogue{}", reacts_with(.first, .partners))]
    NoReaction {
        /// First substance.
        first: String,
        /// Second substance.
        second: String,
        /// What the first one is titrated with or against.
        partners: Vec<String>,
    },
    /// A reaction of the data does not balance or does not hold the species.
    #[error("{what}: {problem}")]
    Reaction {
        /// The substance or titration.
        what: String,
        /// What is wrong.
        #[source]
        problem: ReactionError,
    },
    /// The data file is not of the form expected.
    #[error("substances: {0}")]
    Format(String),
}

fn near_names(near: &[String]) -> String {
    if near.is_empty() {
        String::new()
    } else {
        format!("; did you mean {}?", near.join(", "))
    }
}

fn reacts_with(first: &str, partners: &[String]) -> String {
    if partners.is_empty() {
        String::new()
    } else {
        format!("; {first} reacts there with {}", partners.join(", "))
    }
}

impl Catalogue {
    /// The embedded catalogue.
    pub fn embedded() -> &'static Self {
        static EMBEDDED: LazyLock<Catalogue> = LazyLock::new(|| {
            Catalogue::from_toml(&[
                include_str!("../../../reference/substances/acids-and-bases.toml"),
                include_str!("../../../reference/substances/redox.toml"),
                include_str!("../../../reference/substances/precipitation.toml"),
                include_str!("../../../reference/substances/complexation.toml"),
                include_str!("../../../reference/substances/karl-fischer.toml"),
            ])
            .expect("embedded substances are valid, as their test shows")
        });
        &EMBEDDED
    }

    /// Reads and validates data files that together make one catalogue.
    ///
    /// # Errors
    /// [`SubstanceError::Format`] for a broken file or a name used twice; [`SubstanceError::Reaction`] for a reaction
    /// that does not balance or does not hold the species it should.
    pub fn from_toml(files: &[&str]) -> Result<Self, SubstanceError> {
        load::catalogue(files)
    }

    /// All substances, in the order of the files.
    pub fn substances(&self) -> &[Substance] {
        &self.substances
    }

    /// All titrations, in the order of the files.
    pub fn titrations(&self) -> &[Titration] {
        &self.titrations
    }

    /// The substance with this name, synonym or formula; upper and lower case, spaces and signs do not matter.
    ///
    /// # Errors
    /// [`SubstanceError::Unclear`] for a name that leaves the hydrate open; [`SubstanceError::Unknown`] with names
    /// written alike.
    ///
    /// # Example
    /// ```
    /// use chemistry::substances::Catalogue;
    /// let catalogue = Catalogue::embedded();
    /// assert_eq!(catalogue.find("KHP").unwrap().name, "potassium hydrogen phthalate");
    /// assert_eq!(catalogue.find("C8H5KO4").unwrap().name, "potassium hydrogen phthalate");
    /// assert!(catalogue.find("potasium iodate").unwrap_err().to_string().contains("potassium iodate"));
    /// ```
    pub fn find(&self, query: &str) -> Result<&Substance, SubstanceError> {
        let asked: String = query.trim().chars().take(80).collect();
        let key = near::key(query);
        if let Some(found) = self.by_name.get(&key) {
            return Ok(&self.substances[*found]);
        }
        let is_unclear = self.unclear.contains(&key);
        let unclear = self
            .substances
            .iter()
            .filter(|s| is_unclear && s.unclear.iter().any(|n| near::key(n) == key));
        let mut choices: Vec<_> = unclear
            .flat_map(|s| {
                let own = format!("{} ({})", s.name, s.formula);
                std::iter::once(own).chain(
                    s.relatives
                        .iter()
                        .map(|r| format!("{} ({})", r.name, r.formula)),
                )
            })
            .collect();
        if !choices.is_empty() && !key.is_empty() {
            choices.sort();
            choices.dedup();
            return Err(SubstanceError::Unclear { asked, choices });
        }
        let by_formula = || self.substances.iter().filter(|s| !s.by_name_only);
        let exact = Formula::parse(query)
            .ok()
            .and_then(|formula| by_formula().find(|s| s.formula.is_same_species(&formula)));
        exact
            .or_else(|| {
                by_formula().find(|s| !key.is_empty() && near::key(&s.formula.to_string()) == key)
            })
            .ok_or_else(|| SubstanceError::Unknown {
                asked,
                near: near::names(&self.substances, &key),
            })
    }

    /// The reaction between two substances, whichever of them is the standard, with n(first)/n(second).
    ///
    /// # Errors
    /// [`SubstanceError::NoReaction`], naming what the first one does react with in the catalogue.
    ///
    /// # Example
    /// ```
    /// use chemistry::substances::Catalogue;
    /// let catalogue = Catalogue::embedded();
    /// let [iodate, thiosulfate] = ["KIO3", "sodium thiosulfate"].map(|name| catalogue.find(name).unwrap());
    /// assert_eq!(catalogue.stoichiometry(thiosulfate, iodate).unwrap().ratio.to_string(), "6");
    /// ```
    pub fn stoichiometry(
        &self,
        first: &Substance,
        second: &Substance,
    ) -> Result<Stoichiometry<'_>, SubstanceError> {
        let has = |names: &[String], s: &Substance| names.contains(&s.name);
        for titration in &self.titrations {
            let Titration {
                standards,
                titrants,
                ..
            } = titration;
            if has(standards, first) && has(titrants, second) {
                return Ok(Stoichiometry {
                    titration,
                    ratio: titration.titrant_per_standard(first, second)?.inverse(),
                });
            }
            if has(standards, second) && has(titrants, first) {
                return Ok(Stoichiometry {
                    titration,
                    ratio: titration.titrant_per_standard(second, first)?,
                });
            }
        }
        let partners = self.titrations.iter().flat_map(|t| {
            let with = |yes: bool, names: &[String]| if yes { names.to_vec() } else { Vec::new() };
            [
                with(has(&t.standards, first), &t.titrants),
                with(has(&t.titrants, first), &t.standards),
            ]
            .concat()
        });
        let (first, second) = (first.name.clone(), second.name.clone());
        Err(SubstanceError::NoReaction {
            first,
            second,
            partners: partners.collect(),
        })
    }
}

impl Substance {
    /// Name and synonyms.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        std::iter::once(self.name.as_str()).chain(self.synonyms.iter().map(String::as_str))
    }

    /// Whether it serves as this.
    pub fn is(&self, kind: Kind) -> bool {
        self.kinds.contains(&kind)
    }

    /// Amount of `species` that one formula unit gives, as 2 for H+ of H2SO4.
    ///
    /// # Errors
    /// [`SubstanceError::Reaction`] if neither the substance itself nor a reaction of it is that species.
    pub fn delivers(&self, species: &Formula) -> Result<Ratio, SubstanceError> {
        if self.formula.is_same_species(species) {
            return Ok(Ratio {
                numerator: 1,
                denominator: 1,
            });
        }
        let gives = |r: &&Reaction| {
            r.products()
                .iter()
                .any(|t| t.formula.is_same_species(species))
        };
        let in_error = |problem| SubstanceError::Reaction {
            what: self.name.clone(),
            problem,
        };
        match self.dissolves.iter().find(gives) {
            Some(reaction) => reaction.ratio(species, &self.formula).map_err(in_error),
            None => Err(in_error(ReactionError::NotInReaction {
                asked: species.to_string(),
                reaction: self
                    .dissolves
                    .iter()
                    .map(ToString::to_string)
                    .collect::<Vec<_>>()
                    .join("; "),
                species: vec![self.formula.to_string()],
            })),
        }
    }
}

impl Titration {
    /// n(titrant)/n(standard) of formula units.
    fn titrant_per_standard(
        &self,
        standard: &Substance,
        titrant: &Substance,
    ) -> Result<Ratio, SubstanceError> {
        let in_error = |problem| SubstanceError::Reaction {
            what: self.reaction.to_string(),
            problem,
        };
        let species = self
            .reaction
            .ratio(&self.titrant_acts_as, &self.standard_acts_as)
            .map_err(in_error)?;
        let delivered = standard.delivers(&self.standard_acts_as)?;
        let needed = titrant.delivers(&self.titrant_acts_as)?.inverse();
        let ratio = species.times(delivered).and_then(|r| r.times(needed));
        ratio.ok_or_else(|| in_error(ReactionError::TooLarge))
    }
}

impl fmt::Display for Substance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ({})", self.name, self.formula)
    }
}

#[cfg(test)]
mod tests;
