//! The equilibrium with its activity coefficients.

use super::convex::{Layout, Minimum};
use super::problem::Problem;
use crate::acid_base::balance::settle_ionic_strength;
use crate::activity::ActivityModel;
use crate::equilibrium_error::EquilibriumError;

/// Ionic strength, mol/L, that no solution in water has.
const HIGHEST_TRIED: f64 = 30.0;

/// A solved equilibrium.
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    /// Natural logarithm of the activity of every component, in the order of the problem.
    pub ln_activity: Vec<f64>,
    /// Concentration of every species, mol/L.
    pub concentrations: Vec<f64>,
    /// Amount of every phase, mol per litre of solution (negative: an unlimited phase dissolves).
    pub phases: Vec<f64>,
    /// Ionic strength, mol/L.
    pub ionic_strength: f64,
    /// Worst relative residual of a mass balance.
    pub residual: f64,
    /// Newton steps taken in all.
    pub iterations: usize,
}

/// Solves a problem, from a neighbouring state if there is one.
///
/// # Errors
/// [`EquilibriumError::Impossible`] if no concentrations satisfy the balances; [`EquilibriumError::NotConverged`] if the search
/// ends above a relative residual of 1e-12, or the ionic strength does not settle.
pub fn solve(problem: &Problem, neighbour: Option<&State>) -> Result<State, EquilibriumError> {
    let layout = Layout::new(problem);
    let mut start: Option<Vec<f64>> = neighbour.map(|state| state.ln_activity.clone());
    let mut ln_gamma = vec![0.0; problem.species.len()];
    let mut iterations = 0;
    let mut last: Option<Minimum> = None;
    let mut at = |strength: f64| -> Result<f64, EquilibriumError> {
        for (ln, species) in ln_gamma.iter_mut().zip(&problem.species) {
            *ln = problem
                .activity
                .ln_gamma(species.charge, species.size, strength);
        }
        let minimum = match layout.minimise(&ln_gamma, start.as_deref()) {
            Err(EquilibriumError::NotConverged { .. }) if start.is_some() => {
                layout.minimise(&ln_gamma, None)
            }
            other => other,
        }?;
        iterations += minimum.iterations;
        let calculated = ionic_strength(problem, &minimum.concentrations);
        start = Some(minimum.ln_activity.clone());
        last = Some(minimum);
        Ok(calculated)
    };
    let strength = if problem.activity.model == ActivityModel::None {
        at(0.0)?
    } else {
        let guess = neighbour.map_or(problem.bystanders.max(1e-3), |state| state.ionic_strength);
        // a trial far above every real solution may have no answer: that only says it was too high
        let settled = settle_ionic_strength(guess, |strength| match at(strength) {
            Err(_) if strength > HIGHEST_TRIED => Ok(0.0),
            other => other,
        })?;
        let calculated = at(settled).map_err(|error| match error {
            _ if settled > HIGHEST_TRIED =>EquilibriumError::Impossible {
                why: format!(
                    "what is held fixed drives the ionic strength to {settled:.0} mol/L (a high pH held in equilibrium with \
                     carbon dioxide, for instance)"
                ),
            },
            other => other,
        })?;
        if (calculated - settled).abs() > 1e-9 * settled.max(1e-12) {
            return Err(EquilibriumError::NotConverged {
                iterations,
                residual: (calculated - settled).abs() / settled,
                worst: "the ionic strength".into(),
            });
        }
        settled
    };
    let Some(minimum) = last else {
        return Err(EquilibriumError::Impossible {
            why: "the problem is empty".into(),
        });
    };
    Ok(State {
        ln_activity: minimum.ln_activity,
        concentrations: minimum.concentrations,
        phases: minimum.amounts,
        ionic_strength: strength,
        residual: minimum.residual,
        iterations,
    })
}

/// Ionic strength of the dissolved species and the bystanders, mol/L.
fn ionic_strength(problem: &Problem, concentrations: &[f64]) -> f64 {
    let ions: f64 = problem
        .species
        .iter()
        .zip(concentrations)
        .map(|(s, c)| f64::from(s.charge * s.charge) * c)
        .sum();
    problem.bystanders + 0.5 * ions
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::activity::Activity;
    use crate::equilibrium::problem::{Known, Supply};

    fn ideal() -> Problem {
        Problem::new(Activity::at(ActivityModel::None, 25.0).unwrap())
    }

    /// Water, acetic acid 0.1 M: the closed formula of the quadratic.
    #[test]
    fn a_weak_acid() {
        let mut problem = ideal();
        let h = problem.add_component("H+", 1, 9.0, Known::Total(0.1));
        let a = problem.add_component("CH3COO-", -1, 4.25, Known::Total(0.1));
        problem.add_species("OH-", -1, 3.25, -13.997, &[(h, -1.0)]);
        problem.add_species("CH3COOH", 0, 0.0, 4.757, &[(h, 1.0), (a, 1.0)]);
        let state = solve(&problem, None).unwrap();
        let ph = -state.ln_activity[h] / std::f64::consts::LN_10;
        assert!((ph - 2.8814).abs() < 6e-5, "{ph}");
        assert!(state.residual < 1e-12);
    }

    /// Two halides with silver: both precipitate, one of them does, none does.
    #[test]
    fn solids_form_when_their_product_is_passed() {
        for (silver, expected) in [
            (0.06, (0.05, 0.01)),
            (0.01, (0.01, 0.0)),
            (1e-20, (0.0, 0.0)),
        ] {
            let mut problem = ideal();
            let ag = problem.add_component("Ag+", 1, 2.5, Known::Total(silver));
            let i = problem.add_component("I-", -1, 3.0, Known::Total(0.05));
            let cl = problem.add_component("Cl-", -1, 3.0, Known::Total(0.05));
            problem.add_phase("AgI", -16.08, &[(ag, 1.0), (i, 1.0)], Supply::Precipitate);
            problem.add_phase("AgCl", -9.75, &[(ag, 1.0), (cl, 1.0)], Supply::Precipitate);
            let state = solve(&problem, None).unwrap();
            assert!(
                (state.phases[0] - expected.0).abs() < 1e-7
                    && (state.phases[1] - expected.1).abs() < 1e-7,
                "{state:?}"
            );
        }
    }

    #[test]
    fn a_gas_holds_its_activity_and_an_impossible_total_says_so() {
        let mut problem = ideal();
        let h = problem.add_component("H+", 1, 9.0, Known::Total(-0.001));
        let carbonate = problem.add_component("CO3^2-", -2, 4.5, Known::Total(0.0));
        problem.add_species("OH-", -1, 3.25, -13.997, &[(h, -1.0)]);
        problem.add_species("HCO3-", -1, 4.25, 10.329, &[(h, 1.0), (carbonate, 1.0)]);
        problem.add_species("CO2", 0, 0.0, 16.681, &[(h, 2.0), (carbonate, 1.0)]);
        let co2 = 1.43e-5_f64;
        problem.add_phase(
            "CO2(g)",
            co2.log10() - 16.681,
            &[(h, 2.0), (carbonate, 1.0)],
            Supply::Unlimited,
        );
        let state = solve(&problem, None).unwrap();
        let found = state.concentrations.last().unwrap();
        assert!((found / co2 - 1.0).abs() < 1e-9, "{found}");
        assert!(state.phases[0] < 0.0, "lye takes up gas");

        let mut redox = ideal();
        let e = redox.add_hidden_component("e-", Known::Total(0.2));
        let iron = redox.add_component("Fe^3+", 3, 9.0, Known::Total(0.1));
        redox.add_species("Fe^2+", 2, 6.0, 13.03, &[(iron, 1.0), (e, 1.0)]);
        assert!(matches!(
            solve(&redox, None),
            Err(EquilibriumError::Impossible { .. })
        ));
    }
}
