//! Decisions about the record, its people and what stands on the shelf.

use super::{Actor, Command, Draft, fresh, possible, reason, text};
use crate::node::{Kind, Node};
use crate::payload::{
    CalibrationCorrected, Ingredient, LotCertificateCorrected, Payload, Piece, Role,
};
use crate::refusal::Refusal;
use crate::state::{Person, World};
use titrimetry::rule_profile::RuleProfile;

pub(super) fn decide(
    world: &World,
    actor: &Actor,
    command: &Command,
) -> Result<Vec<Draft>, Refusal> {
    let on = &command.on;
    let as_said = || Ok(vec![Draft::new(on, command.payload.clone())]);
    let missing = || Refusal::Missing(on.clone());
    match &command.payload {
        Payload::RecordOpened(p) => {
            if *on != Node::record() {
                return Err(Refusal::Missing(on.clone()));
            }
            fresh(world, on)?;
            text("name", &p.name)?;
        }
        Payload::RecordNamed(p) => text("name", &p.name)?,
        Payload::RecordShared(_) => {
            if world.record().is_some_and(|record| record.shared) {
                return Err(Refusal::Already("the record is shared already".into()));
            }
            // Nobody could let anybody in otherwise.
            let keeps = super::person(&actor.who)
                .ok()
                .and_then(|node| world.person(&node))
                .is_some_and(|person| {
                    person.roles.contains(&Role::Keeper) && person.left.is_none()
                });
            if !keeps {
                return Err(Refusal::NotPermitted {
                    who: actor.who.clone(),
                    kind: "record-shared".into(),
                    roles: "a person of the record with the role keeper; add yourself first".into(),
                });
            }
        }
        Payload::PersonAdded(p) => {
            fresh(world, on)?;
            text("name", &p.name)?;
            roles(&p.roles)?;
        }
        Payload::RolesChanged(p) => {
            still_here(on, world.person(on).ok_or_else(missing)?)?;
            roles(&p.roles)?;
            reason(&p.reason)?;
        }
        Payload::PersonLeft(p) => {
            still_here(on, world.person(on).ok_or_else(missing)?)?;
            reason(&p.reason)?;
        }
        Payload::LotReceived(p) => {
            fresh(world, on)?;
            text("substance", &p.substance)?;
            if let Some(certificate) = &p.certificate {
                text("certificate number", &certificate.number)?;
            }
            possible::received(on, p)?;
        }
        Payload::LotOpened(_) => {
            let lot = world.lot(on).ok_or_else(missing)?;
            if lot.opened.is_some() {
                return Err(Refusal::Already(format!("{on} was opened already")));
            }
        }
        Payload::LotCertificateCorrected(p) => {
            let lot = world.lot(on).ok_or_else(missing)?;
            reason(&p.reason)?;
            text("certificate number", &p.certificate.number)?;
            if let Some(was) = &lot.certificate {
                possible::same_kind(on, was, &p.certificate)?;
            }
            let is_weighed = lot.received.density.is_some();
            possible::certificate(on, is_weighed, &p.certificate)?;
            if lot.certificate.as_ref() == Some(&p.certificate) {
                return Err(Refusal::Already(
                    "the certificate is entered so already".into(),
                ));
            }
            let corrected = LotCertificateCorrected {
                was: lot.certificate.clone(),
                ..(**p).clone()
            };
            return Ok(vec![Draft::new(on, corrected)]);
        }
        Payload::LotDiscarded(p) => {
            let lot = world.lot(on).ok_or_else(missing)?;
            reason(&p.reason)?;
            once(on, "gone", lot.discarded.as_ref())?;
        }
        Payload::ApparatusRegistered(p) => {
            fresh(world, on)?;
            piece(&p.piece)?;
        }
        Payload::ApparatusCalibrated(p) => {
            world.apparatus(on).ok_or_else(missing)?;
            text("certificate number", &p.certificate)?;
            piece(&p.piece)?;
        }
        Payload::CalibrationCorrected(p) => {
            let apparatus = world.apparatus(on).ok_or_else(missing)?;
            reason(&p.reason)?;
            piece(&p.piece)?;
            let edition = apparatus
                .calibrations
                .iter()
                .rev()
                .find(|edition| edition.by.as_ref() == Some(&p.certificate));
            let Some(edition) = edition else {
                return Err(Refusal::Unsound(format!(
                    "{on} has no calibration by the certificate \"{}\"",
                    p.certificate
                )));
            };
            let corrected = CalibrationCorrected {
                was: Some(edition.is.clone()),
                ..(**p).clone()
            };
            return Ok(vec![Draft::new(on, corrected)]);
        }
        Payload::ApparatusOutOfService(p) => {
            let apparatus = world.apparatus(on).ok_or_else(missing)?;
            reason(&p.reason)?;
            once(on, "out of service", apparatus.out_of_service.as_ref())?;
        }
        Payload::ApparatusReturned(p) => {
            let apparatus = world.apparatus(on).ok_or_else(missing)?;
            reason(&p.reason)?;
            if apparatus.out_of_service.is_none() {
                return Err(Refusal::Already(format!("{on} is in service")));
            }
        }
        Payload::SolutionPrepared(p) => {
            fresh(world, on)?;
            text("substance", &p.substance)?;
            possible::above_zero(on, "concentration", &p.nominal)?;
            if let Some(volume) = &p.volume {
                possible::above_zero(on, "volume", volume)?;
            }
            ingredients(world, actor, on, &p.made_of)?;
            for node in &p.apparatus {
                super::usable(world, actor, node, false)?;
            }
        }
        Payload::SolutionToppedUp(p) => {
            present(world, on)?;
            reason(&p.reason)?;
            ingredients(world, actor, on, &p.with)?;
        }
        Payload::SolutionMoved(p) => {
            present(world, on)?;
            text("place", &p.kept)?;
        }
        Payload::SolutionDiscarded(p) => {
            present(world, on)?;
            reason(&p.reason)?;
        }
        Payload::SampleReceived(p) => {
            fresh(world, on)?;
            text("description", &p.what)?;
        }
        Payload::SampleDiscarded(p) => {
            let sample = world.sample(on).ok_or_else(missing)?;
            reason(&p.reason)?;
            once(on, "gone", sample.discarded.as_ref())?;
        }
        Payload::MethodAdopted(p) => {
            p.method
                .check()
                .map_err(|e| Refusal::Unsound(e.to_string()))?;
        }
        Payload::MethodWithdrawn(p) => {
            let card = world.method(on).ok_or_else(missing)?;
            reason(&p.reason)?;
            once(on, "withdrawn", card.withdrawn.as_ref())?;
        }
        Payload::RulesAdopted(p) => sound(&p.profile)?,
        Payload::RulesWithdrawn(p) => {
            let card = world.rules(on).ok_or_else(missing)?;
            reason(&p.reason)?;
            once(on, "withdrawn", card.withdrawn.as_ref())?;
        }
        other => return Err(Refusal::RecordOnly(other.kind().into())),
    }
    as_said()
}

fn roles(given: &[Role]) -> Result<(), Refusal> {
    if given.is_empty() {
        return Err(Refusal::Unsound("a person has at least one role".into()));
    }
    Ok(())
}

/// The person did not leave.
fn still_here(on: &Node, person: &Person) -> Result<(), Refusal> {
    match &person.left {
        None => Ok(()),
        Some(reason) => Err(Refusal::Already(format!(
            "{on} left ({reason}); who comes back is added under another short name"
        ))),
    }
}

/// What was done before is not done again.
fn once(on: &Node, how: &str, since: Option<&String>) -> Result<(), Refusal> {
    match since {
        None => Ok(()),
        Some(reason) => Err(Refusal::Already(format!("{on} is {how} already: {reason}"))),
    }
}

/// The solution is there and not discarded.
fn present(world: &World, on: &Node) -> Result<(), Refusal> {
    let solution = world
        .solution(on)
        .ok_or_else(|| Refusal::Missing(on.clone()))?;
    match &solution.discarded {
        None => Ok(()),
        Some(reason) => Err(Refusal::NotUsable {
            node: on.clone(),
            why: format!("it is gone: {reason}"),
        }),
    }
}

fn ingredients(
    world: &World,
    actor: &Actor,
    on: &Node,
    made_of: &[Ingredient],
) -> Result<(), Refusal> {
    possible::amounts(on, made_of)?;
    for Ingredient { from, .. } in made_of {
        if from == on {
            return Err(Refusal::Unsound(format!("{on} cannot be made of itself")));
        }
        if !matches!(from.kind(), Kind::Lot | Kind::Solution) {
            return Err(Refusal::Unsound(format!(
                "a solution is made of lots and solutions, not of {from}"
            )));
        }
        super::usable(world, actor, from, false)?;
    }
    Ok(())
}

/// A piece whose catalogue name is known. The evaluation asks again; here the person is told at once.
fn piece(piece: &Piece) -> Result<(), Refusal> {
    match piece {
        Piece::Glass(spec) => spec.check(),
        Piece::Balance(spec) => spec.check(),
    }
    .map_err(|e| Refusal::Unsound(e.to_string()))
}

fn sound(profile: &RuleProfile) -> Result<(), Refusal> {
    let text = toml::to_string(profile).map_err(|e| Refusal::Unsound(e.to_string()))?;
    RuleProfile::read(&text)
        .map(|_| ())
        .map_err(|e| Refusal::Unsound(e.to_string()))
}
