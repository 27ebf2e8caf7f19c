//! A record in memory: every rule of the record and nothing of its storage. For tests, and to try things out.

use crate::cascade::{self, Change};
use crate::decide::{Actor, Command, Draft, decide};
use crate::evaluate::{Evaluator, Met};
use crate::event::{Cause, Event, EventError, uuid_v7};
use crate::graph::{self, Edge};
use crate::hash::Hash;
use crate::moment::Moment;
use crate::node::{Kind, Node};
use crate::payload::{CorrectionSettled, Payload};
use crate::permission::Permissions;
use crate::refusal::Refusal;
use crate::state::{FoldError, World};
use std::collections::BTreeSet;
use thiserror::Error;

/// Why something was not written.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum LedgerError {
    /// It may not be.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// It cannot be written down.
    #[error(transparent)]
    Event(#[from] EventError),
    /// It does not follow on what is known.
    #[error(transparent)]
    Fold(#[from] FoldError),
}

/// By whom, when, where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// When.
    pub at: Moment,
    /// By whom.
    pub who: String,
    /// On which device.
    pub device: String,
    /// Key of the command.
    pub key: Option<String>,
}

/// A record in memory.
#[derive(Clone, Debug, Default)]
pub struct Ledger {
    events: Vec<Event>,
    bodies: Vec<(String, Hash)>,
    world: World,
    edges: Vec<Edge>,
}

impl Ledger {
    /// The events, in order.
    pub fn events(&self) -> &[Event] {
        &self.events
    }

    /// The events as kept, each with its hash.
    pub fn bodies(&self) -> &[(String, Hash)] {
        &self.bodies
    }

    /// All that is known.
    pub fn world(&self) -> &World {
        &self.world
    }

    /// All that was known once the event of a number was written.
    ///
    /// # Errors
    /// [`FoldError`] if the events do not follow on one another.
    pub fn world_as_of(&self, number: u64) -> Result<World, FoldError> {
        let mut world = World::default();
        let until = self.events.iter().take_while(|e| e.number <= number);
        for event in until {
            world.apply(event)?;
        }
        Ok(world)
    }

    /// Does what a command asks, and what follows from it.
    ///
    /// # Errors
    /// [`LedgerError`].
    pub fn submit(&mut self, stamp: &Stamp, command: &Command) -> Result<Vec<u64>, LedgerError> {
        let actor = Actor {
            who: stamp.who.clone(),
            at: stamp.at,
        };
        let drafts = decide(&self.world, Permissions::shipped(), &actor, command)?;
        let cause = Cause {
            command: stamp.key.clone(),
            event: None,
        };
        let corrects = drafts.iter().any(|d| cascade::corrects(&d.payload));
        let numbers = self.write(stamp, &cause, drafts)?;
        if corrects && let Some(first) = numbers.first() {
            self.settle(stamp, *first)?;
        }
        Ok(numbers)
    }

    /// What would change if everything that rests on a thing were computed again now, in dependency order.
    pub fn changes(&self, corrected: &Node) -> Vec<Change> {
        let mut evaluator = Evaluator::new(&self.world).with(Met::default());
        self.dependents(corrected)
            .iter()
            .filter(|node| graph::is_computed(node) && *node != corrected)
            .filter_map(|node| cascade::change(&self.world, &mut evaluator, node))
            .collect()
    }

    /// What rests on the value of a thing, each after what it rests on itself.
    pub fn dependents(&self, node: &Node) -> Vec<Node> {
        let mut reached = BTreeSet::from([node.clone()]);
        loop {
            let before = reached.len();
            for edge in self.edges.iter().filter(|e| e.how.carries_value()) {
                if reached.contains(&edge.on) {
                    reached.insert(edge.what.clone());
                }
            }
            if reached.len() == before {
                break;
            }
        }
        let among: Vec<Edge> = self
            .edges
            .iter()
            .filter(|e| e.how.carries_value() && reached.contains(&e.on))
            .cloned()
            .collect();
        graph::in_order(&among)
    }

    fn settle(&mut self, stamp: &Stamp, because: u64) -> Result<(), LedgerError> {
        let Some(event) = usize::try_from(because - 1)
            .ok()
            .and_then(|at| self.events.get(at))
        else {
            return Ok(());
        };
        let corrected = event.stream.clone();
        let anew = matches!(event.payload, Payload::DeterminationApproved(_));
        let rests = |n: &Node| graph::is_computed(n) && *n != corrected;
        if anew && !self.dependents(&corrected).iter().any(rests) {
            return Ok(());
        }
        let changes = self.changes(&corrected);
        let cause = Cause {
            command: None,
            event: Some(because),
        };
        let reason = cascade::reason(event);
        let (mut flips, mut superseded) = (0, 0);
        for change in &changes {
            let certificates = self.certificates_of(&change.determination);
            flips += u64::from(change.flips);
            superseded += certificates.len() as u64;
            let drafts = change.drafts(&self.world, because, &reason, &certificates);
            self.write(stamp, &cause, drafts)?;
        }
        let settled = CorrectionSettled {
            because,
            changed: changes.len() as u64,
            flips,
            superseded,
        };
        self.write(stamp, &cause, vec![Draft::new(&Node::record(), settled)])?;
        Ok(())
    }

    fn certificates_of(&self, determination: &Node) -> Vec<Node> {
        self.edges
            .iter()
            .filter(|e| e.on == *determination && e.what.kind() == Kind::Certificate)
            .map(|e| e.what.clone())
            .filter(|node| self.world.certificate(node).is_some_and(|c| c.is_current()))
            .collect()
    }

    fn write(
        &mut self,
        stamp: &Stamp,
        cause: &Cause,
        drafts: Vec<Draft>,
    ) -> Result<Vec<u64>, LedgerError> {
        let mut numbers = Vec::with_capacity(drafts.len());
        for draft in drafts {
            let number = self.events.len() as u64 + 1;
            let mut random = [0; 10];
            random[2..].copy_from_slice(&number.to_be_bytes());
            let event = Event {
                number,
                id: uuid_v7(stamp.at, random),
                at: stamp.at,
                who: stamp.who.clone(),
                device: stamp.device.clone(),
                cause: cause.clone(),
                stream_version: self.world.version(&draft.stream) + 1,
                stream: draft.stream,
                payload: draft.payload,
                previous: self.bodies.last().map_or(Hash::ZERO, |(_, hash)| *hash),
            };
            let body = event.body()?;
            self.world.apply(&event)?;
            self.edges.extend(graph::edges(&event));
            let hash = Hash::of(body.as_bytes());
            self.bodies.push((body, hash));
            self.events.push(event);
            numbers.push(number);
        }
        Ok(numbers)
    }
}
