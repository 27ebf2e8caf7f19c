//! Reading events and folding them.

use crate::error::StoreError;
use crate::project::int;
use notebook::decide::behind;
use notebook::{Event, Node, World};
use sqlx::AnyConnection;
use sqlx::Row;

/// Loads a thing into the world: all its events, folded.
pub(crate) async fn load(
    tx: &mut AnyConnection,
    world: &mut World,
    node: &Node,
) -> Result<(), StoreError> {
    // Comings and goings are counted, not folded: there may be very many.
    if node.kind() == notebook::Kind::Access {
        let last: Option<String> = sqlx::query_scalar(
            "SELECT body FROM event WHERE stream = $1 ORDER BY stream_version DESC LIMIT 1",
        )
        .bind(node.to_string())
        .fetch_optional(tx)
        .await?;
        match last {
            Some(body) => {
                let event = read(0, &body)?;
                world.skip_to(&event);
            }
            None => world.nothing(node),
        }
        return Ok(());
    }
    let events = history(tx, node, world.version(node)).await?;
    for event in &events {
        world.apply(event)?;
    }
    world.nothing(node);
    Ok(())
}

/// Loads a thing and all that must be known to evaluate it.
pub(crate) async fn load_behind(
    tx: &mut AnyConnection,
    world: &mut World,
    node: &Node,
) -> Result<(), StoreError> {
    loop {
        let wanted: Vec<Node> = behind(world, node)
            .into_iter()
            .filter(|node| !world.knows(node))
            .collect();
        if wanted.is_empty() {
            return Ok(());
        }
        for node in wanted {
            load(tx, world, &node).await?;
        }
    }
}

/// The events of a thing after a version.
pub(crate) async fn history(
    tx: &mut AnyConnection,
    node: &Node,
    after_version: u64,
) -> Result<Vec<Event>, StoreError> {
    let rows = sqlx::query(
        "SELECT number, body FROM event WHERE stream = $1 AND stream_version > $2 ORDER BY stream_version",
    )
    .bind(node.to_string())
    .bind(int(after_version))
    .fetch_all(tx)
    .await?;
    rows.iter()
        .map(|row| {
            let number: i64 = row.try_get(0)?;
            let body: &str = row.try_get(1)?;
            read(number, body)
        })
        .collect()
}

/// Bodies with their numbers, after one number up to another.
pub(crate) async fn bodies(
    tx: &mut AnyConnection,
    after: i64,
    last: i64,
) -> Result<Vec<(u64, String)>, StoreError> {
    let rows = sqlx::query(
        "SELECT number, body FROM event WHERE number > $1 AND number <= $2 ORDER BY number",
    )
    .bind(after)
    .bind(last)
    .fetch_all(tx)
    .await?;
    rows.iter()
        .map(|row| {
            let number: i64 = row.try_get(0)?;
            let body: String = row.try_get(1)?;
            Ok((u64::try_from(number).unwrap_or(0), body))
        })
        .collect()
}

pub(crate) fn read(number: i64, body: &str) -> Result<Event, StoreError> {
    Event::read(body).map_err(|error| StoreError::Event {
        number: u64::try_from(number).unwrap_or(0),
        error,
    })
}
