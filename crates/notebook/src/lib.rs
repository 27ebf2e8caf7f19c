//! The record: what happens is an event that stays, what is known is a fold over events.
//!
//! Pure: no file, no clock, no randomness. Time, identities and storage come from outside (see the crate `store`).
//!
//! * [`Event`] is what happened, when, by whom, tied by its hash to all before it.
//! * [`World`] folds events into the states of things ([`state`]).
//! * [`decide`] checks a [`Command`] against a world and gives the events that follow from it, or a [`Refusal`] in words.
//! * [`Evaluator`] turns a determination of the record into the bench sheet that `titrimetry` evaluates.
//! * [`graph`] says what a thing is made of and what rests on it; [`cascade`] what a correction changes.
#![forbid(unsafe_code)]

mod canonical;
pub mod cascade;
pub mod decide;
pub mod demo;
mod evaluate;
pub mod event;
mod expect;
pub mod graph;
mod hash;
pub mod ledger;
mod moment;
mod node;
pub mod payload;
mod permission;
mod refusal;
pub mod sheet;
pub mod state;
pub mod upcast;
pub mod validity;

pub use canonical::canonical;
pub use decide::{Actor, Command, Draft, decide, needs};
pub use evaluate::{EvaluateError, Evaluator, MAX_DEPTH, Met, Outcome, PROGRAM};
pub use event::{Cause, Event, EventError, Head, uuid_v7};
pub use expect::{ExpectedBy, ExpectedTitre};
pub use hash::{Hash, HashError};
pub use ledger::{Ledger, LedgerError, Stamp};
pub use moment::{Day, Moment, MomentError};
pub use node::{Kind, MAX_NAME, Node, NodeError};
pub use payload::{Payload, Role};
pub use permission::Permissions;
pub use refusal::Refusal;
pub use state::{State, World};
