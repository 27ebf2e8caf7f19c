//! What one or two runs cannot say.

use super::case::Case;
use super::words::percent;
use crate::finding::{Finding, Severity};

/// The limits of a small set.
pub(super) fn limits(case: &Case<'_>) -> Option<Finding> {
    let earlier = &case.facts.scatter.earlier;
    let basis = format!(
        "{} (one run: {}, {} degrees of freedom)",
        if earlier.given {
            "the repeatability of earlier work"
        } else {
            "an assumed repeatability"
        },
        percent(earlier.relative),
        earlier.degrees_of_freedom,
    );
    let (severity, message, next) = match case.titres.len() {
        1 => (
            Severity::Doubt,
            format!(
                "One run shows no scatter and no slip: the interval rests on {basis}, and nothing here can bear it out."
            ),
            "Titrate once more: a second run shows whether the first can be relied on.",
        ),
        2 => (
            Severity::Note,
            format!(
                "Two runs cannot say which of them is off, and their own scatter tells little: the interval rests mostly on {basis}."
            ),
            "A third run decides between two that differ.",
        ),
        _ => return None,
    };
    Some(
        Finding::new("small-set", severity, message, next)
            .about(case.names())
            .sized(case.titres.len() as f64, "runs"),
    )
}

#[cfg(test)]
mod tests {
    use super::super::made::Made;
    use super::*;
    use crate::layout::Layout;
    use crate::rule_profile::RuleProfile;

    #[test]
    fn one_and_two_runs_are_spoken_of_and_three_are_not() {
        for layout in [Layout::SoughtInBurette, Layout::SoughtInFlask] {
            let found = |titres: &[f64]| {
                let evaluation = Made::titres(layout, titres).evaluate();
                limits(&Case::of(&evaluation, RuleProfile::named("house").unwrap()))
            };
            assert_eq!(found(&[24.53]).unwrap().severity, Severity::Doubt);
            assert_eq!(found(&[24.53, 24.51]).unwrap().severity, Severity::Note);
            assert_eq!(found(&[24.53, 24.51, 24.54]), None);
        }
    }
}
