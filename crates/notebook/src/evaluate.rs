//! The evaluation of a determination of the record: the same evaluation as that of a bench sheet file.

use crate::node::Node;
use crate::payload::{Evaluated, Plan, RunScatter, Stated};
use crate::sheet::{BenchSheet, SheetMissing, begun_only, bench_sheet, finished_only, parents};
use crate::state::{Determination, World};
use std::borrow::Cow;
use std::collections::HashMap;
use std::sync::Arc;
use thiserror::Error;
use titrimetry::assay::{self, Assay, Patterns, Reported};
use titrimetry::evaluation;
use titrimetry::finding::{Finding, Severity};
use titrimetry::rule_profile;
use titrimetry::sheet::Rules;
use titrimetry::{Evaluation, RuleProfile, SheetError, judge};

/// Program and version, as it stands beside what was computed.
pub const PROGRAM: &str = concat!("halfdrop ", env!("CARGO_PKG_VERSION"));

/// Most determinations that may rest on one another.
pub const MAX_DEPTH: usize = 16;

/// Why a determination cannot be evaluated.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum EvaluateError {
    /// It is not in the record.
    #[error("{0} is not in the record")]
    Missing(Node),
    /// Something that its sheet needs is not there.
    #[error("{determination}: {missing}")]
    Sheet {
        /// The determination.
        determination: Node,
        /// What is missing.
        missing: SheetMissing,
    },
    /// The evaluation refuses the sheet.
    #[error("{determination}: {error}")]
    Evaluation {
        /// The determination.
        determination: Node,
        /// Why.
        error: SheetError,
    },
    /// Determinations rest on one another in a ring, or on too many.
    #[error("{0} rests on itself, or on more than {MAX_DEPTH} determinations in a row")]
    Depth(Node),
}

/// A determination with everything that was computed from it.
#[derive(Clone, Debug)]
pub enum Outcome {
    /// Of a standardization.
    Standardization {
        /// The solution.
        solution: Node,
        /// The evaluation.
        evaluation: Arc<Evaluation>,
        /// The rules that judged it.
        profile: RuleProfile,
        /// What was found.
        findings: Vec<Finding>,
    },
    /// Of samples.
    Assay {
        /// The samples, in the order of the sheet.
        samples: Vec<Node>,
        /// The evaluation.
        assay: Box<Assay>,
        /// The rules that judged it.
        profile: RuleProfile,
        /// What was found.
        findings: Vec<Finding>,
    },
}

/// What an evaluator met, for the next one: another part of the same world, in which nothing changed meanwhile.
#[derive(Debug, Default)]
pub struct Met {
    standardizations: HashMap<Node, Arc<Evaluation>>,
    patterns: Patterns,
}

/// Standardizations that are kept for the next evaluator.
const MOST_MET: usize = 500;

/// Evaluates determinations of one world; those that others rest on are evaluated once.
#[derive(Debug)]
pub struct Evaluator<'w> {
    world: &'w World,
    standardizations: HashMap<Node, Arc<Evaluation>>,
    brief: bool,
    patterns: Option<Patterns>,
}

impl<'w> Evaluator<'w> {
    /// An evaluator for a world.
    pub fn new(world: &'w World) -> Self {
        Self {
            world,
            standardizations: HashMap::new(),
            brief: false,
            patterns: None,
        }
    }

    pub(crate) fn world(&self) -> &'w World {
        self.world
    }

    /// Evaluates what decides and is written down ([`Outcome::evaluated`]), not the further units of a report.
    #[must_use]
    pub fn brief(mut self) -> Self {
        self.brief = true;
        self
    }

    /// Evaluates briefly, and assays of a pattern that was met before by its drawing: for thousands of determinations that are
    /// alike. Only what is written down of an outcome ([`Outcome::evaluated`]) is then to be used.
    #[must_use]
    pub fn with(mut self, met: Met) -> Self {
        self.brief = true;
        self.standardizations = met.standardizations;
        self.patterns = Some(met.patterns);
        self
    }

    /// What was met, for the next evaluator.
    pub fn into_met(mut self) -> Met {
        if self.standardizations.len() > MOST_MET {
            self.standardizations.clear();
        }
        Met {
            standardizations: self.standardizations,
            patterns: self.patterns.unwrap_or_default(),
        }
    }

    /// Evaluates a determination with all that it rests on. Runs that are not finished are left out.
    ///
    /// # Errors
    /// [`EvaluateError`] naming the determination and what is wrong.
    pub fn evaluate(&mut self, node: &Node) -> Result<Outcome, EvaluateError> {
        self.outcome(node, finished_only)
    }

    /// Evaluates a determination as far as it is: samples of an open one that have no run in each titration yet are left
    /// out.
    ///
    /// # Errors
    /// [`EvaluateError`] naming the determination and what is wrong.
    pub fn so_far(&mut self, node: &Node) -> Result<Outcome, EvaluateError> {
        let world = self.world;
        self.outcome(node, |determination| begun_only(world, determination))
    }

    fn outcome(
        &mut self,
        node: &Node,
        part: impl Fn(&Determination) -> Cow<'_, Determination>,
    ) -> Result<Outcome, EvaluateError> {
        let determination = self
            .world
            .determination(node)
            .ok_or_else(|| EvaluateError::Missing(node.clone()))?;
        let sheet_error = |missing| EvaluateError::Sheet {
            determination: node.clone(),
            missing,
        };
        let finished = part(determination);
        match bench_sheet(self.world, &finished).map_err(sheet_error)? {
            BenchSheet::Standardization(..) => {
                let evaluation = self.standardization(node, 0)?;
                let profile = self.profile(determination, None).map_err(sheet_error)?;
                let findings = judge(&evaluation, &profile);
                let Plan::Standardization { sought, .. } = &determination.opened.plan else {
                    return Err(EvaluateError::Missing(node.clone()));
                };
                Ok(Outcome::Standardization {
                    solution: sought.clone(),
                    evaluation,
                    profile,
                    findings,
                })
            }
            BenchSheet::Assay(sheet, method) => {
                let mut known = HashMap::new();
                for parent in parents(determination) {
                    known.insert(parent.to_string(), self.standardization(&parent, 1)?);
                }
                let parents = |name: &str| known.get(name).map(|e| &**e);
                let assay = match &mut self.patterns {
                    Some(patterns) => patterns.evaluate(&Arc::new(*sheet), &method, &parents),
                    None if self.brief => assay::evaluate_briefly(&sheet, &method, &parents),
                    None => assay::evaluate(&sheet, &method, &parents),
                };
                let assay = assay.map_err(|error| EvaluateError::Evaluation {
                    determination: node.clone(),
                    error,
                })?;
                let profile = self
                    .profile(determination, method.rules.as_deref())
                    .map_err(sheet_error)?;
                let samples = match &finished.opened.plan {
                    Plan::Assay { samples, .. } => samples.clone(),
                    Plan::Standardization { .. } => Vec::new(),
                };
                let findings = assay::judge(&assay, &profile);
                Ok(Outcome::Assay {
                    samples,
                    assay: Box::new(assay),
                    profile,
                    findings,
                })
            }
        }
    }

    pub(crate) fn standardization(
        &mut self,
        node: &Node,
        depth: usize,
    ) -> Result<Arc<Evaluation>, EvaluateError> {
        if let Some(known) = self.standardizations.get(node) {
            return Ok(Arc::clone(known));
        }
        if depth > MAX_DEPTH {
            return Err(EvaluateError::Depth(node.clone()));
        }
        let determination = self
            .world
            .determination(node)
            .ok_or_else(|| EvaluateError::Missing(node.clone()))?;
        let finished = finished_only(determination);
        let sheet = bench_sheet(self.world, &finished).map_err(|missing| EvaluateError::Sheet {
            determination: node.clone(),
            missing,
        })?;
        let BenchSheet::Standardization(sheet, parent) = sheet else {
            return Err(EvaluateError::Missing(node.clone()));
        };
        let parent = parent
            .map(|parent| self.standardization(&parent, depth + 1))
            .transpose()?;
        let evaluation = evaluation::evaluate(&sheet, parent.as_deref()).map_err(|error| {
            EvaluateError::Evaluation {
                determination: node.clone(),
                error,
            }
        })?;
        let evaluation = Arc::new(evaluation);
        self.standardizations
            .insert(node.clone(), Arc::clone(&evaluation));
        Ok(evaluation)
    }

    /// The rules in force when the determination was opened.
    fn profile(
        &self,
        determination: &Determination,
        of_method: Option<&str>,
    ) -> Result<RuleProfile, SheetMissing> {
        if let Some(node) = &determination.opened.rules {
            return self
                .world
                .rules(node)
                .and_then(|card| card.at(determination.number))
                .cloned()
                .ok_or_else(|| SheetMissing::Node(node.clone()));
        }
        let rules = Rules {
            profile: Some(of_method.unwrap_or(rule_profile::DEFAULT).to_string()),
            file: None,
        };
        RuleProfile::of(&rules, None).map_err(|error| SheetMissing::Reading {
            what: "rules".into(),
            reason: error.to_string(),
        })
    }
}

impl Outcome {
    /// The rules that judged it.
    pub fn profile(&self) -> &RuleProfile {
        match self {
            Self::Standardization { profile, .. } | Self::Assay { profile, .. } => profile,
        }
    }

    /// What was found.
    pub fn findings(&self) -> &[Finding] {
        match self {
            Self::Standardization { findings, .. } | Self::Assay { findings, .. } => findings,
        }
    }

    /// What is written down of it.
    pub fn evaluated(&self) -> Evaluated {
        let findings = self.findings();
        let mut codes: Vec<String> = findings.iter().map(|f| f.code.to_string()).collect();
        let mut usable = findings.iter().all(|f| f.severity != Severity::RuleBroken);
        let (results, scatter) = match self {
            Self::Standardization {
                solution,
                evaluation,
                ..
            } => (
                vec![concentration(solution, evaluation)],
                pooled(std::iter::once(&evaluation.scatter)),
            ),
            Self::Assay { samples, assay, .. } => {
                let mut results = Vec::new();
                for (node, sample) in samples.iter().zip(&assay.samples) {
                    usable &= sample.below_zero.is_empty();
                    if !sample.below_zero.is_empty() {
                        codes.push("below-zero".into());
                    }
                    for (index, reported) in sample.results.iter().enumerate() {
                        let mut stated = of_sample(node, reported);
                        if let Some(conformity) = sample.conformity.as_ref().filter(|_| index == 0)
                        {
                            stated.conformity = Some(conformity.probability);
                            stated.conforms = Some(conformity.accepted);
                            usable &= conformity.accepted;
                        }
                        results.push(stated);
                    }
                }
                let scatters = assay
                    .samples
                    .iter()
                    .flat_map(|s| s.titrations.iter().map(|t| &t.scatter));
                (results, pooled(scatters))
            }
        };
        codes.sort();
        codes.dedup();
        let profile = self.profile();
        Evaluated {
            results,
            usable,
            findings: codes,
            scatter,
            rules: format!("{} {}", profile.name, profile.version),
            program: PROGRAM.into(),
        }
    }
}

fn pooled<'a>(
    scatters: impl Iterator<Item = &'a titrimetry::evaluation::Scatter>,
) -> Vec<RunScatter> {
    scatters
        .filter_map(|scatter| {
            Some(RunScatter {
                relative: scatter.observed?,
                degrees_of_freedom: scatter.runs.checked_sub(1)? as f64,
            })
        })
        .filter(|s| s.degrees_of_freedom > 0.0)
        .collect()
}

fn finite(x: f64) -> Option<f64> {
    x.is_finite().then_some(x)
}

fn concentration(solution: &Node, evaluation: &Evaluation) -> Stated {
    Stated {
        of: solution.clone(),
        name: "concentration".into(),
        expressed_as: Some(evaluation.sheet.sought.substance.clone()),
        unit: "mol/L".into(),
        value: evaluation.budget.value,
        standard_uncertainty: evaluation.budget.standard_uncertainty,
        expanded_uncertainty: evaluation.expanded.expanded_uncertainty,
        coverage_factor: evaluation.expanded.coverage_factor,
        probability: evaluation.expanded.probability,
        degrees_of_freedom: finite(evaluation.budget.effective_degrees_of_freedom),
        conformity: None,
        conforms: None,
    }
}

fn of_sample(sample: &Node, reported: &Reported) -> Stated {
    Stated {
        of: sample.clone(),
        name: reported.name.clone(),
        expressed_as: Some(reported.expressed_as.clone()),
        unit: reported.unit.clone(),
        value: reported.value,
        standard_uncertainty: reported.standard_uncertainty,
        expanded_uncertainty: reported.expanded.expanded_uncertainty,
        coverage_factor: reported.expanded.coverage_factor,
        probability: reported.expanded.probability,
        degrees_of_freedom: finite(reported.budget.effective_degrees_of_freedom),
        conformity: None,
        conforms: None,
    }
}
