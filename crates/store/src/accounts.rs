//! Accounts: passphrases, short codes at a shared tablet, sessions that end.
//!
//! Secrets are hashed by argon2id with 19 MiB, two passes and one lane: the least that the OWASP Password Storage Cheat
//! Sheet asks for (seen there as quoted by others); RFC 9106, section 4, recommends more memory where a machine has it.
//! A session's token is 256 random bits; only its SHA-256 is kept. Failures in a row lock a name for a while; the count
//! is in the database, so it holds for all servers of a record and after a restart.

use crate::error::StoreError;
use crate::store::Store;
use crate::writer::Own;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Algorithm, Argon2, Params, Version};
use notebook::payload::{LockedOut, SecretSet, SignInFailed, SignedIn, SignedOut};
use notebook::{Cause, Draft, Hash, Kind, Moment, Node, Payload, Refusal};
use sqlx::Row;

/// Memory in KiB, passes, lanes.
const COST: (u32, u32, u32) = (19_456, 2, 1);
/// Least characters of a passphrase (NIST SP 800-63B asks for at least 8; from memory).
const LEAST_PASSPHRASE: usize = 10;
/// Digits of a code.
const CODE_DIGITS: std::ops::RangeInclusive<usize> = 4..=8;
/// Failures in a row after which a name is locked.
pub const MOST_FAILURES: u32 = 5;
/// How long it is locked then.
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
    fn word(self) -> &'static str {
        match self {
            Self::Passphrase => "passphrase",
            Self::Code => "code",
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
    /// Sets a person's secret. Who may do that for whom is asked before; the event tells that it was done, not what it is.
    ///
    /// # Errors
    /// [`StoreError::WeakSecret`], [`Refusal::Missing`].
    pub async fn set_secret(
        &self,
        by: &str,
        device: &str,
        person: &str,
        which: Secret,
        secret: &str,
    ) -> Result<(), StoreError> {
        let node = Node::new(Kind::Person, person).map_err(|_| Refusal::Unknown(person.into()))?;
        let world = self.world(std::slice::from_ref(&node)).await?;
        if world.person(&node).is_none() {
            return Err(Refusal::Missing(node).into());
        }
        match which {
            Secret::Passphrase if secret.chars().count() < LEAST_PASSPHRASE => {
                return Err(StoreError::WeakSecret(format!(
                    "a passphrase has at least {LEAST_PASSPHRASE} characters; a few words are easier to keep than signs"
                )));
            }
            Secret::Code
                if !CODE_DIGITS.contains(&secret.len())
                    || !secret.bytes().all(|b| b.is_ascii_digit())
                    || secret.bytes().all(|b| b == secret.as_bytes()[0]) =>
            {
                return Err(StoreError::WeakSecret(
                    "a code has 4 to 8 digits, not all the same".into(),
                ));
            }
            _ => {}
        }
        let mut salt = [0; 16];
        self.outside().random(&mut salt);
        let secret = secret.to_string();
        let hash = blocking(move || hash(&secret, &salt)).await??;
        sqlx::query(
            "INSERT INTO secret (person, which, hash, failures, locked_until_ms) VALUES ($1, $2, $3, 0, 0)
             ON CONFLICT (person, which) DO UPDATE SET hash = excluded.hash, failures = 0, locked_until_ms = 0",
        )
        .bind(person)
        .bind(which.word())
        .bind(hash)
        .execute(self.pool())
        .await?;
        let set = SecretSet {
            which: which.word().into(),
        };
        self.note(person, by, device, set).await
    }

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
            "INSERT INTO session (token_hash, person, device, started_ms, used_ms, ends_ms)
             VALUES ($1, $2, $3, $4, $4, $5)",
        )
        .bind(Hash::of(token.as_bytes()).to_string())
        .bind(person)
        .bind(device)
        .bind(now)
        .bind(now + LONGEST_MS)
        .execute(self.pool())
        .await?;
        let signed_in = SignedIn {
            by: which.word().into(),
        };
        self.note(person, person, device, signed_in).await?;
        Ok(token)
    }

    /// Proves once more who somebody is, as a signature asks. Failures count as those of a sign-in.
    ///
    /// # Errors
    /// As [`Self::sign_in`].
    pub async fn prove(
        &self,
        person: &str,
        device: &str,
        which: Secret,
        secret: &str,
    ) -> Result<(), StoreError> {
        let now = self.now();
        let row = sqlx::query(
            "SELECT hash, failures, locked_until_ms FROM secret WHERE person = $1 AND which = $2",
        )
        .bind(person)
        .bind(which.word())
        .fetch_optional(self.pool())
        .await?;
        let (known, locked) = match &row {
            Some(row) => (
                Some(row.try_get::<String, _>(0)?),
                row.try_get::<i64, _>(2)?,
            ),
            None => (None, 0),
        };
        if locked > now.milliseconds() {
            return Err(StoreError::LockedOut {
                until: Moment::new(locked, now.offset_minutes()),
            });
        }
        // The failure is counted before the secret is looked at: many attempts at once do not get past the limit.
        let failures: Option<i64> = sqlx::query_scalar(
            "UPDATE secret SET failures = failures + 1 WHERE person = $1 AND which = $2 AND failures < $3
             RETURNING failures",
        )
        .bind(person)
        .bind(which.word())
        .bind(i64::from(MOST_FAILURES))
        .fetch_optional(self.pool())
        .await?;
        if known.is_some() && failures.is_none() {
            // The lock is over: the count begins anew, with this attempt.
            if locked > 0 {
                sqlx::query(
                    "UPDATE secret SET failures = 1, locked_until_ms = 0 WHERE person = $1 AND which = $2",
                )
                .bind(person)
                .bind(which.word())
                .execute(self.pool())
                .await?;
            } else {
                return Err(StoreError::SignIn { left: 0 });
            }
        }
        let secret = secret.to_string();
        // An unknown name takes as long as a known one.
        let fits = blocking(move || verify(known.as_deref(), &secret)).await??;
        if fits && self.is_here(person).await? {
            sqlx::query("UPDATE secret SET failures = 0 WHERE person = $1 AND which = $2")
                .bind(person)
                .bind(which.word())
                .execute(self.pool())
                .await?;
            return Ok(());
        }
        let in_a_row = u32::try_from(failures.unwrap_or(1)).unwrap_or(MOST_FAILURES);
        let failed = SignInFailed {
            by: which.word().into(),
            in_a_row,
        };
        self.note(person, person, device, failed).await?;
        if in_a_row < MOST_FAILURES || row.is_none() {
            return Err(StoreError::SignIn {
                left: MOST_FAILURES.saturating_sub(in_a_row),
            });
        }
        let until = now.plus(LOCKED_MS);
        sqlx::query("UPDATE secret SET locked_until_ms = $3 WHERE person = $1 AND which = $2")
            .bind(person)
            .bind(which.word())
            .bind(until.milliseconds())
            .execute(self.pool())
            .await?;
        self.note(person, person, device, LockedOut { until })
            .await?;
        Err(StoreError::LockedOut { until })
    }

    /// The session of a token, if it runs still.
    ///
    /// # Errors
    /// [`StoreError::SessionEnded`].
    pub async fn session(&self, token: &str) -> Result<Session, StoreError> {
        let hash = Hash::of(token.as_bytes()).to_string();
        let row = sqlx::query(
            "SELECT person, device, used_ms, ends_ms FROM session WHERE token_hash = $1",
        )
        .bind(&hash)
        .fetch_optional(self.pool())
        .await?
        .ok_or(StoreError::SessionEnded)?;
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

    async fn is_here(&self, person: &str) -> Result<bool, StoreError> {
        let count: i64 = sqlx::query_scalar(
            "SELECT CAST(COUNT(*) AS BIGINT) FROM thing WHERE node = $1 AND status <> 'left'",
        )
        .bind(format!("{}/{person}", Kind::Person))
        .fetch_one(self.pool())
        .await?;
        Ok(count > 0)
    }

    /// Writes down a coming or going.
    async fn note(
        &self,
        of: &str,
        who: &str,
        device: &str,
        payload: impl Into<Payload>,
    ) -> Result<(), StoreError> {
        // A name that nobody can have is tried too; it is cut, not followed.
        let name: String = of
            .chars()
            .filter(|c| !c.is_control() && *c != '/')
            .take(notebook::MAX_NAME)
            .collect();
        let Ok(stream) = Node::new(Kind::Access, name.trim()) else {
            return Ok(());
        };
        let own = Own {
            who: who.chars().take(notebook::MAX_NAME).collect(),
            device: device.into(),
            at: None,
            cause: Cause::default(),
            drafts: vec![Draft::new(&stream, payload)],
            while_unsettled: None,
        };
        self.record(own).await.map(|_| ())
    }
}

async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, StoreError> {
    tokio::task::spawn_blocking(work)
        .await
        .map_err(|_| StoreError::Closed)
}

fn hash(secret: &str, salt: &[u8]) -> Result<String, StoreError> {
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
