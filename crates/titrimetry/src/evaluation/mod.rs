//! From a sheet to a concentration with its uncertainty.

pub(crate) mod apparatus;
mod dilution;
pub(crate) mod end_point;
pub(crate) mod equipment;
mod evaluate;
mod known;
mod outcome;
mod scatter;
pub(crate) mod stated;
pub(crate) mod stoichiometry;

pub use evaluate::evaluate;
pub(crate) use evaluate::{built, coverage_of, earlier_scatter, named_runs, status_of, value_of};
pub use outcome::{Before, BuretteFacts, Evaluation, Factor, Run, RunStatus};
pub use scatter::{
    ASSUMED_DEGREES_OF_FREEDOM, ASSUMED_END_POINT_SCATTER, DIFFERS_BELOW, Earlier, Scatter,
    ScatterRule,
};
