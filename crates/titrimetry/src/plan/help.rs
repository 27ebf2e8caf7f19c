//! What would bring the uncertainty down: better glass from the catalogue, and what [`crate::advice`] reads off the formula.

use super::PlanError;
use super::candidate::{Candidate, Dose};
use super::case::Case;
use super::forward::{Expectation, expect};
use super::shelf::{Cupboard, Glass};
use crate::advice::advise;
use crate::sheet::{BalanceSpec, PieceSpec};
use serde::Serialize;
use volumetry::catalogue::{Class, Entry, Kind, Organisation, entries};

/// One change and what it would bring.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Help {
    /// What to change.
    pub action: String,
    /// Expanded uncertainty over result now.
    pub before: f64,
    /// The same with the change.
    pub after: f64,
}

/// Least relative gain that is worth saying.
const WORTH_SAYING: f64 = 0.05;
/// How many are said.
const MOST: usize = 4;
/// The next better balance by name.
const BETTER_BALANCES: [(f64, &str); 2] = [
    (0.001, "four-place balance"),
    (0.0001, "five-place balance"),
];

/// The changes that help most, best first.
pub(super) fn help(case: &Case, expected: &Expectation) -> Result<Vec<Help>, PlanError> {
    let before = expected.relative_uncertainty;
    let mut out: Vec<Help> = Vec::new();
    for (action, case, candidate) in better_apparatus(case, &expected.candidate) {
        if let Some(better) = expect(&case, &candidate, 0.0)? {
            out.push(Help {
                action,
                before,
                after: better.relative_uncertainty,
            });
        }
    }
    let value = expected.evaluation.concentration();
    out.extend(advise(&expected.evaluation).into_iter().map(|advice| Help {
        action: advice.action,
        before,
        after: advice.expanded_after / value,
    }));
    out.retain(|h| h.after <= (1.0 - WORTH_SAYING) * h.before);
    out.sort_by(|a, b| a.after.total_cmp(&b.after));
    out.truncate(MOST);
    Ok(out)
}

fn better_apparatus(case: &Case, candidate: &Candidate) -> Vec<(String, Case, Candidate)> {
    let mut out = Vec::new();
    if let Some(better) = class_a(&candidate.burette, Kind::Burette) {
        let action = format!("a {} instead", better.name);
        out.push((
            action,
            case.clone(),
            Candidate {
                burette: better,
                ..candidate.clone()
            },
        ));
    }
    if let Dose::MadeUp { pipette, .. } | Dose::Pipetted { pipette, .. } = &candidate.dose
        && let Some(better) = class_a(pipette, Kind::Pipette)
    {
        let mut dose = candidate.dose.clone();
        if let Dose::MadeUp { pipette, .. } | Dose::Pipetted { pipette, .. } = &mut dose {
            *pipette = better.clone();
        }
        let action = format!("a {} instead", better.name);
        out.push((
            action,
            case.clone(),
            Candidate {
                dose,
                ..candidate.clone()
            },
        ));
    }
    let readability = case.cupboard.readability_g();
    let finer = BETTER_BALANCES
        .iter()
        .find(|(step, _)| (readability / step - 1.0).abs() < 0.01);
    if let (Some((_, name)), Some(_)) = (finer, candidate.dose.mass_g()) {
        let cupboard = Cupboard {
            balance: BalanceSpec::Name((*name).to_owned()),
            ..case.cupboard.clone()
        };
        let case = Case {
            cupboard,
            ..case.clone()
        };
        out.push((format!("a {name} instead"), case, candidate.clone()));
    }
    out
}

/// The class A piece of the same size, for a class B piece named from the catalogue.
fn class_a(glass: &Glass, kind: Kind) -> Option<Glass> {
    let PieceSpec::Name(name) = &glass.spec else {
        return None;
    };
    let own: &Entry = volumetry::catalogue::find(name).ok()?;
    if own.class != Some(Class::B) {
        return None;
    }
    let same = |e: &&Entry| {
        e.kind == kind
            && e.organisation == Organisation::Iso
            && e.class == Some(Class::A)
            && (e.nominal_ml / own.nominal_ml - 1.0).abs() < 1e-9
            && e.graduation_ml == own.graduation_ml
    };
    let better = entries().iter().find(same)?;
    Some(Glass {
        spec: PieceSpec::Name(better.to_string()),
        name: better.to_string(),
        nominal_ml: better.nominal_ml,
        graduation_ml: better.graduation_ml,
    })
}
