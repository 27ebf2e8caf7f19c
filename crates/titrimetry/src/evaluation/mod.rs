//! From a sheet to a concentration with its uncertainty.

mod apparatus;
mod evaluate;
mod known;
mod outcome;
mod scatter;
mod stated;
mod stoichiometry;

pub use evaluate::evaluate;
pub use outcome::{BuretteFacts, Evaluation, Factor, Run, RunStatus};
pub use scatter::{
    ASSUMED_DEGREES_OF_FREEDOM, ASSUMED_END_POINT_SCATTER, Earlier, Scatter, ScatterRule,
};
