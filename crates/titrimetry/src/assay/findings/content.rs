//! Contents that cannot be, and contents for which the portion is wrong.

use super::{One, capital, in_unit_of, portion, said};
use crate::assay::Reported;
use crate::finding::{Finding, Severity};
use crate::findings::words::digits;
use crate::method::{RangePlan, Step};
use metrology::{Dimension, Unit};

/// Less than none, or more than the whole sample.
pub(super) fn impossible(one: &One<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    let results = || one.sample.results.iter().zip(&one.assay.method.result);
    for below in &one.sample.below_zero {
        // What tells of this analyte alone says how much it is.
        let alone = results().find(|(_, plan)| plan.of == [below.species.as_str()]);
        let size = alone.map_or_else(String::new, |(reported, _)| {
            format!(" ({})", said(reported, reported.value))
        });
        let finding = Finding::new(
            "less-than-none",
            Severity::RuleBroken,
            format!(
                "Less than none was found of {}{size}, beyond the uncertainty: the results do not hold. {}.",
                below.name,
                capital(&below.meaning)
            ),
            "Compare the readings with the first entries; if they stand, use the method for the mixture that they show.",
        );
        findings.push(match alone {
            Some((reported, _)) => finding.sized(reported.value, "in its unit"),
            None => finding,
        });
    }
    findings.extend(more_than_all(one));
    findings
}

/// More than the whole sample, where the method does not say that this is ordinary.
fn more_than_all(one: &One<'_>) -> Option<Finding> {
    let (first, plan) = (&one.sample.results[0], &one.assay.method.result[0]);
    let unit = first.formula.unit_of(first.formula.result_index());
    if unit.dimension() != Dimension::NUMBER || plan.may_exceed_sample.is_some() {
        return None;
    }
    // Of the whole: 1 in coherent units.
    let whole = 1.0 / (unit.factor() * first.factor);
    // Ranges that end above the whole leave room for a hydrate that has lost water, or for the method's own scatter.
    let ranges = one.assay.method.range.iter();
    let most = ranges
        .filter(|range| range.result == first.name)
        .filter_map(|range| in_unit_of(first, range.to.quantity()))
        .fold(whole, f64::max);
    if first.value - first.expanded.expanded_uncertainty <= most {
        return None;
    }
    let over = first.value / whole - 1.0;
    Some(
        Finding::new(
            "more-than-all",
            Severity::Doubt,
            format!(
                "{} as {} comes out at {}, more than the whole sample. The portion may be smaller than the sheet says, a dilution counted once too often, or the sample is another compound or hydrate than the result is expressed as.",
                capital(&first.name),
                first.expressed_as,
                said(first, first.value)
            ),
            "Check mass, flask and aliquot on the sheet, then the formula of what the result is expressed as.",
        )
        .sized(100.0 * over, "%")
        .shifting(over),
    )
}

/// Contents outside the range for which the portion is right.
pub(super) fn outside_range(one: &One<'_>) -> Vec<Finding> {
    one.assay
        .method
        .range
        .iter()
        .filter_map(|range| outside(one, range))
        .collect()
}

/// The result that a range speaks of, with the limits for the portion and the solution that were used.
fn limits<'a>(one: &One<'a>, range: &RangePlan) -> Option<(&'a Reported, f64, f64)> {
    let mut results = one.sample.results.iter();
    let reported = results.find(|r| r.name == range.result)?;
    // Of a smaller portion, or by a stronger solution, more can be found.
    let shift = strength(one) / portion::over_planned(one);
    let from = in_unit_of(reported, range.from.quantity())? * shift;
    let to = in_unit_of(reported, range.to.quantity())? * shift;
    Some((reported, from, to))
}

/// True if the method says that its portion, measured by volume, is right for this content.
pub(super) fn is_within_range(one: &One<'_>) -> bool {
    let method = &one.assay.method;
    !matches!(method.step.first(), Some(Step::Weigh { .. }))
        && method.range.iter().any(|range| {
            limits(one, range).is_some_and(|(r, from, to)| (from..=to).contains(&r.value))
        })
}

fn outside(one: &One<'_>, range: &RangePlan) -> Option<Finding> {
    let (reported, from, to) = limits(one, range)?;
    if (from..=to).contains(&reported.value) || !(reported.value > 0.0 && from > 0.0) {
        return None;
    }
    // The range of a weighed sample holds for the mass that its note says; there the titre decides.
    let weighed = matches!(one.assay.method.step.first(), Some(Step::Weigh { .. }));
    if weighed && titres_are_good(one) {
        return None;
    }
    let (way, severity) = if reported.value < from {
        ("below", Severity::Note)
    } else {
        ("above", Severity::Doubt)
    };
    let note = range
        .note
        .as_ref()
        .map_or_else(String::new, |note| format!(" ({note})"));
    let times = (from * to).sqrt() / reported.value;
    let next = portion::instead(one, times).unwrap_or_else(|| {
        "Take a portion that brings the titre into the good part of the burette.".into()
    });
    Some(
        Finding::new(
            "content-outside-range",
            severity,
            format!(
                "{} {} lies {way} the {} to {} for which this portion is right{note}.{}",
                capital(&reported.name),
                said(reported, reported.value),
                digits(from, 3),
                said_to(to, &reported.unit),
                undiluted(one, reported, from..=to)
            ),
            next,
        )
        .sized(reported.value, "in its unit"),
    )
}

/// Asks for a dilution of the sheet without which a content that is too high would be an ordinary one.
fn undiluted(one: &One<'_>, reported: &Reported, usual: std::ops::RangeInclusive<f64>) -> String {
    let mut dilutions = portion::dilutions(one).into_iter();
    let fitting = dilutions.find(|d| usual.contains(&(reported.value / d.times())));
    fitting.map_or_else(String::new, |dilution| {
        format!(
            " {}? Then it is {}.",
            capital(&dilution.left_out()),
            said(reported, reported.value / dilution.times())
        )
    })
}

fn said_to(value: f64, unit: &str) -> String {
    format!("{} {unit}", digits(value, 3))
}

/// The solution that limits what can be found, over the one the method is planned for.
fn strength(one: &One<'_>) -> f64 {
    let method = &one.assay.method;
    let over = |planned: Option<f64>, spec: Option<&super::super::sheet::Solution>| {
        let used = spec
            .and_then(|s| s.concentration.as_ref())
            .and_then(|stated| {
                let molar: Unit = "mol/L".parse().ok()?;
                stated.value.quantity().value_in(&molar).ok()
            });
        planned
            .zip(used)
            .map_or(1.0, |(planned, used)| used / planned)
    };
    match method.reagent.iter().find(|r| r.measured_by.is_some()) {
        Some(plan) => {
            let planned = plan.nominal.as_ref().map(|n| n.value_in("mol/L"));
            over(planned, one.assay.sheet.reagent.get(&plan.name))
                * portion::reagent_over_planned(one, plan)
        }
        None => {
            let planned = method.titrant.nominal.as_ref().map(|n| n.value_in("mol/L"));
            over(planned, Some(&one.assay.sheet.titrant))
        }
    }
}

/// True if every titration used the burette, or the reagent, well.
fn titres_are_good(one: &One<'_>) -> bool {
    let good = volumetry::reading::good_titres_ml(one.assay.burette.capacity);
    one.sample.titrations.iter().all(|titration| {
        let Some(titre) = one.mean_titre(titration) else {
            return true;
        };
        match one.effect(titration) {
            Some((_, effect)) if effect < 0.0 => {
                let left = titre / (titre - 1.0 / effect);
                (0.1..0.8).contains(&left)
            }
            _ => good.contains(&titre),
        }
    })
}
