//! Commands: what a person says happened is checked against what is known, completed, and becomes events; or it is
//! refused, with a reason for the person.

mod bench;
mod possible;
mod shelf;

use crate::graph::{references, upstream};
use crate::moment::Moment;
use crate::node::{Kind, Node};
use crate::payload::Payload;
use crate::permission::Permissions;
use crate::refusal::Refusal;
use crate::state::World;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Longest text that is taken down, in characters.
pub(crate) const MAX_TEXT: usize = 2000;

/// What a person says happened, to what.
///
/// As JSON: `{"on": "determination/D-1", "kind": "reading-taken", "payload": {"run": 1, "reading": "final",
/// "value": "24.60 mL"}}`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Command {
    /// What it happened to.
    pub on: Node,
    /// What happened. Members that the record fills in may be left out.
    #[serde(flatten)]
    pub payload: Payload,
}

impl Command {
    /// A command.
    pub fn new(on: Node, payload: impl Into<Payload>) -> Self {
        Self {
            on,
            payload: payload.into(),
        }
    }
}

/// Who says it, and when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Actor {
    /// The person's name in the record.
    pub who: String,
    /// When.
    pub at: Moment,
}

/// An event to be: to what it happens, and what.
#[derive(Clone, Debug, PartialEq)]
pub struct Draft {
    /// To what it happens.
    pub stream: Node,
    /// What happens.
    pub payload: Payload,
}

impl Draft {
    /// A draft.
    pub fn new(stream: &Node, payload: impl Into<Payload>) -> Self {
        Self {
            stream: stream.clone(),
            payload: payload.into(),
        }
    }
}

/// The person of a name.
///
/// # Errors
/// [`Refusal::Unknown`] if no person can have that name.
pub fn person(who: &str) -> Result<Node, Refusal> {
    Node::new(Kind::Person, who).map_err(|_| Refusal::Unknown(who.chars().take(60).collect()))
}

/// The things that must be looked up before [`decide`] can speak; empty once all are known. Ask again after looking up,
/// since what was found may rest on more.
pub fn needs(world: &World, actor: &Actor, command: &Command) -> Vec<Node> {
    let mut wanted = vec![Node::record(), command.on.clone()];
    wanted.extend(person(&actor.who).ok());
    wanted.extend(references(&command.payload));
    match &command.payload {
        Payload::DeterminationClosed(_) | Payload::DeterminationApproved(_) => {
            wanted.extend(behind(world, &command.on));
        }
        // What it is made of says until when it holds.
        Payload::CertificateIssued(p) => wanted.extend(upstream(world, &p.determination)),
        Payload::ReadingTaken(_) | Payload::ReadingCorrected(_) => wanted.extend(
            upstream(world, &command.on)
                .into_iter()
                .filter(possible::judges),
        ),
        // A sample or titration is looked up to see whether the run fits.
        Payload::RunStarted(_) => wanted.extend(
            upstream(world, &command.on)
                .into_iter()
                .filter(|node| node.kind() == Kind::Method),
        ),
        _ => {}
    }
    wanted.retain(|node| !world.knows(node));
    wanted.sort();
    wanted.dedup();
    wanted
}

/// A thing and all that must be known to evaluate it, as far as the world knows it so far.
pub fn behind(world: &World, node: &Node) -> Vec<Node> {
    let mut found = vec![node.clone()];
    let mut at = 0;
    while let Some(node) = found.get(at).cloned() {
        for next in upstream(world, &node) {
            if !found.contains(&next) {
                found.push(next);
            }
        }
        at += 1;
    }
    found
}

/// Decides what a command makes happen.
///
/// # Errors
/// [`Refusal`], for the person who asked.
pub fn decide(
    world: &World,
    permissions: &Permissions,
    actor: &Actor,
    command: &Command,
) -> Result<Vec<Draft>, Refusal> {
    let kind = command.payload.kind();
    if permissions.is_record_only(kind) {
        return Err(Refusal::RecordOnly(kind.into()));
    }
    let expected = command.payload.happens_to();
    if command.on.kind() != expected {
        return Err(Refusal::WrongKind {
            kind: kind.into(),
            expected: expected.word(),
            on: command.on.clone(),
        });
    }
    allowed(world, permissions, actor, command)?;
    match command.on.kind() {
        Kind::Determination | Kind::Certificate => bench::decide(world, actor, command),
        _ => shelf::decide(world, actor, command),
    }
}

/// Whether this person may do it.
fn allowed(
    world: &World,
    permissions: &Permissions,
    actor: &Actor,
    command: &Command,
) -> Result<(), Refusal> {
    let kind = command.payload.kind();
    let who = actor.who.as_str();
    if who.trim().is_empty() {
        return Err(Refusal::Nobody);
    }
    let node = person(who)?;
    match world.record() {
        None if matches!(command.payload, Payload::RecordOpened(_)) => return Ok(()),
        None => return Err(Refusal::NotOpened),
        // One person on one machine needs no account.
        Some(record) if !record.shared => return Ok(()),
        Some(_) => {}
    }
    let person = world
        .person(&node)
        .ok_or_else(|| Refusal::Unknown(who.into()))?;
    if let Some(reason) = &person.left {
        return Err(Refusal::Left {
            who: who.into(),
            reason: reason.clone(),
        });
    }
    if !permissions.allows(kind, &person.roles) {
        let roles: Vec<&str> = permissions
            .roles_for(kind)
            .iter()
            .map(|role| role.word())
            .collect();
        return Err(Refusal::NotPermitted {
            who: who.into(),
            kind: kind.into(),
            roles: roles.join(", "),
        });
    }
    let over = match &command.payload {
        Payload::PersonAdded(added) => Some(added.roles.clone()),
        Payload::RolesChanged(_) | Payload::PersonLeft(_) => {
            let mut roles = world
                .person(&command.on)
                .map_or_else(Vec::new, |p| p.roles.clone());
            if let Payload::RolesChanged(changed) = &command.payload {
                roles.extend(&changed.roles);
            }
            Some(roles)
        }
        _ => None,
    };
    if let Some(over) = over {
        let may = permissions.roles_over(&over);
        if !person.roles.iter().any(|role| may.contains(role)) {
            let roles: Vec<&str> = may.iter().map(|role| role.word()).collect();
            return Err(Refusal::NotPermitted {
                who: who.into(),
                kind: kind.into(),
                roles: roles.join(", "),
            });
        }
    }
    if let Some(determination) = world.determination(&command.on)
        && determination.who != who
        && !permissions.allows_for_others(kind, &person.roles)
    {
        return Err(Refusal::OthersWork {
            who: who.into(),
            node: command.on.clone(),
        });
    }
    if permissions.needs_second_person(kind)
        && let Some(determination) = world.determination(&command.on)
    {
        let own = determination.who == who || determination.runs.iter().any(|run| run.who == who);
        if own {
            return Err(Refusal::OwnWork(who.into()));
        }
    }
    Ok(())
}

/// A text that a person must give.
pub(crate) fn text(what: &'static str, text: &str) -> Result<(), Refusal> {
    if text.trim().is_empty() || text.chars().count() > MAX_TEXT {
        return Err(Refusal::Text {
            what,
            most: MAX_TEXT,
        });
    }
    Ok(())
}

/// A reason that a person must give.
pub(crate) fn reason(given: &str) -> Result<(), Refusal> {
    if given.trim().is_empty() {
        return Err(Refusal::Reason);
    }
    text("reason", given)
}

/// A new thing: its name must be free.
pub(crate) fn fresh(world: &World, node: &Node) -> Result<(), Refusal> {
    match world.state(node) {
        None => Ok(()),
        Some(_) => Err(Refusal::Taken(node.clone())),
    }
}

/// A thing that must be there and usable.
pub(crate) fn usable(
    world: &World,
    actor: &Actor,
    node: &Node,
    for_its_value: bool,
) -> Result<(), Refusal> {
    if world.state(node).is_none() {
        return Err(Refusal::Missing(node.clone()));
    }
    let why = crate::validity::objections(world, node, actor.at.day(), for_its_value);
    if why.is_empty() {
        Ok(())
    } else {
        Err(Refusal::NotUsable {
            node: node.clone(),
            why: why.join("; "),
        })
    }
}
