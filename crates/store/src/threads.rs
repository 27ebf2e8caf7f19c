//! Threads between things in the lists: what rests on what, at once or through others, so that a list by any thing gives
//! what its trace gives.
//!
//! Very many determinations rest on a lot, but through few solutions. So a solution has a thread to everything that it
//! rests on however far ([`CARRIED`]), and a list of determinations is led by the threads to the thing itself and to the
//! solutions that rest on it. A thread bears the time at which its thing began, so that all that lead to a thing give it
//! the same place.

use crate::error::StoreError;
use crate::rows::Rows;
use notebook::graph::{self, How};
use notebook::{Event, Kind, Node};
use sqlx::{AnyConnection, Row};
use std::collections::BTreeSet;

/// How a thing rests on what is farther away than what it names.
pub(crate) const CARRIED: &str = "rests, through others, on";

/// The names of a kind, as a range: from the first, up to before the second.
pub(crate) fn range(kind: Kind) -> (String, String) {
    // "0" comes after "/".
    (format!("{kind}/"), format!("{kind}0"))
}

/// Notes the threads that an event ties.
pub(crate) async fn tie(
    tx: &mut AnyConnection,
    rows: &mut Rows,
    event: &Event,
) -> Result<(), StoreError> {
    let edges = graph::edges(event);
    if edges.is_empty() {
        return Ok(());
    }
    let what = event.stream.to_string();
    let at = since(tx, rows, event).await?;
    let above = match event.stream.kind() {
        Kind::Solution if event.stream_version > 1 => made_of(tx, rows, &what).await?,
        _ => Vec::new(),
    };
    for edge in edges {
        let on = edge.on.to_string();
        rows.edge(what.clone(), on.clone(), edge.how.word(), at);
        let carries = event.stream.kind() == Kind::Solution || edge.how == How::ComparedWith;
        if !carries {
            continue;
        }
        let mut far = beneath(tx, rows, &edge.on).await?;
        far.remove(&what);
        for on in &far {
            rows.edge(what.clone(), on.clone(), CARRIED, at);
        }
        far.insert(on);
        for (above, at) in &above {
            for on in far.iter().filter(|on| *on != above) {
                rows.edge(above.clone(), on.clone(), CARRIED, *at);
            }
        }
    }
    Ok(())
}

/// When the thing of an event began.
async fn since(tx: &mut AnyConnection, rows: &Rows, event: &Event) -> Result<i64, StoreError> {
    if event.stream_version == 1 {
        return Ok(event.at.milliseconds());
    }
    let node = event.stream.to_string();
    if let Some(thing) = rows.things.get(&node) {
        return Ok(thing.since_ms);
    }
    let since = sqlx::query_scalar("SELECT since_ms FROM thing WHERE node = $1")
        .bind(node)
        .fetch_one(tx)
        .await?;
    Ok(since)
}

/// The solutions that rest on a solution, each with when it began.
async fn made_of(
    tx: &mut AnyConnection,
    rows: &Rows,
    solution: &str,
) -> Result<Vec<(String, i64)>, StoreError> {
    let mut found: BTreeSet<(String, i64)> = rows
        .above(solution)
        .iter()
        .filter_map(|(what, _)| Some((what.clone(), rows.things.get(what)?.since_ms)))
        .filter(|(what, _)| what.starts_with(&range(Kind::Solution).0))
        .collect();
    let lines = sqlx::query(
        "SELECT DISTINCT what, at_ms FROM edge WHERE on_what = $1 AND what >= 'solution/' AND what < 'solution0'",
    )
    .bind(solution)
    .fetch_all(tx)
    .await?;
    for line in lines {
        found.insert((line.try_get(0)?, line.try_get(1)?));
    }
    Ok(found.into_iter().collect())
}

/// All that a thing rests on, near and far. That a determination seeks what is in a bottle is no reason to go on from it.
async fn beneath(
    tx: &mut AnyConnection,
    rows: &mut Rows,
    node: &Node,
) -> Result<BTreeSet<String>, StoreError> {
    let mut all = BTreeSet::new();
    for (on, how) in below(tx, rows, &node.to_string()).await? {
        let solution = on.starts_with(&range(Kind::Solution).0);
        if node.kind() == Kind::Determination && solution && how != How::Seeks.word() {
            let far = below(tx, rows, &on).await?;
            all.extend(far.into_iter().map(|(on, _)| on));
        }
        all.insert(on);
    }
    Ok(all)
}

/// The threads from a thing: those in the table, and those that wait.
async fn below(
    tx: &mut AnyConnection,
    rows: &mut Rows,
    what: &str,
) -> Result<Vec<(String, String)>, StoreError> {
    if !rows.below.contains_key(what) {
        let lines = sqlx::query("SELECT on_what, how FROM edge WHERE what = $1")
            .bind(what)
            .fetch_all(tx)
            .await?;
        let threads: Result<_, sqlx::Error> = lines
            .iter()
            .map(|line| Ok((line.try_get(0)?, line.try_get(1)?)))
            .collect();
        rows.below.insert(what.into(), threads?);
    }
    let waiting = rows.below(what).iter();
    let waiting = waiting.map(|(on, how)| (on.clone(), (*how).to_string()));
    Ok(waiting.chain(rows.below[what].iter().cloned()).collect())
}

/// The solutions that rest on a thing, each with the moment of the newest thing that rests on it, up to a moment: the
/// newest first.
pub(crate) async fn bottles(
    db: &mut AnyConnection,
    on: &Node,
    until: i64,
) -> Result<Vec<(Node, i64)>, StoreError> {
    let lines = sqlx::query(
        "SELECT b.what, b.newest FROM (
           SELECT e.what AS what, (SELECT MAX(u.at_ms) FROM edge u WHERE u.on_what = e.what AND u.at_ms <= $2) AS newest
           FROM edge e WHERE e.on_what = $1 AND e.what >= 'solution/' AND e.what < 'solution0' GROUP BY e.what
         ) b WHERE b.newest IS NOT NULL ORDER BY b.newest DESC",
    )
    .bind(on.to_string())
    .bind(until)
    .fetch_all(db)
    .await?;
    lines
        .iter()
        .map(|line| {
            let what: String = line.try_get(0)?;
            let what = what
                .parse()
                .map_err(|_| StoreError::Damaged("a thread has an unreadable end".into()))?;
            Ok((what, line.try_get(1)?))
        })
        .collect()
}
