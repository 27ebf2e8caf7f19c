//! Reading events and folding them.

use crate::error::StoreError;
use crate::project::int;
use notebook::{Event, Kind, Node, World, graph};
use sqlx::{AnyConnection, AssertSqlSafe, Row};
use std::collections::BTreeSet;

/// Most things that are looked up with one question.
pub(crate) const TOGETHER: usize = 512;

/// Loads a thing into the world: all its events, folded.
pub(crate) async fn load(
    tx: &mut AnyConnection,
    world: &mut World,
    node: &Node,
) -> Result<(), StoreError> {
    // Comings and goings are counted, not folded: there may be very many.
    if node.kind() == Kind::Access {
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

/// Loads things and all that must be known to evaluate them, many with one question.
pub(crate) async fn load_behind(
    tx: &mut AnyConnection,
    world: &mut World,
    nodes: &[Node],
) -> Result<(), StoreError> {
    let mut seen: BTreeSet<Node> = nodes.iter().cloned().collect();
    let mut front: Vec<Node> = seen.iter().cloned().collect();
    while !front.is_empty() {
        let unknown: Vec<Node> = front.iter().filter(|n| !world.knows(n)).cloned().collect();
        for part in unknown.chunks(TOGETHER) {
            load_together(tx, world, part).await?;
        }
        let below = front.iter().flat_map(|node| graph::upstream(world, node));
        front = below.filter(|node| seen.insert(node.clone())).collect();
    }
    Ok(())
}

/// Loads what is kept folded of determinations that are not known yet; the others are left to [`load_behind`]. For reading
/// only: what is decided rests on the events.
pub(crate) async fn load_folds(
    tx: &mut AnyConnection,
    world: &mut World,
    nodes: &[Node],
) -> Result<(), StoreError> {
    let unknown: Vec<&Node> = nodes
        .iter()
        .filter(|node| node.kind() == Kind::Determination && !world.knows(node))
        .collect();
    for part in unknown.chunks(TOGETHER) {
        let (places, length) = places(part.len());
        let sql = format!(
            "SELECT string_agg(body, '\n') FROM fold WHERE form = {} AND node IN ({places})",
            World::FORM
        );
        let mut query = sqlx::query_scalar::<_, Option<String>>(AssertSqlSafe(sql));
        for node in part.iter().chain(std::iter::repeat(&part[0])).take(length) {
            query = query.bind(node.to_string());
        }
        let bodies = query.fetch_one(&mut *tx).await?.unwrap_or_default();
        for body in bodies.split('\n') {
            world.keep(body);
        }
    }
    Ok(())
}

/// Places for so many nodes, and how many are to be bound: few lengths, so that few statements are prepared; a name that
/// comes twice does no harm.
fn places(nodes: usize) -> (String, usize) {
    let length = nodes.next_power_of_two().min(TOGETHER);
    let places: Vec<String> = (1..=length).map(|n| format!("${n}")).collect();
    (places.join(", "), length)
}

/// Loads things that are not known yet. Their events come as one text, since a row costs more than what stands in it; no
/// body holds the sign that parts them, which canonical JSON escapes.
pub(crate) async fn load_together(
    tx: &mut AnyConnection,
    world: &mut World,
    nodes: &[Node],
) -> Result<(), StoreError> {
    if let [node] = nodes {
        return load(tx, world, node).await;
    }
    let (places, length) = places(nodes.len());
    let sql = format!(
        "SELECT string_agg(body, '\n') FROM (SELECT body FROM event WHERE stream IN ({places})
         ORDER BY stream, stream_version) AS bodies"
    );
    let mut query = sqlx::query_scalar::<_, Option<String>>(AssertSqlSafe(sql));
    for node in nodes
        .iter()
        .chain(std::iter::repeat(&nodes[0]))
        .take(length)
    {
        query = query.bind(node.to_string());
    }
    let bodies = query.fetch_one(&mut *tx).await?.unwrap_or_default();
    for body in bodies.split('\n').filter(|body| !body.is_empty()) {
        let event = read(0, body)?;
        world.apply(&event)?;
    }
    for node in nodes {
        world.nothing(node);
    }
    Ok(())
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
