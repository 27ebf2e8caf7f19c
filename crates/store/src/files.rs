//! Photographs and other files that belong to events: kept by their hash, beside the events that name it.

use crate::error::StoreError;
use crate::store::Store;
use notebook::Hash;

impl Store {
    /// Keeps the bytes of a file, found by its hash; the event `file-attached` says to what it belongs.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn keep_file(&self, bytes: Vec<u8>) -> Result<Hash, StoreError> {
        let hash = Hash::of(&bytes);
        sqlx::query(
            "INSERT INTO attachment (sha256, bytes) VALUES ($1, $2) ON CONFLICT (sha256) DO NOTHING",
        )
        .bind(hash.to_string())
        .bind(bytes)
        .execute(self.pool())
        .await?;
        Ok(hash)
    }

    /// The bytes of a file, compared with its hash.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] if they do not fit it.
    pub async fn file(&self, hash: Hash) -> Result<Option<Vec<u8>>, StoreError> {
        let bytes: Option<Vec<u8>> =
            sqlx::query_scalar("SELECT bytes FROM attachment WHERE sha256 = $1")
                .bind(hash.to_string())
                .fetch_optional(self.pool())
                .await?;
        match bytes {
            Some(bytes) if Hash::of(&bytes) != hash => Err(StoreError::Damaged(format!(
                "the attached file {hash} was altered"
            ))),
            bytes => Ok(bytes),
        }
    }

    /// Hashes of the kept files whose bytes were altered. One file is in memory at a time.
    pub(crate) async fn altered_files(&self) -> Result<Vec<String>, StoreError> {
        let mut altered = Vec::new();
        let mut after = String::new();
        loop {
            let next: Option<String> = sqlx::query_scalar(
                "SELECT sha256 FROM attachment WHERE sha256 > $1 ORDER BY sha256 LIMIT 1",
            )
            .bind(&after)
            .fetch_optional(self.pool())
            .await?;
            let Some(next) = next else {
                return Ok(altered);
            };
            let holds = match next.parse() {
                Ok(hash) => !matches!(self.file(hash).await, Err(StoreError::Damaged(_))),
                Err(_) => false,
            };
            if !holds {
                altered.push(next.clone());
            }
            after = next;
        }
    }
}
