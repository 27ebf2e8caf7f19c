//! The JSON document of an assay: a stable format, kept apart from the types of the evaluation.

use super::AssayAccount;
use crate::account::Simulated;
use crate::wire::{MonteCarloDocument, monte_carlo};
use schemars::JsonSchema;
use serde::Serialize;
use titrimetry::assay::{DecisionRule, Reported, SampleOutcome};
use titrimetry::evaluation::RunStatus;

/// The whole document; numbers are unrounded.
#[derive(Debug, Serialize, JsonSchema)]
pub struct AssayDocument {
    /// Name and version of the format.
    pub format: &'static str,
    /// Title of the sheet.
    pub title: String,
    /// Name of the method.
    pub method: String,
    /// Version of the method.
    pub method_version: String,
    /// Name and version of the rule profile.
    pub rule_profile: String,
    /// The samples, in the order of the sheet.
    pub samples: Vec<Sample>,
    /// The titrant standardized again between samples.
    pub rechecks: Vec<Recheck>,
    /// What was found.
    pub findings: Vec<serde_json::Value>,
    /// What was assumed.
    pub assumptions: Vec<String>,
    /// Set of atomic weights used.
    pub atomic_weights: Option<String>,
}

/// One sample.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Sample {
    /// Its identity.
    pub id: String,
    /// Its runs.
    pub runs: Vec<Run>,
    /// Its results.
    pub results: Vec<Value>,
    /// Probability that the first result keeps the limits.
    pub probability_of_conformity: Option<f64>,
    /// The decision about the limits.
    pub conformity: Option<Conformity>,
    /// Simulation of the first result, in its unit; null if none was run.
    pub monte_carlo: Option<MonteCarloDocument>,
    /// Zeta score of a check sample.
    pub zeta: Option<f64>,
    /// Analytes of which less than none was found, beyond the uncertainty: the results then do not hold.
    pub below_zero: Vec<BelowZero>,
    /// The line behind the results of a standard addition; null for other kinds.
    pub standard_addition: Option<StandardAddition>,
}

/// The line of a standard addition: the content is its intercept over its slope.
#[derive(Debug, Serialize, JsonSchema)]
pub struct StandardAddition {
    /// Its slope, found per added, in %.
    pub recovery: Value,
    /// The runs that count.
    pub points: Vec<Point>,
}

/// A run of a standard addition.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Point {
    /// Its name.
    pub run: String,
    /// Volume of standard added, in mL.
    pub added_volume: f64,
    /// What was added, in the unit of the first result.
    pub added: f64,
    /// What was found, the addition with it, in the unit of the first result.
    pub found: f64,
    /// How far its titre lies above the line, in mL.
    pub off_the_line: f64,
}

/// An analyte of which less than none was found.
#[derive(Debug, Serialize, JsonSchema)]
pub struct BelowZero {
    /// Its species.
    pub species: String,
    /// Its name.
    pub name: String,
    /// What it means, by the method.
    pub meaning: String,
}

/// One run.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Run {
    /// Its name.
    pub name: String,
    /// Its titration.
    pub titration: String,
    /// counts, rough, blank or set_aside.
    pub status: &'static str,
    /// Why it was set aside.
    pub reason: Option<String>,
    /// Titre to each end point in mL.
    pub titres: Vec<f64>,
    /// First result from this run alone.
    pub value: Option<f64>,
}

/// One reported quantity.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Value {
    /// What it is called.
    pub name: String,
    /// What it is expressed as.
    #[serde(rename = "as")]
    pub expressed_as: String,
    /// Its unit.
    pub unit: String,
    /// The value.
    pub value: f64,
    /// Standard uncertainty.
    pub standard_uncertainty: f64,
    /// Expanded uncertainty.
    pub expanded_uncertainty: f64,
    /// Coverage factor.
    pub coverage_factor: f64,
    /// Coverage probability; null for a fixed factor.
    pub coverage_probability: Option<f64>,
    /// Effective degrees of freedom; null if infinite.
    pub effective_dof: Option<f64>,
    /// The same in further units.
    pub also: Vec<Value>,
    /// The budget.
    pub budget: Vec<Line>,
    /// The stored formula.
    #[schemars(with = "serde_json::Value")]
    pub formula: metrology::Formula,
}

/// The decision about limits, in the unit of the first result.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Conformity {
    /// The limits as written.
    pub limits: String,
    /// Probability that they are kept.
    pub probability: f64,
    /// Decision rule: `probability`, `guard_band` or `guard_factor`.
    pub rule: &'static str,
    /// The probability or factor that the rule names.
    pub rule_value: Option<f64>,
    /// Guard band; null if no result could be accepted.
    pub guard_band: Option<f64>,
    /// Least result that is accepted.
    pub accepted_from: Option<f64>,
    /// Largest result that is accepted.
    pub accepted_to: Option<f64>,
    /// True if this one is.
    pub accepted: bool,
    /// Unit of these numbers: that of the first limit, if the first result's cannot be compared with it.
    pub unit: String,
    /// The first result in this unit.
    pub value: f64,
}

/// The titrant standardized again.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Recheck {
    /// Sample after which it was done.
    pub after: String,
    /// What was found, in mol/L.
    pub concentration: f64,
    /// Relative change against what was counted with.
    pub change: f64,
    /// Relative expanded uncertainty of the change.
    pub expanded_uncertainty: f64,
}

/// One line of a budget.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Line {
    /// Identity of the input.
    pub input: String,
    /// What it is.
    pub description: String,
    /// Heading it is added up under.
    pub group: String,
    /// Its standard uncertainty, in its unit.
    pub standard_uncertainty: f64,
    /// Its unit.
    pub unit: String,
    /// Contribution to the standard uncertainty of the value, with its sign, in the value's unit.
    pub contribution: f64,
    /// Share of the variance.
    pub share: f64,
    /// Where it comes from.
    pub origin: String,
}

impl AssayDocument {
    /// The document of an assay.
    ///
    /// # Errors
    /// None in practice: findings are plain data; the error of the serializer is passed on all the same.
    pub fn of(account: &AssayAccount<'_>) -> Result<Self, serde_json::Error> {
        let assay = account.assay;
        Ok(Self {
            format: "halfdrop.assay/1",
            title: assay.sheet.title.clone(),
            method: assay.method.name.clone(),
            method_version: assay.method.version.clone(),
            rule_profile: format!("{} {}", account.profile.name, account.profile.version),
            samples: assay
                .samples
                .iter()
                .enumerate()
                .map(|(i, s)| sample(s, account.simulated.get(i)))
                .collect(),
            rechecks: assay
                .rechecks
                .iter()
                .map(|r| Recheck {
                    after: r.after.clone(),
                    concentration: r.concentration,
                    change: r.change,
                    expanded_uncertainty: r.expanded,
                })
                .collect(),
            findings: account
                .findings
                .iter()
                .map(serde_json::to_value)
                .collect::<Result<_, _>>()?,
            assumptions: assay.assumptions.clone(),
            atomic_weights: assay.atomic_weights.clone(),
        })
    }

    /// The JSON Schema of the document.
    pub fn schema() -> schemars::Schema {
        schemars::schema_for!(Self)
    }
}

fn conformity(judged: &titrimetry::assay::Conformity) -> Conformity {
    let (rule, rule_value) = match judged.rule {
        DecisionRule::Probability(wanted) => ("probability", Some(wanted)),
        DecisionRule::GuardBand => ("guard_band", None),
        DecisionRule::GuardFactor(factor) => ("guard_factor", Some(factor)),
    };
    Conformity {
        limits: judged.limits.clone(),
        probability: judged.probability,
        rule,
        rule_value,
        guard_band: judged.guard_band,
        accepted_from: judged.acceptance.and_then(|a| a.lower),
        accepted_to: judged.acceptance.and_then(|a| a.upper),
        accepted: judged.accepted,
        unit: judged.unit.clone(),
        value: judged.value,
    }
}

fn sample(sample: &SampleOutcome, simulated: Option<&Simulated>) -> Sample {
    Sample {
        id: sample.spec.id.clone(),
        runs: sample
            .runs
            .iter()
            .map(|run| {
                let (status, reason) = match &run.status {
                    RunStatus::Counts => ("counts", None),
                    RunStatus::Rough => ("rough", None),
                    RunStatus::Blank => ("blank", None),
                    RunStatus::SetAside(reason) => ("set_aside", Some(reason.clone())),
                };
                Run {
                    name: run.name.clone(),
                    titration: run.titration.clone(),
                    status,
                    reason,
                    titres: run.titres.clone(),
                    value: run.value,
                }
            })
            .collect(),
        results: sample.results.iter().map(value).collect(),
        probability_of_conformity: sample.conformity.as_ref().map(|c| c.probability),
        conformity: sample.conformity.as_ref().map(conformity),
        monte_carlo: simulated
            .zip(sample.results.first())
            .map(|(simulated, first)| monte_carlo(simulated, first.factor)),
        zeta: sample.zeta,
        below_zero: sample
            .below_zero
            .iter()
            .map(|b| BelowZero {
                species: b.species.clone(),
                name: b.name.clone(),
                meaning: b.meaning.clone(),
            })
            .collect(),
        standard_addition: sample.addition.as_ref().map(|line| StandardAddition {
            recovery: value(&line.recovery),
            points: line
                .points
                .iter()
                .map(|p| Point {
                    run: p.run.clone(),
                    added_volume: p.volume,
                    added: p.added,
                    found: p.found,
                    off_the_line: p.off,
                })
                .collect(),
        }),
    }
}

fn value(reported: &Reported) -> Value {
    let dof = reported.budget.effective_degrees_of_freedom;
    let inputs = reported.formula.inputs();
    Value {
        name: reported.name.clone(),
        expressed_as: reported.expressed_as.clone(),
        unit: reported.unit.clone(),
        value: reported.value,
        standard_uncertainty: reported.standard_uncertainty,
        expanded_uncertainty: reported.expanded.expanded_uncertainty,
        coverage_factor: reported.expanded.coverage_factor,
        coverage_probability: reported.expanded.probability,
        effective_dof: dof.is_finite().then_some(dof),
        also: reported.also.iter().map(value).collect(),
        budget: reported
            .budget
            .lines
            .iter()
            .map(|line| {
                let input = &inputs[line.input];
                Line {
                    input: input.id.clone(),
                    description: input.description.clone(),
                    group: input.group.clone(),
                    standard_uncertainty: line.standard_uncertainty,
                    unit: input.unit.to_string(),
                    contribution: line.contribution / reported.factor,
                    share: line.share,
                    origin: input.origin.describe(),
                }
            })
            .collect(),
        formula: reported.formula.clone(),
    }
}
