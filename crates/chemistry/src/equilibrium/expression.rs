//! Every species written in terms of components: an acid by its bare form and protons, a complex by its parts, an oxidized
//! form by its reduced form and electrons.

use std::cell::RefCell;
use std::collections::BTreeMap;

use crate::activity::ActivityModel;
use crate::constant_set::{Conditions, ConstantSet};
use crate::couples::nernst_slope_v;
use crate::equilibrium_constant::EquilibriumConstant;
use crate::equilibrium_error::{EquilibriumError, nearest_names};

const LN_10: f64 = std::f64::consts::LN_10;

/// `ln a = ln_k + sum n ln a(component)`.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Expression {
    pub(crate) ln_k: f64,
    pub(crate) terms: BTreeMap<String, f64>,
}

impl Expression {
    pub(crate) fn component(label: &str) -> Self {
        Self {
            ln_k: 0.0,
            terms: BTreeMap::from([(label.to_owned(), 1.0)]),
        }
    }

    fn add(&mut self, other: &Self, number: f64) {
        self.ln_k += number * other.ln_k;
        for (component, n) in &other.terms {
            let sum = self.terms.entry(component.clone()).or_default();
            *sum += number * n;
            if sum.abs() < 1e-12 {
                self.terms.remove(component);
            }
        }
    }

    /// The one component beside H+ and e-, with its number; `None` if there are several or none.
    pub(crate) fn main(&self) -> Option<(&String, f64)> {
        let mut mains = self
            .terms
            .iter()
            .filter(|(component, _)| !matches!(component.as_str(), "H+" | "e-"));
        match (mains.next(), mains.next()) {
            (Some((component, number)), None) => Some((component, *number)),
            _ => None,
        }
    }

    /// Puts `by` in the place of `component`.
    pub(crate) fn substitute(&mut self, component: &str, by: &Self) {
        if let Some(number) = self.terms.remove(component) {
            self.add(by, number);
        }
    }

    /// `component` written with the species `label`, of which `self` is the expression.
    pub(crate) fn solved_for(&self, component: &str, label: &str) -> Self {
        let share = self.terms[component];
        let mut rest = self.clone();
        rest.terms.remove(component);
        let mut solved = Self::default();
        solved.add_component(label, 1.0 / share);
        solved.add(&rest, -1.0 / share);
        solved
    }

    fn add_component(&mut self, label: &str, number: f64) {
        self.add(&Self::component(label), number);
    }
}

/// The expressions under given conditions.
#[derive(Debug)]
pub(crate) struct Expressions<'a> {
    constants: &'a ConstantSet,
    temperature_c: f64,
    ln_kw: f64,
    /// Components that a redox couple has replaced.
    replaced: BTreeMap<String, Expression>,
    /// Oxidized forms of the couples at work.
    oxidized: Vec<String>,
    /// A formal potential in use: couple and medium.
    formal: Option<(String, String)>,
    /// Ionic strengths of constants in use, by what they belong to.
    strengths: RefCell<Vec<(String, f64)>>,
}

impl<'a> Expressions<'a> {
    pub(crate) fn new(conditions: &'a Conditions) -> Result<Self, EquilibriumError> {
        Ok(Self {
            constants: &conditions.constants,
            temperature_c: conditions.temperature_c,
            ln_kw: -LN_10 * conditions.constants.pkw_at(conditions.temperature_c)?,
            replaced: BTreeMap::new(),
            oxidized: Vec::new(),
            formal: None,
            strengths: RefCell::new(Vec::new()),
        })
    }

    /// The expression of a species.
    pub(crate) fn of(&self, label: &str) -> Result<Expression, EquilibriumError> {
        self.of_depth(label, 0)
    }

    fn of_depth(&self, label: &str, depth: usize) -> Result<Expression, EquilibriumError> {
        if depth > 8 {
            return Err(EquilibriumError::Impossible {
                why: format!("{label} is made of itself in the data files"),
            });
        }
        if label == "OH-" {
            let mut expression = Expression {
                ln_k: self.ln_kw,
                ..Expression::default()
            };
            expression.add_component("H+", -1.0);
            return Ok(expression);
        }
        if let Some((acid, lost)) = self.constants.acid_with_form(label) {
            let bare = &acid.forms[acid.steps.len()].label;
            let mut expression = self.base(bare);
            for step in &acid.steps[lost..] {
                expression.ln_k -= LN_10 * step.log10_at(self.temperature_c);
                expression.add_component("H+", 1.0);
            }
            return Ok(expression);
        }
        if let Some(complex) = self
            .constants
            .complexes()
            .find(|complex| complex.label == label)
        {
            if let Some(replaced) = self.replaced.get(label) {
                return Ok(replaced.clone());
            }
            let mut expression = Expression {
                ln_k: LN_10 * complex.constant.log10_at(self.temperature_c),
                ..Expression::default()
            };
            for (part, number) in &complex.from {
                expression.add(&self.of_depth(part, depth + 1)?, f64::from(*number));
            }
            return Ok(expression);
        }
        Ok(self.base(label))
    }

    /// A component, or what a couple has put in its place.
    fn base(&self, label: &str) -> Expression {
        self.replaced
            .get(label)
            .cloned()
            .unwrap_or_else(|| Expression::component(label))
    }

    /// The sum of expressions of several species.
    pub(crate) fn sum(
        &self,
        species: &BTreeMap<String, i32>,
    ) -> Result<Expression, EquilibriumError> {
        let mut sum = Expression::default();
        for (label, number) in species {
            sum.add(&self.of(label)?, f64::from(*number));
        }
        Ok(sum)
    }

    /// Puts a couple to work: the oxidized side is written with the reduced side, electrons and protons.
    pub(crate) fn add_couple(
        &mut self,
        label: &str,
        medium: Option<&str>,
    ) -> Result<(), EquilibriumError> {
        let Some(couple) = self
            .constants
            .couples()
            .find(|couple| couple.label == label)
        else {
            return Err(EquilibriumError::UnknownSpecies {
                name: label.to_owned(),
                nearest: nearest_names(
                    label,
                    self.constants.couples().map(|couple| couple.label.as_str()),
                ),
                file: "potentials/potentials.toml",
            });
        };
        let Some(volt) = couple.potential_v(medium) else {
            let media = couple.formal.iter().map(|(name, _)| name.as_str());
            return Err(EquilibriumError::UnknownSpecies {
                name: format!(
                    "{label} in {}",
                    medium.unwrap_or("no medium (standard potential)")
                ),
                nearest: nearest_names(medium.unwrap_or(""), media),
                file: "potentials/potentials.toml",
            });
        };
        let ln_k = f64::from(couple.electrons) * volt / nernst_slope_v(self.temperature_c) * LN_10;
        let oxidized = self.of(&couple.oxidized.0)?;
        let Some((main, share)) = oxidized.main() else {
            return Err(EquilibriumError::Impossible {
                why: format!("the oxidized form of {label} has no component of its own"),
            });
        };
        // ln a(main) = [b red - ln K - n e - m H - a (rest of ox)] / (a share)
        let number = f64::from(couple.oxidized.1);
        let mut rest = oxidized.clone();
        rest.terms.remove(main);
        let mut replaced = Expression::default();
        replaced.add(&self.of(&couple.reduced.0)?, f64::from(couple.reduced.1));
        replaced.ln_k -= ln_k;
        replaced.add_component("e-", -f64::from(couple.electrons));
        replaced.add_component("H+", -f64::from(couple.protons));
        replaced.add(&rest, -number);
        let mut scaled = Expression::default();
        scaled.add(&replaced, 1.0 / (number * share));
        if scaled.terms.contains_key(main) {
            return Err(EquilibriumError::Impossible {
                why: format!("the two sides of {label} share a component"),
            });
        }
        self.replaced.insert(main.clone(), scaled);
        self.oxidized.push(couple.oxidized.0.clone());
        if let Some(medium) = medium {
            self.formal = Some((label.to_owned(), medium.to_owned()));
        }
        Ok(())
    }

    /// Labels of all species that could be present.
    pub(crate) fn candidates(&self) -> Vec<String> {
        let forms = self
            .constants
            .acids()
            .flat_map(|acid| acid.forms.iter().map(|form| form.label.clone()));
        let complexes = self
            .constants
            .complexes()
            .map(|complex| complex.label.clone());
        let mut all: Vec<String> = forms
            .chain(complexes)
            .chain(self.oxidized.iter().cloned())
            .collect();
        all.extend(self.replaced.keys().cloned());
        all.push("OH-".to_owned());
        all.sort();
        all.dedup();
        all
    }

    /// Notes that a constant is used.
    pub(crate) fn uses(&self, what: &str, constant: &EquilibriumConstant) {
        self.strengths
            .borrow_mut()
            .push((what.to_owned(), constant.ionic_strength));
    }

    /// Notes the constants behind a species.
    pub(crate) fn uses_of(&self, label: &str) {
        if let Some((acid, lost)) = self.constants.acid_with_form(label) {
            acid.steps[lost..]
                .iter()
                .for_each(|step| self.uses(&acid.name, step));
        } else if let Some(complex) = self
            .constants
            .complexes()
            .find(|complex| complex.label == label)
        {
            self.uses(label, &complex.constant);
        }
    }

    /// One ionic strength for all constants in use, and 0 where an activity model is at work.
    pub(crate) fn check_ionic_strengths(
        &self,
        model: ActivityModel,
    ) -> Result<(), EquilibriumError> {
        if let (Some((couple, medium)), true) = (&self.formal, model != ActivityModel::None) {
            return Err(EquilibriumError::FormalPotential {
                couple: couple.clone(),
                medium: medium.clone(),
            });
        }
        let used = self.strengths.borrow();
        let Some((first, first_strength)) = used.first() else {
            return Ok(());
        };
        for (what, strength) in used.iter() {
            if model != ActivityModel::None && *strength != 0.0 {
                return Err(EquilibriumError::ConditionalConstant {
                    what: what.clone(),
                    strength: *strength,
                });
            }
            if (strength - first_strength).abs() > 1e-9 {
                return Err(EquilibriumError::MixedIonicStrength {
                    first: first.clone(),
                    first_strength: *first_strength,
                    second: what.clone(),
                    second_strength: *strength,
                });
            }
        }
        Ok(())
    }
}
