//! Determinations of samples by a method: what was done becomes the formula.

mod conversion;
mod evaluate;
mod findings;
mod outcome;
mod portion;
mod sheet;
mod solution;

pub use evaluate::{Parents, evaluate};
pub use findings::judge;
pub use outcome::{
    Assay, AssayRun, BelowZero, Conformity, Reported, SampleOutcome, TitrationOutcome,
};
pub use sheet::{AssaySheet, Limits, SampleKind, SampleSpec, Solution};
