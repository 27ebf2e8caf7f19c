//! The JSON document of an evaluation, `halfdrop.evaluation/1`.
//!
//! These types are a promise to whoever reads the output: fields are added, never renamed, removed or given another
//! meaning without a new version in `format`. Numbers are not rounded. The schema is shipped as
//! `docs/schema/evaluation.schema.json`.

use crate::account::Account;
use crate::lines::clean;
use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema};
use serde::Serialize;
use titrimetry::evaluation::{RunStatus, ScatterRule};
use titrimetry::finding::{Cause, Likelihood, Severity, Size};
use titrimetry::sheet::{RunKind, Sheet};

/// Name and version of the format.
pub const FORMAT: &str = "halfdrop.evaluation/1";

/// An evaluation with everything that was judged about it.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct EvaluationDocument {
    /// Always "halfdrop.evaluation/1".
    pub format: &'static str,
    /// What the determination is called.
    pub title: String,
    /// Whether a rule of the profile is broken.
    pub verdict: Verdict,
    /// The concentration.
    pub result: ResultDocument,
    /// Concentration over nominal; null if no nominal concentration is given.
    pub factor: Option<FactorDocument>,
    /// The reaction and where the two solutions were.
    pub stoichiometry: Stoichiometry,
    /// The runs in the order of the sheet.
    pub runs: Vec<RunDocument>,
    /// Mean volume of the blanks, in mL; null without blanks.
    pub blank: Option<f64>,
    /// Scatter from run to run.
    pub scatter: ScatterDocument,
    /// One line for each input that has an uncertainty.
    pub budget: Vec<BudgetLineDocument>,
    /// The budget added up by group, largest first.
    pub budget_by_group: Vec<GroupDocument>,
    /// What was found, weightiest first.
    pub findings: Vec<FindingDocument>,
    /// The simulation of the same formula; null if none was asked for.
    pub monte_carlo: Option<MonteCarloDocument>,
    /// What would make the result better.
    pub advice: Vec<AdviceDocument>,
    /// What was assumed because the sheet does not say it.
    pub assumptions: Vec<String>,
    /// Name of the set of atomic weights; null if no molar mass was used.
    pub atomic_weights: Option<String>,
    /// The formula of the result: inputs, steps, declared correlations. Every number above is read off it.
    pub formula: serde_json::Value,
    /// The sheet as it was read.
    pub sheet: Sheet,
}

/// The verdict of the rule profile.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Verdict {
    /// True if no rule of the profile is broken.
    pub usable: bool,
    /// How many rules are broken.
    pub rules_broken: usize,
    /// Name of the profile.
    pub profile: String,
    /// Its version.
    pub profile_version: String,
}

/// The concentration with its uncertainty.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ResultDocument {
    /// The value.
    pub value: f64,
    /// Unit of the value, the uncertainties and the interval.
    pub unit: String,
    /// Standard uncertainty.
    pub standard_uncertainty: f64,
    /// Expanded uncertainty.
    pub expanded_uncertainty: f64,
    /// Coverage factor.
    pub coverage_factor: f64,
    /// Coverage probability; null if the factor was fixed.
    pub coverage_probability: Option<f64>,
    /// Effective degrees of freedom; null if infinite.
    pub effective_dof: Option<f64>,
    /// The value less the expanded uncertainty.
    pub lower: f64,
    /// The value plus the expanded uncertainty.
    pub upper: f64,
}

/// Concentration over nominal.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct FactorDocument {
    /// The factor.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Its expanded uncertainty, with the coverage factor of the result.
    pub expanded_uncertainty: f64,
    /// The nominal concentration in mol/L.
    pub nominal: f64,
}

/// The reaction and the layout.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Stoichiometry {
    /// The balanced reaction.
    pub reaction: String,
    /// Amount of the sought substance per amount of the known one.
    pub ratio: f64,
    /// "sought_in_burette" or "sought_in_flask".
    pub layout: &'static str,
}

/// One run.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct RunDocument {
    /// Name as people refer to it.
    pub name: String,
    /// "rough", "replicate" or "blank".
    pub kind: &'static str,
    /// True if it is part of the mean.
    pub counts: bool,
    /// Why it was set aside; null if it was not.
    pub set_aside: Option<String>,
    /// Titre as read, in mL.
    pub titre: f64,
    /// Decimals of the titre as read.
    pub titre_decimals: usize,
    /// Titrant volume at 20 degC with all corrections, blank not subtracted, in mL.
    pub volume: f64,
    /// Concentration from this run alone, in mol/L; null for a blank.
    pub concentration: Option<f64>,
    /// Standard uncertainty of that from the run's own readings and weighings, in mol/L; null for a blank.
    pub apparatus_uncertainty: Option<f64>,
}

/// Scatter from run to run, as relative standard deviations of one run.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ScatterDocument {
    /// Runs that count.
    pub runs: usize,
    /// What this set shows; null with one run.
    pub observed: Option<f64>,
    /// What readings and weighings alone predict.
    pub predicted: f64,
    /// What earlier work gives, or what was assumed in its place.
    pub earlier: f64,
    /// Degrees of freedom of that.
    pub earlier_dof: f64,
    /// Where that comes from.
    pub earlier_source: String,
    /// True if the sheet gives it, false if it was assumed.
    pub earlier_given: bool,
    /// What the result carries.
    pub used: f64,
    /// Degrees of freedom of that; null if infinite.
    pub used_dof: Option<f64>,
    /// "apparatus" or "pooled".
    pub rule: &'static str,
    /// The rule in words.
    pub words: String,
}

/// One line of the budget.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct BudgetLineDocument {
    /// Identity of the input.
    pub input: String,
    /// Its symbol in the working.
    pub symbol: String,
    /// What it is.
    pub description: String,
    /// Its value.
    pub value: f64,
    /// Unit of the value and of its standard uncertainty.
    pub unit: String,
    /// Shape of its distribution.
    pub distribution: &'static str,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Degrees of freedom of that; null if infinite.
    pub degrees_of_freedom: Option<f64>,
    /// Change of the result for one unit of the input.
    pub sensitivity: f64,
    /// Sensitivity times standard uncertainty, in the unit of the result.
    pub contribution: f64,
    /// Share of the variance, 0 to 1.
    pub share: f64,
    /// Where it comes from.
    pub origin: String,
    /// "shared" by all runs, or "run" of one.
    pub scope: &'static str,
    /// The run it belongs to; null if shared.
    pub run: Option<String>,
    /// Heading under which the budget adds it up.
    pub group: String,
}

/// One group of the budget.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct GroupDocument {
    /// Heading.
    pub group: String,
    /// Share of the variance, 0 to 1.
    pub share: f64,
}

/// One finding.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct FindingDocument {
    /// Stable code.
    pub code: String,
    /// "rule_broken", "doubt" or "note".
    pub severity: &'static str,
    /// What was seen and what it may mean.
    pub message: String,
    /// The cheapest next step.
    pub next_step: String,
    /// The runs meant, by name.
    pub runs: Vec<String>,
    /// How big it is; null if it has no size.
    pub size: Option<SizeDocument>,
    /// Relative change of the result that it would explain, positive if the result reads high; null if unknown.
    pub effect: Option<f64>,
    /// What may have caused it, the likely ones first; empty where nothing was reckoned.
    pub causes: Vec<CauseDocument>,
}

/// A suspected cause, reckoned for the case at hand.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct CauseDocument {
    /// Stable code.
    pub code: String,
    /// "likely", "too_little" or "wrong_way".
    pub likelihood: &'static str,
    /// What it would do here, and how much of it would be needed.
    pub message: String,
    /// The cheapest look at it; empty unless it is likely.
    pub next_step: String,
    /// Relative change of the result that its usual size makes here, positive if the result reads high.
    pub effect: f64,
    /// How much of it would make what is seen; null if it goes the wrong way.
    pub needed: Option<SizeDocument>,
}

/// How big a finding is.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct SizeDocument {
    /// The number.
    pub value: f64,
    /// Its unit.
    pub unit: String,
}

/// The simulation.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct MonteCarloDocument {
    /// Trials run.
    pub trials: usize,
    /// Trials without a finite value, left out of the rest.
    pub failed: usize,
    /// Seed; the same seed gives the same bits.
    pub seed: u64,
    /// Average.
    pub mean: f64,
    /// Standard deviation.
    pub standard_uncertainty: f64,
    /// Coverage probability of the intervals.
    pub coverage_probability: f64,
    /// Interval with equal probabilities below and above it.
    pub symmetric: IntervalDocument,
    /// The shortest interval.
    pub shortest: IntervalDocument,
    /// True if first-order propagation is confirmed to two digits of the standard uncertainty (JCGM 101, 8.1).
    pub validated: bool,
    /// False if more trials could turn that verdict.
    pub settled: bool,
    /// The tolerance of the comparison, in the unit of the result.
    pub tolerance: f64,
}

/// An interval in the unit of the result.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct IntervalDocument {
    /// Lower end.
    pub lower: f64,
    /// Upper end.
    pub upper: f64,
}

/// What would make the result better, and by how much.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct AdviceDocument {
    /// What to do.
    pub action: String,
    /// Expanded uncertainty now, in the unit of the result.
    pub expanded_before: f64,
    /// Expanded uncertainty after it.
    pub expanded_after: f64,
}

impl EvaluationDocument {
    /// The document of an account.
    ///
    /// # Errors
    /// If the formula cannot be written as JSON, which a number that is not finite would cause.
    pub fn of(account: &Account<'_>) -> Result<Self, serde_json::Error> {
        let evaluation = account.evaluation;
        let budget = &evaluation.budget;
        let expanded = &evaluation.expanded;
        Ok(Self {
            format: FORMAT,
            title: evaluation.sheet.title.clone(),
            verdict: Verdict {
                usable: account.rules_broken() == 0,
                rules_broken: account.rules_broken(),
                profile: account.profile.name.clone(),
                profile_version: account.profile.version.clone(),
            },
            result: ResultDocument {
                value: budget.value,
                unit: budget.unit.symbol().to_string(),
                standard_uncertainty: budget.standard_uncertainty,
                expanded_uncertainty: expanded.expanded_uncertainty,
                coverage_factor: expanded.coverage_factor,
                coverage_probability: expanded.probability,
                effective_dof: finite(budget.effective_degrees_of_freedom),
                lower: expanded.lower,
                upper: expanded.upper,
            },
            factor: evaluation.factor.as_ref().map(|factor| FactorDocument {
                value: factor.value,
                standard_uncertainty: factor.standard_uncertainty,
                expanded_uncertainty: factor.expanded_uncertainty,
                nominal: factor.nominal,
            }),
            stoichiometry: Stoichiometry {
                reaction: evaluation.reaction.clone(),
                ratio: evaluation.ratio,
                layout: match evaluation.layout {
                    titrimetry::Layout::SoughtInBurette => "sought_in_burette",
                    titrimetry::Layout::SoughtInFlask => "sought_in_flask",
                },
            },
            runs: evaluation.runs.iter().map(run).collect(),
            blank: evaluation.blank,
            scatter: scatter(&evaluation.scatter),
            budget: budget_lines(account),
            budget_by_group: crate::shares_by_group(&evaluation.formula, budget)
                .into_iter()
                .map(|group| GroupDocument {
                    group: group.group,
                    share: group.share,
                })
                .collect(),
            findings: account
                .findings_by_weight()
                .into_iter()
                .map(finding)
                .collect(),
            monte_carlo: account.simulated.map(|s| monte_carlo(s, 1.0)),
            advice: account
                .advice
                .iter()
                .map(|advice| AdviceDocument {
                    action: advice.action.clone(),
                    expanded_before: advice.expanded_before,
                    expanded_after: advice.expanded_after,
                })
                .collect(),
            assumptions: evaluation.assumptions.clone(),
            atomic_weights: evaluation.atomic_weights.clone(),
            formula: serde_json::to_value(&evaluation.formula)?,
            sheet: evaluation.sheet.clone(),
        })
    }

    /// The JSON Schema of the document (draft 2020-12).
    pub fn schema() -> Schema {
        SchemaSettings::draft2020_12()
            .for_serialize()
            .into_generator()
            .into_root_schema_for::<Self>()
    }
}

/// JSON has no infinity.
fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

fn run(run: &titrimetry::evaluation::Run) -> RunDocument {
    RunDocument {
        name: clean(&run.name),
        kind: match run.kind {
            RunKind::Rough => "rough",
            RunKind::Replicate => "replicate",
            RunKind::Blank => "blank",
        },
        counts: run.counts(),
        set_aside: match &run.status {
            RunStatus::SetAside(reason) => Some(reason.clone()),
            _ => None,
        },
        titre: run.titre,
        titre_decimals: run.titre_decimals,
        volume: run.volume,
        concentration: run.concentration,
        apparatus_uncertainty: run.apparatus_uncertainty,
    }
}

fn scatter(scatter: &titrimetry::evaluation::Scatter) -> ScatterDocument {
    ScatterDocument {
        runs: scatter.runs,
        observed: scatter.observed,
        predicted: scatter.predicted,
        earlier: scatter.earlier.relative,
        earlier_dof: scatter.earlier.degrees_of_freedom,
        earlier_source: scatter.earlier.source.clone(),
        earlier_given: scatter.earlier.given,
        used: scatter.used,
        used_dof: finite(scatter.degrees_of_freedom),
        rule: match scatter.rule {
            ScatterRule::Apparatus => "apparatus",
            ScatterRule::Pooled => "pooled",
            ScatterRule::ThisSet => "this_set",
        },
        words: scatter.describe(),
    }
}

fn budget_lines(account: &Account<'_>) -> Vec<BudgetLineDocument> {
    let formula = &account.evaluation.formula;
    account
        .evaluation
        .budget
        .lines
        .iter()
        .map(|line| {
            let input = &formula.inputs()[line.input];
            let (scope, run) = match &input.scope {
                metrology::Scope::Shared => ("shared", None),
                metrology::Scope::Run(run) => ("run", Some(run.clone())),
            };
            BudgetLineDocument {
                input: input.id.clone(),
                symbol: input.symbol.clone(),
                description: input.description.clone(),
                value: input.value,
                unit: input.unit.symbol().to_string(),
                distribution: input.distribution.name(),
                standard_uncertainty: line.standard_uncertainty,
                degrees_of_freedom: finite(input.degrees_of_freedom),
                sensitivity: line.sensitivity,
                contribution: line.contribution,
                share: line.share,
                origin: input.origin.describe(),
                scope,
                run,
                group: input.group.clone(),
            }
        })
        .collect()
}

fn finding(finding: &titrimetry::Finding) -> FindingDocument {
    FindingDocument {
        code: finding.code.to_string(),
        severity: match finding.severity {
            Severity::RuleBroken => "rule_broken",
            Severity::Doubt => "doubt",
            Severity::Note => "note",
        },
        message: finding.message.clone(),
        next_step: finding.next_step.clone(),
        runs: finding.runs.clone(),
        size: finding.size.as_ref().map(size),
        effect: finding.effect,
        causes: finding.causes.iter().map(cause).collect(),
    }
}

fn size(size: &Size) -> SizeDocument {
    SizeDocument {
        value: size.value,
        unit: size.unit.to_string(),
    }
}

fn cause(cause: &Cause) -> CauseDocument {
    CauseDocument {
        code: cause.code.to_string(),
        likelihood: match cause.likelihood {
            Likelihood::Likely => "likely",
            Likelihood::TooLittle => "too_little",
            Likelihood::WrongWay => "wrong_way",
        },
        message: cause.message.clone(),
        next_step: cause.next_step.clone(),
        effect: cause.effect,
        needed: cause.needed.as_ref().map(size),
    }
}

/// The simulation with its numbers divided by `factor`.
pub(crate) fn monte_carlo(simulated: &crate::Simulated, factor: f64) -> MonteCarloDocument {
    let simulation = &simulated.simulation;
    let interval = |i: &metrology::monte_carlo::Interval| IntervalDocument {
        lower: i.lower / factor,
        upper: i.upper / factor,
    };
    MonteCarloDocument {
        trials: simulation.trials,
        failed: simulation.failed,
        seed: simulation.seed,
        mean: simulation.mean / factor,
        standard_uncertainty: simulation.standard_uncertainty / factor,
        coverage_probability: simulation.probability,
        symmetric: interval(&simulation.symmetric),
        shortest: interval(&simulation.shortest),
        validated: simulated.validation.validated,
        settled: simulated.validation.settled,
        tolerance: simulated.validation.tolerance / factor,
    }
}
