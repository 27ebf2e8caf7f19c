//! Makes the projections again from the events.

use crate::altered::{self, Wrong};
use crate::check::Broken;
use crate::error::StoreError;
use crate::folding::Folding;
use crate::lists;
use crate::place::Place;
use crate::project::{self, TABLES};
use crate::rows::Rows;
use notebook::{Event, Hash};
use sqlx::{AnyConnection, AnyPool};
use sqlx::{AssertSqlSafe, Row};

/// Events read at a time.
const AT_A_TIME: u64 = 2_000;

/// What was made again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rebuilt {
    /// Number of events.
    pub events: u64,
    /// Hash of the last of them.
    pub last_hash: Hash,
    /// The end of the chain was not written down any more, and was written again from the events.
    pub end_written: bool,
}

/// What becomes of lists whose events were altered.
const NOT_MADE: &str =
    "the lists were left as they were; keep the record as it is, and restore a backup beside it";

/// Empties the projections and fills them again, in one transaction.
pub(crate) async fn rebuild(pool: &AnyPool, place: &Place) -> Result<Rebuilt, StoreError> {
    let begin = if place.is_file() {
        "BEGIN IMMEDIATE"
    } else {
        "BEGIN"
    };
    let altered = |found: String| StoreError::Altered {
        place: place.to_string(),
        found,
        so: NOT_MADE,
    };
    let mut tx = pool.begin_with(begin).await?;
    // Nobody writes meanwhile.
    let end =
        sqlx::query("UPDATE chain_end SET number = number WHERE one = 1 RETURNING number, hash")
            .fetch_optional(&mut *tx)
            .await?;
    if let Some(gap) = lists::gaps(&mut tx).await?.first() {
        return Err(altered(gap.to_string()));
    }
    for table in TABLES {
        sqlx::query(AssertSqlSafe(format!("DELETE FROM {table}")))
            .execute(&mut *tx)
            .await?;
    }
    let replayed = replay(&mut tx, place.is_file())
        .await?
        .map_err(|broken| altered(broken.to_string()))?;
    match &end {
        Some(end) => {
            let (number, hash): (i64, String) = (end.try_get(0)?, end.try_get(1)?);
            let events = replayed.events;
            if number != project::int(events) {
                return Err(altered(format!(
                    "by its end the record has {number} events, and {events} are there"
                )));
            }
            if hash != replayed.last_hash.to_string() {
                return Err(altered(format!(
                    "the end of the chain names another hash than event {events} has"
                )));
            }
        }
        None => {
            sqlx::query("INSERT INTO chain_end (one, number, hash, at_ms) VALUES (1, $1, $2, $3)")
                .bind(project::int(replayed.events))
                .bind(replayed.last_hash.to_string())
                .bind(replayed.last_ms)
                .execute(&mut *tx)
                .await?;
        }
    }
    tx.commit().await?;
    Ok(Rebuilt {
        events: replayed.events,
        last_hash: replayed.last_hash,
        end_written: end.is_none(),
    })
}

/// Events that were read in their order.
pub(crate) struct Replayed {
    events: u64,
    last_hash: Hash,
    last_ms: i64,
}

/// Fills the projections that a connection sees from the events that it sees; or tells where their chain breaks.
pub(crate) async fn replay(
    tx: &mut AnyConnection,
    lite: bool,
) -> Result<Result<Replayed, Broken>, StoreError> {
    let mut replayed = Replayed {
        events: 0,
        last_hash: Hash::ZERO,
        last_ms: 0,
    };
    let mut rows = Rows::default();
    let mut folding = Folding::default();
    loop {
        let lines = altered::rows(tx, lite, replayed.events, AT_A_TIME).await?;
        if lines.is_empty() {
            rows.flush(tx).await?;
            return Ok(Ok(replayed));
        }
        for line in lines {
            let expected = replayed.events + 1;
            let found = line.as_ref().map_err(|what| Wrong::Unread(what.clone()));
            let found = found.and_then(|line| {
                let (hash, _) = altered::compare(line, expected, replayed.last_hash)?;
                let event =
                    Event::read(&line.body).map_err(|error| Wrong::Unread(error.to_string()))?;
                Ok((event, hash))
            });
            let (event, hash) = match found {
                Ok(found) => found,
                Err(wrong) => {
                    let (broken, _) =
                        altered::broken(tx, lite, wrong, line.as_ref().ok(), expected).await?;
                    return Ok(Err(broken));
                }
            };
            let followed = folding.follow(tx, &mut rows, &event).await;
            if let Err(StoreError::Fold(error)) = followed {
                return Ok(Err(Broken {
                    number: expected,
                    what: error.to_string(),
                }));
            }
            followed?;
            project::project(tx, &mut rows, &event).await?;
            replayed = Replayed {
                events: expected,
                last_hash: hash,
                last_ms: event.at.milliseconds(),
            };
        }
        rows.flush(tx).await?;
    }
}

/// The rows of the projections as text, sorted: to compare them.
pub(crate) async fn rows(pool: &AnyPool) -> Result<Vec<String>, StoreError> {
    use sqlx::{Column, ValueRef};
    let mut all = Vec::new();
    let mut db = pool.acquire().await?;
    for table in TABLES {
        let rows = sqlx::query(AssertSqlSafe(format!("SELECT * FROM {table}")))
            .fetch_all(&mut *db)
            .await?;
        for row in rows {
            let mut text = format!("{table}:");
            for column in row.columns() {
                let at = column.ordinal();
                let value = if row.try_get_raw(at)?.is_null() {
                    "-".to_string()
                } else if let Ok(value) = row.try_get::<String, _>(at) {
                    value
                } else if let Ok(value) = row.try_get::<i64, _>(at) {
                    value.to_string()
                } else if let Ok(value) = row.try_get::<i16, _>(at) {
                    value.to_string()
                } else {
                    row.try_get::<f64, _>(at)?.to_string()
                };
                text.push_str(&format!(" {}={value:?}", column.name()));
            }
            all.push(text);
        }
    }
    all.sort();
    Ok(all)
}
