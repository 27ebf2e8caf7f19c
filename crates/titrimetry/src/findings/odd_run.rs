//! One run that stands off, and what outlier tests say to it. Advice only: a person sets a run aside, with a reason.

use super::case::{Case, median, range};
use super::words::{chance, ml, reads, times};
use crate::finding::{Finding, Severity};
use metrology::outliers::{dixon_r10_two_tailed, grubbs_two_tailed};

/// Off by so many expected standard deviations of a difference, a run is odd whatever the tests can say (they can say
/// nothing of three runs).
const FAR: f64 = 4.0;

/// With a significant test this many suffice: a test alone makes outliers of runs that agree better than a drop, since
/// three close values make any fourth look far.
const NOTABLE: f64 = 2.5;

/// The others agree if they span no more than so many expected standard deviations.
const AGREE: f64 = 5.0;

/// Two-tailed level of the tests.
const LEVEL: f64 = 0.05;

/// The run that stands off most, if it does.
pub(super) fn odd(case: &Case<'_>) -> Vec<Finding> {
    let deviations = case.deviations();
    let n = deviations.len();
    if n < 3 || case.expected_scatter <= 0.0 {
        return Vec::new();
    }
    let from_others = |i: usize| {
        let mut others = deviations.clone();
        others.remove(i);
        deviations[i] - median(&others).unwrap_or(0.0)
    };
    let Some((index, off)) = (0..n)
        .map(|i| (i, from_others(i)))
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
    else {
        return Vec::new();
    };
    let scatter = case.expected_scatter * (1.0 + 1.0 / (n as f64 - 1.0)).sqrt();
    let distance = off.abs() / scatter;
    let dixon = dixon_r10_two_tailed(&deviations)
        .ok()
        .filter(|t| t.suspect.index == index && n > 3);
    let grubbs = grubbs_two_tailed(&deviations)
        .ok()
        .filter(|t| t.suspect.index == index && !t.hopeless());
    let significant = dixon.as_ref().is_some_and(|t| t.p_two_tailed < LEVEL)
        || grubbs.as_ref().is_some_and(|t| t.p < LEVEL);
    let mut others = deviations.clone();
    others.remove(index);
    // Where the others disagree too, it is the scatter that is odd, not one run.
    let alone = range(&others).is_some_and(|r| r <= AGREE * case.expected_scatter);
    if !((alone && distance > FAR) || (significant && distance > NOTABLE)) {
        return Vec::new();
    }
    let mut tests: Vec<String> = Vec::new();
    if let Some(test) = &dixon {
        tests.push(format!(
            "Dixon r10 = {:.2}, {}",
            test.ratio,
            chance(test.p_two_tailed)
        ));
    }
    if let Some(test) = &grubbs {
        tests.push(format!(
            "Grubbs G = {:.2}, {}",
            test.statistic,
            chance(test.p)
        ));
    }
    let tests = if n == 3 {
        " Three runs are too few for an outlier test.".to_string()
    } else if tests.is_empty() {
        String::new()
    } else {
        let verdict = if significant {
            "Outlier tests bear this out"
        } else {
            "Outlier tests do not bear this out"
        };
        format!(" {verdict} (two-tailed): {}.", tests.join("; "))
    };
    let (way, causes) = if off > 0.0 {
        (
            "high",
            "an overshoot, a bubble that left the tip, a leaking tap",
        )
    } else {
        (
            "low",
            "an end taken too early, a drip into the burette, a loss from the flask",
        )
    };
    let name = case.titres[index].name();
    let effect = case.effect_of(&case.titres[index], off);
    vec![
        Finding::new(
            "odd-run",
            Severity::Doubt,
            format!(
                "Run {name} stands {} {way} of the others, {} times the scatter to be expected. It may be {causes}, or a weighing. With it {}.{tests}",
                ml(off),
                times(distance),
                reads(effect)
            ),
            "Look for a reason in the bench book. Without one the run stays in: titrate once more rather than set it aside.",
        )
        .about([name])
        .sized(off, "mL")
        .shifting(effect),
    ]
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
        odd(&Case::of(&evaluation, RuleProfile::named("house").unwrap()))
    }

    #[test]
    fn the_run_that_stands_off_is_named_with_both_tests() {
        for layout in LAYOUTS {
            let findings = found(&Made::titres(layout, &[24.50, 24.52, 24.78, 24.51]));
            assert_eq!(codes(&findings), ["odd-run"]);
            assert_eq!(findings[0].runs, ["3"]);
            let message = &findings[0].message;
            assert!(
                message.contains("two-tailed")
                    && message.contains("Dixon")
                    && message.contains("Grubbs"),
                "{message}"
            );
            assert_eq!(
                findings[0].effect.unwrap() > 0.0,
                layout == Layout::SoughtInFlask
            );
            let way = if layout == Layout::SoughtInFlask {
                "high"
            } else {
                "low"
            };
            assert!(message.contains(&format!("% {way}.")), "{message}");
        }
    }

    #[test]
    fn where_all_disagree_no_run_is_the_odd_one() {
        for layout in LAYOUTS {
            assert!(found(&Made::titres(layout, &[24.30, 24.55, 24.42, 24.71])).is_empty());
        }
    }

    #[test]
    fn three_runs_are_too_few_for_a_test() {
        let findings = found(&Made::titres(LAYOUTS[0], &[24.50, 24.18, 24.51]));
        assert!(
            findings[0].message.contains("too few for an outlier test"),
            "{findings:?}"
        );
        assert!(findings[0].message.contains("0.33 mL low"), "{findings:?}");
    }

    #[test]
    fn close_values_do_not_make_an_outlier_of_a_good_run() {
        // Dixon's r10 is 0.80 here (two-tailed 90 % value 0.765), and the run is 0.04 mL off: less than a drop.
        for layout in LAYOUTS {
            assert!(found(&Made::titres(layout, &[24.50, 24.51, 24.50, 24.55])).is_empty());
            assert!(found(&Made::clean(layout)).is_empty());
        }
    }
}
