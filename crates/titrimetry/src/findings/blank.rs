//! Blanks that are suspicious.

use super::case::{Case, range};
use super::words::{ml, percent, reads, signed_ml};
use crate::evaluation::{Evaluation, RunStatus};
use crate::finding::{Finding, Severity};

/// A blank above this is suspicious: 50 mL of a Mohr blank take 0.2 to 0.3 mL (a published chloride procedure).
const LARGE_ML: f64 = 0.3;

/// A blank above this share of the titre decides about the result (common practice).
const LARGE_SHARE: f64 = 0.05;

/// Blanks that differ by more than two drops (common practice).
const DIFFER_ML: f64 = 0.1;

/// What is odd about the blanks.
pub(super) fn suspicious(case: &Case<'_>) -> Vec<Finding> {
    let Some(evaluation) = case.facts.determination else {
        return Vec::new();
    };
    let Some(blank) = evaluation.blank else {
        return Vec::new();
    };
    let (names, volumes) = blanks(evaluation);
    odd_blank(blank, case.mean_titre(), &names, &volumes, |ml| {
        evaluation.effect_of_titre(ml)
    })
}

/// What is odd about a blank that is subtracted: its mean, the titre it is taken from, its runs, and what a change of
/// every titre does to the result.
pub(crate) fn odd_blank(
    blank: f64,
    titre: Option<f64>,
    names: &[String],
    volumes: &[f64],
    effect_of_titre: impl Fn(f64) -> f64,
) -> Vec<Finding> {
    let mut findings = Vec::new();
    // Taking it off lowers every titre by the blank.
    let effect = effect_of_titre(-blank);
    let share = titre.map_or(0.0, |titre| blank / titre);
    let odd = if blank < 0.0 {
        Some((
            "blank-negative",
            format!("The blank is {}: it cannot be negative.", signed_ml(blank)),
            "Check the blank's readings, initial and final, and repeat it.",
        ))
    } else if blank > LARGE_ML + 1e-9 {
        Some((
            "blank-large",
            format!(
                "The blank takes {}, more than {LARGE_ML} mL: an impure reagent, much carbon dioxide in the water, or a decomposed titrant may do it.",
                ml(blank)
            ),
            "Repeat the blank with fresh reagent and freshly boiled water.",
        ))
    } else if share > LARGE_SHARE {
        Some((
            "blank-large",
            format!("The blank is {} of the titre.", percent(share)),
            "Take more of what is in the flask, so that the blank matters less.",
        ))
    } else {
        None
    };
    if let Some((code, seen, next)) = odd {
        let message = format!(
            "{seen} If it does not belong to the runs, {}.",
            reads(effect)
        );
        findings.push(
            Finding::new(code, Severity::Doubt, message, next)
                .about(names.to_vec())
                .sized(blank, "mL")
                .shifting(effect),
        );
    }
    if let Some(spread) = range(volumes).filter(|s| *s > DIFFER_ML + 1e-9) {
        let effect = effect_of_titre(spread / 2.0);
        findings.push(
            Finding::new(
                "blanks-differ",
                Severity::Note,
                format!(
                    "The blanks differ by {}; half of that moves the result by {}.",
                    ml(spread),
                    percent(effect)
                ),
                "Do another blank with the water and reagents of the runs.",
            )
            .about(names.to_vec())
            .sized(spread, "mL"),
        );
    }
    findings
}

fn blanks(evaluation: &Evaluation) -> (Vec<String>, Vec<f64>) {
    evaluation
        .runs
        .iter()
        .filter(|run| run.status == RunStatus::Blank)
        .map(|run| (run.name.clone(), run.volume))
        .unzip()
}

#[cfg(test)]
mod tests {
    use super::super::made::{Made, codes};
    use super::*;
    use crate::layout::Layout;
    use crate::rule_profile::RuleProfile;

    const LAYOUTS: [Layout; 2] = [Layout::SoughtInBurette, Layout::SoughtInFlask];

    fn found(made: &Made) -> Vec<Finding> {
        let evaluation = made.evaluate();
        suspicious(&Case::of(&evaluation, RuleProfile::named("house").unwrap()))
    }

    #[test]
    fn a_large_blank_moves_the_result_by_the_layout() {
        for layout in LAYOUTS {
            let findings = found(&Made::clean(layout).blanks(&[("0.02", "0.47")]));
            assert_eq!(codes(&findings), ["blank-large"]);
            // Taking off too much lowers the titre: the titrant looks stronger, the titrand weaker.
            let effect = findings[0].effect.unwrap();
            assert_eq!(effect > 0.0, layout == Layout::SoughtInBurette);
            let by_hand = 0.45 / 24.0;
            assert!((effect.abs() / by_hand - 1.0).abs() < 0.03, "{effect}");
        }
    }

    #[test]
    fn a_small_blank_of_a_small_titre_matters() {
        let findings =
            found(&Made::titres(LAYOUTS[0], &[3.93, 3.91, 3.94]).blanks(&[("0.02", "0.27")]));
        assert!(findings[0].message.contains("of the titre"), "{findings:?}");
    }

    #[test]
    fn blanks_that_differ_are_noted() {
        let findings =
            found(&Made::clean(LAYOUTS[1]).blanks(&[("0.02", "0.07"), ("0.07", "0.24")]));
        assert_eq!(codes(&findings), ["blanks-differ"]);
    }

    #[test]
    fn an_ordinary_blank_is_left_alone() {
        for layout in LAYOUTS {
            assert!(found(&Made::clean(layout)).is_empty());
            assert!(
                found(&Made::clean(layout).blanks(&[("0.02", "0.07"), ("0.07", "0.13")]))
                    .is_empty()
            );
        }
    }

    #[test]
    fn a_negative_blank_cannot_be() {
        let mut evaluation = Made::clean(LAYOUTS[0])
            .blanks(&[("0.02", "0.07")])
            .evaluate();
        evaluation.blank = Some(-0.03);
        let findings = suspicious(&Case::of(&evaluation, RuleProfile::named("house").unwrap()));
        assert_eq!(codes(&findings), ["blank-negative"]);
    }
}
