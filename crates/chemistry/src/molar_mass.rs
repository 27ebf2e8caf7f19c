//! Molar mass from a composition and a named set of atomic weights, in g/mol.
//!
//! M = sum over the elements of n(E) M(E), with M(E) = A_r(E) g/mol (the molar mass constant departs from 1 g/mol by
//! parts in 10^10). All atoms of an element share one input, so the uncertainty of its atomic weight counts n-fold.
//! The mass of the electrons that an ion lacks or has too many (0.0005 g/mol each) is left out, as the trade does.

use std::sync::Arc;

use metrology::{Distribution, Expr, Input, Origin, Quantity, Unit};
use thiserror::Error;

use crate::atomic_weights::{AtomicWeight, AtomicWeightError, AtomicWeights};
use crate::elements::Element;
use crate::formula::Formula;

/// Molar mass of one formula unit, with the set of atomic weights it rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct MolarMass {
    formula: Formula,
    set: String,
    source: String,
    terms: Vec<ElementMass>,
}

/// What one element contributes to a molar mass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ElementMass {
    /// The element.
    pub element: Element,
    /// Its atoms in one formula unit.
    pub count: u64,
    /// Its atomic weight in the set used.
    pub weight: AtomicWeight,
}

impl ElementMass {
    /// n(E) M(E) in g/mol.
    pub fn mass(&self) -> f64 {
        self.count as f64 * self.weight.value
    }

    /// n(E) u(M(E)) in g/mol.
    pub fn standard_uncertainty(&self) -> f64 {
        self.count as f64 * self.weight.standard_uncertainty()
    }
}

/// Why there is no molar mass.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum MolarMassError {
    /// The electron has no atoms to weigh.
    #[error("{0} has no atoms and so no molar mass here")]
    NoAtoms(String),
    /// An element without atomic weight.
    #[error("molar mass of {formula}: {problem}")]
    Weight {
        /// The formula.
        formula: String,
        /// Which element, in which set.
        #[source]
        problem: AtomicWeightError,
    },
}

impl MolarMass {
    /// The molar mass of a formula by a set of atomic weights.
    ///
    /// # Errors
    /// [`MolarMassError`] for the electron and for elements without an atomic weight in the set.
    ///
    /// # Example
    /// ```
    /// use chemistry::{atomic_weights::AtomicWeights, formula::Formula, molar_mass::MolarMass};
    /// let phthalate = Formula::parse("KHC8H4O4").unwrap();
    /// let m = MolarMass::of(&phthalate, AtomicWeights::default_set()).unwrap();
    /// assert_eq!(format!("{:.4} +- {:.4} g/mol", m.value(), m.standard_uncertainty()), "204.2223 +- 0.0095 g/mol");
    /// ```
    pub fn of(formula: &Formula, weights: &AtomicWeights) -> Result<Self, MolarMassError> {
        if formula.composition().is_empty() {
            return Err(MolarMassError::NoAtoms(formula.to_string()));
        }
        let term = |(element, count)| {
            Ok(ElementMass {
                element,
                count,
                weight: weights.get(element)?,
            })
        };
        let terms = formula
            .composition()
            .iter()
            .map(term)
            .collect::<Result<_, _>>();
        let terms = terms.map_err(|problem| MolarMassError::Weight {
            formula: formula.to_string(),
            problem,
        })?;
        let (set, source) = (weights.name().to_owned(), weights.source().to_owned());
        Ok(Self {
            formula: formula.clone(),
            set,
            source,
            terms,
        })
    }

    /// Value in g/mol.
    pub fn value(&self) -> f64 {
        self.terms.iter().map(ElementMass::mass).sum()
    }

    /// Standard uncertainty in g/mol.
    pub fn standard_uncertainty(&self) -> f64 {
        self.terms
            .iter()
            .map(|t| t.standard_uncertainty().powi(2))
            .sum::<f64>()
            .sqrt()
    }

    /// Name of the set of atomic weights.
    pub fn set(&self) -> &str {
        &self.set
    }

    /// The formula weighed.
    pub fn formula(&self) -> &Formula {
        &self.formula
    }

    /// What each element contributes, by atomic number.
    pub fn terms(&self) -> &[ElementMass] {
        &self.terms
    }

    /// Mass fraction of an element, 0 if absent.
    pub fn mass_fraction(&self, element: Element) -> f64 {
        self.terms
            .iter()
            .find(|t| t.element == element)
            .map_or(0.0, |t| t.mass() / self.value())
    }

    /// The molar mass as a formula over the atomic weights, in g/mol, named `M(...)`.
    ///
    /// The input of an element carries the same id in every molar mass by the same set, so two molar masses in one
    /// result are correlated as they should be.
    pub fn expr(&self) -> Expr {
        let gram_per_mole: Unit = "g/mol".parse().expect("g/mol is a unit");
        let input = |term: &ElementMass| {
            let AtomicWeight {
                value,
                half_width,
                decimals,
            } = term.weight;
            let symbol = term.element.symbol();
            let input = Input::new(
                format!("atomic weight/{}/{symbol}", self.set),
                format!("M({symbol})"),
                Quantity::new(value, gram_per_mole.clone()),
            );
            let input = input
                .described(format!("molar mass of {}", term.element.name()))
                .written(format!("{value:.decimals$}"))
                .distributed(Distribution::Rectangular { half_width })
                .from_origin(Origin::Table(format!("{}: {}", self.set, self.source)))
                .grouped("atomic weights");
            let mass = Expr::shared_input(Arc::new(input));
            if term.count == 1 {
                mass
            } else {
                Expr::number(term.count as f64) * mass
            }
        };
        Expr::sum(self.terms.iter().map(input))
            .named(
                format!("M({})", self.formula.pretty()),
                format!("molar mass, atomic weights {}", self.set),
            )
            .in_unit(gram_per_mole)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use metrology::{Formula as Graph, propagate};

    fn molar_mass(formula: &str, set: &str) -> MolarMass {
        MolarMass::of(
            &Formula::parse(formula).unwrap(),
            AtomicWeights::named(set).unwrap(),
        )
        .unwrap()
    }

    #[test]
    fn graph_and_sum_agree() {
        for formula in ["KHC8H4O4", "Na2S2O3.5H2O", "Zn", "Fe(NH4)2(SO4)2.6H2O"] {
            let m = molar_mass(formula, "CIAAW 2021");
            let budget = propagate(&Graph::build(&m.expr()).unwrap());
            assert!((budget.value / m.value() - 1.0).abs() < 1e-14, "{formula}");
            assert!(
                (budget.standard_uncertainty / m.standard_uncertainty() - 1.0).abs() < 1e-12,
                "{formula}"
            );
            assert_eq!(budget.lines.len(), m.terms().len());
            assert_eq!(budget.unit.symbol(), "g/mol");
        }
    }

    #[test]
    fn one_element_is_one_input_in_two_molar_masses() {
        // The ratio of KHP to itself in another writing is exactly known, since every atomic weight cancels.
        let one = molar_mass("KHC8H4O4", "CIAAW 2021").expr();
        let other = molar_mass("C8H5KO4", "CIAAW 2021").expr();
        let budget = propagate(&Graph::build(&(one / other)).unwrap());
        assert!(budget.standard_uncertainty < 1e-15);
        assert!((budget.value - 1.0).abs() < 1e-15);
    }

    #[test]
    fn the_written_value_keeps_its_decimals() {
        let graph = Graph::build(&molar_mass("H2O", "CIAAW 2021").expr()).unwrap();
        assert_eq!(graph.inputs()[0].written.as_deref(), Some("1.0080"));
        assert!(
            graph.inputs()[0]
                .origin
                .describe()
                .contains("CIAAW 2021, intervals abridged")
        );
    }

    #[test]
    fn mass_fraction_of_water_in_tartrate() {
        // 2 H2O in disodium tartrate dihydrate: 0.1566 (computed from the formula, as Karl Fischer work states it).
        let tartrate = molar_mass("Na2C4H4O6.2H2O", "CIAAW 2021");
        let water = molar_mass("H2O", "CIAAW 2021");
        assert!((2.0 * water.value() / tartrate.value() - 0.1566).abs() < 0.00005);
    }

    #[test]
    fn what_has_no_molar_mass() {
        let of = |text: &str, set| {
            MolarMass::of(
                &Formula::parse(text).unwrap(),
                AtomicWeights::named(set).unwrap(),
            )
        };
        let message = |text, set| of(text, set).unwrap_err().to_string();
        assert_eq!(
            message("e-", "CIAAW 2021"),
            "e^- has no atoms and so no molar mass here"
        );
        assert!(
            message("NaTcO4", "CIAAW 2021")
                .contains("technetium (Tc) has no standard atomic weight")
        );
        assert!(message("NaCl", "EURACHEM/CITAC A2").contains("in the set `EURACHEM/CITAC A2`"));
    }
}
