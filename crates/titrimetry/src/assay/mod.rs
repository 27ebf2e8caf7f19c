//! Determinations of samples by a method: what was done becomes the formula.

mod addition;
mod against;
mod agreement;
mod amounts;
mod conversion;
mod corrections;
mod drawing;
mod end_points;
mod evaluate;
mod expansion;
mod findings;
mod outcome;
mod patterns;
mod portion;
mod recheck;
mod runs;
mod sheet;
mod slots;
mod solution;
mod what_if;
mod work;

pub use evaluate::{Parents, evaluate, evaluate_briefly};
pub use findings::{Agreement, agreement, judge, with_one_more_run};
pub use outcome::{
    Addition, Assay, AssayRun, BelowZero, Conformity, DecisionRule, Point, Recheck, Reported,
    SampleOutcome, TitrationOutcome,
};
pub use patterns::Patterns;
pub use sheet::{AssaySheet, EndPoints, Limits, RecheckSpec, SampleKind, SampleSpec, Solution};
pub use what_if::what_if;
