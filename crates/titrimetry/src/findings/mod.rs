//! Findings: what a trained eye sees in a set of readings.
//!
//! [`judge`] looks at an evaluation and says what it saw, how big it is, which way it moves the result and what the
//! cheapest next step is. Findings advise; nothing is dropped or changed because of one. The direction is never listed:
//! it is the sign of [`Evaluation::effect_per_ml`], read off the formula of the result, and so follows from the layout.
//!
//! A slip of the pen or a rough run that explains a deviation is named once; the statistical findings then look at the
//! other runs. The rules of the profile look at every run that counts, whatever explains it.

mod acceptance;
mod apparatus;
pub(crate) mod blank;
pub(crate) mod case;
mod causes;
mod chain;
mod codes;
mod copied;
mod earlier;
mod embedded;
pub(crate) mod known_ratio;
mod nominal;
mod odd_run;
pub(crate) mod readings;
mod record;
mod rough_run;
mod scatter;
mod slip;
mod small_set;
mod trend;
pub(crate) mod words;

#[cfg(test)]
pub(crate) mod dice;
#[cfg(test)]
mod made;
#[cfg(test)]
mod simulation;

pub use codes::CODES;

use crate::evaluation::Evaluation;
use crate::finding::Finding;
use crate::rule_profile::RuleProfile;
use case::Case;

/// Judges an evaluation by a rule profile; the weightiest findings come first.
pub fn judge(evaluation: &Evaluation, profile: &RuleProfile) -> Vec<Finding> {
    let case = Case::of(evaluation, profile);
    let mut findings = runs(&case);
    findings.extend(known_ratio::slip(&case));
    findings.extend(nominal::far(&case));
    findings.extend(earlier::differs(&case));
    findings.extend(blank::suspicious(&case));
    findings.extend(readings::preferred_digits(&case));
    // Stable: within one weight the order above stays.
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    findings
}

/// What is seen in one set of runs: those of a standardization, or of one titration of a sample.
pub(crate) fn runs(case: &Case<'_>) -> Vec<Finding> {
    let mut findings = acceptance::broken_rules(case);

    let mut explained = slip::slips(case);
    explained.extend(rough_run::averaged(&case.without(&names(&explained))));
    let named = names(&explained);
    findings.append(&mut explained);
    let rest = case.without(&named);

    let odd = odd_run::odd(&rest);
    let quiet = rest.without(&names(&odd));
    findings.extend(odd);
    findings.extend(trend::drift(&rest));
    findings.extend(scatter::too_large(&quiet));
    findings.extend(copied::too_alike(case));
    findings.extend(chain::broken(case, &named));
    findings.extend(readings::coarse(case));
    findings.extend(apparatus::use_of_burette(case));
    findings.extend(small_set::limits(case));
    findings.extend(record::notes(case));
    findings
}

fn names(findings: &[Finding]) -> Vec<String> {
    findings.iter().flat_map(|f| f.runs.clone()).collect()
}

#[cfg(test)]
mod tests {
    use super::made::{Made, codes};
    use super::*;
    use crate::finding::Severity;
    use crate::layout::Layout;

    const LAYOUTS: [Layout; 2] = [Layout::SoughtInBurette, Layout::SoughtInFlask];

    fn judged(made: &Made, profile: &str) -> Vec<Finding> {
        judge(&made.evaluate(), RuleProfile::named(profile).unwrap())
    }

    #[test]
    fn a_clean_set_is_left_alone_but_for_what_was_assumed() {
        for layout in LAYOUTS {
            for profile in ["house", "loose", "teaching", "pharmacopoeia"] {
                let findings = judged(&Made::clean(layout), profile);
                assert_eq!(codes(&findings), ["assumed-repeatability"], "{profile}");
                let known = Made::clean(layout).repeatability("0.10 %", 12);
                assert_eq!(judged(&known, profile), []);
            }
        }
    }

    #[test]
    fn the_weightiest_come_first() {
        let made = Made::titres(LAYOUTS[1], &[24.53, 24.51, 26.20, 24.52]).set_aside(0, "spilled");
        let findings = judged(&made, "pharmacopoeia");
        assert_eq!(findings[0].severity, Severity::RuleBroken);
        assert!(
            findings.windows(2).all(|w| w[0].severity >= w[1].severity),
            "{findings:?}"
        );
        assert_eq!(findings.last().unwrap().severity, Severity::Note);
    }

    #[test]
    fn one_slip_is_one_finding_beside_the_rules_it_breaks() {
        for layout in LAYOUTS {
            let made = Made::readings(
                layout,
                &[
                    ("0.03", "24.56"),
                    ("0.10", "25.60"),
                    ("0.02", "24.57"),
                    ("0.07", "24.61"),
                ],
            )
            .repeatability("0.10 %", 12);
            assert_eq!(
                codes(&judged(&made, "house")),
                ["rsd-too-large", "slip-of-the-pen"]
            );
        }
    }

    #[test]
    fn every_code_is_listed_once() {
        let mut listed: Vec<&str> = CODES.iter().map(|(code, _)| *code).collect();
        listed.sort_unstable();
        let n = listed.len();
        listed.dedup();
        assert_eq!(listed.len(), n);
    }

    proptest::proptest! {
        #![proptest_config(proptest::prelude::ProptestConfig::with_cases(96))]
        #[test]
        fn any_sheet_that_evaluates_can_be_judged(
            runs in proptest::collection::vec((0_u32..2000, 1_u32..4800, 0_usize..4, 0.5..2.0_f64), 1..9),
            sought_in_flask in proptest::bool::ANY,
        ) {
            let layout = LAYOUTS[usize::from(sought_in_flask)];
            let written = |hundredths: u32, decimals: usize| format!("{:.decimals$}", f64::from(hundredths) / 100.0);
            let pairs: Vec<(String, String)> = runs
                .iter()
                .map(|(initial, titre, decimals, _)| {
                    let last = (initial + titre).min(5000);
                    (written(*initial, *decimals), written(last, *decimals))
                })
                .collect();
            let pairs: Vec<(&str, &str)> = pairs.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect();
            let amounts: Vec<f64> = runs.iter().map(|run| run.3).collect();
            let made = Made::readings(layout, &pairs).amounts(&amounts);
            // Titres of zero and the like are refused before anything is judged.
            if let Ok(evaluation) = made.try_evaluate() {
                for profile in RuleProfile::shipped() {
                    for finding in judge(&evaluation, profile) {
                        proptest::prop_assert!(is_plain(&finding), "{finding:?}");
                    }
                }
            }
        }
    }

    fn is_plain(finding: &Finding) -> bool {
        let listed = CODES.iter().any(|(code, _)| *code == finding.code);
        listed
            && [&finding.message, &finding.next_step]
                .into_iter()
                .all(|text| {
                    !["!", "  ", "NaN", "inf", "\u{2212}0.00 "]
                        .iter()
                        .any(|odd| text.contains(odd))
                        && text.ends_with(['.', '?'])
                        && text.starts_with(|c: char| c.is_uppercase() || c.is_ascii_digit())
                })
    }

    #[test]
    fn messages_are_plain() {
        let mut all = Vec::new();
        for layout in LAYOUTS {
            for made in [
                Made::titres(layout, &[24.93, 24.51, 24.50]).nominal(0.107),
                Made::titres(layout, &[24.30, 24.55, 24.42, 24.71]).nominal(0.2),
                Made::titres(layout, &[24.62, 24.58, 24.55, 24.51, 24.50]).uncertified(),
                Made::titres(layout, &[24.53, 24.53, 24.53, 24.53]).blanks(&[("0.02", "0.47")]),
                Made::titres(layout, &[7.35, 7.33]).nominal(0.03),
                Made::readings(
                    layout,
                    &[("0.0", "24.5"), ("0.0", "34.5"), ("34.9", "49.9")],
                ),
                Made::clean(layout)
                    .refill(1, "0.02", "0.31")
                    .corrected(0, "24.25 mL", ""),
            ] {
                for profile in RuleProfile::shipped() {
                    all.extend(judge(&made.evaluate(), profile));
                }
            }
        }
        assert!(all.len() > 100);
        for finding in &all {
            assert!(is_plain(finding), "{finding:?}");
        }
    }
}
