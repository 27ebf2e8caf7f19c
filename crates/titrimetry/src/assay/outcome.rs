//! What the evaluation of an assay sheet yields.

use super::sheet::{AssaySheet, SampleSpec};
use crate::evaluation::{BuretteFacts, RunStatus, Scatter};
use crate::method::Method;
use crate::quantity::ReportUnit;
use metrology::coverage::Expanded;
use metrology::{Budget, Coverage, Formula, expand};
use std::sync::Arc;

/// An assay sheet with everything that was computed from it.
#[derive(Clone, Debug)]
pub struct Assay {
    /// The sheet.
    pub sheet: Arc<AssaySheet>,
    /// The method.
    pub method: Arc<Method>,
    /// The burette.
    pub burette: BuretteFacts,
    /// The samples, in the order of the sheet.
    pub samples: Vec<SampleOutcome>,
    /// Name of the set of atomic weights, if a molar mass was used.
    pub atomic_weights: Option<String>,
    /// What was assumed because the sheet does not say it.
    pub assumptions: Vec<String>,
    /// The titrant standardized again between samples.
    pub rechecks: Vec<Recheck>,
}

/// The titrant standardized again, against what was counted with.
#[derive(Clone, Debug, PartialEq)]
pub struct Recheck {
    /// Identity of the sample after which it was done.
    pub after: String,
    /// The samples since the last time, by index.
    pub samples: Vec<usize>,
    /// What was found, in mol/L.
    pub concentration: f64,
    /// Relative change against what was counted with.
    pub change: f64,
    /// Relative expanded uncertainty of the change; what both standardizations share is no part of it.
    pub expanded: f64,
    /// Relative error of the first result of each of these samples, if the new concentration held for it.
    pub effects: Vec<f64>,
}

impl Recheck {
    /// True if the change is beyond its uncertainty.
    pub fn is_significant(&self) -> bool {
        self.change.abs() > self.expanded
    }
}

/// What was found in one sample.
#[derive(Clone, Debug)]
pub struct SampleOutcome {
    /// As written on the sheet.
    pub spec: SampleSpec,
    /// The runs, in the order of the sheet.
    pub runs: Vec<AssayRun>,
    /// The titrations of the method.
    pub titrations: Vec<TitrationOutcome>,
    /// The results, in the order of the method.
    pub results: Vec<Reported>,
    /// Whether the first result keeps the sample's limits.
    pub conformity: Option<Conformity>,
    /// What the first result is expected to be, in its unit.
    pub expected: Option<f64>,
    /// The first result in the unit of the limits, where its own cannot be compared with it.
    pub(super) limited: Option<Box<Reported>>,
    /// The first result in the unit of what is expected, where its own cannot be compared with it.
    pub(super) compared: Option<Box<Reported>>,
    /// For a check sample: the deviation of the first result from the expected value over its standard uncertainty,
    /// that of the expected value included (zeta score, ISO 13528).
    pub zeta: Option<f64>,
    /// Analytes of which less than none was found, beyond the uncertainty: the results then do not hold.
    pub below_zero: Vec<BelowZero>,
    /// The line behind the result, if a standard was added to portions.
    pub addition: Option<Addition>,
}

/// The line of a standard addition.
#[derive(Clone, Debug)]
pub struct Addition {
    /// Its slope in %: how much of what was added is found.
    pub recovery: Reported,
    /// The runs that count.
    pub points: Vec<Point>,
}

impl Addition {
    /// Largest less smallest addition, in the unit of the first result.
    pub fn span(&self) -> f64 {
        let added = || self.points.iter().map(|p| p.added);
        added().fold(f64::NEG_INFINITY, f64::max) - added().fold(f64::INFINITY, f64::min)
    }
}

/// A run of a standard addition.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Name of the run.
    pub run: String,
    /// Volume of standard added, in mL.
    pub volume: f64,
    /// What was added, in the unit of the first result.
    pub added: f64,
    /// What was found, the addition with it, in the unit of the first result.
    pub found: f64,
    /// How far its titre lies above the line, in mL.
    pub off: f64,
}

/// An analyte of which less than none was found.
#[derive(Clone, Debug, PartialEq)]
pub struct BelowZero {
    /// Its species.
    pub species: String,
    /// Its name.
    pub name: String,
    /// What it means, by the method.
    pub meaning: String,
}

/// One run of a sample.
#[derive(Clone, Debug, PartialEq)]
pub struct AssayRun {
    /// Name as people refer to it.
    pub name: String,
    /// Name of its titration.
    pub titration: String,
    /// Whether it counts, and if not, why.
    pub status: RunStatus,
    /// Titre as read, to each end point, in mL.
    pub titres: Vec<f64>,
    /// Decimals with which titres are shown.
    pub titre_decimals: usize,
    /// Titre that this run would have had if its content were the mean of those that count, in mL; compares runs with
    /// different portions. Blanks have none.
    pub expected_titre: Option<f64>,
    /// The first result from this run alone, in its unit; none where several titrations make one result.
    pub value: Option<f64>,
}

/// How the runs of one titration scatter.
#[derive(Clone, Debug, PartialEq)]
pub struct TitrationOutcome {
    /// Its name.
    pub name: String,
    /// Mean titre of the blank in mL, if there was one.
    pub blank: Option<f64>,
    /// The scatter of the titres, relative.
    pub scatter: Scatter,
    /// Relative change of the first result per mL in every titre of this titration, blanks excepted; read off the
    /// formula, so its sign follows from the method.
    pub effect_per_ml: f64,
}

/// A reported quantity.
#[derive(Clone, Debug)]
pub struct Reported {
    /// What it is called.
    pub name: String,
    /// What it is expressed as.
    pub expressed_as: String,
    /// Unit as the trade writes it.
    pub unit: String,
    /// The formula, in the unit behind the trade's.
    pub formula: Formula,
    /// Its budget, in the unit behind the trade's.
    pub budget: Budget,
    /// How many of the unit behind it one of the trade's is; numbers below are divided by it.
    pub factor: f64,
    /// Value in the trade's unit.
    pub value: f64,
    /// Standard uncertainty in the trade's unit.
    pub standard_uncertainty: f64,
    /// Interval in the trade's unit.
    pub expanded: Expanded,
    /// The same in further units.
    pub also: Vec<Reported>,
}

impl Reported {
    /// The same quantity by another formula of its kind and its budget, without further units.
    pub(super) fn by(&self, formula: Formula, budget: Budget) -> Self {
        let coverage = self.expanded.coverage();
        let mut new = Self {
            name: self.name.clone(),
            expressed_as: self.expressed_as.clone(),
            unit: self.unit.clone(),
            budget,
            formula,
            also: Vec::new(),
            ..*self
        };
        new.reckon(coverage);
        new
    }

    /// The numbers in the trade's unit, from the budget.
    pub(super) fn reckon(&mut self, coverage: Coverage) {
        self.value = self.budget.value / self.factor;
        self.standard_uncertainty = self.budget.standard_uncertainty / self.factor;
        self.expanded = expand(
            self.value,
            self.standard_uncertainty,
            self.budget.effective_degrees_of_freedom,
            coverage,
        );
    }

    /// A written number in the unit of this result; none if it is another quantity, such as a degree of hardness by
    /// another oxide.
    pub(crate) fn number_of(&self, written: &metrology::WrittenQuantity) -> Option<f64> {
        let by = ReportUnit::defining_substance(written.unit.symbol());
        let same = match (by, ReportUnit::defining_substance(&self.unit)) {
            (Some(substance), _) => substance == self.expressed_as,
            (None, defined) => defined.is_none(),
        };
        let behind = self.formula.unit_of(self.formula.result_index());
        let value = written.value_in(&behind).ok().filter(|_| same)?;
        Some(value / self.factor)
    }
}

/// Whether a quantity keeps its limits (JCGM 106); numbers in the unit of the limits.
#[derive(Clone, Debug, PartialEq)]
pub struct Conformity {
    /// The limits as written.
    pub limits: String,
    /// Probability of conformity.
    pub probability: f64,
    /// How it is decided.
    pub rule: DecisionRule,
    /// Guard band; none if no value can be accepted.
    pub guard_band: Option<f64>,
    /// Results that are accepted; none if no value can be.
    pub acceptance: Option<metrology::conformity::Limits>,
    /// True if the decision rule accepts.
    pub accepted: bool,
    /// Unit of the numbers.
    pub unit: String,
    /// The result in this unit.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
}

/// How conformity is decided.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DecisionRule {
    /// At least this probability of conformity.
    Probability(f64),
    /// Within acceptance limits, a stated guard band inside the limits.
    GuardBand,
    /// The same, the guard band so many times the expanded uncertainty.
    GuardFactor(f64),
}
