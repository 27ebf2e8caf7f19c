//! Copies of a record in use, and their way back.

use crate::check::Checked;
use crate::error::StoreError;
use crate::outside::Outside;
use crate::place::Place;
use crate::store::Store;
use std::path::Path;
use std::sync::Arc;

impl Store {
    /// Copies the record, which may be in use, into one file, and checks the copy. Only for a record in a file: a
    /// PostgreSQL has `pg_dump`, and [`Self::export`] works for both.
    ///
    /// # Errors
    /// [`StoreError::Exists`], or what the disk says; no half copy is left.
    pub async fn backup(&self, to: &Path) -> Result<Checked, StoreError> {
        if !self.place().is_file() {
            return Err(StoreError::File {
                place: self.place().to_string(),
                reason: "a record on a server is backed up with pg_dump, or by an export".into(),
            });
        }
        if to.exists() {
            return Err(StoreError::Exists(to.display().to_string()));
        }
        let part = to.with_extension("part");
        let _ = std::fs::remove_file(&part);
        let text = part.to_str().ok_or_else(|| StoreError::File {
            place: part.display().to_string(),
            reason: "the name is not UTF-8".into(),
        })?;
        // SQLite reads one state of the file while others write (sqlite.org, VACUUM INTO).
        let copied = sqlx::query("VACUUM INTO $1")
            .bind(text)
            .execute(self.pool())
            .await;
        if let Err(error) = copied {
            let _ = std::fs::remove_file(&part);
            return Err(error.into());
        }
        let checked = checked(text, self.outside()).await;
        match checked {
            Ok(checked) => {
                durable(&part)?;
                std::fs::rename(&part, to).map_err(|e| file(to, &e))?;
                Ok(checked)
            }
            Err(error) => {
                clear(&part);
                Err(error)
            }
        }
    }
}

/// Checks a backup and puts it where there is nothing yet.
///
/// # Errors
/// [`StoreError::Unsound`] if the backup is damaged; nothing is left at the place then.
pub async fn restore(
    backup: &Path,
    place: &Path,
    outside: Arc<dyn Outside>,
) -> Result<Checked, StoreError> {
    if place.exists() {
        return Err(StoreError::Exists(place.display().to_string()));
    }
    if !backup.exists() {
        return Err(StoreError::NoRecord(backup.display().to_string()));
    }
    let part = place.with_extension("part");
    clear(&part);
    std::fs::copy(backup, &part).map_err(|e| file(&part, &e))?;
    let text = part.to_str().unwrap_or_default().to_string();
    match checked(&text, outside).await {
        Ok(checked) => {
            durable(&part)?;
            std::fs::rename(&part, place).map_err(|e| file(place, &e))?;
            Ok(checked)
        }
        Err(error) => {
            clear(&part);
            Err(error)
        }
    }
}

/// Opens a copy, hashes its chain again, and closes it.
async fn checked(place: &str, outside: Arc<dyn Outside>) -> Result<Checked, StoreError> {
    let store = Store::open(place, outside).await?;
    let checked = store.check().await?;
    store.close().await;
    if let Some(hash) = checked.altered_files.first() {
        return Err(StoreError::Unsound(format!(
            "{}: the attached file {hash} was altered",
            Place::of(place)
        )));
    }
    match &checked.broken {
        None => Ok(checked),
        Some(broken) => Err(StoreError::Unsound(format!(
            "{}: the chain breaks at event {}: {}",
            Place::of(place),
            broken.number,
            broken.what
        ))),
    }
}

fn file(path: &Path, error: &std::io::Error) -> StoreError {
    StoreError::File {
        place: path.display().to_string(),
        reason: error.to_string(),
    }
}

fn durable(path: &Path) -> Result<(), StoreError> {
    std::fs::File::open(path)
        .and_then(|f| f.sync_all())
        .map_err(|e| file(path, &e))
}

/// Removes a file with what SQLite keeps beside it.
fn clear(path: &Path) {
    for end in ["", "-wal", "-shm"] {
        let mut name = path.as_os_str().to_owned();
        name.push(end);
        let _ = std::fs::remove_file(name);
    }
}
