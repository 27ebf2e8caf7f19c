//! Titres that drift with the order of the runs or with the clock.

use super::case::{Case, range};
use super::words::{chance, ml, percent};
use crate::finding::{Finding, Severity};
use metrology::trend::{Trend, trend_with_order, trend_with_time};

/// Two-sided level at which a trend is reported: five runs in perfect order (p = 0.017) reach it, four (0.083) do not.
const LEVEL: f64 = 0.02;

/// Four runs in perfect order are reported if they also span more than so many expected standard deviations.
const SPAN_OF_FOUR: f64 = 4.5;

/// A drift of the titres, masses taken out.
pub(super) fn drift(case: &Case<'_>) -> Option<Finding> {
    let deviations = case.deviations();
    let by_order = trend_with_order(&deviations).ok();
    let by_clock = clock(case).and_then(|minutes| trend_with_time(&minutes, &deviations).ok());
    let spans = range(&deviations).unwrap_or(0.0) > SPAN_OF_FOUR * case.expected_scatter;
    let seen = |trend: &Trend| {
        trend.p_two_sided < LEVEL || (trend.n == 4 && trend.p_two_sided < 0.1 && spans)
    };
    let clock_first = |t: &&Trend| seen(t);
    if let Some(trend) = by_clock.as_ref().filter(clock_first)
        && by_order
            .as_ref()
            .is_none_or(|order| trend.p_two_sided < order.p_two_sided)
    {
        return Some(finding(case, trend, "with the clock", "per hour", 60.0));
    }
    let trend = by_order.filter(seen)?;
    Some(finding(case, &trend, "from run to run", "per run", 1.0))
}

/// Minutes after midnight, if every run has a time; a run past midnight counts on.
fn clock(case: &Case<'_>) -> Option<Vec<f64>> {
    let mut minutes: Vec<f64> = Vec::with_capacity(case.titres.len());
    for titre in &case.titres {
        let (hours, rest) = titre.spec.time.as_deref()?.trim().split_once(':')?;
        let hours: u32 = hours.parse().ok().filter(|h| *h < 24)?;
        let minute: u32 = rest.get(..2)?.parse().ok().filter(|m| *m < 60)?;
        let mut at = f64::from(60 * hours + minute);
        if minutes.last().is_some_and(|last| at < last - 720.0) {
            at += 1440.0;
        }
        minutes.push(at);
    }
    Some(minutes)
}

fn finding(case: &Case<'_>, trend: &Trend, along: &str, per: &str, scale: f64) -> Finding {
    let falls = trend.s < 0;
    let weighed = case.facts.weighed;
    let causes = match (falls, weighed) {
        (true, true) => {
            "A burette rinsed with water only does this and levels off; so does a standard that takes up water while the runs are weighed, or a titrant that cools"
        }
        (true, false) => {
            "A burette rinsed with water only does this and levels off; so does a titrant that cools"
        }
        (false, true) => {
            "A titrant that loses strength or takes up carbon dioxide does this; so does a titrant that warms, or a tap that leaks more and more"
        }
        (false, false) => {
            "A titrant that loses strength does this; so does what is in the flask when it evaporates from its bottle, a titrant that warms, or a tap that leaks more and more"
        }
    };
    let first_to_last = range(&case.deviations()).unwrap_or(0.0) * if falls { -1.0 } else { 1.0 };
    let moved = case.facts.effect_of_titre(first_to_last);
    let (way, result) = (
        if falls { "fall" } else { "rise" },
        if moved < 0.0 { "falls" } else { "rises" },
    );
    let chance = if trend.p_two_sided < LEVEL {
        format!(
            "chance alone would do this with {}",
            chance(trend.p_two_sided)
        )
    } else {
        format!(
            "four runs are few ({}), but the drift is larger than their scatter",
            chance(trend.p_two_sided)
        )
    };
    Finding::new(
        "drift",
        if trend.p_two_sided < LEVEL {
            Severity::Doubt
        } else {
            Severity::Note
        },
        format!(
            "The titres {way} {along}, by {} {per}; over the set the result {result} by {} (Mann-Kendall, two-sided: {chance}). {causes}.",
            ml(trend.slope * scale),
            percent(moved)
        ),
        if falls {
            "Rinse the burette twice with the titrant and titrate again; if the titre stays at the last value, the first runs were diluted."
        } else {
            "Let the full burette stand ten minutes and read it again (leak); then repeat the first run."
        },
    )
    .about(case.names())
    .sized(trend.slope * scale, if scale > 1.0 { "mL/h" } else { "mL/run" })
}

#[cfg(test)]
mod tests {
    use super::super::made::{Made, codes};
    use super::*;
    use crate::layout::Layout;
    use crate::rule_profile::RuleProfile;

    const LAYOUTS: [Layout; 2] = [Layout::SoughtInBurette, Layout::SoughtInFlask];

    fn found(made: &Made) -> Option<Finding> {
        let evaluation = made.evaluate();
        drift(&Case::of(&evaluation, RuleProfile::named("house").unwrap()))
    }

    #[test]
    fn falling_titres_move_the_result_by_the_layout() {
        for layout in LAYOUTS {
            let made = Made::titres(layout, &[24.62, 24.58, 24.55, 24.51, 24.50]);
            let finding = found(&made).unwrap();
            assert_eq!(codes(std::slice::from_ref(&finding)), ["drift"]);
            let result = if layout == Layout::SoughtInFlask {
                "the result falls"
            } else {
                "the result rises"
            };
            assert!(finding.message.contains(result), "{}", finding.message);
            assert!(finding.message.contains("p = 0.017"), "{}", finding.message);
            assert!(finding.size.unwrap().value < 0.0);
        }
    }

    #[test]
    fn rising_titres_have_other_causes() {
        let finding = found(&Made::titres(
            LAYOUTS[1],
            &[24.50, 24.53, 24.57, 24.60, 24.64],
        ))
        .unwrap();
        assert!(
            finding.message.contains("loses strength"),
            "{}",
            finding.message
        );
    }

    #[test]
    fn the_clock_is_looked_at_where_every_run_has_a_time() {
        // Out of order on the sheet, in order by the clock.
        let made = Made::titres(LAYOUTS[0], &[24.57, 24.50, 24.60, 24.53, 24.64])
            .times(&["10:20", "10:00", "10:30", "10:10", "10:40"]);
        let finding = found(&made).unwrap();
        assert!(
            finding.message.contains("with the clock"),
            "{}",
            finding.message
        );
        assert_eq!(finding.size.unwrap().unit, "mL/h");
    }

    #[test]
    fn four_runs_need_a_span_too() {
        for layout in LAYOUTS {
            assert!(found(&Made::titres(layout, &[24.50, 24.51, 24.52, 24.53])).is_none());
            let finding = found(&Made::titres(layout, &[24.50, 24.56, 24.62, 24.68])).unwrap();
            assert_eq!(finding.severity, Severity::Note);
        }
    }

    #[test]
    fn no_order_no_finding() {
        for layout in LAYOUTS {
            assert!(found(&Made::clean(layout)).is_none());
            assert!(found(&Made::titres(layout, &[24.50, 24.55, 24.52, 24.51, 24.54])).is_none());
        }
    }
}
