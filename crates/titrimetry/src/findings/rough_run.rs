//! A rough run that was averaged in.

use super::case::{Case, median, range, readings};
use super::words::{ml, reads};
use crate::finding::{Finding, Severity};
use crate::sheet::RunKind;

/// A rough titre overshoots by more than this (common practice: it stops within a mL, a careful one within a drop).
const LEAST_OVERSHOOT_ML: f64 = 0.2;

/// Runs that count although they are called rough, or look like it: the first one, larger than the rest by far, where no
/// rough run is on the sheet, or a larger one that was read more coarsely.
pub(super) fn averaged(case: &Case<'_>) -> Vec<Finding> {
    let deviations = case.deviations();
    let steps: Vec<f64> = case
        .titres
        .iter()
        .map(|t| readings(t.spec).iter().map(|r| r.step).fold(0.0, f64::max))
        .collect();
    let rough_on_sheet = case
        .facts
        .specs
        .iter()
        .any(|run| run.kind == RunKind::Rough);
    let mut findings = Vec::new();
    for (i, titre) in case.titres.iter().enumerate() {
        let mut others = deviations.clone();
        others.remove(i);
        let off = median(&others).map_or(0.0, |middle| deviations[i] - middle);
        let agree = range(&others).is_some_and(|r| r <= 5.0 * case.expected_scatter);
        let larger = off >= LEAST_OVERSHOOT_ML && off >= 5.0 * case.expected_scatter;
        let coarser = others.len() == steps.len() - 1
            && steps
                .iter()
                .enumerate()
                .all(|(j, step)| j == i || steps[i] > step * 1.5);
        let says = if is_called_rough(titre.name()) {
            format!("Run {} is called rough but counts", titre.name())
        } else if larger && coarser && !others.is_empty() {
            format!(
                "Run {} looks like a rough run: {} above the others and read more coarsely; it counts",
                titre.name(),
                ml(off)
            )
        } else if larger && agree && i == 0 && !rough_on_sheet {
            format!(
                "Run {} looks like a rough run: the first one, {} above the others, which agree; it counts",
                titre.name(),
                ml(off)
            )
        } else {
            continue;
        };
        let effect = case.effect_of(titre, off);
        let moved = if off == 0.0 {
            String::new()
        } else {
            format!(" With it {}.", reads(effect))
        };
        findings.push(
            Finding::new(
                "rough-run-averaged",
                Severity::Doubt,
                format!("{says}.{moved}"),
                "If it was the rough run, give it kind = \"rough\"; if not, look for a bubble in the tip or an overshoot.",
            )
            .about([titre.name()])
            .sized(off, "mL")
            .shifting(effect),
        );
    }
    findings
}

fn is_called_rough(name: &str) -> bool {
    let name = name.to_lowercase();
    ["rough", "trial", "range-finding"]
        .iter()
        .any(|word| name.contains(word))
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
        averaged(&Case::of(&evaluation, RuleProfile::named("house").unwrap()))
    }

    #[test]
    fn the_first_much_larger_run_counts() {
        for layout in LAYOUTS {
            let findings = found(&Made::titres(layout, &[24.93, 24.51, 24.50]));
            assert_eq!(codes(&findings), ["rough-run-averaged"]);
            assert_eq!(findings[0].runs, ["1"]);
            assert_eq!(
                findings[0].effect.unwrap() > 0.0,
                layout == Layout::SoughtInFlask
            );
        }
    }

    #[test]
    fn a_coarser_larger_run_counts_wherever_it_stands() {
        let pairs = [("0.00", "24.51"), ("0.0", "25.0"), ("0.00", "24.53")];
        let findings = found(&Made::readings(LAYOUTS[0], &pairs));
        assert_eq!(findings[0].runs, ["2"]);
        assert!(findings[0].message.contains("read more coarsely"));
    }

    #[test]
    fn a_run_called_rough_counts() {
        let made = Made::clean(LAYOUTS[0]).name(0, "rough 1");
        assert_eq!(found(&made)[0].runs, ["rough 1"]);
    }

    #[test]
    fn a_rough_run_that_does_not_count_is_as_it_should_be() {
        for layout in LAYOUTS {
            assert!(found(&Made::clean(layout)).is_empty());
            let made = Made::titres(layout, &[24.93, 24.51, 24.50]).rough(0);
            assert!(found(&made).is_empty());
            // A low first run is not rough.
            assert!(found(&Made::titres(layout, &[24.10, 24.51, 24.50])).is_empty());
        }
    }
}
