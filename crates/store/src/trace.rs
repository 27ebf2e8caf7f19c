//! The traceability graph, asked both ways.

use crate::error::StoreError;
use futures_util::TryStreamExt;
use notebook::graph::{Edge, How};
use notebook::{Kind, Node};
use serde::Serialize;
use sqlx::AnyConnection;
use sqlx::{AssertSqlSafe, Row};
use std::collections::{BTreeMap, BTreeSet};

/// Most threads of one answer; a picture of more helps nobody, and the lists give the rest.
const MOST: usize = 5_000;

/// Things that are asked of at once.
const ASKED: usize = 100;

/// Threads from a thing, one way.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Trace {
    /// Where it starts.
    pub of: Node,
    /// The threads, each with its distance from the start (1 for the nearest).
    pub threads: Vec<(u32, Edge)>,
    /// True if there are more than are given.
    pub cut: bool,
}

/// Which way threads are followed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Way {
    /// What it is made of.
    Down,
    /// What rests on it.
    Up,
}

pub(crate) async fn trace(
    db: &mut AnyConnection,
    of: &Node,
    way: Way,
) -> Result<Trace, StoreError> {
    let mut threads: Vec<(u32, Edge)> = Vec::new();
    let mut seen = BTreeSet::from([of.clone()]);
    let mut front = vec![of.clone()];
    let mut distance = 0;
    let mut cut = false;
    while !front.is_empty() && !cut {
        distance += 1;
        let mut next = Vec::new();
        for node in front {
            for edge in neighbours(db, &node, way).await? {
                // A determination seeks what is in the bottle: that is no reason to go on from the bottle. Nor does a
                // certificate rest on all that the one rests on that it replaces.
                if matches!(edge.how, How::Seeks | How::Replaces) && distance > 1 {
                    continue;
                }
                let other = match way {
                    Way::Down => edge.on.clone(),
                    Way::Up => edge.what.clone(),
                };
                threads.push((distance, edge));
                if seen.insert(other.clone()) {
                    next.push(other);
                }
                if threads.len() >= MOST {
                    cut = true;
                    break;
                }
            }
        }
        front = next;
    }
    Ok(Trace {
        of: of.clone(),
        threads,
        cut,
    })
}

async fn neighbours(
    db: &mut AnyConnection,
    node: &Node,
    way: Way,
) -> Result<Vec<Edge>, StoreError> {
    let sql = match way {
        Way::Down => "SELECT what, on_what, how FROM edge WHERE what = $1 ORDER BY how, on_what",
        Way::Up => {
            "SELECT what, on_what, how FROM edge WHERE on_what = $1 ORDER BY at_ms, how, what LIMIT 5000"
        }
    };
    let rows = sqlx::query(sql)
        .bind(node.to_string())
        .fetch_all(db)
        .await?;
    let mut edges = Vec::new();
    for row in rows {
        let (what, on, how): (String, String, String) =
            (row.try_get(0)?, row.try_get(1)?, row.try_get(2)?);
        // What is carried through others is found by following them.
        let Some(how) = How::ALL.iter().find(|h| h.word() == how) else {
            continue;
        };
        let read = |text: &str| {
            text.parse::<Node>()
                .map_err(|e| StoreError::Damaged(e.to_string()))
        };
        edges.push(Edge {
            what: read(&what)?,
            on: read(&on)?,
            how: *how,
        });
    }
    Ok(edges)
}

/// The determinations whose value rests on a thing, each after those it rests on.
pub(crate) async fn dependents(
    db: &mut AnyConnection,
    node: &Node,
) -> Result<Vec<Node>, StoreError> {
    let hows: Vec<String> = How::ALL
        .iter()
        // A certificate states a value, but nothing is computed from it.
        .filter(|how| how.carries_value() && **how != How::States)
        .map(|how| format!("'{}'", how.word()))
        .collect();
    let hows = hows.join(", ");
    // Each thread once; a thing that is reached twice is gone on from twice, of which there are few.
    let sql = format!(
        "WITH RECURSIVE reached(node, on_what) AS (
           SELECT what, on_what FROM edge WHERE on_what = $1 AND how IN ({hows})
           UNION
           SELECT e.what, e.on_what FROM edge e JOIN reached r ON e.on_what = r.node WHERE e.how IN ({hows})
         )
         SELECT node, on_what FROM reached"
    );
    // Row by row: there may be very many, and a row is larger than what it says.
    let mut rows = sqlx::query(AssertSqlSafe(sql))
        .bind(node.to_string())
        .fetch(db);
    let mut edges = Vec::new();
    while let Some(row) = rows.try_next().await? {
        let (what, on): (&str, &str) = (row.try_get(0)?, row.try_get(1)?);
        if !what.starts_with(Kind::Determination.word()) {
            continue;
        }
        let read = |text: &str| {
            text.parse::<Node>()
                .map_err(|e| StoreError::Damaged(e.to_string()))
        };
        edges.push(Edge {
            what: read(what)?,
            on: read(on)?,
            how: How::ResultOf,
        });
    }
    let mut order = notebook::graph::in_order(&edges);
    order.retain(|found| notebook::graph::is_computed(found) && found != node);
    Ok(order)
}

/// The certificates that state determinations.
pub(crate) async fn certificates_of(
    db: &mut AnyConnection,
    determinations: &[&Node],
) -> Result<BTreeMap<Node, Vec<Node>>, StoreError> {
    let mut found: BTreeMap<Node, Vec<Node>> = BTreeMap::new();
    for part in determinations.chunks(ASKED) {
        let places: Vec<String> = (2..=ASKED + 1).map(|n| format!("${n}")).collect();
        let sql = format!(
            "SELECT on_what, what FROM edge WHERE how = $1 AND on_what IN ({}) ORDER BY on_what, what",
            places.join(", ")
        );
        let mut query = sqlx::query(AssertSqlSafe(sql)).bind(How::States.word());
        // A name that comes twice does no harm.
        for node in part.iter().chain(std::iter::repeat(&part[0])).take(ASKED) {
            query = query.bind(node.to_string());
        }
        for row in query.fetch_all(&mut *db).await? {
            let (on, what): (String, String) = (row.try_get(0)?, row.try_get(1)?);
            let read = |text: &str| {
                text.parse::<Node>()
                    .map_err(|_| StoreError::Damaged("a thread has an unreadable end".into()))
            };
            found.entry(read(&on)?).or_default().push(read(&what)?);
        }
    }
    Ok(found)
}
