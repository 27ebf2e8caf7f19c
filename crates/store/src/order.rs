//! What is sent to the writer, and its answer.

use notebook::{Command, Event, Moment};

/// A command with who sends it.
#[derive(Clone, Debug, PartialEq)]
pub struct Order {
    /// The person's name in the record.
    pub who: String,
    /// The device it was entered on.
    pub device: String,
    /// A key chosen by the sender: the same key is taken once, and answered the same.
    pub key: Option<String>,
    /// The version of the thing that the sender has seen; refused as a conflict if it has more events by now.
    pub expects: Option<u64>,
    /// When it happened, if not now: a reading that waited for the network brings its own moment.
    pub at: Option<Moment>,
    /// What happened.
    pub command: Command,
}

impl Order {
    /// A command of a person, with nothing else asked.
    pub fn new(who: &str, device: &str, command: Command) -> Self {
        Self {
            who: who.into(),
            device: device.into(),
            key: None,
            expects: None,
            at: None,
            command,
        }
    }

    /// The same with a key.
    #[must_use]
    pub fn keyed(mut self, key: impl Into<String>) -> Self {
        self.key = Some(key.into());
        self
    }

    /// The same, if the thing still has this version.
    #[must_use]
    pub fn expecting(mut self, version: u64) -> Self {
        self.expects = Some(version);
        self
    }
}

/// The answer to a command that was taken: durable, and never taken back.
#[derive(Clone, Debug, PartialEq)]
pub struct Receipt {
    /// The events that it made, in order.
    pub events: Vec<Event>,
    /// True if the key was known: the events are those of the first time.
    pub repeated: bool,
    /// Version of the thing after it.
    pub version: u64,
}
