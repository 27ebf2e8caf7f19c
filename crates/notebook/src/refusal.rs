//! Why something that was asked is not done, said to the person who asked.

use crate::evaluate::EvaluateError;
use crate::node::Node;
use thiserror::Error;

/// Why a command is refused.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum Refusal {
    /// Nothing can happen before the record is opened.
    #[error("the record is not opened yet; give it a name first")]
    NotOpened,
    /// Nobody is named.
    #[error("it is not said who does this; give a name")]
    Nobody,
    /// In a shared record everybody is a person of the record.
    #[error("\"{0}\" is not a person of this record; the keeper adds people")]
    Unknown(String),
    /// The person left.
    #[error("{who} left ({reason}) and may not act any more")]
    Left {
        /// The person.
        who: String,
        /// Why.
        reason: String,
    },
    /// The roles do not allow it.
    #[error("{who} may not do this ({kind}); it takes: {roles}")]
    NotPermitted {
        /// The person.
        who: String,
        /// What was asked.
        kind: String,
        /// The roles that may.
        roles: String,
    },
    /// Only the record writes it.
    #[error("\"{0}\" is written by the record itself and cannot be asked for")]
    RecordOnly(String),
    /// One's own work.
    #[error("{0} did this work; another person looks at it")]
    OwnWork(String),
    /// Another person's work.
    #[error("{who} works on determinations of his own; {node} is another person's")]
    OthersWork {
        /// The person.
        who: String,
        /// The determination.
        node: Node,
    },
    /// Nobody could let anybody in.
    #[error(
        "a shared record keeps at least one keeper who has a passphrase, or nobody could let anybody in; set a keeper's passphrase first (under People, or with `halfdrop record passphrase`)"
    )]
    NoKeeper,
    /// A secret is set in a session that was begun with a code.
    #[error("{0} signed in with a code; sign in with the passphrase to set a secret")]
    ByCode(String),
    /// A thing of the wrong kind.
    #[error("{kind} happens to a {expected}, not to {on}")]
    WrongKind {
        /// What was asked.
        kind: String,
        /// To what it happens.
        expected: &'static str,
        /// What was named.
        on: Node,
    },
    /// The name is taken.
    #[error("{0} is there already; take another name")]
    Taken(Node),
    /// Nothing of this name.
    #[error("{0} is not in the record")]
    Missing(Node),
    /// It may not be used.
    #[error("{node} may not be used: {why}")]
    NotUsable {
        /// The thing.
        node: Node,
        /// Why, and what would help.
        why: String,
    },
    /// No reason given.
    #[error("a reason is needed; say in a few words why")]
    Reason,
    /// A text that is empty or far too long.
    #[error("the {what} must have 1 to {most} characters")]
    Text {
        /// Which text.
        what: &'static str,
        /// Most characters.
        most: usize,
    },
    /// A determination that is not open.
    #[error("{node} is {status}; {help}")]
    Status {
        /// The determination.
        node: Node,
        /// How far it is.
        status: &'static str,
        /// What to do.
        help: &'static str,
    },
    /// A run that is there already, or a gap in their numbers.
    #[error("the next run is number {expected}, not {given}")]
    RunNumber {
        /// The number expected.
        expected: u32,
        /// The number given.
        given: u32,
    },
    /// No such run.
    #[error("there is no run {0}; begin it first")]
    NoRun(u32),
    /// The run is set aside, or is not.
    #[error("run {run} {how}")]
    RunStatus {
        /// The run.
        run: u32,
        /// "is set aside already" or "is not set aside".
        how: &'static str,
    },
    /// A run of a sample that is not part of the determination, or of no sample.
    #[error("the run does not fit: {0}")]
    RunPlace(String),
    /// The reading was taken.
    #[error(
        "{place} was read as {value} already; if that is wrong, correct it and say why: the first value stays visible"
    )]
    ReadingTaken {
        /// Where.
        place: String,
        /// The value.
        value: String,
    },
    /// The reading was not taken.
    #[error("{0} was not read yet; there is nothing to correct")]
    NoReading(String),
    /// A correction that changes nothing.
    #[error("{place} reads {value} already")]
    SameValue {
        /// Where.
        place: String,
        /// The value.
        value: String,
    },
    /// A value that cannot be read.
    #[error("{place}: {reason}")]
    Value {
        /// Where.
        place: String,
        /// What is wrong and what was expected.
        reason: String,
    },
    /// A figure that no paper or scale can show.
    #[error("{0}")]
    Impossible(String),
    /// A version that the thing does not have.
    #[error("{node} has {found} events, there is no version {given}; look at it again")]
    NoVersion {
        /// The thing.
        node: Node,
        /// The version that was given.
        given: u64,
        /// The events that it has.
        found: u64,
    },
    /// Another certificate states the same result.
    #[error(
        "{held} states the result of {determination} already and holds; name it as the one that is replaced, or withdraw it"
    )]
    Stated {
        /// The certificate that holds.
        held: String,
        /// The determination.
        determination: String,
    },
    /// A run without readings stands in the way.
    #[error(
        "run {0} is not finished: take its readings, or set it aside with a reason; then nothing is left out unseen"
    )]
    Unfinished(u32),
    /// It cannot be evaluated.
    #[error("it cannot be evaluated yet: {0}")]
    NotEvaluable(#[from] EvaluateError),
    /// A method or profile that is not sound.
    #[error("it cannot be used: {0}")]
    Unsound(String),
    /// A certificate that does not hold any more.
    #[error("{0} does not hold any more")]
    NotCurrent(Node),
    /// Something that was done before.
    #[error("{0}")]
    Already(String),
}
