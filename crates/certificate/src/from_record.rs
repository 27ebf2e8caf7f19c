//! A certificate's sheet out of the record: gathered, not calculated.

use crate::error::CertificateError;
use crate::from_evaluation::{budgets, runs};
use crate::sheet::{
    CertificateSheet, Decision, FORMAT, Found, IssuedBy, Line, Signed, Standing, Thread, Verdict,
};
use chemistry::reaction::Reaction;
use notebook::payload::{Evaluated, KnownBy, Piece, Plan, Source};
use notebook::state::{Certificate, CertificateStatus, Determination, Signature};
use notebook::{
    Event, Hash, Kind, Moment, Node, Outcome, PROGRAM, Payload, World, cascade, validity,
};
use report::significant;
use titrimetry::assay::{Conformity, DecisionRule};
use titrimetry::finding::Severity;
use titrimetry::sheet::{BalanceSpec, PieceSpec};

/// Longest chain of determinations that is followed.
const DEPTH: usize = notebook::MAX_DEPTH;

impl CertificateSheet {
    /// The sheet of a certificate: the event that issued it, what was known of it and of all that it rests on once that
    /// event was written, its determination evaluated with that, and whether it holds now. What was corrected afterwards
    /// changes its standing alone.
    ///
    /// If the evaluation does not give what the certificate states, since another version of the program computed it, the
    /// numbers of the certificate stay and the budget is left out.
    ///
    /// # Errors
    /// [`CertificateError`] naming what is not in the record.
    pub fn of(
        world: &World,
        issued: &Event,
        outcome: Option<&Outcome>,
        standing: Standing,
    ) -> Result<Self, CertificateError> {
        let node = &issued.stream;
        let certificate = world
            .certificate(node)
            .ok_or_else(|| CertificateError::Missing(node.clone()))?;
        let Payload::CertificateIssued(payload) = &issued.payload else {
            return Err(CertificateError::Missing(node.clone()));
        };
        let evaluated = payload
            .evaluated
            .as_ref()
            .ok_or_else(|| CertificateError::Empty(node.clone()))?;
        let determination = world
            .determination(&payload.determination)
            .ok_or_else(|| CertificateError::Missing(payload.determination.clone()))?;
        let body = issued.body()?;
        // Only what gives these very numbers explains them.
        let explains = outcome.filter(|o| cascade::same_results(&o.evaluated(), evaluated));
        let mut traced = Vec::new();
        follow(world, determination, 0, &mut traced);
        Ok(Self {
            format: FORMAT.into(),
            program: PROGRAM.into(),
            certificate: node.clone(),
            laboratory: world.record().map(|r| r.name.clone()).unwrap_or_default(),
            determination: payload.determination.clone(),
            title: determination.opened.title.clone(),
            event: IssuedBy {
                number: issued.number,
                id: issued.id.clone(),
                hash: Hash::of(body.as_bytes()).to_string(),
                body,
            },
            standing,
            results: evaluated
                .results
                .iter()
                .map(|stated| Line {
                    what: what(world, &stated.of),
                    stated: stated.clone(),
                })
                .collect(),
            rules: verdict(evaluated, explains),
            decisions: decisions(world, evaluated, explains),
            traced,
            apparatus: apparatus(world, determination),
            method: method(world, determination, explains),
            conditions: conditions(determination),
            use_before: payload
                .use_before
                .or_else(|| validity::holds_until(world, &payload.determination)),
            people: people(
                world,
                determination,
                &certificate.who,
                &payload.meaning,
                certificate.at,
            ),
            runs: explains.map(runs).unwrap_or_default(),
            budgets: explains.map(budgets).unwrap_or_default(),
        })
    }
}

impl Standing {
    /// Whether a certificate holds by what is known of it now; `successor` is the one that took its place, where one did.
    pub fn of(certificate: &Certificate, successor: Option<Node>) -> Self {
        match &certificate.status {
            CertificateStatus::Current => Self::Current,
            CertificateStatus::Superseded { reason, by, at, .. } => Self::Superseded {
                at: *at,
                reason: reason.clone(),
                by: by.clone().or(successor),
            },
            CertificateStatus::Withdrawn { reason, at } => Self::Withdrawn {
                at: *at,
                reason: reason.clone(),
            },
        }
    }
}

/// A thing in words.
fn what(world: &World, node: &Node) -> String {
    match node.kind() {
        Kind::Solution => world
            .solution(node)
            .map(|s| format!("{}, made for {}", s.prepared.substance, s.prepared.nominal)),
        Kind::Sample => world.sample(node).map(|s| s.received.what.clone()),
        Kind::Lot => world.lot(node).map(|l| l.received.substance.clone()),
        Kind::Determination => world.determination(node).map(|d| d.opened.title.clone()),
        _ => None,
    }
    .unwrap_or_default()
}

fn verdict(evaluated: &Evaluated, outcome: Option<&Outcome>) -> Verdict {
    let known = outcome.map(Outcome::findings).unwrap_or_default();
    let findings = evaluated
        .findings
        .iter()
        .flat_map(|code| {
            let same: Vec<Found> = known
                .iter()
                .filter(|f| f.code == code)
                .map(|f| Found {
                    code: code.clone(),
                    weight: Some(
                        match f.severity {
                            Severity::RuleBroken => "rule broken",
                            Severity::Doubt => "doubt",
                            Severity::Note => "note",
                        }
                        .into(),
                    ),
                    message: Some(f.message.clone()),
                })
                .collect();
            if same.is_empty() {
                vec![Found {
                    code: code.clone(),
                    weight: None,
                    message: None,
                }]
            } else {
                same
            }
        })
        .collect();
    Verdict {
        profile: evaluated.rules.clone(),
        purpose: outcome.map(|o| o.profile().purpose.clone()),
        usable: evaluated.usable,
        findings,
    }
}

fn decisions(world: &World, evaluated: &Evaluated, outcome: Option<&Outcome>) -> Vec<Decision> {
    let of_sample = |node: &Node| match outcome? {
        Outcome::Assay { samples, assay, .. } => {
            let index = samples.iter().position(|sample| sample == node)?;
            assay.samples.get(index)?.conformity.as_ref()
        }
        Outcome::Standardization { .. } => None,
    };
    evaluated
        .results
        .iter()
        .filter_map(|stated| {
            let conformity = of_sample(&stated.of);
            Some(Decision {
                of: stated.of.clone(),
                limits: conformity
                    .map(|c| c.limits.clone())
                    .or_else(|| limits_of(world, &stated.of)),
                probability: stated.conformity?,
                wanted: conformity.and_then(|c| match c.rule {
                    DecisionRule::Probability(least) => Some(least),
                    DecisionRule::GuardBand | DecisionRule::GuardFactor(_) => None,
                }),
                rule: conformity.and_then(guarded),
                accepted: stated.conforms?,
            })
        })
        .collect()
}

/// A decision rule with a guard band, in words; none where a probability decides.
fn guarded(conformity: &Conformity) -> Option<String> {
    let unit = &conformity.unit;
    let band = conformity.guard_band.map_or(0.0, |band| band);
    let band = significant(band, 2);
    match conformity.rule {
        DecisionRule::Probability(_) => None,
        DecisionRule::GuardBand => Some(format!(
            "accepted within the limits less a guard band of {band} {unit}"
        )),
        DecisionRule::GuardFactor(factor) => Some(format!(
            "accepted within the limits less a guard band of {factor} U, {band} {unit}"
        )),
    }
}

/// The limits of a sample as they were entered.
fn limits_of(world: &World, node: &Node) -> Option<String> {
    let limits = world.sample(node)?.received.limits.as_ref()?;
    match (&limits.from, &limits.to) {
        (Some(a), Some(b)) => Some(format!("{a} to {b}")),
        (Some(a), None) => Some(format!("at least {a}")),
        (None, Some(b)) => Some(format!("at most {b}")),
        (None, None) => None,
    }
}

/// What a determination takes its value from, and what that rests on.
fn follow(world: &World, determination: &Determination, depth: usize, threads: &mut Vec<Thread>) {
    let known: Vec<&KnownBy> = match &determination.opened.plan {
        Plan::Standardization { known, .. } => vec![known],
        Plan::Assay {
            titrant, reagents, ..
        } => std::iter::once(titrant)
            .chain(reagents.values())
            .map(|Source { known, .. }| known)
            .collect(),
    };
    for known in known {
        let (thread, next) = match known {
            KnownBy::Lot(lot) => {
                let certificate = world.lot(lot).and_then(|l| l.certificate.as_ref());
                let by = certificate.map(|c| {
                    let stated = c
                        .purity
                        .as_ref()
                        .map(|p| {
                            worth(
                                "purity",
                                &p.value.to_string(),
                                p.expanded.as_ref().map(ToString::to_string),
                            )
                        })
                        .or_else(|| {
                            let c = c.concentration.as_ref()?;
                            let u = c.expanded.as_ref().map(ToString::to_string);
                            Some(worth("concentration", &c.value.to_string(), u))
                        })
                        .unwrap_or_default();
                    format!("certificate {}{stated}", c.number)
                });
                (
                    Thread {
                        on: lot.clone(),
                        what: what(world, lot),
                        by,
                    },
                    None,
                )
            }
            KnownBy::Solution { solution, by } => {
                let thread = Thread {
                    on: solution.clone(),
                    what: what(world, solution),
                    by: by.as_ref().map(|by| format!("determination {}", by.name())),
                };
                (thread, by.as_ref())
            }
        };
        if !threads.contains(&thread) {
            threads.push(thread);
        }
        if let Some(next) = next
            .and_then(|next| world.determination(next))
            .filter(|_| depth < DEPTH)
        {
            follow(world, next, depth + 1, threads);
        }
    }
}

fn worth(what: &str, value: &str, expanded: Option<String>) -> String {
    match expanded {
        Some(u) => format!(", {what} {value}, U = {u}"),
        None => format!(", {what} {value}"),
    }
}

fn apparatus(world: &World, determination: &Determination) -> Vec<Thread> {
    let opened = &determination.opened;
    let mut threads: Vec<Thread> = Vec::new();
    let nodes = std::iter::once(&opened.burette)
        .chain(&opened.pipette)
        .chain(&opened.balance)
        .chain(opened.pieces.values());
    for node in nodes {
        if threads.iter().any(|t| t.on == *node) {
            continue;
        }
        let piece = world
            .apparatus(node)
            .and_then(|a| a.piece_at(determination.number));
        let (what, by) = match piece {
            Some(Piece::Glass(glass)) => (
                glass.catalogue().to_string(),
                match glass {
                    PieceSpec::Own(own) => own.calibration.as_ref().map(|c| c.certificate.clone()),
                    PieceSpec::Name(_) => None,
                },
            ),
            Some(Piece::Balance(BalanceSpec::Own(own))) => (
                format!("balance reading to {}", own.readability),
                own.certificate.clone(),
            ),
            Some(Piece::Balance(BalanceSpec::Name(name))) => (name.clone(), None),
            None => (String::new(), None),
        };
        let by = by.map(|certificate| format!("certificate {certificate}"));
        threads.push(Thread {
            on: node.clone(),
            what,
            by,
        });
    }
    threads
}

fn method(world: &World, determination: &Determination, outcome: Option<&Outcome>) -> Vec<String> {
    match &determination.opened.plan {
        Plan::Standardization {
            known, indicator, ..
        } => {
            let standard = match known {
                KnownBy::Lot(lot) => lot,
                KnownBy::Solution { solution, .. } => solution,
            };
            let mut lines = vec![format!(
                "standardization by titration against {}",
                what(world, standard)
            )];
            if let Some(Outcome::Standardization { evaluation, .. }) = outcome {
                lines.push(evaluation.reaction.clone());
            }
            if let Some(indicator) = indicator {
                lines.push(format!("end point by {indicator}"));
            }
            lines
        }
        Plan::Assay { method: node, .. } => {
            let Some(method) = world
                .method(node)
                .and_then(|card| card.at(determination.number))
            else {
                return vec![node.name().to_string()];
            };
            let mut lines = vec![format!(
                "{}, version {}: {}",
                method.name, method.version, method.title
            )];
            lines.extend(method.reaction.iter().map(|written| {
                written
                    .parse::<Reaction>()
                    .map_or_else(|_| written.clone(), |reaction| reaction.pretty())
            }));
            lines.push(format!("end point: {}", method.end_point));
            lines
        }
    }
}

fn conditions(determination: &Determination) -> Vec<(String, String)> {
    let c = &determination.conditions;
    [
        (
            "temperature",
            c.temperature.as_ref().map(ToString::to_string),
        ),
        (
            "steady within",
            c.temperature_within.as_ref().map(ToString::to_string),
        ),
        ("air pressure", c.pressure.as_ref().map(ToString::to_string)),
        ("humidity", c.humidity.as_ref().map(ToString::to_string)),
    ]
    .into_iter()
    .filter_map(|(what, written)| Some((what.to_string(), written?)))
    .collect()
}

fn people(
    world: &World,
    determination: &Determination,
    issuer: &str,
    meaning: &str,
    at: Moment,
) -> Vec<Signed> {
    let printed = |who: &str| {
        Node::new(Kind::Person, who)
            .ok()
            .and_then(|node| world.person(&node).map(|p| p.name.clone()))
            .unwrap_or_else(|| who.to_string())
    };
    let mut people: Vec<Signed> = Vec::new();
    for run in &determination.runs {
        let name = printed(&run.who);
        if !people.iter().any(|p| p.name == name) {
            people.push(Signed {
                did: "done".into(),
                name,
                meaning: None,
                at: run.at,
            });
        }
    }
    if people.is_empty() {
        let (name, at) = (printed(&determination.who), determination.at);
        people.push(Signed {
            did: "done".into(),
            name,
            meaning: None,
            at,
        });
    }
    let signed = |did: &str, s: &Signature, meaning: Option<String>| Signed {
        did: did.into(),
        name: s.name.clone().unwrap_or_else(|| printed(&s.who)),
        meaning,
        at: s.at,
    };
    if let Some(s) = determination
        .reviewed
        .as_ref()
        .filter(|s| s.meaning == "reviewed")
    {
        people.push(signed("reviewed", s, None));
    }
    if let Some(s) = &determination.approved {
        people.push(signed("approved", s, Some(s.meaning.clone())));
    }
    people.push(Signed {
        did: "issued".into(),
        name: printed(issuer),
        meaning: Some(meaning.to_string()),
        at,
    });
    people
}
