//! The check of a record: the whole chain hashed again, and every event compared with its place.

use crate::error::StoreError;
use notebook::{Event, Hash, Head, Moment};
use serde::Serialize;
use sqlx::AnyPool;
use sqlx::Row;

/// Events read at a time; what is in memory does not grow with the record.
const AT_A_TIME: i64 = 20_000;
/// A step back of the clock that is worth a line, in milliseconds.
const CLOCK_BACK: i64 = 2_000;

/// What a check found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Checked {
    /// Events that were checked.
    pub events: u64,
    /// Hash of the last of them: written down elsewhere, it proves all of the record.
    pub last_hash: Hash,
    /// The first thing that is wrong; nothing after it can be trusted.
    pub broken: Option<Broken>,
    /// What is odd but no damage.
    pub notes: Vec<String>,
    /// Hashes of the attached files whose bytes do not fit them any more.
    pub altered_files: Vec<String>,
}

/// Where the chain breaks.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Broken {
    /// Number of the event.
    pub number: u64,
    /// What was altered, as far as it can be told.
    pub what: String,
}

impl Checked {
    /// True if nothing was altered.
    pub fn sound(&self) -> bool {
        self.broken.is_none() && self.altered_files.is_empty()
    }
}

/// One event as the table holds it.
struct Line {
    number: i64,
    stream: String,
    version: i64,
    kind: String,
    body: String,
    hash: String,
}

pub(crate) async fn check(pool: &AnyPool) -> Result<Checked, StoreError> {
    let mut db = pool.acquire().await?;
    let mut previous = Hash::ZERO;
    let mut events = 0_u64;
    let mut notes = Vec::new();
    let mut clock = i64::MIN;
    let broken = |number: u64, what: String| Some(Broken { number, what });
    loop {
        let after = crate::project::int(events);
        let rows = sqlx::query(
            "SELECT number, stream, stream_version, kind, body, hash FROM event
             WHERE number > $1 ORDER BY number LIMIT $2",
        )
        .bind(after)
        .bind(AT_A_TIME)
        .fetch_all(&mut *db)
        .await?;
        if rows.is_empty() {
            break;
        }
        for row in &rows {
            let line = match line(row) {
                Ok(line) => line,
                Err(reason) => {
                    return Ok(Checked {
                        broken: broken(events + 1, format!("it cannot be read: {reason}")),
                        events,
                        last_hash: previous,
                        notes,
                        altered_files: Vec::new(),
                    });
                }
            };
            match compare(&line, events + 1, previous) {
                Ok((hash, at)) => {
                    if let Some(at) = at {
                        if clock.saturating_sub(at) > CLOCK_BACK && notes.len() < 20 {
                            notes.push(format!(
                                "event {}: the clock went back by {:.0} s; the order is that of the numbers",
                                line.number,
                                (clock - at) as f64 / 1000.0
                            ));
                        }
                        clock = at;
                    }
                    previous = hash;
                    events += 1;
                }
                Err(what) => {
                    return Ok(Checked {
                        broken: broken(events + 1, what),
                        events,
                        last_hash: previous,
                        notes,
                        altered_files: Vec::new(),
                    });
                }
            }
        }
    }
    let end = sqlx::query("SELECT number, hash FROM chain_end WHERE one = 1")
        .fetch_one(&mut *db)
        .await?;
    let (number, hash): (i64, String) = (end.try_get(0)?, end.try_get(1)?);
    let broken = if number != crate::project::int(events) {
        broken(
            events + 1,
            format!("events are missing at the end: the record says {number}, {events} are there"),
        )
    } else if hash != previous.to_string() {
        broken(events, "the end of the chain names another hash".into())
    } else {
        None
    };
    Ok(Checked {
        events,
        last_hash: previous,
        broken,
        notes,
        altered_files: Vec::new(),
    })
}

fn line(row: &sqlx::any::AnyRow) -> Result<Line, sqlx::Error> {
    Ok(Line {
        number: row.try_get(0)?,
        stream: row.try_get(1)?,
        version: row.try_get(2)?,
        kind: row.try_get(3)?,
        body: row.try_get(4)?,
        hash: row.try_get(5)?,
    })
}

/// Hash and time of an event that is as it was written, or what was altered.
fn compare(line: &Line, expected: u64, previous: Hash) -> Result<(Hash, Option<i64>), String> {
    if line.number != crate::project::int(expected) {
        return Err(format!(
            "event {expected} is missing (the next one is {})",
            line.number
        ));
    }
    let hash = Hash::of(line.body.as_bytes());
    let head = Head::read(&line.body);
    if hash.to_string() != line.hash {
        return Err(match head {
            Ok(head) if head.previous == previous.to_string() => {
                "its content or its hash was altered".into()
            }
            Ok(_) => "its content was altered: it names another event before it".into(),
            Err(error) => format!("its content was altered: {error}"),
        });
    }
    let head = head.map_err(|error| format!("it is {error}, although its hash fits"))?;
    if head.previous != previous.to_string() {
        return Err(
            "it does not follow on the event before: that one, or this one, was replaced".into(),
        );
    }
    for (what, column, inside) in [
        ("stream", line.stream.as_str(), &*head.stream),
        ("kind", line.kind.as_str(), &*head.kind),
    ] {
        if column != inside {
            return Err(format!(
                "its {what} in the table is \"{column}\", in the event \"{inside}\""
            ));
        }
    }
    if line.version != crate::project::int(head.stream_version) {
        return Err(format!(
            "its version in the table is {}, in the event {}",
            line.version, head.stream_version
        ));
    }
    if head.number != expected {
        return Err(format!("it says that it is number {}", head.number));
    }
    Ok((
        hash,
        head.at.parse::<Moment>().ok().map(Moment::milliseconds),
    ))
}

/// Reads every event wholly; the chain says nothing of what an event means.
pub(crate) async fn readable(pool: &AnyPool) -> Result<Option<Broken>, StoreError> {
    let mut db = pool.acquire().await?;
    let mut after = 0;
    loop {
        let bodies = crate::read::bodies(&mut db, after, after + AT_A_TIME).await?;
        let Some((last, _)) = bodies.last() else {
            return Ok(None);
        };
        after = crate::project::int(*last);
        for (number, body) in &bodies {
            if let Err(error) = Event::read(body) {
                return Ok(Some(Broken {
                    number: *number,
                    what: error.to_string(),
                }));
            }
        }
    }
}
