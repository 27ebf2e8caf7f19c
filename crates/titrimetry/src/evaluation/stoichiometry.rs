//! How much of the sought substance reacts with how much of the known one.

use crate::sheet::{Sheet, SheetError};
use chemistry::formula::Formula;
use chemistry::reaction::{Ratio, Reaction};
use chemistry::substances::{Catalogue, Substance};
use metrology::Expr;

/// The reaction and the exact ratio of amounts.
pub(crate) struct Stoichiometry {
    /// The reaction, balanced, as text.
    pub(crate) reaction: String,
    /// n(sought)/n(known).
    pub(crate) ratio: Ratio,
}

impl Stoichiometry {
    /// From the sheet's own reaction, or from the catalogue's.
    pub(crate) fn of(sheet: &Sheet) -> Result<Self, SheetError> {
        let sought = species(&sheet.sought.substance, "sought.substance")?;
        let known = species(&sheet.known.substance, "known.substance")?;
        match &sheet.reaction {
            Some(text) => Self::written(text, &sought, &known),
            None => Self::of_catalogue(&sought, &known),
        }
    }

    fn written(text: &str, sought: &Species, known: &Species) -> Result<Self, SheetError> {
        let fail = |error: chemistry::reaction::ReactionError| {
            SheetError::entry("reaction", error.to_string())
        };
        let reaction = Reaction::parse(text).map_err(fail)?;
        reaction.check_balance().map_err(fail)?;
        // A hydrate is weighed, its content reacts: either formula may stand in the reaction.
        let find = |species: &Species| {
            let found = species
                .formulas
                .iter()
                .find(|formula| reaction.has(formula));
            found
                .cloned()
                .unwrap_or_else(|| species.formulas[0].clone())
        };
        let ratio = reaction.ratio(&find(sought), &find(known)).map_err(fail)?;
        Ok(Self {
            reaction: reaction.pretty(),
            ratio,
        })
    }

    fn of_catalogue(sought: &Species, known: &Species) -> Result<Self, SheetError> {
        let (Some(first), Some(second)) = (sought.record, known.record) else {
            let (name, path) = if sought.record.is_none() {
                (&sought.name, "sought.substance")
            } else {
                (&known.name, "known.substance")
            };
            return Err(SheetError::entry(
                path,
                format!(
                    "\"{name}\" is not in the catalogue, so its reaction is not known: write it, such as reaction = \"NaOH + HCl -> NaCl + H2O\""
                ),
            ));
        };
        let found = Catalogue::embedded()
            .stoichiometry(first, second)
            .map_err(|error| {
                SheetError::entry(
                    "known.substance",
                    format!("{error}; if they do react, write the reaction on the sheet"),
                )
            })?;
        Ok(Self {
            reaction: found.titration.reaction.pretty(),
            ratio: found.ratio,
        })
    }

    /// The ratio as a constant of the formula; none if it is 1.
    pub(super) fn ratio_expr(&self) -> Option<Expr> {
        let number = |n: u64| Expr::number(n as f64);
        match (self.ratio.numerator, self.ratio.denominator) {
            (1, 1) => None,
            (n, 1) => Some(number(n)),
            (n, d) => Some(number(n) / number(d)),
        }
    }
}

/// A substance of a sheet: of the catalogue, or a bare formula.
pub(crate) struct Species {
    pub(crate) name: String,
    /// The catalogue's record.
    pub(crate) record: Option<&'static Substance>,
    /// The formula weighed first, then forms that a reaction may name.
    pub(crate) formulas: Vec<Formula>,
}

/// Looks a substance up by name or formula.
pub(crate) fn species(text: &str, path: &str) -> Result<Species, SheetError> {
    let error = match Catalogue::embedded().find(text) {
        Ok(record) => {
            let mut formulas = vec![record.formula.clone()];
            formulas.extend(Formula::parse(text));
            formulas.extend(
                record
                    .dissolves
                    .iter()
                    .flat_map(|r| r.products().iter().map(|t| t.formula.clone())),
            );
            return Ok(Species {
                name: text.to_string(),
                record: Some(record),
                formulas,
            });
        }
        Err(error) => error,
    };
    // Something that reads as a formula is one; a name that is written almost like a known one is a slip.
    match Formula::parse(text) {
        Ok(formula) => Ok(Species {
            name: text.to_string(),
            record: None,
            formulas: vec![formula],
        }),
        Err(_) => Err(SheetError::entry(
            path,
            format!("{error}; write a name of the catalogue or a formula such as KHC8H4O4"),
        )),
    }
}
