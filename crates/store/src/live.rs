//! Changes as they happen, for whoever watches.

use notebook::{Event, Node};

/// Something happened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// Number of the event. Events of other processes are told by the last of their numbers; read from the one you know.
    pub number: u64,
    /// What it happened to; none if another process wrote.
    pub stream: Option<Node>,
    /// The kind of event; none if another process wrote.
    pub kind: Option<&'static str>,
}

impl Change {
    pub(crate) fn of(event: &Event) -> Self {
        Self {
            number: event.number,
            stream: Some(event.stream.clone()),
            kind: Some(event.payload.kind()),
        }
    }

    pub(crate) fn elsewhere(number: u64) -> Self {
        Self {
            number,
            stream: None,
            kind: None,
        }
    }
}
