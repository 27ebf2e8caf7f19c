//! Accounts: passphrases, short codes at a shared tablet, sessions that end.
//!
//! Secrets are hashed by argon2id with 19 MiB, two passes and one lane: the least that the OWASP Password Storage Cheat
//! Sheet asks for (seen there as quoted by others); RFC 9106, section 4, recommends more memory where a machine has it.
//! A session's token is 256 random bits; only its SHA-256 is kept. Failures in a row lock a name for a while, whether
//! somebody has it or not; the count is in the database, so it holds for all servers of a record and after a restart.

use crate::error::StoreError;
use crate::store::Store;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Algorithm, Argon2, Params, Version};
use notebook::payload::{LockedOut, SignInFailed, SignedIn, SignedOut};
use notebook::{Hash, Kind, Moment};
use sqlx::Row;

/// Memory in KiB, passes, lanes.
const COST: (u32, u32, u32) = (19_456, 2, 1);
/// Least characters of a passphrase (NIST SP 800-63B asks for at least 8; from memory).
pub(crate) const LEAST_PASSPHRASE: usize = 10;
/// Digits of a code.
pub(crate) const CODE_DIGITS: std::ops::RangeInclusive<usize> = 4..=8;
/// Failures in a row after which a name is locked.
pub const MOST_FAILURES: u32 = 5;
/// How long it is locked then; failures longer ago are forgotten.
const LOCKED_MS: i64 = 15 * 60_000;
/// A session ends after this long without use.
pub const IDLE_MS: i64 = 30 * 60_000;
/// A session ends after this long in any case.
pub const LONGEST_MS: i64 = 12 * 3_600_000;
/// Uses of a session are noted no more often than this.
const NOTED_MS: i64 = 60_000;

/// What proves who somebody is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Secret {
    /// The passphrase; needed to sign.
    Passphrase,
    /// The short personal code at a shared tablet; not enough to sign.
    Code,
}

impl Secret {
    /// Its word in the record.
    pub fn word(self) -> &'static str {
        match self {
            Self::Passphrase => "passphrase",
            Self::Code => "code",
        }
    }

    /// What a word means; what is no passphrase is a code, which may less.
    pub fn of(word: &str) -> Self {
        match word {
            "passphrase" => Self::Passphrase,
            _ => Self::Code,
        }
    }

    /// What a secret is by its looks: digits alone, no more than a code has, are the code.
    pub fn looks_like(secret: &str) -> Self {
        let digits = secret.bytes().all(|b| b.is_ascii_digit());
        if digits && secret.len() <= *CODE_DIGITS.end() {
            Self::Code
        } else {
            Self::Passphrase
        }
    }
}

/// A session that runs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Session {
    /// The person's name in the record.
    pub person: String,
    /// The device it was begun on.
    pub device: String,
    /// What it was begun with.
    pub by: Secret,
    /// When it ends at the latest.
    pub ends: Moment,
}

fn hasher() -> Result<Argon2<'static>, StoreError> {
    let (memory, passes, lanes) = COST;
    let params = Params::new(memory, passes, lanes, None)
        .map_err(|e| StoreError::WeakSecret(e.to_string()))?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

impl Store {
    /// Begins a session. Gives its token, which is kept nowhere else.
    ///
    /// # Errors
    /// [`StoreError::SignIn`], the same for an unknown name and a wrong secret; [`StoreError::LockedOut`].
    pub async fn sign_in(
        &self,
        person: &str,
        device: &str,
        which: Secret,
        secret: &str,
    ) -> Result<String, StoreError> {
        self.prove(person, device, which, secret).await?;
        let person = name_of(person);
        let mut bytes = [0; 32];
        self.outside().random(&mut bytes);
        let token: String = bytes.iter().map(|b| format!("{b:02x}")).collect();
        let now = self.now().milliseconds();
        sqlx::query("DELETE FROM session WHERE ends_ms < $1 OR used_ms < $2")
            .bind(now)
            .bind(now - IDLE_MS)
            .execute(self.pool())
            .await?;
        sqlx::query(
            "INSERT INTO session (token_hash, person, device, started_ms, used_ms, ends_ms, which)
             VALUES ($1, $2, $3, $4, $4, $5, $6)",
        )
        .bind(Hash::of(token.as_bytes()).to_string())
        .bind(&person)
        .bind(device)
        .bind(now)
        .bind(now + LONGEST_MS)
        .bind(which.word())
        .execute(self.pool())
        .await?;
        let signed_in = SignedIn {
            by: which.word().into(),
        };
        self.note(&person, &person, device, signed_in).await?;
        Ok(token)
    }

    /// Proves once more who somebody is, as a signature asks. Failures count as those of a sign-in. A name that nobody has,
    /// or that has no such secret, is counted, locked and answered as any other, so that it cannot be told from one.
    ///
    /// # Errors
    /// As [`Self::sign_in`]; [`StoreError::SecretMissing`] if nothing is given, which is no failure.
    pub async fn prove(
        &self,
        person: &str,
        device: &str,
        which: Secret,
        secret: &str,
    ) -> Result<(), StoreError> {
        if secret.is_empty() {
            return Err(StoreError::SecretMissing(which.word()));
        }
        let person = name_of(person);
        let now = self.now();
        let ms = now.milliseconds();
        // The failure is counted before the secret is looked at: many attempts at once do not get past the limit.
        let row = sqlx::query(
            "INSERT INTO secret (person, which, hash, failures, locked_until_ms, tried_ms)
             VALUES ($1, $2, '', 1, 0, $3)
             ON CONFLICT (person, which) DO UPDATE SET
               failures = CASE WHEN secret.locked_until_ms > $3 THEN secret.failures
                 WHEN secret.locked_until_ms > 0 OR secret.tried_ms <= $4 THEN 1
                 ELSE secret.failures + 1 END,
               tried_ms = CASE WHEN secret.locked_until_ms > $3 THEN secret.tried_ms ELSE $3 END,
               locked_until_ms = CASE WHEN secret.locked_until_ms > $3 THEN secret.locked_until_ms ELSE 0 END
             RETURNING hash, failures, locked_until_ms",
        )
        .bind(&person)
        .bind(which.word())
        .bind(ms)
        .bind(ms - LOCKED_MS)
        .fetch_one(self.pool())
        .await?;
        let (known, failures, locked): (String, i64, i64) =
            (row.try_get(0)?, row.try_get(1)?, row.try_get(2)?);
        let failures = u32::try_from(failures).unwrap_or(MOST_FAILURES + 1);
        let is_locked = locked > ms;
        if !is_locked && failures <= MOST_FAILURES {
            let secret = secret.to_string();
            // An unknown name takes as long as a known one.
            let known = Some(known).filter(|hash| !hash.is_empty());
            let fits = blocking(move || verify(known.as_deref(), &secret)).await??;
            if fits && self.is_here(&person).await? {
                sqlx::query("UPDATE secret SET failures = 0 WHERE person = $1 AND which = $2")
                    .bind(&person)
                    .bind(which.word())
                    .execute(self.pool())
                    .await?;
                return Ok(());
            }
        }
        let until = if is_locked { locked } else { ms + LOCKED_MS };
        let until = Moment::new(until, now.offset_minutes());
        let locks = !is_locked && failures >= MOST_FAILURES;
        if locks {
            sqlx::query("UPDATE secret SET locked_until_ms = $3 WHERE person = $1 AND which = $2")
                .bind(&person)
                .bind(which.word())
                .bind(until.milliseconds())
                .execute(self.pool())
                .await?;
        }
        let error = if locks || is_locked {
            StoreError::LockedOut { until }
        } else {
            StoreError::SignIn {
                left: MOST_FAILURES - failures,
            }
        };
        if is_locked || failures > MOST_FAILURES || !self.is_here(&person).await? {
            let asked = format!("sign-in by {}", which.word());
            self.refused(&person, device, &person, &asked, &error.to_string())
                .await?;
        } else {
            let failed = SignInFailed {
                by: which.word().into(),
                in_a_row: failures,
            };
            self.note(&person, &person, device, failed).await?;
            if locks {
                self.note(&person, &person, device, LockedOut { until })
                    .await?;
            }
        }
        // Names that nobody has are forgotten as a failure is.
        sqlx::query(
            "DELETE FROM secret WHERE hash = '' AND tried_ms <= $1 AND locked_until_ms <= $2",
        )
        .bind(ms - LOCKED_MS)
        .bind(ms)
        .execute(self.pool())
        .await?;
        Err(error)
    }

    /// The session of a token, if it runs still. A token that no session has is a refused attempt.
    ///
    /// # Errors
    /// [`StoreError::SessionEnded`].
    pub async fn session(&self, token: &str) -> Result<Session, StoreError> {
        let hash = Hash::of(token.as_bytes()).to_string();
        let row = sqlx::query(
            "SELECT person, device, used_ms, ends_ms, which FROM session WHERE token_hash = $1",
        )
        .bind(&hash)
        .fetch_optional(self.pool())
        .await?;
        let Some(row) = row else {
            let told = StoreError::SessionEnded.to_string();
            self.refused("no session", "unknown", "no session", "session", &told)
                .await?;
            return Err(StoreError::SessionEnded);
        };
        let (used, ends): (i64, i64) = (row.try_get(2)?, row.try_get(3)?);
        let now = self.now();
        let ms = now.milliseconds();
        if ms >= ends || ms - used >= IDLE_MS {
            return Err(StoreError::SessionEnded);
        }
        let person: String = row.try_get(0)?;
        if !self.is_here(&person).await? {
            return Err(StoreError::SessionEnded);
        }
        if ms - used >= NOTED_MS {
            sqlx::query("UPDATE session SET used_ms = $2 WHERE token_hash = $1")
                .bind(&hash)
                .bind(ms)
                .execute(self.pool())
                .await?;
        }
        Ok(Session {
            person,
            device: row.try_get(1)?,
            by: Secret::of(&row.try_get::<String, _>(4)?),
            ends: Moment::new(ends, now.offset_minutes()),
        })
    }

    /// Ends a session.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn sign_out(&self, token: &str) -> Result<(), StoreError> {
        let session = self.session(token).await?;
        sqlx::query("DELETE FROM session WHERE token_hash = $1")
            .bind(Hash::of(token.as_bytes()).to_string())
            .execute(self.pool())
            .await?;
        let out = SignedOut {
            how: "signed out".into(),
        };
        self.note(&session.person, &session.person, &session.device, out)
            .await
    }

    pub(crate) async fn is_here(&self, person: &str) -> Result<bool, StoreError> {
        let count: i64 = sqlx::query_scalar(
            "SELECT CAST(COUNT(*) AS BIGINT) FROM thing WHERE node = $1 AND status <> 'left'",
        )
        .bind(format!("{}/{person}", Kind::Person))
        .fetch_one(self.pool())
        .await?;
        Ok(count > 0)
    }
}

/// The name that was tried: one that nobody can have is cut, not followed.
pub(crate) fn name_of(person: &str) -> String {
    let name: String = person
        .trim()
        .chars()
        .filter(|c| !c.is_control() && *c != '/')
        .take(notebook::MAX_NAME)
        .collect();
    match name.trim() {
        "" => "nobody".into(),
        name => name.into(),
    }
}

pub(crate) async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, StoreError> {
    tokio::task::spawn_blocking(work)
        .await
        .map_err(|_| StoreError::Closed)
}

pub(crate) fn hash(secret: &str, salt: &[u8]) -> Result<String, StoreError> {
    let weak = |e: argon2::password_hash::Error| StoreError::WeakSecret(e.to_string());
    let hash: PasswordHash = hasher()?
        .hash_password_with_salt(secret.as_bytes(), salt)
        .map_err(weak)?;
    Ok(hash.to_string())
}

/// True if the secret fits. Without a hash the same work is done for nothing.
fn verify(known: Option<&str>, secret: &str) -> Result<bool, StoreError> {
    let Some(known) = known else {
        let _ = hash(secret, b"nobody has this.")?;
        return Ok(false);
    };
    Ok(hasher()?.verify_password(secret.as_bytes(), known).is_ok())
}
