//! From a sheet to a concentration with its uncertainty.

mod outcome;
mod scatter;

pub use outcome::{BuretteFacts, Evaluation, Factor, Run, RunStatus};
pub use scatter::{
    ASSUMED_DEGREES_OF_FREEDOM, ASSUMED_END_POINT_SCATTER, Earlier, Scatter, ScatterRule,
};
