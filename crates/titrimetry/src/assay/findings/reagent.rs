//! Back titrations: how much of the excess was left.

use super::{One, portion};
use crate::finding::{Finding, Severity};
use crate::findings::words::{digits, ml, percent};
use crate::method::BlankPlan;

/// Above this share left, an error of either solution is multiplied by more than four (share left over share used).
const MOST_LEFT: f64 = 0.8;

/// Below this share left, nothing shows that there was an excess at all (common practice: a tenth to a half is left).
const LEAST_LEFT: f64 = 0.05;

/// Half of the reagent used is the aim of the advice.
const AIM: f64 = 0.5;

/// Nearly all of the excess left over, hardly any, or a blank below the runs.
pub(super) fn excess(one: &One<'_>) -> Vec<Finding> {
    if one.assay.method.reagent.is_empty() {
        return Vec::new();
    }
    let mut findings = Vec::new();
    for titration in &one.sample.titrations {
        let (Some((_, effect)), Some(titre)) = (one.effect(titration), one.mean_titre(titration))
        else {
            continue;
        };
        if one.assay.method.blank == BlankPlan::Reagent
            && let Some(blank) = titration.blank.filter(|blank| *blank < titre)
        {
            findings.push(
                Finding::new(
                    "blank-wrong-way",
                    Severity::Doubt,
                    format!(
                        "The runs take {}, more than the blank ({}), which holds all of the reagent and no sample: were blank and sample exchanged?",
                        ml(titre),
                        ml(blank)
                    ),
                    "Compare the readings of blank and runs with the first entries.",
                )
                .sized(titre - blank, "mL"),
            );
            continue;
        }
        if effect >= 0.0 {
            continue;
        }
        // R = k (E - V): the relative effect of a mL is -1 / (E - V), so what the sample took, as titrant, is its inverse.
        let used = -1.0 / effect;
        let left = titre / (titre + used);
        if left > MOST_LEFT {
            let times = left / (1.0 - left);
            findings.push(
                Finding::new(
                    "excess-nearly-all-left",
                    Severity::Doubt,
                    format!(
                        "{} of the reagent was left over: the result is a small difference, and an error of 0.1 % in either solution moves it by {} %.",
                        percent(left),
                        digits(0.1 * times, 2)
                    ),
                    advice(one, AIM / (1.0 - left), "Take a larger portion, or less of the reagent."),
                )
                .sized(100.0 * left, "%"),
            );
        } else if left < LEAST_LEFT {
            findings.push(
                Finding::new(
                    "excess-used-up",
                    Severity::Doubt,
                    format!(
                        "Only {} of the reagent was left over: little shows that it sufficed, and slow reactions need an excess. The result may be low.",
                        percent(left)
                    ),
                    advice(one, AIM / (1.0 - left), "Take a smaller portion, or more of the reagent."),
                )
                .sized(100.0 * left, "%"),
            );
        }
    }
    findings
}

fn advice(one: &One<'_>, times: f64, otherwise: &str) -> String {
    portion::instead(one, times).unwrap_or_else(|| otherwise.into())
}
