//! The demo record in memory, and what people do to it.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used)] // Each test file uses its part.

use notebook::decide::Command;
use notebook::demo::script;
use notebook::{Ledger, Moment, Node, Stamp};

pub fn node(text: &str) -> Node {
    text.parse().unwrap()
}

pub fn first_day() -> Moment {
    "2026-03-09T08:00:00+01:00".parse().unwrap()
}

pub fn demo(seed: u64) -> Ledger {
    let mut ledger = Ledger::default();
    for step in script(seed, first_day()).unwrap() {
        ledger
            .submit(&step.stamp, &step.command)
            .unwrap_or_else(|e| panic!("{:?}: {e}", step.command));
    }
    ledger
}

/// What a person says happened a minute after the last event.
pub fn does(ledger: &mut Ledger, who: &str, command: &Command) -> Result<(), String> {
    let stamp = Stamp {
        at: ledger.events().last().unwrap().at.plus(60_000),
        who: who.into(),
        device: "desk".into(),
        key: None,
    };
    let taken = ledger.submit(&stamp, command);
    taken.map(|_| ()).map_err(|e| e.to_string())
}
