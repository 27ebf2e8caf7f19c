//! What an evaluation yields.

use super::scatter::Scatter;
use crate::layout::Layout;
use crate::sheet::{RunKind, Sheet};
use metrology::coverage::Expanded;
use metrology::{Budget, Formula};

/// A determination with everything that was computed from it.
///
/// The concentration, its uncertainty, the working and every what-if are readers of `formula`.
#[derive(Clone, Debug)]
pub struct Evaluation {
    /// The sheet it rests on.
    pub sheet: Sheet,
    /// Starts the ids of the inputs that belong to this determination alone.
    pub determination: String,
    /// What is in the burette.
    pub layout: Layout,
    /// The reaction as balanced text.
    pub reaction: String,
    /// Amount of the sought substance per amount of the known one.
    pub ratio: f64,
    /// The burette.
    pub burette: BuretteFacts,
    /// The runs, in the order of the sheet.
    pub runs: Vec<Run>,
    /// Mean titre of the blanks at 20 degC, in mL, if there were any.
    pub blank: Option<f64>,
    /// The formula of the concentration, in mol/L.
    pub formula: Formula,
    /// First-order budget of the concentration, in mol/L.
    pub budget: Budget,
    /// The reported interval, in mol/L.
    pub expanded: Expanded,
    /// Concentration over nominal, if a nominal concentration is given.
    pub factor: Option<Factor>,
    /// What the solution was found to be before, if the sheet says it.
    pub before: Option<Before>,
    /// How the runs scatter, and which scatter the result carries.
    pub scatter: Scatter,
    /// Relative change of the result per mL of error in the titre of every run (negative: the result falls when a
    /// titre reads high). Read off the formula, so its sign follows from the layout.
    pub effect_per_ml: f64,
    /// Name of the set of atomic weights, if a molar mass was used.
    pub atomic_weights: Option<String>,
    /// What was assumed because the sheet does not say it.
    pub assumptions: Vec<String>,
}

/// What the findings need to know about the burette.
#[derive(Clone, Debug, PartialEq)]
pub struct BuretteFacts {
    /// How it is called.
    pub name: String,
    /// Nominal capacity in mL.
    pub capacity: f64,
    /// Smallest division in mL.
    pub graduation: f64,
    /// True if it has a calibration of its own.
    pub calibrated: bool,
}

/// One run after evaluation.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// Index in the sheet.
    pub index: usize,
    /// Name as people refer to it.
    pub name: String,
    /// Scope of the inputs that belong to it, in the formula.
    pub key: String,
    /// Its kind.
    pub kind: RunKind,
    /// Whether it counts, and if not, why.
    pub status: RunStatus,
    /// Titre as read: final minus initial over all fills, in mL.
    pub titre: f64,
    /// Decimals with which the titre is shown.
    pub titre_decimals: usize,
    /// Volume at 20 degC with all corrections, blank not subtracted, in mL.
    pub volume: f64,
    /// Concentration from this run alone, in mol/L; blanks have none.
    pub concentration: Option<f64>,
    /// Standard uncertainty of that concentration from effects of this run alone (readings, weighing), in mol/L.
    pub apparatus_uncertainty: Option<f64>,
    /// Titre that this run would have had if its concentration were the mean of those that count, in mL; compares
    /// runs with different masses.
    pub expected_titre: Option<f64>,
}

impl Run {
    /// True if the run is part of the mean.
    pub fn counts(&self) -> bool {
        self.status == RunStatus::Counts
    }
}

/// Whether a run is part of the mean.
#[derive(Clone, Debug, PartialEq)]
pub enum RunStatus {
    /// Part of the mean.
    Counts,
    /// Finds the region; not part of the mean.
    Rough,
    /// Subtracted from the others.
    Blank,
    /// Set aside by a person, who gave this reason.
    SetAside(String),
}

/// Concentration over nominal.
#[derive(Clone, Debug, PartialEq)]
pub struct Factor {
    /// The nominal concentration in mol/L.
    pub nominal: f64,
    /// The nominal concentration as written.
    pub nominal_written: String,
    /// The factor.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Its expanded uncertainty, with the result's coverage factor.
    pub expanded_uncertainty: f64,
}

/// An earlier result for the same solution.
#[derive(Clone, Debug, PartialEq)]
pub struct Before {
    /// Concentration in mol/L.
    pub value: f64,
    /// Its standard uncertainty in mol/L.
    pub standard_uncertainty: f64,
    /// As written.
    pub written: String,
    /// The document that states it.
    pub certificate: Option<String>,
}

impl Evaluation {
    /// Identity of the input that carries the scatter of the runs, where the rule makes one.
    pub fn repeatability_id(&self) -> String {
        format!("{}/repeatability", self.determination)
    }

    /// The concentration in mol/L.
    pub fn concentration(&self) -> f64 {
        self.budget.value
    }

    /// The runs that are part of the mean.
    pub fn counting(&self) -> impl Iterator<Item = &Run> {
        self.runs.iter().filter(|run| run.counts())
    }

    /// Relative change of the result if every titre that counts read `millilitres` too high.
    pub fn effect_of_titre(&self, millilitres: f64) -> f64 {
        self.effect_per_ml * millilitres
    }
}
