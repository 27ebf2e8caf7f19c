//! How the burette was used: titres small for it, refills within a run.

use super::case::Case;
use super::words::{digits, list, ml, percent, reads, runs};
use crate::finding::{Finding, Severity};
use volumetry::reading::{good_titres_ml, step_of_decimals, uncertainty};

/// A drop (common practice: 0.03 to 0.05 mL).
const DROP_ML: f64 = 0.05;

/// Reading uncertainty of a titre above which a small one is doubted: the repeatability that the pharmacopoeias ask for.
const DOUBT: f64 = 0.002;

/// Small titres and refills.
pub(super) fn use_of_burette(case: &Case<'_>) -> Vec<Finding> {
    [small_titre(case), refilled(case)]
        .into_iter()
        .flatten()
        .collect()
}

fn small_titre(case: &Case<'_>) -> Option<Finding> {
    // Where the profile has a rule for it, the rule speaks.
    if case.profile.titre_least_percent.is_some() {
        return None;
    }
    let burette = case.facts.burette;
    let least = *good_titres_ml(burette.capacity).start();
    let small: Vec<_> = case
        .titres
        .iter()
        .filter(|t| t.run.titre < least - 1e-9)
        .collect();
    let smallest = small
        .iter()
        .map(|t| t.run.titre)
        .fold(f64::INFINITY, f64::min);
    let names: Vec<&str> = small.iter().map(|t| t.name()).collect();
    if names.is_empty() {
        return None;
    }
    let reading = uncertainty(step_of_decimals(2), Some(burette.graduation))
        .standard_uncertainty_ml()
        * 2f64.sqrt();
    let severity = if reading / smallest > DOUBT {
        Severity::Doubt
    } else {
        Severity::Note
    };
    Some(
        Finding::new(
            "small-titre",
            severity,
            format!(
                "{}: a titre of {} uses {} % of the {} mL burette, and 30 to 100 % is its good part. One drop is {} of it; with a drop too much {}.",
                runs(&names),
                ml(smallest),
                digits(100.0 * smallest / burette.capacity, 2),
                burette.capacity,
                percent(DROP_ML / smallest),
                reads(case.facts.effect_of_titre(DROP_ML))
            ),
            "Take more of what is in the flask, or a smaller burette.",
        )
        .about(names)
        .sized(smallest, "mL")
        .shifting(case.facts.effect_of_titre(DROP_ML)),
    )
}

fn refilled(case: &Case<'_>) -> Option<Finding> {
    let refilled: Vec<_> = case
        .titres
        .iter()
        .filter(|t| !t.spec.refill.is_empty())
        .collect();
    let names: Vec<&str> = refilled.iter().map(|t| t.name()).collect();
    let most = refilled.iter().map(|t| t.spec.refill.len()).max()?;
    let readings = 2 * (most + 1);
    let times = ((most + 1) as f64).sqrt();
    let run = if names.len() == 1 { "run" } else { "runs" };
    Some(
        Finding::new(
            "refill-within-run",
            Severity::Note,
            format!(
                "The burette was refilled within {run} {}: {readings} readings make the titre, whose reading uncertainty is {times:.1} times that of two, and a second film drains.",
                list(&names)
            ),
            "Take less of what is in the flask, or a larger burette.",
        )
        .about(names)
        .sized(times, "times"),
    )
}

#[cfg(test)]
mod tests {
    use super::super::made::{Made, codes};
    use super::*;
    use crate::layout::Layout;
    use crate::rule_profile::RuleProfile;

    const LAYOUTS: [Layout; 2] = [Layout::SoughtInBurette, Layout::SoughtInFlask];

    fn found(made: &Made, profile: &str) -> Vec<Finding> {
        let evaluation = made.evaluate();
        use_of_burette(&Case::of(&evaluation, RuleProfile::named(profile).unwrap()))
    }

    #[test]
    fn a_drop_of_a_small_titre_counts_and_has_a_direction() {
        for layout in LAYOUTS {
            let made = Made::titres(layout, &[7.35, 7.37, 7.34]);
            let findings = found(&made, "house");
            assert_eq!(codes(&findings), ["small-titre"]);
            assert_eq!(findings[0].severity, Severity::Note);
            // 0.05/7.34
            assert!(
                findings[0].message.contains("One drop is 0.68 % of it"),
                "{findings:?}"
            );
            assert_eq!(
                findings[0].effect.unwrap() > 0.0,
                layout == Layout::SoughtInFlask
            );
            assert!(found(&made, "pharmacopoeia").is_empty(), "the rule speaks");
            assert!(found(&Made::clean(layout), "house").is_empty());
            let tiny = found(&Made::titres(layout, &[3.35, 3.37, 3.34]), "house");
            assert_eq!(tiny[0].severity, Severity::Doubt);
        }
    }

    #[test]
    fn a_refill_is_noted() {
        let findings = found(&Made::clean(LAYOUTS[0]).refill(1, "0.02", "20.31"), "house");
        assert_eq!(codes(&findings), ["refill-within-run"]);
        assert!(
            findings[0].message.contains("run 2: 4 readings"),
            "{findings:?}"
        );
    }
}
