//! Where the end of a run is expected: from what the finished runs gave, or before there is one from what was known
//! beforehand; and how far off a reading is looked at twice.

use super::result::Shown;
use super::run_table;
use crate::drawing::burette::Zones;
use notebook::payload::Slot;
use notebook::state::Run;
use notebook::{Evaluator, ExpectedBy};
use titrimetry::plan::forward::DROP_ML;
use titrimetry::sheet::RunKind;

/// Least scatter that titres are taken to have, relative and in mL: two or three runs that agree by chance tell little
/// (common practice: a thousandth, and half of what an eye reads into a division).
const LEAST_SCATTER: (f64, f64) = (0.001, 0.02);
/// A rough run overshoots by up to half a millilitre, by a third of that as a rule (common practice).
const ROUGH: (f64, f64) = (0.15, 0.35);

/// Where this end is expected in this run.
pub(crate) fn expected(shown: &Shown<'_>, run: &Run, slot: Slot) -> Option<Zones> {
    let refills = run_table::refills(run);
    let initial = run_table::value(run, Slot::opening(refills)).unwrap_or(0.0);
    // What had run out before this fill.
    let before: f64 = (0..refills)
        .filter_map(|n| {
            let (first, last) = (Slot::opening(n), Slot::closing(n));
            Some(run_table::value(run, last)? - run_table::value(run, first)?)
        })
        .sum();
    let zones = |titre: f64, within: f64, far: f64| Zones {
        initial,
        at: titre - before,
        within,
        far,
    };
    let good = titres(shown, run, slot, good_kind(run));
    if let Some(mean) = mean(&good) {
        let s = scatter(&good, mean)
            .max(LEAST_SCATTER.0 * mean.abs())
            .max(LEAST_SCATTER.1);
        return Some(zones(mean, 2.0 * s + DROP_ML, 4.0 * s + 2.0 * DROP_ML));
    }
    let rough = titres(shown, run, slot, RunKind::Rough);
    if let Some(mean) = mean(&rough) {
        return Some(zones(mean - ROUGH.0, ROUGH.1, ROUGH.0 + ROUGH.1 + DROP_ML));
    }
    let beforehand = Evaluator::new(shown.world).expected_titre(shown.node, run.started.run)?;
    // A solution is made to a few hundredths of what it is made for, and keeps what was found to a hundredth or two
    // (common practice).
    let share = match beforehand.by {
        ExpectedBy::Nominal => 0.06,
        ExpectedBy::Earlier => 0.02,
        ExpectedBy::Content => 0.10,
    };
    let within = (share * beforehand.ml).max(2.0 * DROP_ML);
    Some(zones(beforehand.ml, within, within + DROP_ML))
}

fn good_kind(run: &Run) -> RunKind {
    match run.started.run_kind {
        RunKind::Blank => RunKind::Blank,
        _ => RunKind::Replicate,
    }
}

/// Titres of the other finished runs of a kind, brought to this one's mass.
fn titres(shown: &Shown<'_>, run: &Run, slot: Slot, kind: RunKind) -> Vec<f64> {
    let blank = run.started.run_kind == RunKind::Blank;
    shown
        .determination
        .runs
        .iter()
        .filter(|r| {
            r.started.run != run.started.run
                && r.set_aside.is_none()
                && r.started.run_kind == kind
                && (kind == RunKind::Blank) == blank
                && r.started.sample == run.started.sample
                && r.started.titration == run.started.titration
        })
        .filter_map(|r| {
            let (titre, _) = run_table::delivered(r, slot)?;
            Some(match (run_table::mass(r), run_table::mass(run)) {
                (Some(then), Some(now)) if then > 0.0 => titre * now / then,
                _ => titre,
            })
        })
        .collect()
}

fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

fn scatter(values: &[f64], mean: f64) -> f64 {
    let [_, _, ..] = values else { return 0.0 };
    let squares: f64 = values.iter().map(|x| (x - mean).powi(2)).sum();
    (squares / (values.len() as f64 - 1.0)).sqrt()
}
