//! Backwards: the candidates that the shelf allows, each evaluated, and the best of them.

use super::PlanError;
use super::candidate::{Candidate, Dose};
use super::case::{Case, Opposite};
use super::cost::{self, Cost};
use super::curve::PredictedCurve;
use super::forward::{Expectation, expect};
use super::indicators;
use super::rules::{Outcome, verdicts};
use super::shelf::Glass;
use crate::rule_profile::RuleProfile;
use crate::sheet::Written;
use std::cmp::Ordering;

/// Most runs that are tried unless the rules ask for more (EDQM: three suffice formally, six are often better).
const MOST_RUNS: u32 = 6;
/// Fewest runs where no rule says it: three for a titrant that many results will rest on, two for a sample (common
/// practice).
const FEWEST_FOR_TITRANT: u32 = 3;
const FEWEST_FOR_SAMPLE: u32 = 2;
/// Largest aliquot of a solution that was made up for the purpose, mL: a larger one only thins out the end point (own
/// choice).
const MOST_MADE_UP_ALIQUOT: f64 = 50.0;
/// An uncertainty within this ratio of the best is as good (own choice).
const AS_GOOD: f64 = 1.10;
/// What uncertainty is worth: a way that halves it may cost 2^(1/3), a quarter, more (own choice).
const WORTH: f64 = 1.0 / 3.0;
/// Most runs that rules may ask for.
const RUNS_AT_ALL: u32 = 50;
/// Shares of the burette that a titre is aimed at.
const AIMED_SHARES: [f64; 3] = [0.5, 0.65, 0.8];
/// Strongest standard solution that is made up, g/L (own choice; solubilities are not looked at).
const MOST_GRAMS_PER_LITRE: f64 = 40.0;
/// Ways of working that are looked at closely.
const CLOSE_LOOK: usize = 12;
/// Ways that are shown.
const SHOWN: usize = 3;

/// One way of working with its cost and whether it does what is wanted.
#[derive(Clone, Debug)]
pub struct Choice {
    /// What may be expected.
    pub expected: Expectation,
    /// What it costs.
    pub cost: Cost,
    /// What is wanted and not reached, in words; empty if everything is.
    pub misses: Vec<String>,
    /// Rules that may be met or not.
    pub risks: usize,
}

/// A way to sort choices.
type Order<'a> = dyn Fn(&Choice, &Choice) -> Ordering + 'a;

/// The best ways, best first, and how many were looked at.
pub(super) fn search(
    case: &Case,
    profile: &RuleProfile,
) -> Result<(Vec<Choice>, usize), PlanError> {
    let least_share = profile
        .titre_least_percent
        .as_ref()
        .map_or(0.0, |rule| rule.limit / 100.0);
    let runs = case.wishes.wanted.runs;
    let fewest = fewest_runs(case, profile);
    let first = runs.unwrap_or(fewest.max(FEWEST_FOR_TITRANT));
    let candidates = candidates(case, first)?;
    let looked_at = candidates.len();
    let mut choices: Vec<Choice> = Vec::new();
    for candidate in &candidates {
        if let Some(expected) = expect(case, candidate, least_share)? {
            choices.push(judge(case, expected, profile));
        }
    }
    if choices.is_empty() {
        return Err(nothing(case, looked_at));
    }
    let mut close: Vec<Choice> = Vec::new();
    let goal = goal(case, &choices);
    let orders: [&Order<'_>; 3] = [
        &|a, b| misses(a, b).then_with(|| by_uncertainty(a, b)),
        &|a, b| misses(a, b).then_with(|| a.cost.in_all().total_cmp(&b.cost.in_all())),
        &|a, b| rank(goal, a, b),
    ];
    for order in orders {
        choices.sort_by(order);
        for choice in choices.iter().take(CLOSE_LOOK) {
            if !close.iter().any(|c| same_way(c, choice)) {
                close.push(choice.clone());
            }
        }
    }
    // The place of the end and the number of runs are tried on those alone.
    let mut tried: Vec<Choice> = Vec::new();
    for mut choice in close {
        if let Some(candidate) = with_predicted_end(case, &choice.expected) {
            let Some(expected) = expect(case, &candidate, least_share)? else {
                continue;
            };
            choice = judge(case, expected, profile);
        }
        if runs.is_some() {
            tried.push(choice);
            continue;
        }
        for n in fewest..=MOST_RUNS.max(fewest) {
            let candidate = Candidate {
                runs: n,
                ..choice.expected.candidate.clone()
            };
            if let Some(expected) = expect(case, &candidate, least_share)? {
                tried.push(judge(case, expected, profile));
            }
        }
    }
    let goal = self::goal(case, &tried);
    tried.sort_by(|a, b| rank(goal, a, b));
    let mut shown: Vec<Choice> = Vec::new();
    for choice in tried {
        if shown.len() < SHOWN && !shown.iter().any(|s| alike(s, &choice)) {
            shown.push(choice);
        }
    }
    Ok((shown, looked_at))
}

/// The candidate with the place of its end as the curve and the best indicator predict it; none if nothing does.
fn with_predicted_end(case: &Case, expected: &Expectation) -> Option<Candidate> {
    let curve = PredictedCurve::of(case, expected).ok()?;
    let ranked = indicators::rank_usual(case, expected, &curve);
    indicators::choose(case, expected, &ranked)
        .map(|r| indicators::with_end(&expected.candidate, r))
}

/// What is to be reached.
#[derive(Clone, Copy)]
enum Goal {
    /// This uncertainty, which is within reach.
    Uncertainty(f64),
    /// About the least uncertainty, this one: what is wanted is out of reach.
    Surest(f64),
    /// The best bargain: none is wanted.
    Bargain,
}

fn goal(case: &Case, choices: &[Choice]) -> Goal {
    let Some(wanted) = case.wishes.wanted.uncertainty.as_ref().map(Written::value) else {
        return Goal::Bargain;
    };
    let best = choices
        .iter()
        .map(|c| c.expected.relative_uncertainty_at_worst)
        .fold(f64::INFINITY, f64::min);
    if wanted >= best {
        Goal::Uncertainty(wanted)
    } else {
        Goal::Surest(AS_GOOD * best)
    }
}

/// Fewest runs that the rules allow.
fn fewest_runs(case: &Case, profile: &RuleProfile) -> u32 {
    let usual = match (&case.opposite, &case.wishes.wanted.time) {
        // Whoever has little time may have to do with one.
        (_, Some(_)) => 1,
        (Opposite::Standard { .. }, None) => FEWEST_FOR_TITRANT,
        (Opposite::Sample { .. }, None) => FEWEST_FOR_SAMPLE,
    };
    let one = profile.least_runs.as_ref().map_or(usual, |rule| rule.limit);
    let each = match (&profile.analysts, &profile.least_runs_per_analyst) {
        (Some(analysts), Some(each)) => analysts.limit.saturating_mul(each.limit),
        _ => 1,
    };
    one.max(each).min(RUNS_AT_ALL)
}

/// Every combination of burette, strength and dose whose titre may suit.
fn candidates(case: &Case, runs: u32) -> Result<Vec<Candidate>, PlanError> {
    let mut out = Vec::new();
    for burette in &case.cupboard.burettes {
        for strength in &case.strengths {
            let candidate = |dose: Dose| Candidate {
                burette: burette.clone(),
                strength: strength.clone(),
                dose,
                runs,
                end_point: None,
            };
            match &case.opposite {
                Opposite::Standard { .. } => {
                    for titre in aims(case, burette) {
                        let weighed = candidate(Dose::Weighed { mass_g: 1.0 });
                        if let Some(mass) = &case.wishes.run.mass {
                            out.push(candidate(Dose::Weighed {
                                mass_g: mass.value(),
                            }));
                            continue;
                        }
                        out.push(rounded(weighed.weighed_for(case, titre)?));
                        for (flask, pipette) in standard_solutions(case, runs) {
                            let made_up = candidate(Dose::MadeUp {
                                mass_g: 1.0,
                                flask,
                                pipette,
                            });
                            let made_up = rounded(made_up.weighed_for(case, titre)?);
                            if dissolves(&made_up.dose) {
                                out.push(made_up);
                            }
                        }
                    }
                }
                Opposite::Sample { .. } => {
                    for dose in aliquots(case) {
                        out.push(candidate(dose));
                    }
                }
            }
        }
    }
    out.dedup();
    Ok(out)
}

fn aims(case: &Case, burette: &Glass) -> Vec<f64> {
    match &case.wishes.run.titre {
        Some(titre) => vec![titre.value().min(burette.nominal_ml)],
        None => AIMED_SHARES
            .iter()
            .map(|share| share * burette.nominal_ml)
            .collect(),
    }
}

/// A mass that a person would aim at: two digits, three if the first is a 1.
fn rounded(candidate: Candidate) -> Candidate {
    let Some(mass) = candidate.dose.mass_g() else {
        return candidate;
    };
    let magnitude = mass.log10().floor();
    let leading = mass / 10f64.powf(magnitude);
    let step = 10f64.powf(magnitude - if leading < 2.0 { 2.0 } else { 1.0 });
    let mass = (mass / step).round() * step;
    Candidate {
        dose: candidate.dose.with_mass(mass),
        ..candidate
    }
}

/// Flask and pipette for a standard solution that lasts for all runs and a rough one.
fn standard_solutions(case: &Case, runs: u32) -> Vec<(Glass, Glass)> {
    let mut out = Vec::new();
    for flask in &case.cupboard.flasks {
        for pipette in &case.cupboard.pipettes {
            // Rinses of the pipette take about one aliquot more.
            if pipette.nominal_ml <= MOST_MADE_UP_ALIQUOT
                && pipette.nominal_ml * (f64::from(runs) + 2.0) <= flask.nominal_ml
            {
                out.push((flask.clone(), pipette.clone()));
            }
        }
    }
    out
}

fn dissolves(dose: &Dose) -> bool {
    match dose {
        Dose::MadeUp { mass_g, flask, .. } => {
            mass_g / flask.nominal_ml * 1000.0 <= MOST_GRAMS_PER_LITRE
        }
        _ => true,
    }
}

/// Aliquots of a sample, as it is or diluted once.
fn aliquots(case: &Case) -> Vec<Dose> {
    let available = case
        .wishes
        .sample
        .as_ref()
        .and_then(|s| s.volume.as_ref())
        .map_or(f64::INFINITY, Written::value);
    let mut out = Vec::new();
    for pipette in &case.cupboard.pipettes {
        if pipette.nominal_ml <= available {
            out.push(Dose::Pipetted {
                diluted: Vec::new(),
                pipette: pipette.clone(),
            });
        }
        for take in &case.cupboard.pipettes {
            for to in &case.cupboard.flasks {
                if take.nominal_ml < to.nominal_ml
                    && take.nominal_ml <= available
                    && pipette.nominal_ml < to.nominal_ml
                    && pipette.nominal_ml <= MOST_MADE_UP_ALIQUOT
                {
                    out.push(Dose::Pipetted {
                        diluted: vec![(take.clone(), to.clone())],
                        pipette: pipette.clone(),
                    });
                }
            }
        }
    }
    out
}

fn judge(case: &Case, expected: Expectation, profile: &RuleProfile) -> Choice {
    let cost = cost::of(case, &expected.candidate, expected.titre_ml);
    let wanted = &case.wishes.wanted;
    let mut misses = Vec::new();
    let mut limit = |what: &str, value: f64, limit: f64, unit: &str| {
        if value > limit {
            misses.push(format!(
                "{what} {value:.2} {unit}, wanted {limit:.2} {unit}"
            ));
        }
    };
    if let Some(u) = &wanted.uncertainty {
        limit(
            "U at the smallest titre",
            expected.relative_uncertainty_at_worst * 100.0,
            u.value() * 100.0,
            "%",
        );
    }
    if let Some(rsd) = &wanted.rsd {
        limit(
            "scatter",
            expected.relative_scatter * 100.0,
            rsd.value() * 100.0,
            "%",
        );
    }
    if let Some(minutes) = minutes(case) {
        limit("time", cost.minutes, minutes, "min");
    }
    let verdicts = verdicts(case, &expected, profile);
    let risks = verdicts
        .iter()
        .filter(|v| v.outcome == Outcome::AtRisk)
        .count();
    misses.extend(
        verdicts
            .into_iter()
            .filter(|v| v.outcome == Outcome::Breaks)
            .map(|v| v.text),
    );
    Choice {
        expected,
        cost,
        misses,
        risks,
    }
}

/// The time wished for, min.
pub(super) fn minutes(case: &Case) -> Option<f64> {
    let time = case.wishes.wanted.time.as_ref()?;
    time.quantity().value_in(&"min".parse().ok()?).ok()
}

/// What misses least comes first, then what comes nearest to the goal, then the best bargain.
fn rank(goal: Goal, a: &Choice, b: &Choice) -> Ordering {
    let over = |c: &Choice| match goal {
        Goal::Uncertainty(limit) | Goal::Surest(limit) => {
            (c.expected.relative_uncertainty_at_worst / limit).max(1.0)
        }
        Goal::Bargain => 1.0,
    };
    let bargain =
        |c: &Choice| c.cost.in_all() * c.expected.relative_uncertainty_at_worst.powf(WORTH);
    misses(a, b)
        .then_with(|| over(a).total_cmp(&over(b)))
        .then_with(|| bargain(a).total_cmp(&bargain(b)))
}

fn misses(a: &Choice, b: &Choice) -> Ordering {
    let both = |c: &Choice| (c.misses.len(), c.risks);
    both(a).cmp(&both(b))
}

fn by_uncertainty(a: &Choice, b: &Choice) -> Ordering {
    let u = |c: &Choice| c.expected.relative_uncertainty_at_worst;
    u(a).total_cmp(&u(b))
}

/// The same but for the number of runs.
fn same_way(a: &Choice, b: &Choice) -> bool {
    let (a, b) = (&a.expected.candidate, &b.expected.candidate);
    a.burette == b.burette && a.strength == b.strength && a.dose == b.dose
}

/// So much the same that showing both would tell nothing: the same burette, strength and kind of dose.
fn alike(a: &Choice, b: &Choice) -> bool {
    let (a, b) = (&a.expected.candidate, &b.expected.candidate);
    let kind = |dose: &Dose| match dose {
        Dose::Weighed { .. } => 0,
        Dose::MadeUp { .. } => 1,
        Dose::Pipetted { diluted, .. } => 2 + diluted.len(),
    };
    a.burette == b.burette && a.strength == b.strength && kind(&a.dose) == kind(&b.dose)
}

fn nothing(case: &Case, looked_at: usize) -> PlanError {
    let most = case
        .cupboard
        .burettes
        .iter()
        .map(|b| b.nominal_ml)
        .fold(0.0, f64::max);
    let fix = match (&case.wishes.run.mass, &case.opposite) {
        (Some(mass), _) => format!("{mass} of the standard may be too much for it"),
        (None, Opposite::Sample { .. }) => {
            "the sample may need another dilution than the pipettes and flasks allow, or a titrant of another strength".into()
        }
        _ => "another strength of the titrant or another burette may help".into(),
    };
    PlanError::NothingFits {
        reason: format!(
            "{looked_at} ways were tried, and none gives a titre that a burette of {most} mL delivers in one filling; {fix}"
        ),
    }
}
