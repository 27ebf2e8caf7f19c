//! Where a record lives: a file, or a PostgreSQL by its URL.

use crate::error::StoreError;
use sqlx::any::{AnyPoolOptions, install_default_drivers};
use sqlx::migrate::Migrator;
use sqlx::{AnyConnection, AnyPool, Connection};
use std::fmt;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How long a locked file is waited for.
pub(crate) const BUSY_SECONDS: u64 = 5;

static LITE: Migrator = sqlx::migrate!("migrations/sqlite");
static PG: Migrator = sqlx::migrate!("migrations/postgres");

/// A place for a record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Place {
    /// A file of SQLite.
    File(PathBuf),
    /// A PostgreSQL.
    Server(String),
}

impl Place {
    /// A place as people write it: `postgres://...` is a server, anything else a file.
    pub fn of(text: &str) -> Self {
        if text.starts_with("postgres://") || text.starts_with("postgresql://") {
            Self::Server(text.to_string())
        } else {
            Self::File(PathBuf::from(text.strip_prefix("sqlite:").unwrap_or(text)))
        }
    }

    /// True if it is a file.
    pub fn is_file(&self) -> bool {
        matches!(self, Self::File(_))
    }

    fn url(&self, mode: &str) -> String {
        match self {
            Self::File(path) => format!("sqlite:{}?mode={mode}", encoded(path)),
            Self::Server(url) => url.clone(),
        }
    }

    /// A pool of connections; the file must be there.
    pub(crate) async fn pool(&self, connections: u32) -> Result<AnyPool, StoreError> {
        install_default_drivers();
        let lite = self.is_file();
        // A pool tries again until its time is up; a first connection says at once what is wrong.
        let probe = async {
            let mut first = AnyConnection::connect(&self.url("rw")).await?;
            if lite {
                sqlx::query("SELECT CAST(COUNT(*) AS BIGINT) FROM sqlite_master")
                    .execute(&mut first)
                    .await?;
            }
            first.close().await
        };
        probe.await.map_err(|error| self.named(error.into()))?;
        let pool = AnyPoolOptions::new()
            .max_connections(connections)
            .acquire_timeout(Duration::from_secs(10))
            .after_connect(move |connection, _| {
                Box::pin(async move {
                    if lite {
                        for pragma in [
                            "PRAGMA busy_timeout = 5000",
                            "PRAGMA journal_mode = WAL",
                            "PRAGMA synchronous = FULL",
                            "PRAGMA foreign_keys = ON",
                        ] {
                            sqlx::query(pragma).execute(&mut *connection).await?;
                        }
                    }
                    Ok(())
                })
            })
            .connect(&self.url("rw"))
            .await
            .map_err(|error| self.named(error.into()))?;
        Ok(pool)
    }

    /// Makes the file, empty, if there is none.
    pub(crate) fn make_file(&self) -> Result<(), StoreError> {
        if let Self::File(path) = self {
            let failed = |error: std::io::Error| StoreError::File {
                place: path.display().to_string(),
                reason: error.to_string(),
            };
            if path.exists() {
                return Err(StoreError::Exists(path.display().to_string()));
            }
            if let Some(folder) = path.parent().filter(|p| !p.as_os_str().is_empty()) {
                std::fs::create_dir_all(folder).map_err(failed)?;
            }
            std::fs::File::create_new(path).map_err(failed)?;
        }
        Ok(())
    }

    /// Brings the tables to the newest layout. A record of an older layout is brought up to date; one of a newer layout
    /// is refused.
    pub(crate) async fn migrate(&self, pool: &AnyPool) -> Result<(), StoreError> {
        let migrator = if self.is_file() { &LITE } else { &PG };
        let known = migrator
            .iter()
            .map(|migration| migration.version)
            .max()
            .unwrap_or(0);
        migrator.run(pool).await.map_err(|error| match error {
            sqlx::migrate::MigrateError::VersionMissing(found) => StoreError::Newer {
                place: self.to_string(),
                found,
                known,
            },
            sqlx::migrate::MigrateError::Execute(error)
            | sqlx::migrate::MigrateError::ExecuteMigration(error, _) => self.named(error.into()),
            other => StoreError::NotARecord {
                place: self.to_string(),
                reason: other.to_string(),
            },
        })
    }

    /// Whether there is a record.
    pub(crate) async fn has_record(&self, pool: &AnyPool) -> Result<bool, StoreError> {
        let sql = if self.is_file() {
            "SELECT CAST(COUNT(*) AS BIGINT) FROM sqlite_master WHERE type = 'table' AND name = 'chain_end'"
        } else {
            "SELECT CAST(COUNT(*) AS BIGINT) FROM information_schema.tables
             WHERE table_schema = current_schema() AND table_name = 'chain_end'"
        };
        let count: i64 = sqlx::query_scalar(sql)
            .fetch_one(pool)
            .await
            .map_err(|error| self.named(error.into()))?;
        Ok(count > 0)
    }

    /// The error with the place in it, where that says more.
    pub(crate) fn named(&self, error: StoreError) -> StoreError {
        match error {
            StoreError::Damaged(reason) => StoreError::NotARecord {
                place: self.to_string(),
                reason,
            },
            other => other,
        }
    }
}

/// A path in a URL: what has a meaning in URLs is written by its number.
fn encoded(path: &Path) -> String {
    let mut out = String::new();
    for byte in path.as_os_str().as_encoded_bytes() {
        match byte {
            b'%' | b'?' | b'#' => out.push_str(&format!("%{byte:02X}")),
            0x80.. => out.push_str(&format!("%{byte:02X}")),
            byte => out.push(char::from(*byte)),
        }
    }
    out
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::File(path) => write!(f, "{}", path.display()),
            // A URL may hold a password.
            Self::Server(url) => match url.rsplit_once('@') {
                Some((_, rest)) => write!(f, "postgres://{rest}"),
                None => f.write_str(url),
            },
        }
    }
}
