//! Comings, goings and refused attempts are written down; what one name tries again and again within a minute is counted,
//! and becomes one event, so that nobody can fill the record.

use crate::accounts::name_of;
use crate::error::StoreError;
use crate::store::Store;
use crate::writer::Own;
use notebook::payload::AttemptRefused;
use notebook::{Cause, Draft, Kind, Node, Payload};
use std::time::Duration;

/// What is tried within this time is one event.
const TOGETHER_MS: i64 = 60_000;

/// A refused attempt.
#[derive(Clone)]
struct Attempt {
    who: String,
    device: String,
    on: Node,
    asked: String,
    told: String,
}

impl Store {
    /// Writes down an attempt that was refused, of a name on a person. All names that nobody has count as one.
    pub(crate) async fn refused(
        &self,
        who: &str,
        device: &str,
        on: &str,
        asked: &str,
        told: &str,
    ) -> Result<(), StoreError> {
        let who = name_of(who);
        let Ok(on) = Node::new(Kind::Person, &name_of(on)) else {
            return Ok(());
        };
        let key = if self.is_here(&who).await? {
            who.clone()
        } else {
            String::new()
        };
        let attempt = Attempt {
            who,
            device: device.into(),
            on,
            asked: asked.into(),
            told: told.into(),
        };
        let waited = self.due(&key, asked).await?;
        // The first of a minute is written at once.
        let counted: i64 = sqlx::query_scalar(
            "INSERT INTO attempt (name, asked, since_ms, times) VALUES ($1, $2, $3, 0)
             ON CONFLICT (name, asked) DO UPDATE SET times = attempt.times + 1 RETURNING times",
        )
        .bind(&key)
        .bind(asked)
        .bind(self.now().milliseconds())
        .fetch_one(self.pool())
        .await?;
        if counted == 0 {
            return self.tell(&attempt, waited + 1).await;
        }
        if counted == 1 {
            // What is counted is told at the end of the minute; after a stop, with the next attempt.
            let store = self.clone();
            tokio::spawn(async move {
                tokio::time::sleep(Duration::from_millis(TOGETHER_MS.unsigned_abs())).await;
                if let Ok(waited @ 1..) = store.due(&key, &attempt.asked).await {
                    // The record may be closed by now.
                    let _ = store.tell(&attempt, waited).await;
                }
            });
        }
        Ok(())
    }

    /// Takes what was counted in a minute that is over.
    async fn due(&self, key: &str, asked: &str) -> Result<i64, StoreError> {
        let times: Option<i64> = sqlx::query_scalar(
            "DELETE FROM attempt WHERE name = $1 AND asked = $2 AND since_ms <= $3 RETURNING times",
        )
        .bind(key)
        .bind(asked)
        .bind(self.now().milliseconds() - TOGETHER_MS)
        .fetch_optional(self.pool())
        .await?;
        Ok(times.unwrap_or(0))
    }

    async fn tell(&self, attempt: &Attempt, times: i64) -> Result<(), StoreError> {
        let refused = AttemptRefused {
            on: attempt.on.clone(),
            asked: attempt.asked.clone(),
            told: attempt.told.clone(),
            times: times.unsigned_abs(),
        };
        self.note(&attempt.who, &attempt.who, &attempt.device, refused)
            .await
    }

    /// Writes down a coming or going.
    pub(crate) async fn note(
        &self,
        of: &str,
        who: &str,
        device: &str,
        payload: impl Into<Payload>,
    ) -> Result<(), StoreError> {
        let Ok(stream) = Node::new(Kind::Access, &name_of(of)) else {
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
