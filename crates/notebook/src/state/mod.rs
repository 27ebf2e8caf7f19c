//! States: folds over events. What a thing is now is what its events say, applied in order.

mod determination;
mod people;
mod shelf;

pub use determination::{
    Correction, Determination, Reading, Recomputation, Remark, Run, SetAside, Signature, Status,
    Tick,
};
pub use people::{Person, Record};
pub use shelf::{
    Apparatus, Certificate, CertificateStatus, Edition, Lot, MethodCard, RulesCard, Sample,
    Solution, Standing,
};

use crate::event::Event;
use crate::node::{Kind, Node};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::collections::BTreeMap;
use thiserror::Error;

/// Why an event does not follow on what is known of its thing.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum FoldError {
    /// A gap, or an event twice.
    #[error("event {number} is number {found} of {stream}, after {known} are known")]
    Order {
        /// Number of the event.
        number: u64,
        /// The thing.
        stream: String,
        /// The version it says it has.
        found: u64,
        /// The version known so far.
        known: u64,
    },
    /// An event about a thing that was never begun.
    #[error("event {number} ({kind}) happens to {stream}, which was not begun")]
    NotBegun {
        /// Number of the event.
        number: u64,
        /// Its kind.
        kind: &'static str,
        /// The thing.
        stream: String,
    },
}

/// The state of one thing.
// The large ones are boxed; a lot is of a size with the rest.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum State {
    /// No event yet.
    Nothing,
    /// Comings and goings are kept, not folded.
    Access,
    /// The record.
    Record(Record),
    /// A person.
    Person(Person),
    /// A lot.
    Lot(Lot),
    /// A piece of apparatus.
    Apparatus(Box<Apparatus>),
    /// A solution.
    Solution(Box<Solution>),
    /// A sample.
    Sample(Sample),
    /// A method.
    Method(MethodCard),
    /// A rule profile.
    Rules(RulesCard),
    /// A determination.
    Determination(Box<Determination>),
    /// A certificate.
    Certificate(Certificate),
}

/// A thing with its version.
#[derive(Clone, Debug, PartialEq)]
struct Kept {
    version: u64,
    state: State,
}

impl World {
    /// The form of the texts of [`Self::kept`]; raised when a determination's state changes its form, so that older texts are
    /// not read.
    pub const FORM: i64 = 2;
}

#[derive(Serialize, Deserialize)]
struct KeptDetermination<'a> {
    node: Cow<'a, Node>,
    version: u64,
    state: Cow<'a, Determination>,
}

/// What is known of some things: those that a decision needs.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct World {
    things: BTreeMap<Node, Kept>,
}

macro_rules! of_kind {
    ($($(#[$doc:meta])* $name:ident $variant:ident $type:ty;)*) => {$(
        $(#[$doc])*
        pub fn $name(&self, node: &Node) -> Option<&$type> {
            match self.state(node)? {
                State::$variant(state) => Some(state),
                _ => None,
            }
        }
    )*};
}

impl World {
    /// Applies the next event of its thing.
    ///
    /// # Errors
    /// [`FoldError`] if the event does not follow on what is known.
    pub fn apply(&mut self, event: &Event) -> Result<(), FoldError> {
        let kept = self.things.entry(event.stream.clone()).or_insert(Kept {
            version: 0,
            state: State::Nothing,
        });
        if event.stream_version != kept.version + 1 {
            return Err(FoldError::Order {
                number: event.number,
                stream: event.stream.to_string(),
                found: event.stream_version,
                known: kept.version,
            });
        }
        let applied = match event.stream.kind() {
            Kind::Access => {
                kept.state = State::Access;
                true
            }
            Kind::Record | Kind::Person => people::apply(&mut kept.state, event),
            Kind::Determination => determination::apply(&mut kept.state, event),
            Kind::Lot
            | Kind::Apparatus
            | Kind::Solution
            | Kind::Sample
            | Kind::Method
            | Kind::Rules
            | Kind::Certificate => shelf::apply(&mut kept.state, event),
        };
        if !applied {
            return Err(FoldError::NotBegun {
                number: event.number,
                kind: event.payload.kind(),
                stream: event.stream.to_string(),
            });
        }
        kept.version += 1;
        Ok(())
    }

    /// Notes that a thing was looked up and has no events.
    pub fn nothing(&mut self, node: &Node) {
        self.things.entry(node.clone()).or_insert(Kept {
            version: 0,
            state: State::Nothing,
        });
    }

    /// Notes the version of comings and goings by their last event; nothing of them is folded.
    pub fn skip_to(&mut self, last: &Event) {
        if last.stream.kind() == Kind::Access {
            self.things.insert(
                last.stream.clone(),
                Kept {
                    version: last.stream_version,
                    state: State::Access,
                },
            );
        }
    }

    /// True if the thing was looked up.
    pub fn knows(&self, node: &Node) -> bool {
        self.things.contains_key(node)
    }

    /// Events that the thing has.
    pub fn version(&self, node: &Node) -> u64 {
        self.things.get(node).map_or(0, |kept| kept.version)
    }

    /// The state of a thing, if it has events.
    pub fn state(&self, node: &Node) -> Option<&State> {
        self.things
            .get(node)
            .map(|kept| &kept.state)
            .filter(|state| **state != State::Nothing)
    }

    /// All that were looked up.
    pub fn nodes(&self) -> impl ExactSizeIterator<Item = &Node> {
        self.things.keys()
    }

    /// A determination that takes no readings any more, as a text of form [`Self::FORM`] that [`Self::keep`] reads back: so
    /// that it need not be folded again. None of other things.
    pub fn kept(&self, node: &Node) -> Option<String> {
        let state = self.determination(node).filter(|d| !d.is_open())?;
        let text = KeptDetermination {
            node: Cow::Borrowed(node),
            version: self.version(node),
            state: Cow::Borrowed(state),
        };
        serde_json::to_string(&text).ok()
    }

    /// Takes in a determination from such a text; false if it cannot be read, then it is to be folded from its events.
    pub fn keep(&mut self, text: &str) -> bool {
        let Ok(kept) = serde_json::from_str::<KeptDetermination<'_>>(text) else {
            return false;
        };
        self.things.insert(
            kept.node.into_owned(),
            Kept {
                version: kept.version,
                state: State::Determination(Box::new(kept.state.into_owned())),
            },
        );
        true
    }

    /// Forgets a thing, so that it is looked up afresh.
    pub fn forget(&mut self, node: &Node) {
        self.things.remove(node);
    }

    of_kind! {
        /// A person.
        person Person Person;
        /// A lot.
        lot Lot Lot;
        /// A piece of apparatus.
        apparatus Apparatus Apparatus;
        /// A solution.
        solution Solution Solution;
        /// A sample.
        sample Sample Sample;
        /// A method.
        method Method MethodCard;
        /// A rule profile.
        rules Rules RulesCard;
        /// A determination.
        determination Determination Determination;
        /// A certificate.
        certificate Certificate Certificate;
    }

    /// The certificates that state a determination, of those that were looked up.
    pub fn certificates_of(&self, determination: &Node) -> Vec<(&Node, &Certificate)> {
        let states = self
            .things
            .iter()
            .filter_map(|(node, kept)| match &kept.state {
                State::Certificate(certificate) => Some((node, certificate)),
                _ => None,
            });
        states
            .filter(|(_, certificate)| certificate.issued.determination == *determination)
            .collect()
    }

    /// The record, if it was opened.
    pub fn record(&self) -> Option<&Record> {
        match self.state(&Node::record())? {
            State::Record(record) => Some(record),
            _ => None,
        }
    }
}
