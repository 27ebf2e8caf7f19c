//! What a correction changes: everything that rests on it, computed again, old beside new.

use crate::decide::Draft;
use crate::evaluate::Evaluator;
use crate::event::Event;
use crate::node::Node;
use crate::payload::{
    CertificateSuperseded, DeterminationRecomputed, Evaluated, Payload, Plan, SolutionStandardized,
    StandardizationLost,
};
use crate::state::{Status, World};
use serde::Serialize;

/// Relative difference below which two computed numbers are the same: the rounding of a few hundred operations.
const SAME: f64 = 1e-12;

/// True for events after which what rests on their thing must be computed again.
pub fn corrects(payload: &Payload) -> bool {
    matches!(
        payload,
        Payload::LotCertificateCorrected(_)
            | Payload::CalibrationCorrected(_)
            | Payload::DeterminationApproved(_)
    )
}

/// What a correction does to one determination.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Change {
    /// The determination.
    pub determination: Node,
    /// What it gave.
    pub was: Evaluated,
    /// What it gives; none if it cannot be computed any more.
    pub now: Option<Evaluated>,
    /// Why it cannot be computed, if so.
    pub failed: Option<String>,
    /// Whether the verdict changes: it was usable and is not, or the reverse, or a sample leaves or meets its limits.
    pub flips: bool,
}

/// Computes a determination again. `None` if it has no result yet, or nothing changes.
pub fn change(world: &World, evaluator: &mut Evaluator<'_>, node: &Node) -> Option<Change> {
    let determination = world.determination(node)?;
    if matches!(determination.status, Status::Open | Status::GivenUp) {
        return None;
    }
    let was = determination.evaluated.clone()?;
    match evaluator.evaluate(node) {
        Ok(outcome) => {
            let now = outcome.evaluated();
            let lost = determination.failed.is_some();
            if !lost && same(&was, &now) {
                return None;
            }
            Some(Change {
                determination: node.clone(),
                flips: if lost { now.usable } else { flips(&was, &now) },
                was,
                now: Some(now),
                failed: None,
            })
        }
        Err(error) => {
            let failed = Some(error.to_string());
            (determination.failed != failed).then(|| Change {
                determination: node.clone(),
                flips: was.usable && determination.failed.is_none(),
                was,
                now: None,
                failed,
            })
        }
    }
}

impl Change {
    /// The events that write the change down: the determination computed again, the concentration that its solution
    /// goes by from now on, its certificates (those that hold) superseded. Needs the solution in the world.
    pub fn drafts(
        &self,
        world: &World,
        because: u64,
        reason: &str,
        certificates: &[Node],
    ) -> Vec<Draft> {
        let mut drafts = vec![Draft::new(
            &self.determination,
            DeterminationRecomputed {
                because,
                was: self.was.clone(),
                now: self.now.clone(),
                flips: self.flips,
                failed: self.failed.clone(),
            },
        )];
        let standing = match world
            .determination(&self.determination)
            .map(|d| &d.opened.plan)
        {
            Some(Plan::Standardization { sought, .. }) => world
                .solution(sought)
                .and_then(|solution| solution.standardized.last())
                .filter(|s| s.determination == self.determination && s.ended.is_none())
                .map(|standing| (sought, standing)),
            _ => None,
        };
        match (standing, &self.now) {
            (Some((solution, standing)), Some(now)) => drafts.push(Draft::new(
                solution,
                SolutionStandardized {
                    determination: self.determination.clone(),
                    evaluated: now.clone(),
                    use_before: standing.use_before,
                },
            )),
            (Some((solution, _)), None) => drafts.push(Draft::new(
                solution,
                StandardizationLost {
                    determination: self.determination.clone(),
                    because,
                    reason: self.failed.clone().unwrap_or_default(),
                },
            )),
            (None, _) => {}
        }
        let what = match self.now {
            Some(_) => "the result was computed again",
            None => "the result cannot be computed any more",
        };
        for certificate in certificates {
            drafts.push(Draft::new(
                certificate,
                CertificateSuperseded {
                    reason: format!("{reason}; {what}"),
                    because: Some(because),
                    by: None,
                },
            ));
        }
        drafts
    }
}

fn flips(was: &Evaluated, now: &Evaluated) -> bool {
    was.usable != now.usable
        || was
            .results
            .iter()
            .zip(&now.results)
            .any(|(a, b)| a.conforms != b.conforms)
}

fn same(was: &Evaluated, now: &Evaluated) -> bool {
    was.usable == now.usable && was.findings == now.findings && same_results(was, now)
}

/// True if the results are the same but for the rounding of the machine.
pub fn same_results(was: &Evaluated, now: &Evaluated) -> bool {
    let close = |a: f64, b: f64| (a - b).abs() <= SAME * a.abs().max(b.abs());
    was.results.len() == now.results.len()
        && was.results.iter().zip(&now.results).all(|(a, b)| {
            a.of == b.of
                && a.name == b.name
                && a.unit == b.unit
                && a.conforms == b.conforms
                && close(a.value, b.value)
                && close(a.standard_uncertainty, b.standard_uncertainty)
                && close(a.expanded_uncertainty, b.expanded_uncertainty)
        })
}

/// What was corrected, for people.
pub fn reason(correction: &Event) -> String {
    let (name, number) = (correction.stream.name(), correction.number);
    match &correction.payload {
        Payload::LotCertificateCorrected(_) => {
            format!("the certificate of the lot {name} was corrected (event {number})")
        }
        Payload::CalibrationCorrected(_) => {
            format!("the calibration of {name} was corrected (event {number})")
        }
        Payload::DeterminationApproved(_) => format!("{name} was approved anew (event {number})"),
        _ => format!("{name} was corrected (event {number})"),
    }
}
