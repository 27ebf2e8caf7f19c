//! Where a record lives: a file, or a PostgreSQL by its URL.

use crate::beside;
use crate::error::StoreError;
use sqlx::any::{AnyPoolOptions, install_default_drivers};
use sqlx::migrate::Migrator;
use sqlx::{AnyConnection, AnyPool, Connection};
use std::fmt;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How long a locked file is waited for.
pub(crate) const BUSY_SECONDS: u64 = 5;

pub(crate) static LITE: Migrator = sqlx::migrate!("migrations/sqlite");
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
    /// A place as people write it: `postgres://...` is a server, what has no such beginning is a file.
    ///
    /// # Errors
    /// [`StoreError::NoPlace`] for no name, and for the beginning of a URL that is not known.
    pub fn of(text: &str) -> Result<Self, StoreError> {
        if text.starts_with("postgres://") || text.starts_with("postgresql://") {
            return Ok(Self::Server(text.to_string()));
        }
        let file = text.strip_prefix("sqlite:").unwrap_or(text);
        if file.trim().is_empty() {
            return Err(StoreError::NoPlace(
                "a record needs the name of a file".into(),
            ));
        }
        match file.split_once("://") {
            Some((scheme, _))
                if scheme
                    .bytes()
                    .all(|b| b.is_ascii_alphanumeric() || b"+-.".contains(&b)) =>
            {
                Err(StoreError::NoPlace(format!("{scheme}:// is not known")))
            }
            _ => Ok(Self::File(PathBuf::from(file))),
        }
    }

    /// True if it is a file.
    pub fn is_file(&self) -> bool {
        matches!(self, Self::File(_))
    }

    pub(crate) fn url(&self, access: Access) -> String {
        match self {
            Self::File(path) => format!("sqlite:{}?{}", encoded(path), access.parameters()),
            Self::Server(url) => url.clone(),
        }
    }

    /// A pool of connections; the file must be there.
    pub(crate) async fn pool(
        &self,
        connections: u32,
        access: Access,
    ) -> Result<AnyPool, StoreError> {
        install_default_drivers();
        let lite = self.is_file();
        let writes = access == Access::Write;
        // A pool tries again until its time is up; a first connection says at once what is wrong.
        let probe = async {
            let mut first = AnyConnection::connect(&self.url(access)).await?;
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
                    if lite && writes {
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
            .connect(&self.url(access))
            .await
            .map_err(|error| self.named(error.into()))?;
        Ok(pool)
    }

    /// Whether the file and its folder may be written, as SQLite needs them.
    pub(crate) async fn may_be_written(&self) -> Result<bool, StoreError> {
        install_default_drivers();
        let asked = async {
            let mut db = AnyConnection::connect(&self.url(Access::Write)).await?;
            let asked = sqlx::query("SELECT CAST(COUNT(*) AS BIGINT) FROM sqlite_master")
                .execute(&mut db)
                .await;
            db.close().await?;
            asked.map(|_| ())
        };
        match asked.await.map_err(StoreError::from) {
            Err(StoreError::ReadOnly) => Ok(false),
            _ => Ok(true),
        }
    }

    /// Makes the file, empty, if there is none; its folder must be there.
    pub(crate) fn make_file(&self) -> Result<(), StoreError> {
        if let Self::File(path) = self {
            if path.exists() {
                return Err(StoreError::Exists(path.display().to_string()));
            }
            beside::folder_of(path)?;
            std::fs::File::create_new(path).map_err(|error| beside::failed(path, &error))?;
        }
        Ok(())
    }

    /// Brings the tables to the newest layout. A record of an older layout is brought up to date; one of a newer layout
    /// is refused. True if it was of an older layout.
    pub(crate) async fn migrate(&self, pool: &AnyPool) -> Result<bool, StoreError> {
        let migrator = if self.is_file() { &LITE } else { &PG };
        let known = migrator
            .iter()
            .map(|migration| migration.version)
            .max()
            .unwrap_or(0);
        let before = self.steps(pool).await?;
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
        })?;
        let all = i64::try_from(migrator.iter().count()).unwrap_or(i64::MAX);
        Ok(before.is_some_and(|before| before < all))
    }

    /// How many steps the layout of the tables that are there has gone.
    async fn steps(&self, pool: &AnyPool) -> Result<Option<i64>, StoreError> {
        if !self.has_record(pool).await? {
            return Ok(None);
        }
        let steps = sqlx::query_scalar("SELECT CAST(COUNT(*) AS BIGINT) FROM _sqlx_migrations")
            .fetch_one(pool)
            .await;
        steps.map_err(|error| self.named(error.into()))
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
            StoreError::Damaged(reason) => StoreError::Damaged(format!(
                "{self}: cut short, or overwritten in parts ({reason})"
            )),
            StoreError::ReadOnly => StoreError::File {
                place: self.to_string(),
                reason: "the file, its folder or its disk may not be written, and must be so that the log beside the record (-wal) can be read; check the permissions, or copy the file with its log to a folder of your own".into(),
            },
            other => other,
        }
    }
}

/// What is asked of a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Access {
    /// Reading and writing.
    Write,
    /// Reading, while others may write.
    Read,
    /// Reading what nobody writes: nothing beside the file is needed or made.
    Still,
}

impl Access {
    fn parameters(self) -> &'static str {
        match self {
            Self::Write => "mode=rw",
            Self::Read => "mode=ro",
            Self::Still => "mode=ro&immutable=1",
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
