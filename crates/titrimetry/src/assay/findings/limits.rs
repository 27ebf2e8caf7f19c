//! Samples that are not accepted by their limits.
//!
//! Source: probability of conformity, guard bands and decision rules as in JCGM 106:2012. With a declared decision rule its
//! verdict counts; without one a sample is called out only where it is surely so (0.95 either way, common practice).

use super::repeats::repeatability;
use super::{One, capital, said};
use crate::assay::{Conformity, DecisionRule, Reported};
use crate::finding::{Finding, Severity};
use crate::findings::words::{digits, percent};

/// More runs than this are not the cheapest step any more (common practice).
const MOST_RUNS: f64 = 8.0;

/// A sample that its limits do not let pass.
pub(super) fn not_kept(one: &One<'_>) -> Option<Finding> {
    let judged = one.sample.conformity.as_ref()?;
    if judged.accepted {
        return None;
    }
    let first = &one.sample.results[0];
    let limits = one.sample.spec.limits.as_ref()?;
    let declared = limits.probability.is_some()
        || limits.guard_band.is_some()
        || limits.guard_factor.is_some();
    let wanted = match judged.rule {
        DecisionRule::Probability(wanted) => wanted,
        DecisionRule::GuardBand | DecisionRule::GuardFactor(_) => 0.95,
    };
    let surely = judged.probability <= 1.0 - wanted;
    let (code, severity, verb) = if declared || surely {
        ("limits-not-kept", Severity::RuleBroken, "does not keep")
    } else {
        (
            "limits-not-surely-kept",
            Severity::Doubt,
            "does not surely keep",
        )
    };
    let message = format!(
        "{} {} {verb} the limits, {}: they are kept with a probability of {}. {}.",
        capital(&first.name),
        in_unit_of_limits(first, judged),
        judged.limits,
        probability(judged.probability),
        capital(&rule(judged, declared))
    );
    Some(
        Finding::new(code, severity, message, next_step(one, judged, wanted))
            .sized(100.0 * judged.probability, "% probability of conformity"),
    )
}

/// The result, and in the unit of the limits where that is another.
fn in_unit_of_limits(first: &Reported, judged: &Conformity) -> String {
    let own = said(first, first.value);
    if judged.unit == first.unit {
        return own;
    }
    format!("{own} ({} {})", digits(judged.value, 4), judged.unit)
}

/// Near either end no digits are claimed that the model cannot bear.
fn probability(p: f64) -> String {
    match p {
        p if p < 0.001 => "under 0.1 %".into(),
        p if p > 0.999 => "over 99.9 %".into(),
        p => percent(p),
    }
}

/// A level as people write it, "95 %".
fn level(wanted: f64) -> String {
    percent(wanted).replace(".0 %", " %")
}

/// The decision rule in words.
fn rule(judged: &Conformity, declared: bool) -> String {
    match judged.rule {
        DecisionRule::Probability(wanted) if declared => {
            format!("by the decision rule {} is wanted", level(wanted))
        }
        DecisionRule::Probability(wanted) => {
            format!("no decision rule is declared; {} is taken", level(wanted))
        }
        DecisionRule::GuardBand | DecisionRule::GuardFactor(_) => match judged.guard_band {
            Some(0.0) | None => "the decision rule is simple acceptance".into(),
            Some(band) => format!(
                "by the decision rule results nearer than {} {} to a limit are not accepted",
                digits(band, 2),
                judged.unit
            ),
        },
    }
}

/// What costs least and can still change the verdict.
fn next_step(one: &One<'_>, judged: &Conformity, wanted: f64) -> String {
    if judged.probability < 0.5 {
        return "Check the entries and titrate one fresh portion, which rules out a slip; if it agrees, the sample is out of its limits and more runs will not change that.".into();
    }
    match more_runs(one, judged, wanted) {
        Some(more) => format!(
            "Do {more} more run{} of it: if the mean stays, the uncertainty is then small enough to accept it.",
            if more == 1 { "" } else { "s" }
        ),
        None => "More runs would not decide it, as most of the uncertainty is not their scatter: see in the budget what is largest, and whether the decision rule fits the purpose.".into(),
    }
}

/// How many more runs would make the uncertainty small enough for a value that lies within the limits.
fn more_runs(one: &One<'_>, judged: &Conformity, wanted: f64) -> Option<u32> {
    let (guard, u) = (judged.guard_band?, judged.standard_uncertainty);
    let acceptance = judged.acceptance?;
    let DecisionRule::Probability(_) = judged.rule else {
        return None;
    };
    if !(wanted > 0.5 && guard > 0.0) {
        return None;
    }
    // How far inside its limit the value lies, over the guard band: so much smaller the uncertainty has to be.
    let inside = |limit: Option<f64>, sign: f64| {
        limit.map_or(f64::INFINITY, |edge| guard + sign * (judged.value - edge))
    };
    let room = inside(acceptance.lower, 1.0).min(inside(acceptance.upper, -1.0));
    let needed = u * room / guard;
    let (scatter, _) = repeatability(one.assay, one.sample)?;
    let scatter = scatter * judged.value.abs();
    let rest = u * u - scatter * scatter;
    let left = needed * needed - rest;
    let counting = one.sample.titrations.iter().map(|t| one.counting(t).len());
    let runs = counting.max()? as f64;
    let more = (runs * scatter * scatter / left).ceil() - runs;
    (left > 0.0 && (1.0..=MOST_RUNS).contains(&more)).then_some(more as u32)
}
