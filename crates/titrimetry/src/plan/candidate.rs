//! A candidate: one way to do the determination, and the bench sheet it would make.

use super::PlanError;
use super::case::{Case, Opposite, written};
use super::shelf::Glass;
use crate::evaluation::{Evaluation, evaluate};
use crate::layout::Layout;
use crate::sheet::{
    Apparatus, Concentration, Dilution, Dissolved, EndPointSpec, Known, Place, RunKind, RunSpec,
    Sheet, Sought, Stated, Written,
};

/// One way to do the determination.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// The burette.
    pub burette: Glass,
    /// Nominal strength of the titrant.
    pub strength: Written<Concentration>,
    /// What goes into the flask.
    pub dose: Dose,
    /// Runs that count.
    pub runs: u32,
    /// Where the seen end is expected, if it was predicted.
    pub end_point: Option<EndPointSpec>,
}

/// What goes into the flask for one run.
#[derive(Clone, Debug, PartialEq)]
pub enum Dose {
    /// The standard, weighed for each run.
    Weighed {
        /// Mass, g.
        mass_g: f64,
    },
    /// An aliquot of a standard solution that was weighed once and made up.
    MadeUp {
        /// Mass, g.
        mass_g: f64,
        /// The flask it is made up in.
        flask: Glass,
        /// The pipette of each run.
        pipette: Glass,
    },
    /// An aliquot of the sample.
    Pipetted {
        /// Dilutions beforehand: pipette and flask.
        diluted: Vec<(Glass, Glass)>,
        /// The pipette of each run.
        pipette: Glass,
    },
}

impl Dose {
    /// Mass to weigh, g.
    pub fn mass_g(&self) -> Option<f64> {
        match self {
            Self::Weighed { mass_g } | Self::MadeUp { mass_g, .. } => Some(*mass_g),
            Self::Pipetted { .. } => None,
        }
    }

    /// The same way with another mass.
    #[must_use]
    pub(super) fn with_mass(&self, mass: f64) -> Self {
        let mut other = self.clone();
        if let Self::Weighed { mass_g } | Self::MadeUp { mass_g, .. } = &mut other {
            *mass_g = mass;
        }
        other
    }

    /// The aliquot of each run, mL.
    pub fn aliquot_ml(&self) -> Option<f64> {
        match self {
            Self::Weighed { .. } => None,
            Self::MadeUp { pipette, .. } | Self::Pipetted { pipette, .. } => {
                Some(pipette.nominal_ml)
            }
        }
    }
}

impl Candidate {
    /// The bench sheet with one run for each titre in mL; without titres, with empty runs ready to be filled in.
    pub fn sheet(&self, case: &Case, titres: &[f64]) -> Sheet {
        let wishes = &case.wishes;
        let (sought, known) = self.sides(case);
        let place = match case.layout() {
            Layout::SoughtInBurette => Place::Burette,
            Layout::SoughtInFlask => Place::Flask,
        };
        let diluted = match &self.dose {
            Dose::Pipetted { diluted, .. } => diluted
                .iter()
                .map(|(take, to)| Dilution {
                    take: take.spec.clone(),
                    to: to.spec.clone(),
                })
                .collect(),
            _ => Vec::new(),
        };
        let pipette = match &self.dose {
            Dose::Weighed { .. } => None,
            Dose::MadeUp { pipette, .. } | Dose::Pipetted { pipette, .. } => {
                Some(pipette.spec.clone())
            }
        };
        Sheet {
            title: case.title.clone(),
            analyst: None,
            date: None,
            sought: Sought {
                substance: sought,
                place,
                nominal: (place == Place::Burette).then(|| self.strength.clone()),
                earlier: None,
                bottle: match place {
                    Place::Burette => wishes.titrant.bottle.clone(),
                    Place::Flask => None,
                },
                diluted,
            },
            known,
            reaction: wishes.reaction.clone(),
            apparatus: Apparatus {
                burette: self.burette.spec.clone(),
                read_to: wishes.shelf.read_to.clone(),
                pipette,
                balance: self.dose.mass_g().map(|_| case.cupboard.balance.clone()),
            },
            conditions: wishes.conditions.clone(),
            indicator: wishes.indicator.clone(),
            end_point: self.end_point.clone(),
            repeatability: wishes.repeatability.clone(),
            rules: wishes.rules.clone(),
            coverage: wishes.coverage.clone(),
            run: self.run_specs(case, titres),
        }
    }

    /// Name of the sought substance, and the known side.
    fn sides(&self, case: &Case) -> (String, Known) {
        let empty = |substance: String| Known {
            substance,
            purity: None,
            concentration: None,
            sheet: None,
            dissolved: None,
            density: None,
            bottle: None,
        };
        match &case.opposite {
            Opposite::Standard { purity } => {
                let dissolved = match &self.dose {
                    Dose::MadeUp { mass_g, flask, .. } => Some(Dissolved {
                        mass: Some(case.mass(*mass_g)),
                        gross: None,
                        tare: None,
                        flask: flask.spec.clone(),
                    }),
                    _ => None,
                };
                let known = Known {
                    purity: Some(purity.clone()),
                    dissolved,
                    bottle: case.wishes.standard.as_ref().and_then(|s| s.bottle.clone()),
                    ..empty(case.flask.name.clone())
                };
                (case.titrant.name.clone(), known)
            }
            Opposite::Sample { titrant, .. } => {
                let known = Known {
                    concentration: Some(rescaled(titrant, &self.strength)),
                    bottle: case.wishes.titrant.bottle.clone(),
                    ..empty(case.titrant.name.clone())
                };
                (case.flask.name.clone(), known)
            }
        }
    }

    fn run_specs(&self, case: &Case, titres: &[f64]) -> Vec<RunSpec> {
        let mass = match &self.dose {
            Dose::Weighed { mass_g } => Some(case.mass(*mass_g)),
            _ => None,
        };
        let ml = |value: f64, decimals| written(value, decimals, "mL");
        let mut runs: Vec<RunSpec> = titres
            .iter()
            .map(|titre| RunSpec {
                mass: mass.clone(),
                initial: Some(ml(0.0, 2)),
                // More digits than anyone reads, so that the expectation is not rounded.
                final_reading: Some(ml(*titre, 5)),
                ..RunSpec::default()
            })
            .collect();
        if let Some(blank) = &case.wishes.run.blank {
            runs.push(RunSpec {
                kind: RunKind::Blank,
                initial: Some(ml(0.0, 2)),
                final_reading: Some(blank.clone()),
                ..RunSpec::default()
            });
        }
        runs
    }

    /// Evaluates the sheet with these titres.
    pub(super) fn evaluate(&self, case: &Case, titres: &[f64]) -> Result<Evaluation, PlanError> {
        Ok(evaluate(&self.sheet(case, titres), None)?)
    }

    /// Titrant that is not used by the reaction, mL: the blank, and what lies past the equivalence point.
    pub(super) fn beside_the_reaction(&self, case: &Case) -> f64 {
        let blank = case.wishes.run.blank.as_ref().map_or(0.0, Written::value);
        let late = self
            .end_point
            .as_ref()
            .map_or(0.0, |e| e.late.value.value());
        blank + late
    }

    /// The concentration that is expected as the result, mol/L.
    pub(super) fn expected_result(&self, case: &Case) -> f64 {
        match &case.opposite {
            Opposite::Standard { .. } => self.strength.value(),
            Opposite::Sample { expected, .. } => *expected,
        }
    }

    /// Titre that gives the expected result, mL, by the evaluation itself.
    pub(super) fn titre(&self, case: &Case) -> Result<f64, PlanError> {
        let beside = self.beside_the_reaction(case);
        let trial = beside + 0.5 * (self.burette.nominal_ml - beside);
        let found = self.evaluate(case, &[trial])?.concentration();
        let wanted = self.expected_result(case);
        // The result is proportional to the net titre or to its reciprocal.
        let ratio = match case.layout() {
            Layout::SoughtInBurette => found / wanted,
            Layout::SoughtInFlask => wanted / found,
        };
        Ok(beside + (trial - beside) * ratio)
    }

    /// The same candidate with the mass that gives this titre; a pipetted dose is left as it is.
    pub(super) fn weighed_for(&self, case: &Case, titre: f64) -> Result<Self, PlanError> {
        let Some(mass) = self.dose.mass_g() else {
            return Ok(self.clone());
        };
        let found = self.evaluate(case, &[titre])?.concentration();
        Ok(Self {
            dose: self
                .dose
                .with_mass(mass * self.expected_result(case) / found),
            ..self.clone()
        })
    }
}

impl Case {
    /// A mass as the balance shows it.
    pub(super) fn mass(&self, mass_g: f64) -> Written<crate::sheet::Mass> {
        let step = self.cupboard.readability_g();
        let decimals = (-step.log10()).ceil().clamp(0.0, 6.0) as usize;
        written(mass_g, decimals, "g")
    }
}

/// A stated concentration with another value and the same relative uncertainty.
fn rescaled(
    stated: &Stated<Concentration>,
    strength: &Written<Concentration>,
) -> Stated<Concentration> {
    let value = strength.value();
    let ratio = value / stated.value.value();
    if (ratio - 1.0).abs() < 1e-12 {
        return stated.clone();
    }
    let scale = |w: &Option<Written<Concentration>>| {
        w.as_ref().map(|w| written(w.value() * ratio, 9, "mol/L"))
    };
    Stated {
        value: strength.clone(),
        expanded: scale(&stated.expanded),
        standard: scale(&stated.standard),
        within: scale(&stated.within),
        ..stated.clone()
    }
}
