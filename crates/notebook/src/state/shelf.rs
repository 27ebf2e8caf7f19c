//! Lots, apparatus, solutions, samples, methods, rules, certificates.

use super::State;
use crate::event::Event;
use crate::moment::{Day, Moment};
use crate::node::Node;
use crate::payload::{
    CertificateIssued, Evaluated, Ingredient, LotCertificate, LotReceived, Payload, Piece,
    SampleReceived, SolutionPrepared,
};
use serde::Serialize;
use std::sync::Arc;
use titrimetry::method::Method;
use titrimetry::rule_profile::RuleProfile;

/// A lot.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Lot {
    /// As it came in.
    pub received: LotReceived,
    /// When it came in.
    pub at: Moment,
    /// What its certificate states, by the latest correction.
    pub certificate: Option<LotCertificate>,
    /// When it was opened.
    pub opened: Option<Moment>,
    /// Last day of use.
    pub expires: Option<Day>,
    /// Why it is gone, if so.
    pub discarded: Option<String>,
}

/// One of the descriptions that a thing had in its time.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Edition<T> {
    /// Number of the event that brought it.
    pub since: u64,
    /// When that was.
    pub at: Moment,
    /// The description.
    pub is: T,
    /// The certificate, or the version, that it goes by.
    pub by: Option<String>,
}

/// The edition in force when an event of this number was written: the latest before it, or else the first of all.
fn in_force<T>(editions: &[Edition<T>], number: u64) -> Option<&Edition<T>> {
    editions
        .iter()
        .rev()
        .find(|edition| edition.since < number)
        .or_else(|| editions.first())
}

/// A piece of apparatus.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Apparatus {
    /// Its descriptions, by each calibration.
    pub calibrations: Vec<Edition<Piece>>,
    /// Last day of use before the next calibration.
    pub due: Option<Day>,
    /// Why it may not be used, if so.
    pub out_of_service: Option<String>,
}

impl Apparatus {
    /// The piece as described when an event of this number was written, with corrections made since.
    pub fn piece_at(&self, number: u64) -> Option<&Piece> {
        in_force(&self.calibrations, number).map(|edition| &edition.is)
    }

    /// The piece as described now.
    pub fn piece(&self) -> Option<&Piece> {
        self.calibrations.last().map(|edition| &edition.is)
    }
}

/// What a solution's concentration rests on.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Standing {
    /// Number of the event that says so.
    pub number: u64,
    /// The determination.
    pub determination: Node,
    /// When it was done and first approved; computed again it is no younger.
    pub at: Moment,
    /// What was found.
    pub evaluated: Evaluated,
    /// Last day on which it holds.
    pub use_before: Option<Day>,
    /// Why it no longer holds, if so.
    pub ended: Option<String>,
    /// Why the determination cannot be computed any more, if so.
    pub lost: Option<String>,
}

impl Standing {
    /// True if it gives a value.
    pub fn holds(&self) -> bool {
        self.ended.is_none() && self.lost.is_none()
    }
}

/// A solution.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Solution {
    /// As it was made.
    pub prepared: SolutionPrepared,
    /// When.
    pub at: Moment,
    /// By whom.
    pub who: String,
    /// All that went into it.
    pub made_of: Vec<Ingredient>,
    /// Where it stands.
    pub kept: Option<String>,
    /// Its standardizations, the latest last.
    pub standardized: Vec<Standing>,
    /// Why it is gone, if so.
    pub discarded: Option<String>,
}

impl Solution {
    /// The standardization that holds.
    pub fn standing(&self) -> Option<&Standing> {
        self.standardized.last().filter(|s| s.holds())
    }

    /// The standardization that held when a determination was begun by the event of this number: what it may be compared
    /// with. None if the solution was topped up since.
    pub fn standing_before(&self, number: u64) -> Option<&Standing> {
        self.standardized
            .iter()
            .rev()
            .find(|standing| standing.number < number)
            .filter(|standing| standing.holds())
    }
}

/// A sample.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Sample {
    /// As it came in.
    pub received: SampleReceived,
    /// When.
    pub at: Moment,
    /// Why it is gone, if so.
    pub discarded: Option<String>,
}

/// A method in all its versions.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MethodCard {
    /// The versions, the latest last.
    pub versions: Vec<Edition<Arc<Method>>>,
    /// Why it is no longer used, if so.
    pub withdrawn: Option<String>,
}

impl MethodCard {
    /// The version in force when an event of this number was written.
    pub fn at(&self, number: u64) -> Option<&Arc<Method>> {
        in_force(&self.versions, number).map(|edition| &edition.is)
    }
}

/// A rule profile in all its versions.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RulesCard {
    /// The versions, the latest last.
    pub versions: Vec<Edition<RuleProfile>>,
    /// Why it is no longer used, if so.
    pub withdrawn: Option<String>,
}

impl RulesCard {
    /// The version in force when an event of this number was written.
    pub fn at(&self, number: u64) -> Option<&RuleProfile> {
        in_force(&self.versions, number).map(|edition| &edition.is)
    }
}

/// Whether a certificate holds.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum CertificateStatus {
    /// It holds.
    Current,
    /// It was superseded.
    Superseded {
        /// Why.
        reason: String,
        /// The correction that is the reason.
        because: Option<u64>,
        /// What replaces it.
        by: Option<Node>,
        /// Since when.
        at: Moment,
    },
    /// It was withdrawn.
    Withdrawn {
        /// Why.
        reason: String,
        /// Since when.
        at: Moment,
    },
}

/// A certificate.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Certificate {
    /// As it was issued.
    pub issued: CertificateIssued,
    /// When.
    pub at: Moment,
    /// By whom.
    pub who: String,
    /// Whether it holds.
    pub status: CertificateStatus,
}

impl Certificate {
    /// True if it holds.
    pub fn is_current(&self) -> bool {
        self.status == CertificateStatus::Current
    }
}

pub(super) fn apply(state: &mut State, event: &Event) -> bool {
    if *state == State::Nothing {
        return begin(state, event);
    }
    match (state, &event.payload) {
        (State::Lot(lot), payload) => lot_event(lot, event, payload),
        (State::Apparatus(apparatus), payload) => apparatus_event(apparatus, event, payload),
        (State::Solution(solution), payload) => solution_event(solution, event, payload),
        (State::Sample(sample), Payload::SampleDiscarded(p)) => {
            sample.discarded = Some(p.reason.clone());
            true
        }
        (State::Method(card), Payload::MethodAdopted(p)) => {
            card.versions.push(edition(
                event,
                Arc::new(p.method.clone()),
                Some(&p.method.version),
            ));
            card.withdrawn = None;
            true
        }
        (State::Method(card), Payload::MethodWithdrawn(p)) => {
            card.withdrawn = Some(p.reason.clone());
            true
        }
        (State::Rules(card), Payload::RulesAdopted(p)) => {
            card.versions
                .push(edition(event, p.profile.clone(), Some(&p.profile.version)));
            card.withdrawn = None;
            true
        }
        (State::Rules(card), Payload::RulesWithdrawn(p)) => {
            card.withdrawn = Some(p.reason.clone());
            true
        }
        (State::Certificate(certificate), payload) => {
            certificate_event(certificate, event, payload)
        }
        _ => false,
    }
}

fn edition<T>(event: &Event, is: T, by: Option<&String>) -> Edition<T> {
    Edition {
        since: event.number,
        at: event.at,
        is,
        by: by.cloned(),
    }
}

fn begin(state: &mut State, event: &Event) -> bool {
    *state = match &event.payload {
        Payload::LotReceived(p) => State::Lot(Lot {
            received: (**p).clone(),
            at: event.at,
            certificate: p.certificate.clone(),
            opened: None,
            expires: p.expires,
            discarded: None,
        }),
        Payload::ApparatusRegistered(p) => State::Apparatus(Box::new(Apparatus {
            calibrations: vec![edition(event, p.piece.clone(), None)],
            due: p.due,
            out_of_service: None,
        })),
        Payload::SolutionPrepared(p) => State::Solution(Box::new(Solution {
            prepared: (**p).clone(),
            at: event.at,
            who: event.who.clone(),
            made_of: p.made_of.clone(),
            kept: p.kept.clone(),
            standardized: Vec::new(),
            discarded: None,
        })),
        Payload::SampleReceived(p) => State::Sample(Sample {
            received: (**p).clone(),
            at: event.at,
            discarded: None,
        }),
        Payload::MethodAdopted(p) => State::Method(MethodCard {
            versions: vec![edition(
                event,
                Arc::new(p.method.clone()),
                Some(&p.method.version),
            )],
            withdrawn: None,
        }),
        Payload::RulesAdopted(p) => State::Rules(RulesCard {
            versions: vec![edition(event, p.profile.clone(), Some(&p.profile.version))],
            withdrawn: None,
        }),
        Payload::CertificateIssued(p) => State::Certificate(Certificate {
            issued: (**p).clone(),
            at: event.at,
            who: event.who.clone(),
            status: CertificateStatus::Current,
        }),
        _ => return false,
    };
    true
}

fn lot_event(lot: &mut Lot, event: &Event, payload: &Payload) -> bool {
    match payload {
        Payload::LotOpened(p) => {
            lot.opened = Some(event.at);
            // Once opened a lot does not last longer than it did before.
            lot.expires = match (lot.expires, p.expires) {
                (Some(a), Some(b)) => Some(a.min(b)),
                (a, b) => a.or(b),
            };
        }
        Payload::LotCertificateCorrected(p) => lot.certificate = Some(p.certificate.clone()),
        Payload::LotDiscarded(p) => lot.discarded = Some(p.reason.clone()),
        _ => return false,
    }
    true
}

fn apparatus_event(apparatus: &mut Apparatus, event: &Event, payload: &Payload) -> bool {
    match payload {
        Payload::ApparatusCalibrated(p) => {
            apparatus
                .calibrations
                .push(edition(event, p.piece.clone(), Some(&p.certificate)));
            apparatus.due = p.due;
        }
        Payload::CalibrationCorrected(p) => {
            // It describes the same time as before, rightly.
            let Some(edition) = apparatus
                .calibrations
                .iter_mut()
                .rev()
                .find(|edition| edition.by.as_ref() == Some(&p.certificate))
            else {
                return false;
            };
            edition.is = p.piece.clone();
        }
        Payload::ApparatusOutOfService(p) => apparatus.out_of_service = Some(p.reason.clone()),
        Payload::ApparatusReturned(_) => apparatus.out_of_service = None,
        _ => return false,
    }
    true
}

fn solution_event(solution: &mut Solution, event: &Event, payload: &Payload) -> bool {
    match payload {
        Payload::SolutionToppedUp(p) => {
            solution.made_of.extend(p.with.iter().cloned());
            if let Some(standing) = solution.standardized.last_mut() {
                standing.ended.get_or_insert_with(|| {
                    format!("topped up on {}: {}", event.at.day(), p.reason)
                });
            }
        }
        Payload::SolutionMoved(p) => solution.kept = Some(p.kept.clone()),
        Payload::SolutionDiscarded(p) => solution.discarded = Some(p.reason.clone()),
        Payload::StandardizationLost(p) => {
            let standing = solution.standardized.iter_mut().rev();
            let mut of_it = standing.filter(|s| s.determination == p.determination);
            if let Some(standing) = of_it.next() {
                standing.lost = Some(p.reason.clone());
            }
        }
        Payload::SolutionStandardized(p) => {
            let earlier = solution.standardized.iter();
            let first = earlier.clone().find(|s| s.determination == p.determination);
            let at = first.map_or(event.at, |standing| standing.at);
            solution.standardized.push(Standing {
                number: event.number,
                determination: p.determination.clone(),
                at,
                evaluated: p.evaluated.clone(),
                use_before: p.use_before,
                ended: None,
                lost: None,
            });
        }
        _ => return false,
    }
    true
}

fn certificate_event(certificate: &mut Certificate, event: &Event, payload: &Payload) -> bool {
    certificate.status = match payload {
        Payload::CertificateSuperseded(p) => CertificateStatus::Superseded {
            reason: p.reason.clone(),
            because: p.because,
            by: p.by.clone(),
            at: event.at,
        },
        Payload::CertificateWithdrawn(p) => CertificateStatus::Withdrawn {
            reason: p.reason.clone(),
            at: event.at,
        },
        _ => return false,
    };
    true
}
