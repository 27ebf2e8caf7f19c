//! Copies of a record in use, and their way back.

use crate::beside::{self, Beside, with_end};
use crate::check::Checked;
use crate::error::StoreError;
use crate::look::has_log;
use crate::outside::Outside;
use crate::place::Place;
use crate::store::Store;
use std::path::Path;
use std::sync::Arc;

/// What becomes of a backup of a record that was altered.
const NOT_BACKED_UP: &str = "nothing was backed up; keep the record as it is, and restore an earlier backup beside it (a plain copy of the file keeps all of it as evidence)";
/// What becomes of a backup that was altered.
const NOT_RESTORED: &str =
    "nothing was restored; look at it with `halfdrop record check`, and take another backup";

impl Store {
    /// Copies the record, which may be in use, into one file, and checks the copy. Only for a record in a file: a
    /// PostgreSQL has `pg_dump`, and [`Self::export`] works for both.
    ///
    /// # Errors
    /// [`StoreError::Exists`], [`StoreError::Altered`], or what the disk says; no half copy is left.
    pub async fn backup(&self, to: &Path) -> Result<Checked, StoreError> {
        if !self.place().is_file() {
            return Err(StoreError::File {
                place: self.place().to_string(),
                reason: "a record on a server is backed up with pg_dump, or by an export".into(),
            });
        }
        let copy = Beside::file(to)?;
        // SQLite reads one state of the file while others write (sqlite.org, VACUUM INTO).
        sqlx::query("VACUUM INTO $1")
            .bind(copy.text()?)
            .execute(self.pool())
            .await
            .map_err(|error| match StoreError::from(error) {
                StoreError::Full => StoreError::File {
                    place: to.display().to_string(),
                    reason: "the disk is full; nothing was backed up, free some space".into(),
                },
                StoreError::ReadOnly => StoreError::File {
                    place: to.display().to_string(),
                    reason: "it may not be written there; nothing was backed up".into(),
                },
                other => other,
            })?;
        let store = Store::open(copy.text()?, self.outside()).await?;
        let checked = store.check().await;
        store.close().await;
        let checked = checked?;
        match checked.first() {
            None => {
                copy.put(to)?;
                Ok(checked)
            }
            Some(found) => Err(StoreError::Altered {
                place: self.place().to_string(),
                found,
                so: NOT_BACKED_UP,
            }),
        }
    }
}

/// Checks a backup, its lists too, and puts it where there is nothing yet. A log that lies beside it belongs to it.
///
/// # Errors
/// [`StoreError::Altered`] if the backup is damaged; nothing is left at the place then.
pub async fn restore(
    backup: &Path,
    place: &Path,
    outside: Arc<dyn Outside>,
) -> Result<Checked, StoreError> {
    if !backup.exists() {
        return Err(beside::failed(backup, &std::io::ErrorKind::NotFound.into()));
    }
    Place::File(backup.to_path_buf()).look().await?;
    let copy = Beside::file(place)?;
    let take = |end: &str| {
        let to = with_end(copy.path(), end);
        std::fs::copy(with_end(backup, end), &to).map_err(|e| beside::failed(place, &e))
    };
    take("")?;
    let log = has_log(backup);
    if log {
        take("-wal")?;
    }
    let altered = |found: String| StoreError::Altered {
        place: backup.display().to_string(),
        found: match log {
            true => format!("with the log beside it ({}-wal): {found}", backup.display()),
            false => found,
        },
        so: NOT_RESTORED,
    };
    let text = copy.text()?;
    let checked = async {
        let store = Store::open(text, outside).await?;
        let found = wholly(&store).await;
        store.close().await;
        found
    };
    let (checked, found) = checked.await.map_err(|error| match error {
        StoreError::Damaged(reason) => altered(reason.replace(text, &backup.display().to_string())),
        other => other,
    })?;
    match found {
        None => {
            copy.put(place)?;
            Ok(checked)
        }
        Some(found) => Err(altered(found)),
    }
}

/// The check of all, and the first thing that is wrong.
pub(crate) async fn wholly(store: &Store) -> Result<(Checked, Option<String>), StoreError> {
    let checked = store.check().await?;
    let mut found = checked.first();
    if found.is_none() {
        let lists = store.check_lists().await?;
        found = lists.first().map(ToString::to_string);
    }
    Ok((checked, found))
}
