//! The check of a record: the whole chain hashed again, and every event compared with its place.
//!
//! Blocks of events are read as one text each, since a row costs more than what stands in it, and are hashed and read on
//! several cores. Where anything in a block is not as it should be, its rows are looked at one by one: so what is wrong
//! is said exactly, and what is right is said soon.

use crate::error::StoreError;
use crate::project::int;
use crate::store::READERS;
use futures_util::{StreamExt, TryStreamExt};
use notebook::{Event, Hash, Head, Moment, Node};
use serde::Serialize;
use sqlx::AnyPool;
use sqlx::Row;

/// Events read at a time; what is in memory does not grow with the record.
const AT_A_TIME: u64 = 2_000;
/// A step back of the clock that is worth a line, in milliseconds.
const CLOCK_BACK: i64 = 2_000;
/// Most such lines.
const MOST_NOTES: usize = 20;

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

impl Checked {
    /// True if nothing was altered.
    pub fn sound(&self) -> bool {
        self.broken.is_none() && self.altered_files.is_empty()
    }
}

/// Where the chain breaks.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Broken {
    /// Number of the event.
    pub number: u64,
    /// What was altered, as far as it can be told.
    pub what: String,
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

/// A block of events in which everything fits.
struct Block {
    events: u64,
    /// The hash that its first event names.
    previous: Hash,
    last: Hash,
    /// When each event happened, if it says so.
    moments: Vec<Option<i64>>,
    /// The first event whose content cannot be read; the chain says nothing of what an event means.
    unreadable: Option<Broken>,
}

/// What was found so far.
struct Walk {
    checked: Checked,
    clock: i64,
    unreadable: Option<Broken>,
}

/// Hashes the whole chain and reads every event.
pub(crate) async fn check(pool: &AnyPool) -> Result<Checked, StoreError> {
    in_blocks(pool, AT_A_TIME).await
}

async fn in_blocks(pool: &AnyPool, size: u64) -> Result<Checked, StoreError> {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let blocks = (0_u64..).map(|index| {
        let pool = pool.clone();
        let task = tokio::spawn(async move { block(&pool, index * size, size).await });
        async move {
            task.await
                .map_err(|error| StoreError::Damaged(error.to_string()))?
        }
    });
    // One block waits while each core has its own.
    let mut blocks =
        futures_util::stream::iter(blocks).buffered((cores + 1).min(READERS as usize - 1));
    let mut walk = Walk {
        checked: Checked {
            events: 0,
            last_hash: Hash::ZERO,
            broken: None,
            notes: Vec::new(),
            altered_files: Vec::new(),
        },
        clock: i64::MIN,
        unreadable: None,
    };
    loop {
        let block = blocks.try_next().await?.flatten();
        let fits = block.filter(|block| block.previous == walk.checked.last_hash);
        let whole = match fits {
            Some(block) => {
                let whole = block.events == size;
                walk.pass(block);
                whole
            }
            None => false,
        };
        if !whole {
            // The end, or something that does not fit: the rest of the block, row by row.
            let rest = size - walk.checked.events % size;
            let more = walk.rows(pool, rest).await?;
            if !more || walk.checked.broken.is_some() {
                break;
            }
        }
    }
    let mut checked = walk.checked;
    if checked.broken.is_none() {
        checked.broken = end(pool, &checked).await?.or(walk.unreadable);
    }
    Ok(checked)
}

/// A block of events after a number; none if there is anything about it that must be looked at.
async fn block(pool: &AnyPool, after: u64, size: u64) -> Result<Option<Block>, StoreError> {
    let mut db = pool.acquire().await?;
    // What is no text, as only a damaged file holds it, does not equal itself as text.
    let text = sqlx::query_scalar::<_, Option<String>>(
        "SELECT string_agg(line, '\n') FROM (
           SELECT CAST(number AS TEXT) || '\t' || CAST(stream_version AS TEXT) || '\t' || kind || '\t' || hash || '\t' ||
             stream || '\t' || body AS line
           FROM event WHERE number > $1 AND number <= $2
             AND kind = kind || '' AND hash = hash || '' AND stream = stream || '' AND body = body || ''
           ORDER BY number
         ) AS lines",
    )
    .bind(int(after))
    .bind(int(after + size))
    .fetch_one(&mut *db)
    .await;
    drop(db);
    // What cannot be read so is read row by row, which tells more.
    let Ok(Some(text)) = text else {
        return Ok(None);
    };
    tokio::task::spawn_blocking(move || fitting(&text, after))
        .await
        .map_err(|error| StoreError::Damaged(error.to_string()))
}

/// Checks the lines of a block among themselves.
fn fitting(text: &str, after: u64) -> Option<Block> {
    let mut block = Block {
        events: 0,
        previous: Hash::ZERO,
        last: Hash::ZERO,
        moments: Vec::with_capacity(text.len() / 500),
        unreadable: None,
    };
    for line in text.split('\n') {
        let expected = after + block.events + 1;
        let mut columns = line.splitn(6, '\t');
        let mut column = || columns.next();
        let (number, version, kind) = (column()?, column()?, column()?);
        let (hash, stream, body) = (column()?, column()?, column()?);
        let line_number: u64 = number.parse().ok()?;
        let line_version: u64 = version.parse().ok()?;
        let computed = Hash::of(body.as_bytes());
        if line_number != expected || hash.parse() != Ok(computed) {
            return None;
        }
        let (previous, at) = match Event::read(body) {
            Ok(event) => {
                let same = event.number == expected
                    && event.stream_version == line_version
                    && event.payload.kind() == kind
                    && is_written(&event.stream, stream);
                if !same {
                    return None;
                }
                (event.previous, Some(event.at.milliseconds()))
            }
            Err(error) => {
                let line = Line {
                    number: int(line_number),
                    stream: stream.into(),
                    version: int(line_version),
                    kind: kind.into(),
                    body: body.into(),
                    hash: hash.into(),
                };
                let previous = Head::read(body).ok()?.previous.parse().ok()?;
                let (_, at) = compare(&line, expected, previous).ok()?;
                block.unreadable.get_or_insert(Broken {
                    number: expected,
                    what: error.to_string(),
                });
                (previous, at)
            }
        };
        if block.events == 0 {
            block.previous = previous;
        } else if previous != block.last {
            return None;
        }
        block.last = computed;
        block.moments.push(at);
        block.events += 1;
    }
    Some(block)
}

fn is_written(node: &Node, text: &str) -> bool {
    text.split_once('/') == Some((node.kind().word(), node.name()))
}

impl Walk {
    fn pass(&mut self, block: Block) {
        for at in block.moments {
            self.moment(at);
        }
        self.checked.last_hash = block.last;
        self.unreadable = self.unreadable.take().or(block.unreadable);
    }

    /// One event more, with its moment.
    fn moment(&mut self, at: Option<i64>) {
        self.checked.events += 1;
        let Some(at) = at else { return };
        if self.clock.saturating_sub(at) > CLOCK_BACK && self.checked.notes.len() < MOST_NOTES {
            self.checked.notes.push(format!(
                "event {}: the clock went back by {:.0} s; the order is that of the numbers",
                self.checked.events,
                (self.clock - at) as f64 / 1000.0
            ));
        }
        self.clock = at;
    }

    /// Looks at the next rows one by one. False if there are none.
    async fn rows(&mut self, pool: &AnyPool, most: u64) -> Result<bool, StoreError> {
        let rows = sqlx::query(
            "SELECT number, stream, stream_version, kind, body, hash FROM event
             WHERE number > $1 ORDER BY number LIMIT $2",
        )
        .bind(int(self.checked.events))
        .bind(int(most))
        .fetch_all(pool)
        .await?;
        for row in &rows {
            let expected = self.checked.events + 1;
            let found = line(row)
                .map_err(|reason| format!("it cannot be read: {reason}"))
                .and_then(|line| {
                    let fits = compare(&line, expected, self.checked.last_hash)?;
                    Ok((line, fits))
                });
            match found {
                Ok((line, (hash, at))) => {
                    if self.unreadable.is_none()
                        && let Err(error) = Event::read(&line.body)
                    {
                        self.unreadable = Some(Broken {
                            number: expected,
                            what: error.to_string(),
                        });
                    }
                    self.checked.last_hash = hash;
                    self.moment(at);
                }
                Err(what) => {
                    self.checked.broken = Some(Broken {
                        number: expected,
                        what,
                    });
                    break;
                }
            }
        }
        Ok(!rows.is_empty())
    }
}

/// Compares the end of the chain with what was found.
async fn end(pool: &AnyPool, checked: &Checked) -> Result<Option<Broken>, StoreError> {
    let row = sqlx::query("SELECT number, hash FROM chain_end WHERE one = 1")
        .fetch_one(pool)
        .await?;
    let (number, hash): (i64, String) = (row.try_get(0)?, row.try_get(1)?);
    let events = checked.events;
    let broken = |number, what| Some(Broken { number, what });
    Ok(if number != int(events) {
        broken(
            events + 1,
            format!("events are missing at the end: the record says {number}, {events} are there"),
        )
    } else if hash != checked.last_hash.to_string() {
        broken(events, "the end of the chain names another hash".into())
    } else {
        None
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
    if line.number != int(expected) {
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
    if line.version != int(head.stream_version) {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Store;
    use sqlx::Executor;

    async fn demo(name: &str) -> (std::path::PathBuf, Store) {
        let folder = std::env::temp_dir().join(format!("halfdrop-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let place = folder.join("bench.record");
        let first = "2026-03-09T08:00:00+01:00".parse().unwrap();
        let store = crate::build_demo(place.to_str().unwrap(), 1, first)
            .await
            .unwrap();
        (folder, store)
    }

    /// The same found in blocks of any size, and what is altered found in whichever block it is.
    #[tokio::test(flavor = "multi_thread")]
    async fn blocks_of_any_size_find_the_same() {
        let (folder, store) = demo("blocks").await;
        let whole = check(store.pool()).await.unwrap();
        assert_eq!(whole.broken, None);
        assert!(whole.events > 100);
        for size in [1, 7, 64, whole.events, whole.events + 1] {
            assert_eq!(
                in_blocks(store.pool(), size).await.unwrap(),
                whole,
                "{size}"
            );
        }
        let alter = async |sql: &str| {
            store
                .pool()
                .execute(sqlx::AssertSqlSafe(sql.to_string()))
                .await
                .unwrap();
        };
        alter("DROP TRIGGER event_stays").await;
        alter("DROP TRIGGER event_is_kept").await;
        let number = 40;
        for (change, back) in [
            (
                "body = replace(body, '\"number\":', '\"number\": ')",
                "body = replace(body, '\"number\": ', '\"number\":')",
            ),
            (
                "stream = stream || 'x'",
                "stream = substr(stream, 1, length(stream) - 1)",
            ),
            (
                "stream_version = stream_version + 1000",
                "stream_version = stream_version - 1000",
            ),
            (
                "kind = kind || 'x'",
                "kind = substr(kind, 1, length(kind) - 1)",
            ),
            (
                "kind = kind || char(9)",
                "kind = substr(kind, 1, length(kind) - 1)",
            ),
            ("hash = upper(hash)", "hash = lower(hash)"),
            // The same bytes, but no text.
            ("body = CAST(body AS BLOB)", "body = CAST(body AS TEXT)"),
            ("number = 100000", "number = 40"),
        ] {
            let place =
                |sql: &str| format!("UPDATE event SET {sql} WHERE number IN ({number}, 100000)");
            alter(&place(change)).await;
            for size in [1, 7, 64, 10_000] {
                let broken = in_blocks(store.pool(), size).await.unwrap().broken;
                assert_eq!(
                    broken.map(|b| b.number),
                    Some(number),
                    "{change}, blocks of {size}"
                );
            }
            alter(&place(back)).await;
            assert_eq!(in_blocks(store.pool(), 7).await.unwrap(), whole, "{back}");
        }
        store.close().await;
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
