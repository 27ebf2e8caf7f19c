//! Scatter larger than hand and apparatus account for.

use super::case::Case;
use super::words::{chance, ml, times};
use crate::finding::{Finding, Severity};
use metrology::quantiles::f_upper_tail;
use metrology::replicates::{Replicates, compare_scatter};

/// One-sided level.
const LEVEL: f64 = 0.01;

/// Scatter that is too large: against what is known of hand and apparatus by F, against the apparatus alone by
/// chi-square. The first decides; seeing the end always adds to the apparatus.
pub(super) fn too_large(case: &Case<'_>) -> Option<Finding> {
    let deviations = case.deviations();
    let observed = Replicates::of(&deviations).ok()?.scatter()?;
    let ratio = observed.standard_deviation / case.expected_scatter;
    let known = case.facts.scatter.earlier.degrees_of_freedom;
    let p = f_upper_tail(ratio * ratio, observed.degrees_of_freedom, known);
    if !(ratio > 1.0 && p < LEVEL) {
        return None;
    }
    let apparatus = case.facts.scatter.predicted * case.mean_titre()?;
    let alone = compare_scatter(observed, apparatus).map_or_else(String::new, |c| {
        format!(
            "; readings and weighings alone make {} (chi-square, {})",
            ml(apparatus),
            chance(c.p_at_least)
        )
    });
    let source = if case.facts.scatter.earlier.given {
        "earlier work leads to expect"
    } else {
        "is to be expected"
    };
    Some(
        Finding::new(
            "scatter-too-large",
            Severity::Doubt,
            format!(
                "The titres scatter by {} (n = {}), {} times what {source} (F test, one-sided {}){alone}. Something else varies: how the end is seen, mixing, the tap, what is taken into the flask.",
                ml(observed.standard_deviation),
                deviations.len(),
                times(ratio),
                chance(p)
            ),
            "Titrate two portions from one and the same flask: if they agree, the portions differ; if not, it is the hand or the end point.",
        )
        .about(case.names())
        .sized(observed.standard_deviation, "mL"),
    )
}

#[cfg(test)]
mod tests {
    use super::super::made::Made;
    use super::*;
    use crate::layout::Layout;
    use crate::rule_profile::RuleProfile;

    const LAYOUTS: [Layout; 2] = [Layout::SoughtInBurette, Layout::SoughtInFlask];

    fn found(made: &Made) -> Option<Finding> {
        let evaluation = made.evaluate();
        too_large(&Case::of(&evaluation, RuleProfile::named("house").unwrap()))
    }

    #[test]
    fn wild_titres_scatter_too_much() {
        for layout in LAYOUTS {
            let finding = found(&Made::titres(layout, &[24.30, 24.55, 24.42, 24.71])).unwrap();
            assert_eq!(finding.code, "scatter-too-large");
            assert!(
                finding.message.contains("chi-square"),
                "{}",
                finding.message
            );
            assert!((finding.size.unwrap().value - 0.176).abs() < 0.002);
        }
    }

    #[test]
    fn what_a_careful_hand_scatters_is_left_alone() {
        for layout in LAYOUTS {
            assert!(found(&Made::clean(layout)).is_none());
            assert!(found(&Made::titres(layout, &[24.50, 24.56, 24.53])).is_none());
            assert!(found(&Made::titres(layout, &[24.50])).is_none());
        }
    }
}
