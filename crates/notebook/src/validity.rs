//! What may be used today, and why not.

use crate::moment::Day;
use crate::node::Node;
use crate::payload::{LotUse, Plan};
use crate::state::{CertificateStatus, Determination, State, World};
use titrimetry::RuleProfile;

/// Why a thing may not be used on a day; empty if it may.
///
/// `for_its_value` asks more: that its value is known, as when a solution is the titrant.
pub fn objections(world: &World, node: &Node, today: Day, for_its_value: bool) -> Vec<String> {
    let mut why = Vec::new();
    let mut past = |day: Option<Day>, what: &str| {
        if let Some(day) = day.filter(|day| *day < today) {
            why.push(format!("{what} {day}"));
        }
    };
    match world.state(node) {
        None => why.push("it is not in the record".into()),
        Some(State::Lot(lot)) => {
            past(lot.expires, "it expired on");
            if let Some(reason) = &lot.discarded {
                why.push(format!("it is gone: {reason}"));
            }
            let for_its_value = for_its_value || lot.received.serves_as == LotUse::Standard;
            if for_its_value && lot.certificate.is_none() {
                why.push("its certificate was not entered".into());
            }
        }
        Some(State::Apparatus(apparatus)) => {
            past(apparatus.due, "its calibration was due on");
            if let Some(reason) = &apparatus.out_of_service {
                why.push(format!("it is out of service: {reason}"));
            }
        }
        Some(State::Solution(solution)) => {
            past(solution.prepared.use_before, "its last day of use was");
            if for_its_value {
                match solution.standardized.last() {
                    None => why.push("it was not standardized".into()),
                    Some(standing) => {
                        if let Some(lost) = &standing.lost {
                            why.push(format!(
                                "its standardization cannot be computed any more: {lost}"
                            ));
                        } else if let Some(ended) = &standing.ended {
                            why.push(format!("its standardization no longer holds: {ended}"));
                        } else if let Some(day) = standing.use_before.filter(|day| *day < today) {
                            why.push(format!("its standardization held until {day}"));
                        }
                    }
                }
            }
            if let Some(reason) = &solution.discarded {
                why.push(format!("it is gone: {reason}"));
            }
        }
        Some(State::Sample(sample)) => {
            if let Some(reason) = &sample.discarded {
                why.push(format!("it is gone: {reason}"));
            }
        }
        Some(State::Method(card)) => {
            if let Some(reason) = &card.withdrawn {
                why.push(format!("it was withdrawn: {reason}"));
            }
        }
        Some(State::Rules(card)) => {
            if let Some(reason) = &card.withdrawn {
                why.push(format!("it was withdrawn: {reason}"));
            }
        }
        Some(State::Person(person)) => {
            if let Some(reason) = &person.left {
                why.push(format!("the person left: {reason}"));
            }
        }
        Some(State::Certificate(certificate)) => {
            match &certificate.status {
                CertificateStatus::Current => {}
                CertificateStatus::Superseded { reason, at, .. } => {
                    why.push(format!("it was superseded on {}: {reason}", at.day()));
                }
                CertificateStatus::Withdrawn { reason, at } => {
                    why.push(format!("it was withdrawn on {}: {reason}", at.day()));
                }
            }
            if let Some(day) = certificate.issued.use_before.filter(|day| *day < today) {
                why.push(format!("it held until {day}"));
            }
        }
        Some(State::Determination(determination)) => {
            if let Some(failed) = &determination.failed {
                why.push(format!("its result cannot be computed any more: {failed}"));
            }
        }
        Some(_) => {}
    }
    why
}

/// The last day on which a thing may be used, if there is one.
pub fn last_day(world: &World, node: &Node) -> Option<Day> {
    match world.state(node)? {
        State::Lot(lot) => lot.expires,
        State::Apparatus(apparatus) => apparatus.due,
        State::Solution(solution) => {
            let standing = solution.standing().and_then(|s| s.use_before);
            sooner(standing, solution.prepared.use_before)
        }
        State::Certificate(certificate) => certificate.issued.use_before,
        _ => None,
    }
}

/// The last day of a standardization by its rules: counted from the day on which it was done, not from the day on which
/// somebody signed it, or computed it again.
pub fn by_rules(profile: &RuleProfile, determination: &Determination) -> Option<Day> {
    let days = profile.valid_days.as_ref()?.limit;
    Some(determination.done().day().plus(i64::from(days)))
}

/// The last day on which the result of a standardization holds: that of its standing, or of the bottle if that comes
/// sooner. What was found in a sample does not grow old.
pub fn holds_until(world: &World, node: &Node) -> Option<Day> {
    let Plan::Standardization { sought, .. } = &world.determination(node)?.opened.plan else {
        return None;
    };
    let solution = world.solution(sought)?;
    let mut standings = solution.standardized.iter().rev();
    let standing = standings.find(|s| s.determination == *node)?.use_before;
    sooner(standing, solution.prepared.use_before)
}

fn sooner(a: Option<Day>, b: Option<Day>) -> Option<Day> {
    match (a, b) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (a, b) => a.or(b),
    }
}
