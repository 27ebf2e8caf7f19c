//! Rules on single numbers: deviation from nominal, titre, reading step, uncertainty.

use super::super::case::{Case, readings};
use super::super::words::{digits, ml, runs};
use super::{NEAREST_ML, SAME, above, beside, broken, not_judged};
use crate::finding::{Finding, Severity};

pub(super) fn nominal(case: &Case<'_>) -> Option<Finding> {
    let rule = case.profile.nominal_within_percent.as_ref()?;
    let determination = case.facts.determination?;
    let Some(factor) = &determination.factor else {
        let mut finding = not_judged(
            case,
            "the deviation from nominal",
            "no nominal concentration is given",
            "Write sought.nominal.",
        );
        finding.severity = Severity::Note;
        return Some(finding);
    };
    let off = 100.0 * (factor.value - 1.0);
    above(off.abs(), rule).then(|| {
        let limit = rule.limit;
        let way = if off < 0.0 { "below" } else { "above" };
        broken(
            case,
            "outside-nominal",
            &format!(
                "The result is {} % {way} nominal ({})",
                beside(off.abs(), limit),
                factor.nominal_written
            ),
            &format!("a result within {limit} %"),
            "Look for the cause; then adjust the solution or give it another nominal value.",
        )
        .sized(off, "%")
        .shifting(off / 100.0)
    })
}

pub(super) fn titre_of_burette(case: &Case<'_>) -> Vec<Finding> {
    let capacity = case.facts.burette.capacity;
    let mut findings = Vec::new();
    let mut look = |code, asked: String, next: &str, outside: &dyn Fn(f64) -> bool| {
        let hit: Vec<_> = case
            .titres
            .iter()
            .filter(|t| outside((t.run.titre / NEAREST_ML).round() * NEAREST_ML))
            .collect();
        let names: Vec<&str> = hit.iter().map(|t| t.name()).collect();
        let Some(first) = hit.first() else { return };
        let share = 100.0 * first.run.titre / capacity;
        let seen = match names.as_slice() {
            [one] => format!(
                "Run {one} used {} of a {capacity} mL burette ({} %)",
                ml(first.run.titre),
                digits(share, 2)
            ),
            _ => format!(
                "{} used about {} of a {capacity} mL burette ({} %)",
                runs(&names),
                ml(first.run.titre),
                digits(share, 2)
            ),
        };
        findings.push(
            broken(case, code, &seen, &asked, next)
                .about(names)
                .sized(share, "%"),
        );
    };
    if let Some(rule) = &case.profile.titre_least_percent {
        let least = rule.limit / 100.0 * capacity;
        look(
            "titre-too-small",
            format!("{} % or more", rule.limit),
            "Take more of what is in the flask, or a smaller burette.",
            &|titre| titre < least - SAME,
        );
    }
    if let Some(rule) = &case.profile.titre_most_percent {
        let most = rule.limit / 100.0 * capacity;
        look(
            "titre-too-large",
            format!("{} % at most", rule.limit),
            "Take less of what is in the flask, or a larger burette.",
            &|titre| titre > most + SAME,
        );
    }
    findings
}

pub(super) fn reading_step(case: &Case<'_>) -> Option<Finding> {
    let limit = case.profile.reading_step_ml.as_ref()?.limit;
    let mut coarsest = 0.0_f64;
    let mut hit = Vec::new();
    for titre in &case.titres {
        let step = readings(titre.spec)
            .iter()
            .map(|reading| reading.step)
            .fold(0.0, f64::max);
        if step > limit * (1.0 + SAME) {
            coarsest = coarsest.max(step);
            hit.push(titre.name());
        }
    }
    (!hit.is_empty()).then(|| {
        let seen = format!("{}: readings written to {coarsest} mL", runs(&hit));
        let next = "Write every reading with all its decimals, a last 0 too.";
        broken(
            case,
            "readings-too-coarse",
            &seen,
            &format!("{limit} mL or finer"),
            next,
        )
        .about(hit)
        .sized(coarsest, "mL")
    })
}

pub(super) fn expanded_uncertainty(case: &Case<'_>) -> Option<Finding> {
    let rule = case.profile.expanded_uncertainty_percent.as_ref()?;
    let (relative, coverage_factor) = case.facts.expanded;
    let seen = 100.0 * relative.abs();
    above(seen, rule).then(|| {
        let limit = rule.limit;
        broken(
            case,
            "uncertainty-too-large",
            &format!(
                "U is {} % of the result (k = {})",
                beside(seen, limit),
                digits(coverage_factor, 3)
            ),
            &format!("at most {limit} %"),
            "The top line of the budget says where to begin.",
        )
        .sized(seen, "%")
    })
}
