//! The check of a record: the whole chain hashed again, and every event compared with its place.
//!
//! Blocks of events are read as one text each, since a row costs more than what stands in it, and are hashed and read on
//! several cores. Where anything in a block is not as it should be, its rows are looked at one by one: so what is wrong
//! is said exactly, and what is right is said soon.

use crate::altered::{self, Line, Wrong};
use crate::error::StoreError;
use crate::project::int;
use crate::store::READERS;
use futures_util::{StreamExt, TryStreamExt};
use notebook::payload::Payload;
use notebook::{Event, Hash, Head, Node};
use serde::Serialize;
use sqlx::{AnyConnection, AnyPool, Row};

/// Events read at a time; what is in memory does not grow with the record.
const AT_A_TIME: u64 = 2_000;
/// A step back of the clock that is worth a line, in milliseconds.
const CLOCK_BACK: i64 = 2_000;
/// Most such lines, and most attached files that are named.
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
    /// What else is wrong, in words: attached files that are gone, triggers and tables that are not as they were laid out.
    pub found: Vec<String>,
}

impl Checked {
    /// True if nothing was altered.
    pub fn sound(&self) -> bool {
        self.first().is_none()
    }

    /// The first thing that is wrong, in words.
    pub fn first(&self) -> Option<String> {
        let broken = self.broken.as_ref().map(ToString::to_string);
        let files = self.altered_files.iter();
        let mut files = files.map(|hash| format!("the attached file {hash} was altered"));
        broken
            .or_else(|| files.next())
            .or_else(|| self.found.first().cloned())
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

impl std::fmt::Display for Broken {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "the chain breaks at event {}: {}",
            self.number, self.what
        )
    }
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
    /// Files that its events attach.
    attached: Vec<Attached>,
}

/// A file that an event attaches.
struct Attached {
    number: u64,
    hash: String,
    name: String,
    to: String,
}

impl Attached {
    fn by(event: &Event) -> Option<Self> {
        match &event.payload {
            Payload::FileAttached(file) => Some(Self {
                number: event.number,
                hash: file.sha256.to_lowercase(),
                name: file.name.clone(),
                to: event.stream.to_string(),
            }),
            _ => None,
        }
    }
}

/// What was found so far.
struct Walk {
    lite: bool,
    attached: Vec<Attached>,
    checked: Checked,
    clock: i64,
    unreadable: Option<Broken>,
}

/// Hashes the whole chain and reads every event.
pub(crate) async fn check(pool: &AnyPool, lite: bool) -> Result<Checked, StoreError> {
    in_blocks(pool, lite, AT_A_TIME).await
}

async fn in_blocks(pool: &AnyPool, lite: bool, size: u64) -> Result<Checked, StoreError> {
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
        lite,
        attached: Vec::new(),
        checked: Checked {
            events: 0,
            last_hash: Hash::ZERO,
            broken: None,
            notes: Vec::new(),
            altered_files: Vec::new(),
            found: Vec::new(),
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
            if walk.checked.broken.is_some() {
                break;
            }
            if !more {
                match end(pool, &walk.checked).await? {
                    // Written meanwhile.
                    End::Further => {}
                    End::Fits => break,
                    End::Broken(broken) => {
                        walk.checked.broken = Some(broken);
                        break;
                    }
                }
            }
        }
        walk.files(pool).await?;
    }
    walk.files(pool).await?;
    let mut checked = walk.checked;
    checked.broken = checked.broken.or(walk.unreadable);
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
        attached: Vec::new(),
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
                block.attached.extend(Attached::by(&event));
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
                let (_, at) = altered::compare(&line, expected, previous).ok()?;
                block.unreadable.get_or_insert(Broken {
                    number: expected,
                    what: format!("{error}{}", altered::told(body, kind, stream)),
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
        self.attached.extend(block.attached);
    }

    /// Whether the files that were attached are there.
    async fn files(&mut self, pool: &AnyPool) -> Result<(), StoreError> {
        for file in std::mem::take(&mut self.attached) {
            let there: i64 = sqlx::query_scalar(
                "SELECT CAST(COUNT(*) AS BIGINT) FROM attachment WHERE sha256 = $1",
            )
            .bind(&file.hash)
            .fetch_one(pool)
            .await?;
            if there == 0 && self.checked.found.len() < MOST_NOTES {
                self.checked.found.push(format!(
                    "the file \"{}\" is gone that event {} attaches to {} (SHA-256 {})",
                    file.name, file.number, file.to, file.hash
                ));
            }
        }
        Ok(())
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
        let mut db = pool.acquire().await?;
        let mut at_once = most;
        loop {
            match altered::rows(&mut db, self.lite, self.checked.events, at_once).await {
                // Where pages of a file are damaged, as far as it can be read.
                Err(StoreError::Damaged(_)) if at_once > 1 => at_once = 1,
                Err(StoreError::Damaged(reason)) => {
                    self.checked.broken = Some(Broken {
                        number: self.checked.events + 1,
                        what: format!("the file is damaged here and cannot be read on ({reason})"),
                    });
                    return Ok(true);
                }
                Err(error) => return Err(error),
                Ok(rows) => {
                    self.look(&mut db, &rows).await?;
                    let end = rows.is_empty() || self.checked.broken.is_some();
                    if end || at_once == most {
                        return Ok(!rows.is_empty());
                    }
                }
            }
        }
    }

    async fn look(
        &mut self,
        db: &mut AnyConnection,
        rows: &[Result<Line, String>],
    ) -> Result<(), StoreError> {
        for row in rows {
            let expected = self.checked.events + 1;
            let found = row.as_ref().map_err(|what| Wrong::Unread(what.clone()));
            let found = found.and_then(|line| {
                let fits = altered::compare(line, expected, self.checked.last_hash)?;
                Ok((line, fits))
            });
            match found {
                Ok((line, (hash, at))) => {
                    match Event::read(&line.body) {
                        Ok(event) => self.attached.extend(Attached::by(&event)),
                        Err(error) => {
                            self.unreadable.get_or_insert(Broken {
                                number: expected,
                                what: format!("{error}{}", line.told()),
                            });
                        }
                    }
                    self.checked.last_hash = hash;
                    self.moment(at);
                }
                Err(wrong) => {
                    let (broken, whole) =
                        altered::broken(db, self.lite, wrong, row.as_ref().ok(), expected).await?;
                    self.checked.events = whole;
                    self.checked.broken = Some(broken);
                    break;
                }
            }
        }
        Ok(())
    }
}

/// What the end of the chain says of what was found.
enum End {
    Fits,
    /// There are further events that follow.
    Further,
    Broken(Broken),
}

/// Compares the end of the chain with what was found.
async fn end(pool: &AnyPool, checked: &Checked) -> Result<End, StoreError> {
    let row = sqlx::query(
        "SELECT number, hash, (SELECT MAX(number) FROM event) FROM chain_end WHERE one = 1",
    )
    .fetch_optional(pool)
    .await?;
    let events = checked.events;
    let broken = |number, what: String| Ok(End::Broken(Broken { number, what }));
    let Some(row) = row else {
        return broken(
            events,
            "the end of the chain is not written down any more (table chain_end), so events after this one may be missing: compare with a backup or a noted link; `halfdrop record rebuild` writes the end again as it is now".into(),
        );
    };
    let (number, hash): (i64, String) = (row.try_get(0)?, row.try_get(1)?);
    let last: Option<i64> = row.try_get(2)?;
    let there = last.unwrap_or(0);
    if number == there && there > int(events) {
        return Ok(End::Further);
    }
    if there > number {
        broken(
            u64::try_from(number).unwrap_or(0) + 1,
            format!(
                "by its end the record has {number} events, and {there} are there: what comes after event {number} was put in past the program"
            ),
        )
    } else if number != int(events) {
        broken(
            events + 1,
            format!(
                "events are missing at the end: by its end the record has {number} events, and {events} are there"
            ),
        )
    } else if hash != checked.last_hash.to_string() {
        broken(
            events,
            "the end of the chain names another hash: this event was replaced and its hash made anew, or the end was altered".into(),
        )
    } else {
        Ok(End::Fits)
    }
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
        let whole = check(store.pool(), true).await.unwrap();
        assert_eq!(whole.broken, None);
        assert!(whole.events > 100);
        for size in [1, 7, 64, whole.events, whole.events + 1] {
            assert_eq!(
                in_blocks(store.pool(), true, size).await.unwrap(),
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
                let broken = in_blocks(store.pool(), true, size).await.unwrap().broken;
                assert_eq!(
                    broken.map(|b| b.number),
                    Some(number),
                    "{change}, blocks of {size}"
                );
            }
            alter(&place(back)).await;
            assert_eq!(
                in_blocks(store.pool(), true, 7).await.unwrap(),
                whole,
                "{back}"
            );
        }
        store.close().await;
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
