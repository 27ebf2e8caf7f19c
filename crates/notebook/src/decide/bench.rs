//! Decisions about determinations and certificates.

use super::{Actor, Command, Draft, fresh, possible, reason, text, usable};
use crate::evaluate::Evaluator;
use crate::node::{Kind, Node};
use crate::payload::{
    CertificateIssued, CertificateSuperseded, DeterminationApproved, DeterminationClosed,
    DeterminationOpened, Evaluated, KnownBy, Payload, Plan, ReadingCorrected, RunStarted, Slot,
    SolutionStandardized, Source, TitrantRechecked,
};
use crate::refusal::Refusal;
use crate::state::{Certificate, CertificateStatus, Determination, Run, Status, World};
use crate::validity;
use titrimetry::sheet::RunKind;

/// Most runs of a determination.
const MAX_RUNS: u32 = 2000;
/// Most samples of a determination.
const MAX_SAMPLES: usize = 500;

pub(super) fn decide(
    world: &World,
    actor: &Actor,
    command: &Command,
) -> Result<Vec<Draft>, Refusal> {
    let on = &command.on;
    match &command.payload {
        Payload::DeterminationOpened(p) => return open(world, actor, on, p),
        Payload::CertificateIssued(p) => return issue(world, actor, on, p),
        Payload::CertificateSuperseded(p) => {
            reason(&p.reason)?;
            current(world, on)?;
            if let Some(by) = &p.by {
                current(world, by)?;
            }
            return Ok(vec![Draft::new(on, command.payload.clone())]);
        }
        Payload::CertificateWithdrawn(p) => {
            reason(&p.reason)?;
            current(world, on)?;
            return Ok(vec![Draft::new(on, command.payload.clone())]);
        }
        _ => {}
    }
    let determination = world
        .determination(on)
        .ok_or_else(|| Refusal::Missing(on.clone()))?;
    let as_said = || Ok(vec![Draft::new(on, command.payload.clone())]);
    let run = |number: u32| determination.run(number).ok_or(Refusal::NoRun(number));
    match &command.payload {
        Payload::RunStarted(p) => {
            is_open(on, determination)?;
            run_fits(world, determination, p)?;
        }
        Payload::ReadingTaken(p) => {
            is_open(on, determination)?;
            let place = place_of(determination, p.run, p.sample.as_ref(), p.reading)?;
            if let Some(taken) = determination.reading(p.run, p.sample.as_ref(), p.reading) {
                return Err(Refusal::ReadingTaken {
                    place,
                    value: taken.value.clone(),
                });
            }
            possible::reading(world, determination, (&place, p.reading), &p.value)?;
            if p.refilled && !closes_a_fill(p.reading) {
                return Err(Refusal::RunPlace(format!(
                    "the burette is refilled after a final reading, not after {place}"
                )));
            }
        }
        Payload::ReadingCorrected(p) => {
            is_open(on, determination)?;
            reason(&p.reason)?;
            let place = place_of(determination, p.run, p.sample.as_ref(), p.reading)?;
            let Some(taken) = determination.reading(p.run, p.sample.as_ref(), p.reading) else {
                return Err(Refusal::NoReading(place));
            };
            possible::reading(world, determination, (&place, p.reading), &p.value)?;
            let same = p.refilled.is_none_or(|refilled| refilled == taken.refilled);
            if taken.value == p.value && same {
                return Err(Refusal::SameValue {
                    place,
                    value: taken.value.clone(),
                });
            }
            let corrected = ReadingCorrected {
                was: Some(taken.value.clone()),
                ..(**p).clone()
            };
            return Ok(vec![Draft::new(on, corrected)]);
        }
        Payload::RunSetAside(p) => {
            is_open(on, determination)?;
            reason(&p.reason)?;
            if run(p.run)?.set_aside.is_some() {
                return Err(Refusal::RunStatus {
                    run: p.run,
                    how: "is set aside already",
                });
            }
        }
        Payload::RunRestored(p) => {
            is_open(on, determination)?;
            reason(&p.reason)?;
            if run(p.run)?.set_aside.is_none() {
                return Err(Refusal::RunStatus {
                    run: p.run,
                    how: "is not set aside",
                });
            }
        }
        Payload::Remarked(p) => {
            text("remark", &p.text)?;
            if let Some(number) = p.run {
                run(number)?;
            }
        }
        Payload::ConditionsNoted(_) => is_open(on, determination)?,
        Payload::CheckedOff(p) => {
            is_open(on, determination)?;
            text("step", &p.step)?;
        }
        Payload::TitrantRechecked(p) => {
            is_open(on, determination)?;
            rechecked(world, determination, p)?;
        }
        Payload::FileAttached(p) => {
            text("name", &p.name)?;
            text("media type", &p.media_type)?;
            p.sha256
                .parse::<crate::hash::Hash>()
                .map_err(|e| Refusal::Unsound(e.to_string()))?;
            if let Some(number) = p.run {
                run(number)?;
            }
        }
        Payload::DeterminationClosed(_) => {
            is_open(on, determination)?;
            let waits = |run: &&Run| run.set_aside.is_none() && !run.is_finished();
            if let Some(run) = determination.runs.iter().find(waits) {
                return Err(Refusal::Unfinished(run.started.run));
            }
            let evaluated = evaluate(world, on)?;
            return Ok(vec![Draft::new(
                on,
                DeterminationClosed {
                    evaluated: Some(evaluated),
                },
            )]);
        }
        Payload::DeterminationReopened(p) => {
            reason(&p.reason)?;
            if determination.is_open() {
                return Err(status(on, determination, "readings can be taken"));
            }
        }
        Payload::DeterminationGivenUp(p) => {
            is_open(on, determination)?;
            reason(&p.reason)?;
        }
        Payload::DeterminationReviewed(_) => {
            if !matches!(determination.status, Status::Closed | Status::Reviewed) {
                return Err(status(on, determination, "close it first"));
            }
        }
        Payload::DeterminationApproved(p) => return approve(world, actor, on, determination, p),
        other => return Err(Refusal::RecordOnly(other.kind().into())),
    }
    as_said()
}

fn status(node: &Node, determination: &Determination, help: &'static str) -> Refusal {
    Refusal::Status {
        node: node.clone(),
        status: determination.status.word(),
        help,
    }
}

fn is_open(node: &Node, determination: &Determination) -> Result<(), Refusal> {
    if determination.is_open() {
        Ok(())
    } else {
        Err(status(
            node,
            determination,
            "a reviewer can reopen it, with a reason",
        ))
    }
}

fn evaluate(world: &World, node: &Node) -> Result<Evaluated, Refusal> {
    Ok(Evaluator::new(world).brief().evaluate(node)?.evaluated())
}

fn open(
    world: &World,
    actor: &Actor,
    on: &Node,
    opened: &DeterminationOpened,
) -> Result<Vec<Draft>, Refusal> {
    fresh(world, on)?;
    text("title", &opened.title)?;
    let mut opened = opened.clone();
    match &mut opened.plan {
        Plan::Standardization { sought, known, .. } => {
            of_kind(sought, Kind::Solution)?;
            usable(world, actor, sought, false)?;
            known_by(world, actor, known)?;
            if let KnownBy::Solution { solution, .. } = known
                && solution == sought
            {
                return Err(Refusal::Unsound(
                    "a solution cannot be standardized against itself".into(),
                ));
            }
        }
        Plan::Assay {
            method,
            titrant,
            reagents,
            samples,
            ..
        } => {
            of_kind(method, Kind::Method)?;
            usable(world, actor, method, false)?;
            for Source { known, .. } in std::iter::once(titrant).chain(reagents.values_mut()) {
                known_by(world, actor, known)?;
            }
            if samples.is_empty() || samples.len() > MAX_SAMPLES {
                return Err(Refusal::Unsound(format!("name 1 to {MAX_SAMPLES} samples")));
            }
            for (index, sample) in samples.iter().enumerate() {
                of_kind(sample, Kind::Sample)?;
                usable(world, actor, sample, false)?;
                if samples[..index].contains(sample) {
                    return Err(Refusal::Unsound(format!("{sample} is named twice")));
                }
            }
        }
    }
    let pieces = std::iter::once(&opened.burette)
        .chain(&opened.pipette)
        .chain(&opened.balance)
        .chain(opened.pieces.values());
    for piece in pieces {
        of_kind(piece, Kind::Apparatus)?;
        usable(world, actor, piece, false)?;
    }
    if let Some(rules) = &opened.rules {
        of_kind(rules, Kind::Rules)?;
        usable(world, actor, rules, false)?;
    }
    Ok(vec![Draft::new(on, opened)])
}

fn of_kind(node: &Node, kind: Kind) -> Result<(), Refusal> {
    if node.kind() == kind {
        Ok(())
    } else {
        Err(Refusal::Unsound(format!(
            "a {kind} was expected, {node} was named"
        )))
    }
}

/// A known substance or solution that may be used today; the standardization in force is filled in.
fn known_by(world: &World, actor: &Actor, known: &mut KnownBy) -> Result<(), Refusal> {
    match known {
        KnownBy::Lot(lot) => {
            of_kind(lot, Kind::Lot)?;
            usable(world, actor, lot, true)
        }
        KnownBy::Solution { solution, by } => {
            of_kind(solution, Kind::Solution)?;
            usable(world, actor, solution, true)?;
            let standing = world.solution(solution).and_then(|s| s.standing());
            let in_force = standing.map(|s| s.determination.clone());
            match by {
                None => *by = in_force,
                Some(named) if Some(&*named) == in_force.as_ref() => {}
                Some(named) => {
                    return Err(Refusal::NotUsable {
                        node: solution.clone(),
                        why: format!("{named} is not the standardization in force"),
                    });
                }
            }
            Ok(())
        }
    }
}

/// The titrant standardized again: by a determination of the same solution, after a sample of this one.
fn rechecked(
    world: &World,
    determination: &Determination,
    again: &TitrantRechecked,
) -> Result<(), Refusal> {
    let Plan::Assay {
        titrant, samples, ..
    } = &determination.opened.plan
    else {
        return Err(Refusal::RunPlace(
            "a standardization has no titrant to be checked between samples".into(),
        ));
    };
    if !samples.contains(&again.after) {
        return Err(Refusal::RunPlace(format!(
            "{} is not among the samples of this determination",
            again.after
        )));
    }
    let other = world
        .determination(&again.by)
        .ok_or_else(|| Refusal::Missing(again.by.clone()))?;
    let same = match (&other.opened.plan, &titrant.known) {
        (Plan::Standardization { sought, .. }, KnownBy::Solution { solution, .. }) => {
            sought == solution
        }
        _ => false,
    };
    if !same {
        return Err(Refusal::RunPlace(format!(
            "{} did not standardize the titrant of this determination",
            again.by
        )));
    }
    if !matches!(
        other.status,
        Status::Closed | Status::Reviewed | Status::Approved
    ) {
        return Err(status(&again.by, other, "close it first"));
    }
    not_failed(&again.by, other)
}

fn run_fits(world: &World, determination: &Determination, run: &RunStarted) -> Result<(), Refusal> {
    let expected = u32::try_from(determination.runs.len()).unwrap_or(MAX_RUNS) + 1;
    if run.run != expected || run.run > MAX_RUNS {
        return Err(Refusal::RunNumber {
            expected,
            given: run.run,
        });
    }
    match &determination.opened.plan {
        Plan::Standardization { .. } => {
            if let Some(sample) = &run.sample {
                return Err(Refusal::RunPlace(format!(
                    "a standardization has no samples, {sample} was named"
                )));
            }
        }
        Plan::Assay {
            method, samples, ..
        } => {
            match &run.sample {
                Some(sample) if !samples.contains(sample) => {
                    return Err(Refusal::RunPlace(format!(
                        "{sample} is not among the samples of this determination"
                    )));
                }
                None if run.run_kind != RunKind::Blank => {
                    return Err(Refusal::RunPlace(
                        "say which sample it is; only a blank serves all".into(),
                    ));
                }
                _ => {}
            }
            let plan = world
                .method(method)
                .and_then(|card| card.at(determination.number));
            if let (Some(titration), Some(plan)) = (&run.titration, plan)
                && !plan.titration.iter().any(|t| t.name == *titration)
            {
                return Err(Refusal::RunPlace(format!(
                    "the method has no titration \"{titration}\""
                )));
            }
        }
    }
    Ok(())
}

/// A run as people call it: each kind is counted by itself, of each sample and titration.
fn called(determination: &Determination, run: &Run) -> String {
    let alike = |other: &&Run| {
        other.started.run_kind == run.started.run_kind
            && other.started.sample == run.started.sample
            && other.started.titration == run.started.titration
            && other.started.run <= run.started.run
    };
    let n = determination.runs.iter().filter(alike).count();
    match (run.started.run_kind, n) {
        (RunKind::Replicate, n) => format!("run {n}"),
        (RunKind::Rough, 1) => "rough run".into(),
        (RunKind::Rough, n) => format!("rough run {n}"),
        (RunKind::Blank, 1) => "blank".into(),
        (RunKind::Blank, n) => format!("blank {n}"),
    }
}

/// Where a reading stands, in words, if it can stand there.
fn place_of(
    determination: &Determination,
    run: u32,
    sample: Option<&Node>,
    slot: Slot,
) -> Result<String, Refusal> {
    if run > 0 {
        let run = determination.run(run).ok_or(Refusal::NoRun(run))?;
        return Ok(format!("{}, {slot}", called(determination, run)));
    }
    let samples: &[Node] = match &determination.opened.plan {
        Plan::Assay { samples, .. } => samples,
        Plan::Standardization { .. } => &[],
    };
    match sample {
        Some(node) if samples.contains(node) => {
            if !matches!(slot, Slot::Mass | Slot::Gross | Slot::Tare) {
                return Err(Refusal::RunPlace(
                    "a sample has weighings for all its runs (mass, gross, tare); other readings belong to a run"
                        .into(),
                ));
            }
            Ok(format!("{node}, {slot}"))
        }
        _ => Err(Refusal::NoRun(0)),
    }
}

fn closes_a_fill(slot: Slot) -> bool {
    matches!(slot, Slot::Final | Slot::RefillFinal(_))
}

fn approve(
    world: &World,
    actor: &Actor,
    on: &Node,
    determination: &Determination,
    approved: &DeterminationApproved,
) -> Result<Vec<Draft>, Refusal> {
    text("meaning", &approved.meaning)?;
    match determination.status {
        Status::Closed | Status::Reviewed => {}
        Status::Open => return Err(status(on, determination, "close it first")),
        // What nobody approved yet, since it was computed again after a correction.
        Status::Approved if determination.unapproved => {}
        Status::Approved | Status::GivenUp => {
            return Err(status(
                on,
                determination,
                "a reviewer can reopen it, with a reason",
            ));
        }
    }
    let outcome = Evaluator::new(world).brief().evaluate(on)?;
    let evaluated = outcome.evaluated();
    let name = super::person(&actor.who)
        .ok()
        .and_then(|node| world.person(&node))
        .map(|person| person.name.clone());
    // Approved anew it does not last longer than it did.
    let as_before = match &determination.opened.plan {
        Plan::Standardization { sought, .. } => world
            .solution(sought)
            .and_then(|solution| solution.standardized.last())
            .filter(|standing| standing.determination == *on)
            .and_then(|standing| standing.use_before),
        Plan::Assay { .. } => None,
    };
    let by_rules = validity::by_rules(outcome.profile(), determination);
    let use_before = approved.use_before.or(as_before).or(by_rules);
    let mut drafts = vec![Draft::new(
        on,
        DeterminationApproved {
            name,
            evaluated: Some(evaluated.clone()),
            use_before,
            ..approved.clone()
        },
    )];
    if let Plan::Standardization { sought, .. } = &determination.opened.plan {
        drafts.push(Draft::new(
            sought,
            SolutionStandardized {
                determination: on.clone(),
                evaluated,
                use_before,
            },
        ));
    }
    Ok(drafts)
}

fn issue(
    world: &World,
    actor: &Actor,
    on: &Node,
    issued: &CertificateIssued,
) -> Result<Vec<Draft>, Refusal> {
    let _ = actor;
    fresh(world, on)?;
    text("meaning", &issued.meaning)?;
    let node = &issued.determination;
    let determination = world
        .determination(node)
        .ok_or_else(|| Refusal::Missing(node.clone()))?;
    if determination.status != Status::Approved {
        return Err(status(node, determination, "it must be approved first"));
    }
    not_failed(node, determination)?;
    if determination.unapproved {
        return Err(Refusal::Status {
            node: node.clone(),
            status: "computed again after a correction",
            help: "approve the value that it gives now first",
        });
    }
    let others = world.certificates_of(node);
    let held = |(other, state): &&(&Node, &Certificate)| {
        state.is_current() && issued.replaces.as_ref() != Some(*other)
    };
    if let Some((held, _)) = others.iter().find(held) {
        return Err(Refusal::Stated {
            held: held.name().into(),
            determination: node.name().into(),
        });
    }
    // One that was superseded is replaced by this one, whoever asks.
    let superseded = |(_, state): &&(&Node, &Certificate)| {
        matches!(state.status, CertificateStatus::Superseded { by: None, .. })
    };
    let latest = others.iter().filter(superseded);
    let latest = latest.max_by_key(|(_, state)| state.at.milliseconds());
    let replaces = issued
        .replaces
        .clone()
        .or_else(|| latest.map(|(node, _)| (*node).clone()));
    let holds = validity::holds_until(world, node);
    if let (Some(asked), Some(day)) = (issued.use_before, holds)
        && asked > day
    {
        return Err(Refusal::Impossible(format!(
            "the standardization {} holds until {day}, and a certificate of it no longer; {asked} was given",
            node.name()
        )));
    }
    let mut drafts = vec![Draft::new(
        on,
        CertificateIssued {
            evaluated: determination.evaluated.clone(),
            use_before: issued.use_before.or(holds),
            replaces: replaces.clone(),
            ..issued.clone()
        },
    )];
    if let Some(old) = &replaces {
        let state = world
            .certificate(old)
            .ok_or_else(|| Refusal::Missing(old.clone()))?;
        // One that a correction superseded may be replaced still.
        if state.is_current() {
            drafts.push(Draft::new(
                old,
                CertificateSuperseded {
                    reason: format!("replaced by {}", on.name()),
                    because: None,
                    by: Some(on.clone()),
                },
            ));
        }
    }
    Ok(drafts)
}

/// A determination that can be computed.
fn not_failed(node: &Node, determination: &Determination) -> Result<(), Refusal> {
    match &determination.failed {
        None => Ok(()),
        Some(why) => Err(Refusal::NotUsable {
            node: node.clone(),
            why: format!("its result cannot be computed any more: {why}"),
        }),
    }
}

fn current(world: &World, node: &Node) -> Result<(), Refusal> {
    let certificate = world
        .certificate(node)
        .ok_or_else(|| Refusal::Missing(node.clone()))?;
    if certificate.is_current() {
        Ok(())
    } else {
        Err(Refusal::NotCurrent(node.clone()))
    }
}
