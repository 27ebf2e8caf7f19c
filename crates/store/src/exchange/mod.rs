//! An export that a person can read without this program, and its way back with equal hashes.

mod export;
mod import;
mod readme;
mod sheets;
mod tables;

pub use import::{import, import_line};

/// Events read at a time.
const AT_A_TIME: i64 = 5_000;
/// Longest line of the events.
const LONGEST: usize = 2 * notebook::event::MAX_BODY;
/// The events of an export.
pub(crate) const EVENTS: &str = "events.jsonl";
/// The folder of the attached files in an export; each is named by its hash.
const FILES: &str = "files";

/// The list of the attached files.
const LIST: &str = "files.csv";
/// The hashes of the files of an export.
const SUMS: &str = "SHA256SUMS";

use crate::beside::failed as file;
