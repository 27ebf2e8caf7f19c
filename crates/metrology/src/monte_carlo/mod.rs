//! Monte Carlo propagation of distributions (JCGM 101:2008).
//!
//! [`monte_carlo`] draws the inputs of a formula, evaluates it in blocks and gives mean, standard uncertainty, the
//! probabilistically symmetric and the shortest coverage interval and a histogram. [`adaptive`] goes on until the
//! figures have settled (clause 7.9); [`validate`] judges first-order propagation by the outcome (clause 8). The same
//! seed gives the same bits, on any number of threads.

mod adaptive;
mod blocks;
mod histogram;
mod intervals;
mod moments;
mod program;
mod random;
mod select;
mod transform;
mod validation;

pub use adaptive::{Adaptive, AdaptivePlan, Spread, adaptive, adaptive_to};
pub use histogram::Histogram;
pub use intervals::Interval;
pub use validation::{Validation, numerical_tolerance, validate};

use crate::distribution::Distribution;
use crate::formula::{Formula, Operation};
use crate::quantity::Unit;
use blocks::BLOCK;
use intervals::{Intervals, Ranks};
use moments::Moments;
use program::Program;
use serde::Serialize;

/// Most trials that are run: their values take 160 MB.
pub const MOST_TRIALS: usize = 20_000_000;

/// What to run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plan {
    /// Number of trials M.
    pub trials: usize,
    /// The same seed gives the same bits.
    pub seed: u64,
    /// Coverage probability p of the intervals.
    pub probability: f64,
    /// Number of threads, 0 for as many as the machine has; the result does not depend on it.
    pub threads: usize,
}

impl Default for Plan {
    /// A million trials, 95 % (JCGM 101, 7.2.2).
    fn default() -> Self {
        Self {
            trials: 1_000_000,
            seed: 1,
            probability: 0.95,
            threads: 0,
        }
    }
}

/// Outcome of a simulation, in the unit of the node.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Simulation {
    /// Unit of everything below.
    pub unit: Unit,
    /// Trials run.
    pub trials: usize,
    /// Trials without a finite value (a division by zero, the root of a negative number). They are left out of all
    /// that follows, which then describes the others only: a result that hides them would be too good.
    pub failed: usize,
    /// Seed of the random streams.
    pub seed: u64,
    /// Average of the values.
    pub mean: f64,
    /// Standard deviation of the values.
    pub standard_uncertainty: f64,
    /// Inputs (by index) whose Student t distribution has no variance, for want of more than two degrees of freedom.
    /// If there are any, the standard uncertainty does not settle however many the trials; the intervals do.
    pub without_variance: Vec<usize>,
    /// Coverage probability of the intervals.
    pub probability: f64,
    /// Interval with equal probabilities below and above it.
    pub symmetric: Interval,
    /// Standard errors, from the finite number of trials, of the two ends of the symmetric interval.
    pub symmetric_error: (f64, f64),
    /// The shortest interval. Its width is well determined, its place much less so.
    pub shortest: Interval,
    /// Frequencies for plotting.
    pub histogram: Histogram,
}

/// Why a simulation cannot be run.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MonteCarloError {
    /// A coverage probability outside 0 to 1.
    #[error("coverage probability {0} must lie between 0 and 1, both excluded")]
    Probability(f64),
    /// Too few trials for an interval of this probability.
    #[error(
        "{trials} trials are too few for a {probability} interval; at least {needed} are needed"
    )]
    TooFewTrials {
        /// Trials asked for.
        trials: usize,
        /// Coverage probability.
        probability: f64,
        /// Least number of trials.
        needed: usize,
    },
    /// More trials than are run.
    #[error("{trials} trials are too many; at most {MOST_TRIALS} are run")]
    TooManyTrials {
        /// Trials asked for.
        trials: usize,
    },
    /// A declared correlation for which no joint distribution is known.
    #[error("input \"{input}\" ({shape}) is declared as correlated and cannot be drawn: {fault}")]
    Correlated {
        /// Identity of the input.
        input: String,
        /// Its distribution.
        shape: &'static str,
        /// What stands in the way.
        fault: &'static str,
    },
    /// Too few trials gave a finite value.
    #[error(
        "{failed} of {trials} trials gave no finite value; the formula divides by zero or leaves its domain near the inputs' values"
    )]
    Failed {
        /// Trials without a finite value.
        failed: usize,
        /// Trials run.
        trials: usize,
    },
    /// A setting of the adaptive procedure that cannot be met.
    #[error("{0} significant digits cannot be settled by simulation; 1 to 4 can")]
    Digits(usize),
}

/// Simulates the formula's result.
///
/// Inputs are drawn from their [`Distribution`]. A normal one (also one stated as an expanded uncertainty) stays
/// normal whatever its degrees of freedom; `StudentT` with finite degrees of freedom is drawn as Student t. Declared
/// correlations join normal inputs as a multivariate normal and Student t inputs of equal degrees of freedom as a
/// multivariate t.
///
/// # Errors
/// [`MonteCarloError`]: an impossible probability or number of trials, correlated inputs of other kinds, or fewer
/// finite values than an interval needs.
///
/// # Example
/// ```
/// use metrology::{Distribution, Expr, Formula, Input, Plan, Quantity, monte_carlo};
/// let x = |id: &str| Expr::input(
///     Input::new(id, id, Quantity::number(0.0)).distributed(Distribution::Rectangular { half_width: 1.0 }),
/// );
/// let formula = Formula::build(&(x("a") + x("b"))).unwrap();
/// let plan = Plan { trials: 100_000, seed: 7, ..Plan::default() };
/// let simulation = monte_carlo(&formula, &plan).unwrap();
/// // A triangle over -2 to 2: u = 2/√6, and 2.5 % lie above 2 - 2·√0.05.
/// assert!((simulation.standard_uncertainty - 0.8165).abs() < 0.006);
/// assert!((simulation.symmetric.upper - 1.5528).abs() < 0.015);
/// ```
pub fn monte_carlo(formula: &Formula, plan: &Plan) -> Result<Simulation, MonteCarloError> {
    monte_carlo_to(formula, formula.result_index(), plan)
}

/// Simulates any node.
///
/// # Errors
/// As [`monte_carlo`].
pub fn monte_carlo_to(
    formula: &Formula,
    node: usize,
    plan: &Plan,
) -> Result<Simulation, MonteCarloError> {
    check(plan.trials, plan.probability)?;
    let program = Program::new(formula, node)?;
    let mut values = vec![0.0; plan.trials];
    let moments = blocks::fill(&program, plan.seed, 0, BLOCK, &mut values, plan.threads);
    summarise(formula, node, plan, values, &moments)
}

/// Checks that an interval can be had.
fn check(trials: usize, probability: f64) -> Result<(), MonteCarloError> {
    if !(probability > 0.0 && probability < 1.0) {
        return Err(MonteCarloError::Probability(probability));
    }
    if trials > MOST_TRIALS {
        return Err(MonteCarloError::TooManyTrials { trials });
    }
    if Ranks::of(trials, probability).is_none() {
        let needed = (1.0 / (1.0 - probability)).max(1.0 / probability).ceil() as usize + 1;
        return Err(MonteCarloError::TooFewTrials {
            trials,
            probability,
            needed,
        });
    }
    Ok(())
}

/// Makes the outcome of values in the coherent system.
fn summarise(
    formula: &Formula,
    node: usize,
    plan: &Plan,
    mut values: Vec<f64>,
    moments: &[Moments],
) -> Result<Simulation, MonteCarloError> {
    let trials = values.len();
    let total = moments
        .iter()
        .copied()
        .fold(Moments::default(), Moments::with);
    let failed = trials - total.count;
    if failed > 0 {
        values.retain(|x| x.is_finite());
    }
    let intervals = Intervals::of(&values, plan.probability, plan.threads)
        .ok_or(MonteCarloError::Failed { failed, trials })?;
    let histogram = Histogram::of(&values, intervals.symmetric, plan.threads);
    let unit = formula.unit_of(node);
    let scale = unit.factor();
    let shown = |x: f64| unit.from_coherent(x);
    let shown_interval = |i: Interval| Interval {
        lower: shown(i.lower),
        upper: shown(i.upper),
    };
    Ok(Simulation {
        trials,
        failed,
        seed: plan.seed,
        mean: shown(total.mean),
        standard_uncertainty: total.deviation() / scale,
        without_variance: without_variance(formula, node),
        probability: plan.probability,
        symmetric: shown_interval(intervals.symmetric),
        symmetric_error: (
            intervals.symmetric_error.0 / scale,
            intervals.symmetric_error.1 / scale,
        ),
        shortest: shown_interval(intervals.shortest),
        histogram: Histogram {
            lower: shown(histogram.lower),
            bin_width: histogram.bin_width / scale,
            ..histogram
        },
        unit,
    })
}

/// Inputs that lead to the node and have a Student t distribution with at most two degrees of freedom.
fn without_variance(formula: &Formula, node: usize) -> Vec<usize> {
    let uses = program::last_uses(formula, node);
    let mut found: Vec<usize> = formula
        .nodes()
        .iter()
        .zip(&uses)
        .filter(|(_, last)| last.is_some())
        .filter_map(|(node, _)| match node.operation {
            Operation::Input(input) => Some(input),
            _ => None,
        })
        .filter(|input| {
            let input = &formula.inputs()[*input];
            matches!(input.distribution, Distribution::StudentT { scale } if scale > 0.0)
                && input.degrees_of_freedom <= 2.0
        })
        .collect();
    found.sort_unstable();
    found.dedup();
    found
}
