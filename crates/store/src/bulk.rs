//! Events that were made elsewhere, written into an empty record in bulk.

use crate::error::StoreError;
use crate::folding::Folding;
use crate::rows::Rows;
use crate::store::Store;
use crate::writer::{self, End};
use notebook::{Event, Hash, Node};
use sqlx::AnyConnection;
use std::collections::HashMap;

/// Events whose rows are written together.
const TOGETHER: usize = 2_000;
/// Such parts in one transaction on a file: what is not committed yet stands in the log a second time.
const PARTS: u64 = 50;
/// Things whose versions are kept at hand.
const AT_HAND: usize = 100_000;

/// Writes events into an empty record, in order and with all its lists, as `next` gives them with their bodies.
///
/// # Errors
/// [`StoreError::Unsound`] for an event that does not follow on those before, what `next` says, or what the disk or
/// server says. A file may then hold the beginning of what was to be written; it is no record that anybody asked for.
pub async fn fill(
    store: &Store,
    mut next: impl FnMut() -> Result<Option<(Event, String)>, StoreError>,
) -> Result<(), StoreError> {
    let mut versions = HashMap::new();
    let mut rows = Rows::default();
    let mut folding = Folding::default();
    let mut end = End {
        number: 0,
        hash: Hash::ZERO,
    };
    let mut parts = 0_u64;
    let mut tx = store.pool().begin().await?;
    loop {
        let mut last = None;
        while rows.waiting < TOGETHER {
            let Some((event, body)) = next()? else { break };
            if event.number != end.number + 1 || event.previous != end.hash {
                return Err(StoreError::Unsound(format!(
                    "event {} does not follow on event {}",
                    event.number, end.number
                )));
            }
            follows(&mut tx, &mut rows, &mut versions, &event).await?;
            folding.follow(&mut tx, &mut rows, &event).await?;
            end = writer::append(&mut tx, &mut rows, &event, &body).await?;
            last = Some(event.at);
        }
        rows.flush(&mut tx).await?;
        let Some(at) = last else { break };
        writer::chain_end(&mut tx, end, at).await?;
        parts += 1;
        if parts.is_multiple_of(PARTS) && store.place().is_file() {
            tx.commit().await?;
            tx = store.pool().begin().await?;
        }
    }
    tx.commit().await?;
    Ok(())
}

/// Checks that an event is the next of its thing.
async fn follows(
    tx: &mut AnyConnection,
    rows: &mut Rows,
    versions: &mut HashMap<Node, u64>,
    event: &Event,
) -> Result<(), StoreError> {
    if versions.len() > AT_HAND {
        versions.clear();
    }
    let known = match versions.get(&event.stream) {
        Some(known) => *known,
        // The table refuses a second first one.
        None if event.stream_version == 1 => 0,
        None => {
            rows.flush(tx).await?;
            let last: Option<i64> =
                sqlx::query_scalar("SELECT MAX(stream_version) FROM event WHERE stream = $1")
                    .bind(event.stream.to_string())
                    .fetch_one(tx)
                    .await?;
            last.and_then(|n| u64::try_from(n).ok()).unwrap_or(0)
        }
    };
    if event.stream_version != known + 1 {
        return Err(StoreError::Unsound(format!(
            "line {}: {} has event {} after {known}",
            event.number, event.stream, event.stream_version
        )));
    }
    versions.insert(event.stream.clone(), known + 1);
    Ok(())
}
