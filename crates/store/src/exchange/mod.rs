//! An export that a person can read without this program, and its way back with equal hashes.

mod export;
mod import;

pub use import::{import, import_line};

use crate::error::StoreError;
use std::path::Path;

/// Events read at a time.
const AT_A_TIME: i64 = 5_000;
/// Longest line of the events.
const LONGEST: usize = 2 * notebook::event::MAX_BODY;
/// The events of an export.
const EVENTS: &str = "events.jsonl";
/// The folder of the attached files in an export; each is named by its hash.
const FILES: &str = "files";

fn file(path: &Path, error: &impl std::fmt::Display) -> StoreError {
    StoreError::File {
        place: path.display().to_string(),
        reason: error.to_string(),
    }
}
