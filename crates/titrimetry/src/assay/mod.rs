//! Determinations of samples by a method: what was done becomes the formula.

mod against;
mod agreement;
mod amounts;
mod conversion;
mod evaluate;
mod expansion;
mod findings;
mod outcome;
mod portion;
mod recheck;
mod runs;
mod sheet;
mod solution;
mod what_if;
mod work;

pub use evaluate::{Parents, evaluate};
pub use findings::judge;
pub use outcome::{
    Assay, AssayRun, BelowZero, Conformity, DecisionRule, Recheck, Reported, SampleOutcome,
    TitrationOutcome,
};
pub use sheet::{AssaySheet, Limits, RecheckSpec, SampleKind, SampleSpec, Solution};
pub use what_if::what_if;
