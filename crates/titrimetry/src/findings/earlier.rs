//! A result that differs from what the same solution was found to be before.

use super::case::Case;
use super::causes;
use super::words::percent;
use crate::finding::{Finding, Severity};

/// Standard uncertainties of the difference beyond which two results disagree: the 99 % point of the normal
/// distribution, two-sided.
const DISAGREE: f64 = 2.576;

/// The finding, if the two disagree beyond what both are unsure by.
pub(super) fn differs(case: &Case<'_>) -> Option<Finding> {
    let evaluation = case.facts.determination?;
    let before = evaluation.before.as_ref()?;
    let now = &evaluation.budget;
    let off = now.value / before.value - 1.0;
    // Taken as independent: what both share (a burette, a lot of standard) would only make the difference surer.
    let unsure =
        (now.standard_uncertainty / now.value).hypot(before.standard_uncertainty / before.value);
    // The degrees of freedom of a small set widen the limit as they widen its own interval.
    let widened = DISAGREE * (evaluation.expanded.coverage_factor / 1.96).max(1.0);
    if off.abs() <= widened * unsure {
        return None;
    }
    let way = if off < 0.0 { "below" } else { "above" };
    let stated = before
        .certificate
        .as_ref()
        .map_or_else(String::new, |c| format!(", {c}"));
    Some(
        Finding::new(
            "differs-from-earlier",
            Severity::Doubt,
            format!(
                "The result is {} {way} what the solution was found to be before ({}{stated}); both together are unsure by {} (u). The solution has changed, or one of the two results is off.",
                percent(off),
                before.written,
                percent(unsure)
            ),
            "Repeat one run with a fresh portion of standard. If it holds, label the bottle anew and give it a shorter time.",
        )
        .sized(100.0 * off, "%")
        .shifting(off)
        .caused(causes::weigh(evaluation, off, widened * unsure)),
    )
}

#[cfg(test)]
mod tests {
    use super::super::made::Made;
    use super::*;
    use crate::finding::Likelihood;
    use crate::layout::Layout;
    use crate::rule_profile::RuleProfile;

    fn found(made: &Made) -> Option<Finding> {
        let evaluation = made.evaluate();
        differs(&Case::of(&evaluation, RuleProfile::named("house").unwrap()))
    }

    #[test]
    fn an_agreeing_result_is_left_alone() {
        let c = Made::clean(Layout::SoughtInBurette)
            .evaluate()
            .concentration();
        for off in [-0.002, 0.0, 0.002] {
            let made = Made::clean(Layout::SoughtInBurette).earlier(c * (1.0 + off), c * 0.001);
            assert_eq!(found(&made), None, "{off}");
        }
    }

    #[test]
    fn a_base_that_has_fallen_a_little_may_have_taken_up_carbon_dioxide() {
        let c = Made::clean(Layout::SoughtInBurette)
            .evaluate()
            .concentration();
        let made = Made::clean(Layout::SoughtInBurette).earlier(c * 1.01, c * 0.001);
        let finding = found(&made).unwrap();
        assert!(
            (finding.effect.unwrap() + 0.0099).abs() < 1e-4,
            "{finding:?}"
        );
        let first = &finding.causes[0];
        let carbonate = finding
            .causes
            .iter()
            .find(|c| c.code == "carbonate-in-base")
            .unwrap();
        assert_eq!(first.likelihood, Likelihood::Likely);
        assert_eq!(carbonate.likelihood, Likelihood::Likely);
        assert!(!carbonate.next_step.is_empty());
        let damp = finding
            .causes
            .iter()
            .find(|c| c.code == "damp-standard")
            .unwrap();
        assert_eq!(damp.likelihood, Likelihood::WrongWay);
    }

    #[test]
    fn a_base_that_has_risen_has_a_damp_standard_but_no_carbonate() {
        let c = Made::clean(Layout::SoughtInBurette)
            .evaluate()
            .concentration();
        let made = Made::clean(Layout::SoughtInBurette).earlier(c * 0.99, c * 0.001);
        let finding = found(&made).unwrap();
        let of = |code: &str| finding.causes.iter().find(|c| c.code == code).unwrap();
        assert_eq!(of("carbonate-in-base").likelihood, Likelihood::WrongWay);
        assert_eq!(of("water-in-burette").likelihood, Likelihood::WrongWay);
        let damp = of("damp-standard");
        assert_eq!(damp.likelihood, Likelihood::Likely);
        // 1.01 % too high: the standard held so much water.
        assert!(
            (damp.needed.as_ref().unwrap().value - 1.01).abs() < 0.005,
            "{damp:?}"
        );
    }
}
