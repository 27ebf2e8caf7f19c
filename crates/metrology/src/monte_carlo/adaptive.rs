//! The adaptive procedure (JCGM 101:2008, 7.9.4): sequences of trials until the figures have settled.

use super::intervals::{Interval, Intervals};
use super::moments::Moments;
use super::program::Program;
use super::{MonteCarloError, Plan, Simulation, blocks, check, numerical_tolerance, summarise};
use crate::formula::Formula;
use serde::Serialize;

/// What to settle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AdaptivePlan {
    /// Significant digits of the standard uncertainty that must be stable, 1 to 4.
    pub digits: usize,
    /// What the numerical tolerance is divided by: 1 for a result; 5 where first order is to be validated, so that the
    /// error of the simulation does not decide.
    pub tolerance_divisor: f64,
    /// Seed, probability and threads; `trials` is the most that may be run.
    pub limits: Plan,
}

impl Default for AdaptivePlan {
    fn default() -> Self {
        Self {
            digits: 2,
            tolerance_divisor: 1.0,
            limits: Plan {
                trials: 10_000_000,
                ..Plan::default()
            },
        }
    }
}

/// Outcome of the adaptive procedure.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Adaptive {
    /// Figures of all trials together.
    pub simulation: Simulation,
    /// Number of sequences, h.
    pub sequences: usize,
    /// Trials of a sequence.
    pub sequence_trials: usize,
    /// The tolerance that had to be met, in the unit of the result.
    pub tolerance: f64,
    /// Twice the standard deviation of the averages over the sequences.
    pub spread: Spread,
    /// Whether every spread is within the tolerance; if not, the most trials allowed were run.
    pub settled: bool,
}

/// Twice the standard deviations that are compared with the tolerance.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Spread {
    /// Of the mean.
    pub mean: f64,
    /// Of the standard uncertainty.
    pub standard_uncertainty: f64,
    /// Of the lower end of the symmetric interval.
    pub lower: f64,
    /// Of its upper end.
    pub upper: f64,
}

/// Sequences that are run between two looks at the rule, so that threads have something to share.
const SEQUENCES_AT_ONCE: usize = 8;

/// Runs the adaptive procedure for the formula's result.
///
/// The ends compared are those of the probabilistically symmetric interval. Not settling is an outcome, not an error:
/// [`Adaptive::settled`] says so. The standard uncertainty never settles where the result has no variance.
///
/// # Errors
/// As [`super::monte_carlo`]; [`MonteCarloError::Digits`] for a number of digits other than 1 to 4.
pub fn adaptive(formula: &Formula, plan: &AdaptivePlan) -> Result<Adaptive, MonteCarloError> {
    adaptive_to(formula, formula.result_index(), plan)
}

/// Runs the adaptive procedure for any node.
///
/// # Errors
/// As [`adaptive`].
pub fn adaptive_to(
    formula: &Formula,
    node: usize,
    plan: &AdaptivePlan,
) -> Result<Adaptive, MonteCarloError> {
    let Plan {
        trials: most,
        seed,
        probability,
        threads,
    } = plan.limits;
    if !(1..=4).contains(&plan.digits) {
        return Err(MonteCarloError::Digits(plan.digits));
    }
    check(most, probability)?;
    let length = ((100.0 / (1.0 - probability)).ceil() as usize).max(10_000);
    // Two sequences are the least that can be compared.
    check(2 * length, probability)?;
    let most = (most / length).max(2);
    let program = Program::new(formula, node)?;

    let mut values = Vec::new();
    let mut moments = Vec::new();
    let mut figures: Vec<[f64; 4]> = Vec::new();
    let mut sequences = 0;
    let (mut tolerance, mut spread, mut settled) = (0.0, [f64::INFINITY; 4], false);
    while !settled && sequences < most {
        if sequences == figures.len() {
            let more = SEQUENCES_AT_ONCE.min(most - sequences);
            let start = values.len();
            values.resize(start + more * length, 0.0);
            moments.extend(blocks::fill(
                &program,
                seed,
                sequences as u64,
                length,
                &mut values[start..],
                threads,
            ));
            let mut new = vec![None; more];
            let jobs = values[start..].chunks(length).zip(&moments[sequences..]);
            blocks::in_parallel(
                jobs.zip(&mut new),
                threads,
                || (),
                |(), ((values, moments), figures)| {
                    *figures = figures_of(values, moments, probability);
                },
            );
            for (i, new) in new.into_iter().enumerate() {
                let trials = (sequences + i + 1) * length;
                let count: usize = moments[..=sequences + i].iter().map(|m| m.count).sum();
                figures.push(new.ok_or(MonteCarloError::Failed {
                    failed: trials - count,
                    trials,
                })?);
            }
        }
        sequences += 1;
        if sequences >= 2 {
            let total = moments[..sequences]
                .iter()
                .copied()
                .fold(Moments::default(), Moments::with);
            tolerance = numerical_tolerance(
                total.deviation() / formula.unit_of(node).factor(),
                plan.digits,
            ) * formula.unit_of(node).factor()
                / plan.tolerance_divisor;
            spread = spreads(&figures[..sequences]);
            settled = spread.iter().all(|s| *s <= tolerance);
        }
    }
    // Sequences run ahead of the rule do not count.
    values.truncate(sequences * length);
    moments.truncate(sequences);
    let scale = formula.unit_of(node).factor();
    let [mean, standard_uncertainty, lower, upper] = spread.map(|s| s / scale);
    Ok(Adaptive {
        simulation: summarise(formula, node, &plan.limits, values, &moments)?,
        sequences,
        sequence_trials: length,
        tolerance: tolerance / scale,
        spread: Spread {
            mean,
            standard_uncertainty,
            lower,
            upper,
        },
        settled,
    })
}

/// Mean, standard uncertainty and both ends of one sequence.
fn figures_of(values: &[f64], moments: &Moments, probability: f64) -> Option<[f64; 4]> {
    let Interval { lower, upper } = if moments.count == values.len() {
        Intervals::of(values, probability, 1)?.symmetric
    } else {
        let finite: Vec<f64> = values.iter().copied().filter(|x| x.is_finite()).collect();
        Intervals::of(&finite, probability, 1)?.symmetric
    };
    Some([moments.mean, moments.deviation(), lower, upper])
}

/// Twice the standard deviation of the average of each figure over the sequences (JCGM 101, 7.9.4 g to i).
fn spreads(figures: &[[f64; 4]]) -> [f64; 4] {
    let h = figures.len() as f64;
    std::array::from_fn(|i| {
        let mean = figures.iter().map(|f| f[i] / h).sum::<f64>();
        let squares: f64 = figures.iter().map(|f| (f[i] - mean).powi(2)).sum();
        2.0 * (squares / (h * (h - 1.0))).sqrt()
    })
}
