//! What lies at a place, seen before anything is written there: a reading command leaves the files of others as they are.

use crate::beside::{self, with_end};
use crate::error::StoreError;
use crate::place::{Access, Place};
use sqlx::any::install_default_drivers;
use sqlx::{AnyConnection, Connection};
use std::io::Read;
use std::path::Path;

/// How a file of SQLite begins (sqlite.org, Database File Format, 1.3).
const BEGINNING: &[u8; 16] = b"SQLite format 3\0";
/// Tables that are named of a foreign database.
const MOST_NAMED: usize = 4;

impl Place {
    /// Whether there is a record here, looked at without writing.
    ///
    /// # Errors
    /// [`StoreError::NoRecord`] where there is nothing, [`StoreError::NotARecord`] saying what else it is,
    /// [`StoreError::Damaged`] for a file that was cut short.
    pub(crate) async fn look(&self) -> Result<(), StoreError> {
        let Self::File(path) = self else {
            return Ok(());
        };
        if !path.exists() {
            return Err(StoreError::NoRecord(self.to_string()));
        }
        let log = has_log(path);
        beginning(path, log).map_err(|found| match found {
            Found::Other(reason) => StoreError::NotARecord {
                place: self.to_string(),
                reason,
            },
            Found::Short => StoreError::Damaged(format!(
                "{self}: the file was cut short, its end is missing"
            )),
            Found::Unread(error) => beside::failed(path, &error),
        })?;
        install_default_drivers();
        // An empty log is one of somebody who has the file open.
        let access = match with_end(path, "-wal").exists() {
            true => Access::Read,
            false => Access::Still,
        };
        let tables = async {
            let mut db = AnyConnection::connect(&self.url(access)).await?;
            let tables: Result<Vec<String>, _> = sqlx::query_scalar(
                "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name",
            )
            .fetch_all(&mut db)
            .await;
            db.close().await?;
            tables
        };
        let tables = tables.await.map_err(|error| self.named(error.into()))?;
        let ours = |name: &str| tables.iter().any(|table| table == name);
        let reason = if ours("event") && ours("_sqlx_migrations") {
            return Ok(());
        } else if tables.is_empty() {
            format!(
                "it is an empty database; delete it, and `halfdrop record new {self}` opens a record here"
            )
        } else {
            let more = if tables.len() > MOST_NAMED {
                ", ..."
            } else {
                ""
            };
            let named = tables.iter().take(MOST_NAMED).cloned().collect::<Vec<_>>();
            format!(
                "it is a database of another program, with the tables {}{more}",
                named.join(", ")
            )
        };
        Err(StoreError::NotARecord {
            place: self.to_string(),
            reason,
        })
    }
}

/// Whether there lies a log beside a file of which something may not be in the file yet.
pub(crate) fn has_log(path: &Path) -> bool {
    std::fs::metadata(with_end(path, "-wal")).is_ok_and(|log| log.len() > 0)
}

enum Found {
    Other(String),
    Short,
    Unread(std::io::Error),
}

/// Looks at the beginning of a file.
fn beginning(path: &Path, log: bool) -> Result<(), Found> {
    let file = std::fs::File::open(path).map_err(Found::Unread)?;
    let about = file.metadata().map_err(Found::Unread)?;
    let other = |reason: &str| Err(Found::Other(reason.to_string()));
    if about.is_dir() {
        return match path.join(crate::exchange::EVENTS).exists() {
            true => other(
                "it is the folder of an export; `halfdrop record import` makes a record of it",
            ),
            false => other("it is a folder; name the file in it"),
        };
    }
    let mut start = Vec::new();
    file.take(100)
        .read_to_end(&mut start)
        .map_err(Found::Unread)?;
    if start.is_empty() && log {
        return Ok(());
    }
    match start.as_slice() {
        [] => other(
            "it is an empty file; delete it, and `halfdrop record new` opens a record in its place",
        ),
        start if start.starts_with(b"PK\x03\x04") => other(
            "it is a zip file; if it is an export, `halfdrop record import` makes a record of it",
        ),
        start if start.starts_with(BEGINNING) => {
            // Size of a page and number of pages, which counts if the two counters agree (1.3.7).
            let number = |at: usize, bytes: usize| {
                start.get(at..at + bytes).map(|part| {
                    part.iter()
                        .fold(0_u64, |sum, byte| (sum << 8) | u64::from(*byte))
                })
            };
            let page = number(16, 2).map(|size| if size == 1 { 65_536 } else { size });
            let whole = match (page, number(28, 4), number(24, 4), number(92, 4)) {
                (Some(page), Some(pages), counted, at) if counted == at => {
                    about.len() >= page * pages
                }
                (Some(_), Some(_), Some(_), Some(_)) => true,
                _ => false,
            };
            // What a log brings may not be in the file yet.
            if whole || log {
                Ok(())
            } else {
                Err(Found::Short)
            }
        }
        start if start.len() < BEGINNING.len() && BEGINNING.starts_with(start) => Err(Found::Short),
        _ => other("it is a file of another kind"),
    }
}
