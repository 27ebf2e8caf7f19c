//! The record and its people.

use super::State;
use crate::event::Event;
use crate::payload::{Payload, Role};
use serde::Serialize;

/// The record.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Record {
    /// What it is called.
    pub name: String,
    /// Whether people sign in.
    pub shared: bool,
}

/// A person.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Person {
    /// The printed name.
    pub name: String,
    /// What the person does here.
    pub roles: Vec<Role>,
    /// Why the person left, if so.
    pub left: Option<String>,
}

pub(super) fn apply(state: &mut State, event: &Event) -> bool {
    match (state, &event.payload) {
        (state @ State::Nothing, Payload::RecordOpened(opened)) => {
            *state = State::Record(Record {
                name: opened.name.clone(),
                shared: false,
            });
        }
        (State::Record(record), Payload::RecordNamed(named)) => record.name.clone_from(&named.name),
        (State::Record(record), Payload::RecordShared(_)) => record.shared = true,
        (State::Record(_), Payload::CorrectionSettled(_)) => {}
        (state @ State::Nothing, Payload::PersonAdded(added)) => {
            *state = State::Person(Person {
                name: added.name.clone(),
                roles: added.roles.clone(),
                left: None,
            });
        }
        (State::Person(person), Payload::RolesChanged(changed)) => {
            person.roles.clone_from(&changed.roles);
        }
        (State::Person(person), Payload::PersonLeft(left)) => {
            person.left = Some(left.reason.clone());
        }
        _ => return false,
    }
    true
}
