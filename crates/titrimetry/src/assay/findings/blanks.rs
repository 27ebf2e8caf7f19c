//! Blanks that serve all samples of a sheet.

use crate::assay::Assay;
use crate::finding::Finding;
use crate::findings::blank::odd_blank;
use crate::findings::case::mean;
use crate::method::BlankPlan;

use super::One;

/// What is odd about the blanks.
pub(super) fn suspicious(assay: &Assay) -> Vec<Finding> {
    let Some(sample) = assay.samples.first() else {
        return Vec::new();
    };
    let Some(profile) = crate::rule_profile::RuleProfile::shipped().first() else {
        return Vec::new();
    };
    let one = One {
        assay,
        sample,
        profile,
    };
    let mut findings = Vec::new();
    for titration in &sample.titrations {
        let Some(blank) = titration.blank else {
            continue;
        };
        let own = assay.sheet.blank.iter().enumerate().filter(|(_, run)| {
            let of = run.titration.as_deref();
            run.set_aside.is_none() && of.is_none_or(|of| of == titration.name)
        });
        let (names, volumes): (Vec<String>, Vec<f64>) = own
            .filter_map(|(index, run)| {
                let first = run.initial.as_ref()?.value();
                let last = run.final_reading.as_ref()?.value();
                let name = crate::sheet::run_name(&assay.sheet.blank, index);
                let name = if name.starts_with("blank") {
                    name
                } else {
                    format!("blank {name}")
                };
                Some((name, last - first))
            })
            .unzip();
        let titres = assay.samples.iter().filter_map(|sample| {
            let same = sample
                .titrations
                .iter()
                .find(|t| t.name == titration.name)?;
            One {
                assay,
                sample,
                profile,
            }
            .mean_titre(same)
        });
        let effect = one.effect(titration).map_or(0.0, |(_, effect)| effect);
        // A blank that holds the reagent is large by right; only its runs must agree.
        let judged = if assay.method.blank == BlankPlan::Reagent {
            0.0
        } else {
            blank
        };
        findings.extend(odd_blank(judged, mean(titres), &names, &volumes, |ml| {
            effect * ml
        }));
    }
    findings
}
