//! A problem built from two solutions and the constants: what is in the flask, what is in the burette.

use std::collections::{BTreeMap, BTreeSet};

use super::expression::{Expression, Expressions};
use super::problem::{Known, Problem, Supply};
use super::solve::{State, solve};
use crate::activity::{ActivityModel, ion_size};
use crate::constant_set::{CarbonDioxide, Conditions};
use crate::couples::nernst_slope_v;
use crate::equilibrium_error::EquilibriumError;
use crate::solution::Solution;
use crate::species::charge;
use crate::water;

const LN_10: f64 = std::f64::consts::LN_10;

/// What a system takes into account beside acids, bases and complexes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Setup {
    /// pH held by a buffer; without it the pH follows from the balance of charge.
    pub fixed_ph: Option<f64>,
    /// Species held at a free activity, mol/L: an auxiliary ligand in excess.
    pub held: Vec<(String, f64)>,
    /// Which salts may precipitate.
    pub precipitates: Precipitates,
    /// Redox couples at work, each with the medium of its formal potential or `None` for the standard potential.
    pub couples: Vec<(String, Option<String>)>,
}

/// Which salts may precipitate.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Precipitates {
    /// Every salt of the constants whose ions are there.
    #[default]
    All,
    /// None: supersaturated solutions stay clear.
    None,
    /// These only, by label.
    Only(Vec<String>),
}

/// Two solutions and everything that can happen when they are mixed.
#[derive(Debug, Clone)]
pub struct System {
    problem: Problem,
    flask: Vec<f64>,
    titrant: Vec<f64>,
    bystanders: (f64, f64),
    flask_ml: f64,
    temperature_c: f64,
}

impl System {
    /// Builds the system of `flask_ml` of one solution and a titrant.
    ///
    /// # Errors
    /// Unknown species and couples, bad amounts, constants that must not be mixed, temperatures outside the equations.
    pub fn new(
        flask: &Solution,
        flask_ml: f64,
        titrant: &Solution,
        conditions: &Conditions,
        setup: &Setup,
    ) -> Result<Self, EquilibriumError> {
        if !(flask_ml.is_finite() && flask_ml > 0.0) {
            return Err(EquilibriumError::Amount {
                what: "the volume in the flask".into(),
                value: flask_ml,
                unit: "mL",
                allowed: "above 0",
            });
        }
        let constants = &conditions.constants;
        let in_flask = flask.species(constants)?;
        let in_titrant = titrant.species(constants)?;
        let mut expressions = Expressions::new(conditions)?;
        for (label, medium) in &setup.couples {
            expressions.add_couple(label, medium.as_deref())?;
        }
        // components of all that was put in or is held
        let mut components: BTreeSet<String> = BTreeSet::from(["H+".to_owned()]);
        let held_labels = setup.held.iter().map(|(label, _)| label);
        for label in in_flask.keys().chain(in_titrant.keys()).chain(held_labels) {
            components.extend(expressions.of(label)?.terms.into_keys());
        }
        let gas = match conditions.carbon_dioxide {
            CarbonDioxide::OpenToAir { pressure_atm } => {
                components.extend(expressions.of("CO2")?.terms.into_keys());
                Some(water::carbon_dioxide_henry_constant(conditions.temperature_c)? * pressure_atm)
            }
            CarbonDioxide::Closed => None,
        };
        let within = |expression: &Expression| {
            expression
                .terms
                .keys()
                .all(|component| components.contains(component))
        };
        // species and phases that these components can make
        let mut species: BTreeMap<String, Expression> = BTreeMap::new();
        for label in expressions.candidates() {
            let expression = expressions.of(&label)?;
            if within(&expression) {
                species.insert(label, expression);
            }
        }
        let mut phases: Vec<(String, Expression)> = Vec::new();
        for solid in constants.solids() {
            let wanted = match &setup.precipitates {
                Precipitates::All => true,
                Precipitates::None => false,
                Precipitates::Only(labels) => labels.contains(&solid.label),
            };
            if wanted {
                let product = expressions.sum(&solid.ions)?;
                if within(&product) {
                    expressions.uses(&solid.label, &solid.constant);
                    // saturation: product of the ions over the solubility product
                    // saturation: product of the ions over the solubility product
                    let solubility = LN_10 * solid.constant.log10_at(conditions.temperature_c);
                    let ln_k = product.ln_k - solubility;
                    phases.push((
                        solid.label.clone(),
                        Expression {
                            ln_k,
                            terms: product.terms,
                        },
                    ));
                }
            }
        }
        // Count from what was put in: of each family the form with the largest amount becomes the component. What is there
        // unreacted then adds nothing to the totals of H+ and e-, and traces do not drown in the rounding of large sums.
        let mut changes: Vec<(String, String, Expression)> = Vec::new();
        for component in &components {
            let held = setup.held.iter().any(|(label, _)| label == component);
            if held || matches!(component.as_str(), "H+" | "e-") {
                continue;
            }
            let mut largest: Option<(f64, &String, Expression)> = None;
            for label in in_flask.keys().chain(in_titrant.keys()) {
                let expression = expressions.of(label)?;
                let amount =
                    in_flask.get(label).unwrap_or(&0.0) + in_titrant.get(label).unwrap_or(&0.0);
                let of_family = expression.main().is_some_and(|(main, _)| main == component);
                if of_family && largest.as_ref().is_none_or(|(most, ..)| amount > *most) {
                    largest = Some((amount, label, expression));
                }
            }
            if let Some((_, label, expression)) =
                largest.filter(|(_, label, _)| *label != component)
            {
                changes.push((
                    component.clone(),
                    label.clone(),
                    expression.solved_for(component, label),
                ));
            }
        }
        let counted = |mut expression: Expression| {
            for (component, _, by) in &changes {
                expression.substitute(component, by);
            }
            expression
        };
        for (component, label, _) in &changes {
            components.remove(component);
            components.insert(label.clone());
            // the form that stood for its family before is a species like any other
            species
                .entry(component.clone())
                .or_insert_with(|| Expression::component(component));
        }
        for expression in species
            .values_mut()
            .chain(phases.iter_mut().map(|(_, expression)| expression))
        {
            *expression = counted(std::mem::take(expression));
        }
        // a component that only stands for itself takes no part
        let takes_part = |component: &String| {
            component == "H+"
                || setup.held.iter().any(|(label, _)| label == component)
                || species
                    .iter()
                    .any(|(label, e)| label != component && e.terms.contains_key(component))
                || phases.iter().any(|(_, e)| e.terms.contains_key(component))
        };
        let (active, idle): (Vec<String>, Vec<String>) =
            components.iter().cloned().partition(takes_part);
        let mut problem = Problem::new(conditions.activity_at()?);
        let mut index = BTreeMap::new();
        for component in &active {
            let at = if component == "e-" {
                problem.add_hidden_component(component, Known::Total(0.0))
            } else {
                problem.add_component(
                    component,
                    charge(component)?,
                    ion_size(component),
                    Known::Total(0.0),
                )
            };
            index.insert(component.clone(), at);
        }
        let indexed = |e: &Expression| -> Vec<(usize, f64)> {
            e.terms.iter().map(|(c, n)| (index[c], *n)).collect()
        };
        for (label, expression) in &species {
            if !active.contains(label) && expression.terms.keys().all(|c| index.contains_key(c)) {
                let z = charge(label)?;
                problem.add_species(
                    label,
                    z,
                    ion_size(label),
                    expression.ln_k / LN_10,
                    &indexed(expression),
                );
                expressions.uses_of(label);
            }
        }
        for (label, expression) in &phases {
            problem.add_phase(
                label,
                -expression.ln_k / LN_10,
                &indexed(expression),
                Supply::Precipitate,
            );
        }
        if let Some(activity) = gas {
            let expression = counted(expressions.of("CO2")?);
            let log10_k = (activity.ln() - expression.ln_k) / LN_10;
            problem.add_phase("CO2(g)", log10_k, &indexed(&expression), Supply::Unlimited);
        }
        expressions.check_ionic_strengths(problem.activity.model)?;
        for (label, activity) in setup.held.iter().chain(
            setup
                .fixed_ph
                .map(|ph| ("H+".to_owned(), 10f64.powf(-ph)))
                .iter(),
        ) {
            let Some(&at) = index.get(label).filter(|_| *activity > 0.0) else {
                return Err(EquilibriumError::Impossible {
                    why: format!(
                        "{label} cannot be held at {activity} mol/L; hold the bare ligand or metal ion"
                    ),
                });
            };
            problem.components[at].known = Known::LnActivity(activity.ln());
        }
        let totals =
            |solution: &BTreeMap<String, f64>| -> Result<(Vec<f64>, f64), EquilibriumError> {
                let mut totals = vec![0.0; problem.components.len()];
                let mut bystanders = 0.0;
                for (label, c) in solution {
                    for (component, n) in counted(expressions.of(label)?).terms {
                        match index.get(&component) {
                            Some(&at) => totals[at] += n * c,
                            None => bystanders += 0.5 * f64::from(charge(label)?.pow(2)) * c,
                        }
                    }
                }
                Ok((totals, bystanders))
            };
        let (flask_totals, flask_bystanders) = totals(&in_flask)?;
        let (titrant_totals, titrant_bystanders) = totals(&in_titrant)?;
        debug_assert!(idle.iter().all(|component| !index.contains_key(component)));
        Ok(Self {
            problem,
            flask: flask_totals,
            titrant: titrant_totals,
            bystanders: (flask_bystanders, titrant_bystanders),
            flask_ml,
            temperature_c: conditions.temperature_c,
        })
    }

    /// Volume in the flask before the first drop, mL.
    #[must_use]
    pub fn flask_ml(&self) -> f64 {
        self.flask_ml
    }

    /// Components, species and phases, with the totals of the flask.
    #[must_use]
    pub fn problem(&self) -> &Problem {
        &self.problem
    }

    /// Total of a component in flask and titrant, mol/L.
    #[must_use]
    pub fn totals_of(&self, component: usize) -> (f64, f64) {
        (self.flask[component], self.titrant[component])
    }

    /// Equilibrium after `volume_ml` of titrant, from a neighbouring state if there is one.
    ///
    /// # Errors
    /// [`EquilibriumError::Amount`] for a negative volume; as [`solve`].
    pub fn at(&self, volume_ml: f64, neighbour: Option<&State>) -> Result<State, EquilibriumError> {
        if !(volume_ml.is_finite() && volume_ml >= 0.0) {
            return Err(EquilibriumError::Amount {
                what: "the volume of titrant".into(),
                value: volume_ml,
                unit: "mL",
                allowed: "0 or more",
            });
        }
        let mut problem = self.problem.clone();
        let total = self.flask_ml + volume_ml;
        let mixed =
            |flask: f64, titrant: f64| (self.flask_ml * flask + volume_ml * titrant) / total;
        for (j, component) in problem.components.iter_mut().enumerate() {
            if let Known::Total(amount) = &mut component.known {
                *amount = mixed(self.flask[j], self.titrant[j]);
            }
        }
        problem.bystanders = mixed(self.bystanders.0, self.bystanders.1);
        solve(&problem, neighbour)
    }

    /// Concentration of a species in a state, mol/L; `None` if the system does not have it.
    #[must_use]
    pub fn concentration(&self, state: &State, label: &str) -> Option<f64> {
        let at = self
            .problem
            .species
            .iter()
            .position(|species| species.label == label)?;
        Some(state.concentrations[at])
    }

    /// Amount of a solid or gas in a state, mol per litre of solution.
    #[must_use]
    pub fn phase(&self, state: &State, label: &str) -> Option<f64> {
        let at = self
            .problem
            .phases
            .iter()
            .position(|phase| phase.label == label)?;
        Some(state.phases[at])
    }

    /// Natural logarithm of the activity of a species in a state.
    #[must_use]
    pub fn ln_activity(&self, state: &State, label: &str) -> Option<f64> {
        if let Some(component) = self.problem.component(label) {
            return Some(state.ln_activity[component]);
        }
        let species = self
            .problem
            .species
            .iter()
            .find(|species| species.label == label)?;
        Some(
            species.ln_k
                + species
                    .terms
                    .iter()
                    .map(|(j, n)| n * state.ln_activity[*j])
                    .sum::<f64>(),
        )
    }

    /// Negative decadic logarithm of the activity of a species: pH, pM, pAg.
    #[must_use]
    pub fn p(&self, state: &State, label: &str) -> Option<f64> {
        self.ln_activity(state, label).map(|ln| -ln / LN_10)
    }

    /// Potential against the standard hydrogen electrode, V.
    #[must_use]
    pub fn potential_v(&self, state: &State) -> Option<f64> {
        self.p(state, "e-")
            .map(|pe| pe * nernst_slope_v(self.temperature_c))
    }

    /// Whether the ionic strength of a state lies beyond what the activity model is trusted for.
    #[must_use]
    pub fn beyond_activity_model(&self, state: &State) -> bool {
        self.problem.activity.model != ActivityModel::None
            && self
                .problem
                .activity
                .highest_ionic_strength()
                .is_some_and(|highest| state.ionic_strength > highest)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::acid_base::curve::AcidBaseCurve;

    /// The general solver and the proton balance are two programs for one problem.
    #[test]
    fn the_general_solver_meets_the_proton_balance() {
        let flask = Solution::of("H3PO4", 0.05).with("NH4Cl", 0.02);
        let titrant = Solution::of("NaOH", 0.1).with("Na2CO3", 0.002);
        for model in [
            ActivityModel::None,
            ActivityModel::Davies,
            ActivityModel::ExtendedDebyeHueckel,
        ] {
            let open = CarbonDioxide::OpenToAir {
                pressure_atm: 4.2e-4,
            };
            for carbon_dioxide in [CarbonDioxide::Closed, open] {
                let conditions = Conditions {
                    activity: model,
                    carbon_dioxide,
                    ..Conditions::default()
                };
                let fast = AcidBaseCurve::new(&flask, 25.0, &titrant, &conditions).unwrap();
                let system =
                    System::new(&flask, 25.0, &titrant, &conditions, &Setup::default()).unwrap();
                for volume in [0.0, 5.0, 12.5, 20.0, 25.0, 33.3, 60.0] {
                    let state = system.at(volume, None).unwrap();
                    let (a, b) = (fast.ph_at(volume).unwrap(), system.p(&state, "H+").unwrap());
                    assert!(
                        (a - b).abs() < 1e-8,
                        "{model:?} {carbon_dioxide:?} {volume}: {a} {b}"
                    );
                    assert!(state.residual < 1e-12);
                }
            }
        }
    }

    #[test]
    fn constants_of_two_ionic_strengths_are_not_mixed() {
        let mut conditions = Conditions::ideal();
        conditions.constants = conditions.constants.at_ionic_strength(0.1);
        let flask = Solution::of("CaCl2", 0.01).with("NH3", 0.1);
        let error = System::new(
            &flask,
            50.0,
            &Solution::of("Na2EDTA", 0.01),
            &conditions,
            &Setup::default(),
        )
        .unwrap_err();
        assert!(
            matches!(error, EquilibriumError::MixedIonicStrength { .. }),
            "{error}"
        );
        conditions.activity = ActivityModel::Davies;
        let error = System::new(
            &Solution::of("CaCl2", 0.01),
            50.0,
            &Solution::of("Na2EDTA", 0.01),
            &conditions,
            &Setup::default(),
        )
        .unwrap_err();
        assert!(
            matches!(error, EquilibriumError::ConditionalConstant { .. }),
            "{error}"
        );
    }
}
