//! What can go wrong with a record, said so that a person knows what to do.

use notebook::decide::Command;
use notebook::{Event, EventError, Refusal, state::FoldError};
use thiserror::Error;

/// Why a store could not do what was asked.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum StoreError {
    /// What was asked is not done, for a reason the person is told.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// Somebody else was quicker.
    #[error(transparent)]
    Conflict(Box<Conflict>),
    /// A key that was used for something else.
    #[error(
        "the key \"{key}\" was used for another command already: {held}; nothing was saved now, every command needs a key of its own"
    )]
    KeyReused {
        /// The key.
        key: String,
        /// What was taken with it, and how this differs.
        held: String,
    },
    /// What was given as a place is none.
    #[error(
        "{0}; a record is a file, named by its path, or on a server, named by a URL that begins with postgres://"
    )]
    NoPlace(String),
    /// No record at this place.
    #[error("{0}: there is no record here; `halfdrop record new {0}` opens one")]
    NoRecord(String),
    /// A file that is no record.
    #[error("{place}: this is no record of halfdrop: {reason}; nothing was changed")]
    NotARecord {
        /// The place.
        place: String,
        /// What was seen.
        reason: String,
    },
    /// A record is there already.
    #[error("{0}: there is something here already; name another place")]
    Exists(String),
    /// The record was written by a newer program.
    #[error(
        "{place}: written by a newer version of halfdrop (layout {found}, this one knows {known}); use that one"
    )]
    Newer {
        /// The place.
        place: String,
        /// The layout found.
        found: i64,
        /// The newest layout known.
        known: i64,
    },
    /// Another process holds the file.
    #[error(
        "the record is locked by another process, and it stayed so for {seconds} s; close what else has it open (a copy program, another server) and try again"
    )]
    Locked {
        /// How long it was waited.
        seconds: u64,
    },
    /// Nothing more can be written.
    #[error(
        "the disk is full: nothing was saved of the last step; free some space and do it again"
    )]
    Full,
    /// The disk does not do what it is told.
    #[error(
        "the disk reports an error ({0}): nothing was saved of the last step; see to the disk, and do it again"
    )]
    Disk(String),
    /// The file or its folder may not be written.
    #[error(
        "the record may not be written (read-only file, folder or disk): nothing was saved; check its permissions"
    )]
    ReadOnly,
    /// The database server does not answer.
    #[error(
        "the database server does not answer: nothing was saved of the last step; it is safe to do it again with the same key ({0})"
    )]
    Away(String),
    /// The content of the record is damaged.
    #[error(
        "the record is damaged: {0}; keep it as it is, and restore a backup beside it (`halfdrop record restore`)"
    )]
    Damaged(String),
    /// A list by something that is not known.
    #[error("no {what} is called \"{given}\"; there are: {known}")]
    NotKnown {
        /// What it would be.
        what: &'static str,
        /// The name given.
        given: String,
        /// The names that are known.
        known: String,
    },
    /// An event that cannot be read.
    #[error("event {number} cannot be read: {error}")]
    Event {
        /// Its number.
        number: u64,
        /// What is wrong.
        error: EventError,
    },
    /// Events that do not follow on one another.
    #[error(
        "the record is damaged: {0}; `halfdrop record check` says where, keep it as it is, and restore a backup beside it"
    )]
    Fold(#[from] FoldError),
    /// A file of an export or a backup cannot be read or written.
    #[error("{place}: {reason}")]
    File {
        /// The file.
        place: String,
        /// What is wrong.
        reason: String,
    },
    /// A record, a backup or an export that was altered, of which what was asked is not done.
    #[error("{place}: {found}; {so}")]
    Altered {
        /// Which.
        place: String,
        /// What was found.
        found: String,
        /// What was not done, and what to do.
        so: &'static str,
    },
    /// An import into a record that has events.
    #[error("an import needs an empty record; this one has {0} events")]
    NotEmpty(u64),
    /// An export or backup that does not hold together.
    #[error("{0}; nothing was imported")]
    Unsound(String),
    /// The sign-in was not accepted; which part was wrong is not told.
    #[error(
        "name and secret do not fit; after {left} more failures the name is locked for a while"
    )]
    SignIn {
        /// Failures left before it is locked.
        left: u32,
    },
    /// Nothing was given to prove who it is.
    #[error(
        "the {0} is missing: this needs it once more, to prove who you are; no attempt is counted"
    )]
    SecretMissing(&'static str),
    /// Too many failures.
    #[error("too many failures; try again after {until}")]
    LockedOut {
        /// Until when.
        until: notebook::Moment,
    },
    /// No session, or one that ended.
    #[error("the session ended; sign in again")]
    SessionEnded,
    /// A secret that is too weak.
    #[error("{0}")]
    WeakSecret(String),
    /// The writer stopped.
    #[error("the record is closed")]
    Closed,
    /// Any other fault of the database.
    #[error("the database reports: {0}")]
    Database(sqlx::Error),
}

/// What happened meanwhile.
#[derive(Clone, Debug, PartialEq)]
pub struct Conflict {
    /// What was asked.
    pub command: Command,
    /// The version that was known to who asked.
    pub expected: u64,
    /// The version found.
    pub found: u64,
    /// The events in between.
    pub meanwhile: Vec<Event>,
}

impl std::error::Error for Conflict {}

impl std::fmt::Display for Conflict {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "{} changed meanwhile (version {}, you had {}):",
            self.command.on, self.found, self.expected
        )?;
        for event in self.meanwhile.iter().take(5) {
            write!(
                f,
                " {} by {} at {};",
                event.payload.kind(),
                event.who,
                event.at.clock()
            )?;
        }
        f.write_str(" look at it and decide again")
    }
}

impl From<sqlx::Error> for StoreError {
    fn from(error: sqlx::Error) -> Self {
        use sqlx::Error as E;
        match &error {
            E::Io(io) => return Self::Away(io.to_string()),
            E::PoolTimedOut | E::WorkerCrashed | E::PoolClosed => {
                return Self::Away(error.to_string());
            }
            E::RowNotFound => {
                return Self::Damaged("a row that every record has is missing".into());
            }
            E::ColumnDecode { source, .. } | E::Decode(source) => {
                let utf8 =
                    source.is::<std::str::Utf8Error>() || source.is::<std::string::FromUtf8Error>();
                return Self::Damaged(match utf8 {
                    true => "a text in one of its tables is not valid UTF-8".into(),
                    false => "a value in one of its tables is of the wrong kind".into(),
                });
            }
            E::Database(db) => {
                let code = db.code().unwrap_or_default().into_owned();
                let message = db.message().to_lowercase();
                // SQLite result codes; the extended ones keep the primary code in the low byte.
                let primary = code.parse::<i32>().ok().map(|c| c & 0xff);
                let lite = code.len() < 5;
                match primary.filter(|_| lite) {
                    Some(5 | 6) => {
                        return Self::Locked {
                            seconds: crate::place::BUSY_SECONDS,
                        };
                    }
                    Some(13) => return Self::Full,
                    Some(8 | 14) => return Self::ReadOnly,
                    Some(11 | 26) => return Self::Damaged(message),
                    // An input or output error: a full disk reports itself so on some systems.
                    Some(10) => return Self::Disk(message),
                    _ => {}
                }
                // PostgreSQL: SQLSTATE classes (PostgreSQL manual, appendix A).
                if !lite {
                    match code.as_str() {
                        "53100" => return Self::Full,
                        "25006" => return Self::ReadOnly,
                        "57P01" | "57P02" | "57P03" => return Self::Away(message),
                        c if c.starts_with("08") => return Self::Away(message),
                        _ => {}
                    }
                }
            }
            _ => {}
        }
        Self::Database(error)
    }
}
