//! Sheets of one pattern against the evaluation of each by itself.

#![allow(clippy::unwrap_used)]

use proptest::prelude::*;
use std::path::Path;
use std::sync::Arc;
use titrimetry::assay::{self, Assay, AssaySheet, Patterns, evaluate_briefly, judge};
use titrimetry::method::{self, Method};
use titrimetry::{Evaluation, RuleProfile, Sheet, evaluation};

/// The sheets of `examples/methods`, with the standardizations that they take solutions from.
fn examples() -> Vec<(String, AssaySheet, Arc<Method>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/methods");
    let mut all = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let text = std::fs::read_to_string(&path).unwrap();
        let sheet = AssaySheet::read(&text).unwrap();
        let method = method::find(sheet.method.as_deref().unwrap()).unwrap();
        all.push((name, sheet, Arc::new(method.clone())));
    }
    all.sort_by(|a, b| a.0.cmp(&b.0));
    all
}

/// The same sheets with a burette that has a calibration of its own.
fn calibrated() -> Vec<(String, AssaySheet, Arc<Method>)> {
    let own = |(name, sheet, method): (String, AssaySheet, Arc<Method>)| {
        let mut value = serde_json::to_value(&sheet).unwrap();
        let burette = &value["apparatus"]["burette"];
        let catalogue = burette
            .as_str()
            .or(burette["catalogue"].as_str())
            .unwrap()
            .to_string();
        let capacity: u32 = catalogue.split(' ').nth(1).unwrap().parse().unwrap();
        let points: Vec<_> = (1..=5)
            .map(|n| {
                let correction = format!("{:.3} mL", 0.004 * f64::from(n * n % 7) - 0.006);
                // Marks at which published examples do not read.
                let below = if n < 5 {
                    0.013 * f64::from(capacity)
                } else {
                    0.0
                };
                let at = format!("{:.3} mL", f64::from(n * capacity) / 5.0 - below);
                serde_json::json!({"at": at, "correction": correction, "u": format!("0.00{n} mL")})
            })
            .collect();
        let calibration = serde_json::json!({"certificate": "C-9", "points": points});
        value["apparatus"]["burette"] =
            serde_json::json!({"catalogue": catalogue, "id": "B-9", "calibration": calibration});
        let sheet = serde_json::from_value(value).unwrap();
        (format!("{name}, calibrated burette"), sheet, method)
    };
    examples().into_iter().map(own).collect()
}

/// The same sheets with titrants from standardizations, by the burette that one of them was done with.
fn after_standardization() -> Vec<(String, AssaySheet, Arc<Method>)> {
    let own = |(name, sheet, method): (String, AssaySheet, Arc<Method>)| {
        let mut value = serde_json::to_value(&sheet).unwrap();
        value["titrant"] = serde_json::json!({"sheet": "phthalate"});
        for (_, reagent) in value["reagent"].as_object_mut().into_iter().flatten() {
            *reagent = serde_json::json!({"sheet": "acid"});
        }
        value["apparatus"]["burette"] =
            serde_json::json!({"catalogue": "burette 50 mL A", "id": "B-3"});
        let sheet = serde_json::from_value(value).ok()?;
        Some((format!("{name}, standardized"), sheet, method))
    };
    examples().into_iter().filter_map(own).collect()
}

/// The standardizations of the examples.
fn standardized(sheet: &str) -> Evaluation {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples");
    let text = std::fs::read_to_string(folder.join(sheet)).unwrap();
    let sheet = Sheet::read(&text).unwrap();
    let parent = sheet.known.sheet.as_deref().map(standardized);
    evaluation::evaluate(&sheet, parent.as_ref()).unwrap()
}

/// The sheet of another day: other names, and readings that differ by whole steps of their last digit. Only readings with a
/// final one above them are moved, so that all stay on the scale.
fn another_day(sheet: &AssaySheet, steps: &[i8]) -> AssaySheet {
    let mut value = serde_json::to_value(sheet).unwrap();
    value["title"] = "another day".into();
    value["date"] = "2026-05-04".into();
    let mut steps = steps.iter().cycle();
    let mut moved = |run: &mut serde_json::Value| {
        for reading in ["final", "mass", "gross"] {
            if let Some(text) = run.get_mut(reading) {
                let read = shifted(text.as_str().unwrap(), *steps.next().unwrap());
                *text = read.into();
            }
        }
    };
    for sample in value["sample"].as_array_mut().unwrap() {
        sample["id"] = format!("{}, again", sample["id"].as_str().unwrap()).into();
        moved(sample);
        for run in sample["run"].as_array_mut().unwrap() {
            moved(run);
        }
    }
    let blanks = value
        .get_mut("blank")
        .and_then(|blanks| blanks.as_array_mut());
    for run in blanks.into_iter().flatten() {
        moved(run);
    }
    serde_json::from_value(value).unwrap()
}

fn shifted(text: &str, steps: i8) -> String {
    let (number, unit) = text.split_once(' ').unwrap();
    let decimals = number.split_once('.').map_or(0, |(_, d)| d.len());
    let value: f64 = number.parse().unwrap();
    let step = 10f64.powi(-i32::try_from(decimals).unwrap());
    format!("{:.decimals$} {unit}", value - step * f64::from(steps))
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-12 * a.abs().max(b.abs()) || (a.is_nan() && b.is_nan())
}

fn closely(a: Option<f64>, b: Option<f64>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => close(a, b),
        (a, b) => a.is_none() && b.is_none(),
    }
}

/// Everything that is decided by an assay, number by number.
fn same(a: &Assay, b: &Assay) -> Result<(), String> {
    let differ = |what: &str, a: &dyn std::fmt::Debug, b: &dyn std::fmt::Debug| {
        Err(format!("{what}: {a:?} against {b:?}"))
    };
    for (one, other) in a.samples.iter().zip(&b.samples) {
        for (x, y) in one.results.iter().zip(&other.results) {
            let numbers = |r: &assay::Reported| {
                let dof = r.budget.effective_degrees_of_freedom.min(1e9);
                [
                    r.value,
                    r.standard_uncertainty,
                    r.expanded.expanded_uncertainty,
                    dof,
                ]
            };
            let (x, y) = (numbers(x), numbers(y));
            // A power of the contributions, so that rounding shows more in the degrees of freedom.
            if !x[..3].iter().zip(&y[..3]).all(|(x, y)| close(*x, *y))
                || (x[3] / y[3] - 1.0).abs() > 1e-9
            {
                return differ("result", &x, &y);
            }
        }
        for (x, y) in one.titrations.iter().zip(&other.titrations) {
            let same = close(x.scatter.used, y.scatter.used)
                && close(x.scatter.predicted, y.scatter.predicted)
                // A difference of nearly equal numbers.
                && (x.scatter.observed.unwrap_or(0.0) - y.scatter.observed.unwrap_or(0.0)).abs() < 1e-12
                && x.scatter.rule == y.scatter.rule
                && close(x.effect_per_ml, y.effect_per_ml)
                && closely(x.blank, y.blank);
            if !same {
                return differ("titration", x, y);
            }
        }
        for (x, y) in one.runs.iter().zip(&other.runs) {
            let same = x.status == y.status
                && x.titre_decimals == y.titre_decimals
                && x.titres.iter().zip(&y.titres).all(|(x, y)| close(*x, *y))
                && closely(x.expected_titre, y.expected_titre)
                && closely(x.value, y.value);
            if !same {
                return differ("run", x, y);
            }
        }
        let conformity = |s: &assay::SampleOutcome| {
            s.conformity
                .as_ref()
                .map(|c| (c.accepted, c.limits.clone()))
        };
        let probability =
            |s: &assay::SampleOutcome| s.conformity.as_ref().map_or(0.0, |c| c.probability);
        if conformity(one) != conformity(other)
            || (probability(one) - probability(other)).abs() > 1e-9
            || !closely(one.zeta, other.zeta)
            || !closely(one.expected, other.expected)
        {
            return differ("verdict", &conformity(one), &conformity(other));
        }
    }
    for profile in RuleProfile::shipped() {
        let codes =
            |assay: &Assay| -> Vec<&str> { judge(assay, profile).iter().map(|f| f.code).collect() };
        if codes(a) != codes(b) {
            return differ("findings", &codes(a), &codes(b));
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 8, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn a_drawing_gives_what_the_evaluation_gives(
        days in prop::collection::vec(prop::collection::vec(-3i8..12, 7), 3),
    ) {
        let known = ["base-by-phthalate.toml", "base-by-acid.toml"].map(standardized);
        let parents = |name: &str| Some(&known[usize::from(name == "acid")]);
        let all = examples().into_iter().chain(calibrated()).chain(after_standardization());
        for (name, sheet, method) in all {
            let mut patterns = Patterns::default();
            let Ok(first) = patterns.evaluate(&Arc::new(sheet.clone()), &method, &parents) else {
                // Such as a titre above 50 mL.
                prop_assert!(evaluate_briefly(&sheet, &method, &parents).is_err(), "{}", name);
                continue;
            };
            same(&first, &evaluate_briefly(&sheet, &method, &parents).unwrap()).unwrap();
            for steps in &days {
                let mut day = another_day(&sheet, steps);
                // Another bottle on another day.
                if day.titrant.sheet.is_some() {
                    day.titrant.sheet = Some(["acid", "phthalate"][usize::from(steps[0] > 4)].into());
                }
                let alone = evaluate_briefly(&day, &method, &parents);
                match (patterns.evaluate(&Arc::new(day.clone()), &method, &parents), alone) {
                    (Ok(drawn), Ok(alone)) => {
                        if let Err(what) = same(&drawn, &alone) {
                            return Err(TestCaseError::fail(format!("{name}: {what}")));
                        }
                    }
                    (Err(a), Err(b)) => prop_assert_eq!(a.to_string(), b.to_string()),
                    (a, b) => prop_assert!(false, "{}: {:?} {:?}", name, a.is_ok(), b.is_ok()),
                }
            }
        }
    }
}

#[test]
fn most_methods_are_drawn() {
    let known = ["base-by-phthalate.toml", "base-by-acid.toml"].map(standardized);
    let parents = |name: &str| Some(&known[usize::from(name == "acid")]);
    let mut alone = Vec::new();
    let all = examples()
        .into_iter()
        .chain(calibrated())
        .chain(after_standardization());
    for (name, sheet, method) in all {
        let mut patterns = Patterns::default();
        if patterns
            .evaluate(&Arc::new(sheet.clone()), &method, &parents)
            .is_err()
        {
            continue;
        }
        let day = another_day(&sheet, &[1, 0, 2]);
        patterns
            .evaluate(&Arc::new(day.clone()), &method, &parents)
            .unwrap();
        if patterns.by_drawing() == 0 {
            alone.push(name);
        }
    }
    // Where a line goes through the runs, each is evaluated by itself.
    alone.retain(|name| !name.starts_with("calcium-by-standard-addition"));
    // Two with end points that read alike, four that by these solutions hold less than nothing.
    assert!(alone.len() <= 6, "{alone:?}");
}
