//! The balances at fixed activity coefficients, solved as the minimum of a convex function.
//!
//! # Formula
//! With `l_j = ln a_j` and `c_s = exp(ln K_s - ln g_s + sum_j n_sj l_j)`, the mass balances are the stationarity of
//!
//! `P(l) = sum_s c_s - sum_j T_j l_j`
//!
//! under `sum_j n_pj l_j <= ln K_p` for precipitates and `=` for unlimited phases; the amounts of the phases are the
//! multipliers. P is convex, so the minimum is unique, and a descent that stays inside the constraints (Newton steps, a line
//! search, an active set that takes in the phase that blocks the step and lets go the one with a negative amount) cannot
//! cycle or end anywhere else. If P has no minimum the totals are impossible, which is reported.

use super::direction::{Direction, newton};
use super::double_double::{DoubleDouble, Number};
use super::problem::{Known, Problem, Supply};
use crate::equilibrium_error::EquilibriumError;

/// Relative residual that ends the search.
const GOAL: f64 = 2e-14;
/// Relative residual that is still a solution when rounding forbids better.
const ACCEPTED: f64 = 1e-12;
/// ln a beyond which a component counts as running away.
///
/// A component that is all but used up may have an activity far below anything that is there: dichromate over a trace of
/// chromium(III) in a strongly reducing acid has an ln a of some -600 (6 electrons over 2 V), and is no runaway.
const RUNAWAY: f64 = 2000.0;
const MOST_ITERATIONS: usize = 600;
/// Largest change of ln a in one step.
const REACH: f64 = 20.0;

/// A problem with its structure laid out for the search: absent components removed, phases split.
#[derive(Debug)]
pub(crate) struct Layout<'a> {
    problem: &'a Problem,
    /// Components that are sought.
    free: Vec<usize>,
    /// Position in `free` by component, or `usize::MAX`.
    place: Vec<usize>,
    /// Species that can be present.
    species: Vec<usize>,
    /// Phases that can be present.
    phases: Vec<usize>,
    /// Totals of the free components.
    totals: Vec<f64>,
}

/// The minimum.
#[derive(Debug, Clone)]
pub(crate) struct Minimum {
    /// ln a of every component; minus infinity for an absent one.
    pub(crate) ln_activity: Vec<f64>,
    /// Concentration of every species.
    pub(crate) concentrations: Vec<f64>,
    /// Amount of every phase, mol/L.
    pub(crate) amounts: Vec<f64>,
    /// Worst relative residual of a mass balance.
    pub(crate) residual: f64,
    /// Newton steps taken.
    pub(crate) iterations: usize,
}

/// A Newton direction and what is left to do, rounded to doubles.
#[derive(Debug)]
struct Newton {
    direction: Vec<f64>,
    active_amounts: Vec<f64>,
    gradient: Vec<f64>,
    scale: Vec<f64>,
}

impl<'a> Layout<'a> {
    /// Sorts out what can be present: a component with total 0 that no species gives back is absent with all it is part of.
    pub(crate) fn new(problem: &'a Problem) -> Self {
        let n = problem.components.len();
        let mut absent = vec![false; n];
        let mut gives_back = vec![false; n];
        for (j, n_j) in problem
            .species
            .iter()
            .flat_map(|s| &s.terms)
            .chain(problem.phases.iter().flat_map(|p| &p.terms))
        {
            gives_back[*j] |= *n_j < 0.0;
        }
        for (j, _) in problem
            .phases
            .iter()
            .filter(|p| p.supply == Supply::Unlimited)
            .flat_map(|p| &p.terms)
        {
            gives_back[*j] = true;
        }
        for (j, component) in problem.components.iter().enumerate() {
            absent[j] = match component.known {
                Known::Total(total) => total == 0.0 && !gives_back[j],
                Known::LnActivity(ln) => ln == f64::NEG_INFINITY,
            };
        }
        let present = |terms: &[(usize, f64)]| terms.iter().all(|(j, _)| !absent[*j]);
        let free: Vec<usize> = (0..n)
            .filter(|&j| !absent[j] && matches!(problem.components[j].known, Known::Total(_)))
            .collect();
        let mut place = vec![usize::MAX; n];
        for (i, &j) in free.iter().enumerate() {
            place[j] = i;
        }
        let totals = free
            .iter()
            .map(|&j| match problem.components[j].known {
                Known::Total(total) => total,
                Known::LnActivity(_) => 0.0,
            })
            .collect();
        Self {
            problem,
            species: (0..problem.species.len())
                .filter(|&s| present(&problem.species[s].terms))
                .collect(),
            phases: (0..problem.phases.len())
                .filter(|&p| present(&problem.phases[p].terms))
                .collect(),
            free,
            place,
            totals,
        }
    }

    /// A first guess of ln a for every component.
    fn first_guess(&self) -> Vec<f64> {
        let mut ln = vec![f64::NEG_INFINITY; self.problem.components.len()];
        for (j, component) in self.problem.components.iter().enumerate() {
            if let Known::LnActivity(known) = component.known {
                ln[j] = known;
            }
        }
        for (i, &j) in self.free.iter().enumerate() {
            let label = self.problem.components[j].label.as_str();
            ln[j] = match label {
                "H+" => -16.0,
                "e-" => 0.0,
                _ => self.totals[i].abs().max(1e-30).ln(),
            };
        }
        ln
    }

    /// Stoichiometric numbers of the free components.
    fn row(&self, terms: &[(usize, f64)]) -> Vec<f64> {
        let mut row = vec![0.0; self.free.len()];
        for &(j, n) in terms {
            if self.place[j] != usize::MAX {
                row[self.place[j]] += n;
            }
        }
        row
    }

    /// Newton direction at concentrations `c`, with the gradient that is left and its scale, in arithmetic of type `T`;
    /// `lift` is added to the curvature of each component.
    fn direction<T: Number>(
        &self,
        c: &[f64],
        ties: &[Vec<f64>],
        violation: &[f64],
        ridge: f64,
        lift: &[f64],
    ) -> Option<Newton> {
        let n = self.free.len();
        let mut hessian = vec![T::from(0.0); n * n];
        let mut gradient: Vec<T> = self.totals.iter().map(|t| T::from(*t)).collect();
        let mut scale: Vec<f64> = self.totals.iter().map(|t| t.abs()).collect();
        for &s in &self.species {
            let terms = &self.problem.species[s].terms;
            let concentration = T::from(c[s]);
            for &(j, n_j) in terms {
                let row = self.place[j];
                if row == usize::MAX {
                    continue;
                }
                gradient[row] = gradient[row] - T::from(n_j) * concentration;
                scale[row] += n_j.abs() * c[s];
                for &(k, n_k) in terms {
                    let column = self.place[k];
                    if column != usize::MAX {
                        let at = row * n + column;
                        hessian[at] = hessian[at] + T::from(n_j * n_k) * concentration;
                    }
                }
            }
        }
        for (i, lift) in lift.iter().enumerate() {
            hessian[i * n + i] = hessian[i * n + i] + T::from(*lift);
        }
        let Direction { step, amounts } = newton(&hessian, &gradient, ties, violation, ridge)?;
        for (tie, amount) in ties.iter().zip(&amounts) {
            for i in 0..n {
                gradient[i] = gradient[i] - T::from(tie[i]) * *amount;
                scale[i] += (tie[i] * amount.rounded()).abs();
            }
        }
        Some(Newton {
            direction: step,
            active_amounts: amounts.into_iter().map(T::rounded).collect(),
            gradient: gradient.into_iter().map(T::rounded).collect(),
            scale,
        })
    }

    /// Exponent of a term list at the point `ln`.
    fn exponent(terms: &[(usize, f64)], ln: &[f64]) -> f64 {
        terms.iter().map(|(j, n)| n * ln[*j]).sum()
    }

    /// Lowers components whose species together outweigh their total, so that the descent starts near the ground.
    fn settle_down(&self, ln_gamma: &[f64], ln: &mut [f64]) {
        for _ in 0..40 {
            let mut moved = 0.0_f64;
            for (i, &j) in self.free.iter().enumerate() {
                if self.totals[i] <= 0.0 {
                    continue;
                }
                let (mut largest, mut power) = (f64::NEG_INFINITY, 1.0);
                for &s in &self.species {
                    let species = &self.problem.species[s];
                    if let Some((_, n)) = species.terms.iter().find(|(k, n)| *k == j && *n > 0.0) {
                        let exponent = species.ln_k - ln_gamma[s]
                            + Self::exponent(&species.terms, ln)
                            + n.ln();
                        if exponent > largest {
                            (largest, power) = (exponent, *n);
                        }
                    }
                }
                let above = largest - self.totals[i].ln();
                if above > 0.0 {
                    ln[j] -= above / power;
                    moved = moved.max(above);
                }
            }
            if moved < 0.5 {
                break;
            }
        }
    }

    /// Brings the point onto the unlimited phases and inside the ion products of all others.
    fn make_feasible(&self, ln: &mut [f64]) -> Result<(), EquilibriumError> {
        let problem = self.problem;
        let mut tied = vec![false; problem.components.len()];
        for &p in &self.phases {
            let phase = &problem.phases[p];
            if phase.supply == Supply::Unlimited {
                let carrier = phase
                    .terms
                    .iter()
                    .filter(|(j, n)| self.place[*j] != usize::MAX && !tied[*j] && *n > 0.0)
                    .max_by_key(|(j, _)| {
                        usize::from(!matches!(
                            problem.components[*j].label.as_str(),
                            "H+" | "e-"
                        ))
                    });
                let Some(&(j, n)) = carrier else {
                    return Err(EquilibriumError::Impossible {
                        why: format!("{} fixes more than there is left to fix", phase.label),
                    });
                };
                ln[j] -= (Self::exponent(&phase.terms, ln) - phase.ln_k) / n;
                tied[j] = true;
            }
        }
        let movable = |j: usize| {
            self.place[j] != usize::MAX
                && !tied[j]
                && !matches!(problem.components[j].label.as_str(), "H+" | "e-")
        };
        let mut lower = 0.0_f64;
        for &p in &self.phases {
            let phase = &problem.phases[p];
            if phase.supply == Supply::Precipitate {
                let above = Self::exponent(&phase.terms, ln) - phase.ln_k;
                let weight: f64 = phase
                    .terms
                    .iter()
                    .filter(|(j, _)| movable(*j))
                    .map(|(_, n)| n)
                    .sum();
                if above > 0.0 && weight <= 0.0 {
                    return Err(EquilibriumError::Impossible {
                        why: format!(
                            "{} would form from what is held fixed, without end",
                            phase.label
                        ),
                    });
                }
                if above > 0.0 {
                    lower = lower.max(above / weight);
                }
            }
        }
        if lower > 0.0 {
            for (_, ln) in ln.iter_mut().enumerate().filter(|(j, _)| movable(*j)) {
                *ln -= lower * (1.0 + 1e-9);
            }
        }
        Ok(())
    }

    /// Finds the minimum, from `start` (ln a of every component) if there is one.
    #[expect(
        clippy::too_many_lines,
        reason = "one loop: direction, blocking phase, line search, release"
    )]
    pub(crate) fn minimise(
        &self,
        ln_gamma: &[f64],
        start: Option<&[f64]>,
    ) -> Result<Minimum, EquilibriumError> {
        let problem = self.problem;
        let n = self.free.len();
        let mut ln = self.first_guess();
        match start {
            Some(start) => {
                for &j in &self.free {
                    if start[j].is_finite() {
                        ln[j] = start[j];
                    }
                }
            }
            None => self.settle_down(ln_gamma, &mut ln),
        }
        self.make_feasible(&mut ln)?;
        let mut active: Vec<usize> = self
            .phases
            .iter()
            .copied()
            .filter(|&p| problem.phases[p].supply == Supply::Unlimited)
            .collect();
        let mut c = vec![0.0; problem.species.len()];
        let mut amounts = vec![0.0; problem.phases.len()];
        let mut best = f64::INFINITY;
        let mut stalled = 0;
        // double precision first; about 32 digits where a trace hangs on the difference of two large amounts
        let mut precise = false;
        for iteration in 0..MOST_ITERATIONS {
            for &s in &self.species {
                let species = &problem.species[s];
                c[s] = (species.ln_k - ln_gamma[s] + Self::exponent(&species.terms, &ln)).exp();
            }
            let ties: Vec<Vec<f64>> = active
                .iter()
                .map(|&p| self.row(&problem.phases[p].terms))
                .collect();
            let violation: Vec<f64> = active
                .iter()
                .map(|&p| problem.phases[p].ln_k - Self::exponent(&problem.phases[p].terms, &ln))
                .collect();
            let bend = |lift: &[f64]| {
                if precise {
                    self.direction::<DoubleDouble>(&c, &ties, &violation, 0.0, lift)
                } else {
                    self.direction::<f64>(&c, &ties, &violation, 1e-15, lift)
                }
            };
            let mut found = bend(&[]);
            // far from the ground the curve says nothing of the distance: let no component want more than its reach by itself
            if let Some(newton) = &found
                && newton.direction.iter().any(|d| d.abs() > REACH)
            {
                let lift: Vec<f64> = newton.gradient.iter().map(|g| g.abs() / REACH).collect();
                found = bend(&lift).or(found);
            }
            let Some(Newton {
                direction,
                active_amounts,
                gradient,
                scale,
            }) = found
            else {
                if precise {
                    return Err(self.stuck(iteration, f64::NAN, 0));
                }
                precise = true;
                continue;
            };
            amounts.fill(0.0);
            for (&p, amount) in active.iter().zip(active_amounts) {
                amounts[p] = amount;
            }
            let off_tie = violation
                .iter()
                .fold(0.0_f64, |worst, v| worst.max(v.abs()));
            let (worst, residual) = (0..n)
                .map(|i| (i, gradient[i].abs() / scale[i].max(1e-300)))
                .max_by(|a, b| a.1.total_cmp(&b.1))
                .unwrap_or((0, 0.0));
            if let Some(&j) = self.free.iter().find(|&&j| ln[j].abs() > RUNAWAY) {
                return Err(self.impossible(j));
            }
            stalled = if residual < 0.5 * best {
                0
            } else {
                stalled + 1
            };
            best = best.min(residual);
            let settled =
                off_tie < 1e-12 && (residual <= GOAL || (residual <= ACCEPTED && stalled >= 3));
            if settled {
                // let go the phase with the most negative amount, if any
                let released = active
                    .iter()
                    .enumerate()
                    .filter(|(_, p)| {
                        problem.phases[**p].supply == Supply::Precipitate && amounts[**p] < 0.0
                    })
                    .min_by(|a, b| amounts[*a.1].total_cmp(&amounts[*b.1]))
                    .map(|(row, _)| row);
                if let Some(row) = released {
                    active.remove(row);
                    best = f64::INFINITY;
                    stalled = 0;
                    continue;
                }
                return Ok(Minimum {
                    ln_activity: ln,
                    concentrations: c,
                    amounts,
                    residual,
                    iterations: iteration,
                });
            }
            if stalled > 60 && precise {
                return Err(self.stuck(iteration, residual, worst));
            }
            if stalled > 12 && residual < 1e-3 {
                precise = true;
            }
            // how far before another phase saturates
            let mut reach = 1.0_f64;
            let longest = direction
                .iter()
                .fold(0.0_f64, |longest, d| longest.max(d.abs()));
            if longest > REACH {
                reach = REACH / longest;
            }
            let mut blocking = None;
            for &p in self.phases.iter().filter(|p| !active.contains(p)) {
                let terms = &problem.phases[p].terms;
                let rise: f64 = terms
                    .iter()
                    .filter(|(j, _)| self.place[*j] != usize::MAX)
                    .map(|(j, n_j)| n_j * direction[self.place[*j]])
                    .sum();
                if rise > 1e-14 {
                    let room =
                        (problem.phases[p].ln_k - Self::exponent(terms, &ln)).max(0.0) / rise;
                    if room < reach {
                        reach = room;
                        blocking = Some(p);
                    }
                }
            }
            // line search on P, its change summed without cancellation
            let drop: f64 = (0..n).map(|i| gradient[i] * direction[i]).sum();
            let rises: Vec<(f64, f64)> = self
                .species
                .iter()
                .map(|&s| {
                    let rise = problem.species[s]
                        .terms
                        .iter()
                        .filter(|(j, _)| self.place[*j] != usize::MAX)
                        .map(|(j, n_j)| n_j * direction[self.place[*j]])
                        .sum();
                    (c[s], rise)
                })
                .collect();
            let mut step = reach;
            for _ in 0..60 {
                let bend: f64 = rises
                    .iter()
                    .map(|&(c, rise)| {
                        let x = step * rise;
                        c * if x.abs() < 1e-4 {
                            0.5 * x * x * (1.0 + x / 3.0)
                        } else {
                            x.exp_m1() - x
                        }
                    })
                    .sum();
                if bend <= step * drop * (1.0 - 1e-4) || step * longest < 1e-12 {
                    break;
                }
                step *= 0.5;
            }
            for (i, &j) in self.free.iter().enumerate() {
                ln[j] += step * direction[i];
            }
            #[expect(
                clippy::float_cmp,
                reason = "the step is exactly the reach unless it was halved"
            )]
            if step == reach
                && let Some(p) = blocking
            {
                active.push(p);
                best = f64::INFINITY;
                stalled = 0;
            }
        }
        Err(self.stuck(MOST_ITERATIONS, best, 0))
    }

    fn stuck(&self, iterations: usize, residual: f64, worst: usize) -> EquilibriumError {
        let label = self
            .free
            .get(worst)
            .map_or("", |&j| self.problem.components[j].label.as_str());
        EquilibriumError::NotConverged {
            iterations,
            residual,
            worst: format!("the balance of {label}"),
        }
    }

    fn impossible(&self, component: usize) -> EquilibriumError {
        let label = &self.problem.components[component].label;
        let why = if label == "e-" {
            "no redox couple has both forms present, so the potential is undefined".to_owned()
        } else {
            format!("the total of {label} cannot be reached with the species given")
        };
        EquilibriumError::Impossible { why }
    }
}
