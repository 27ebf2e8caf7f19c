//! Rows that wait to be written: many of a table go in one statement, since a statement costs more than its rows.
//!
//! What is asked of the lists meanwhile ([`crate::project`]) looks here first. A row that waits is changed here and not
//! in the table.

use crate::error::StoreError;
use crate::project::int;
use notebook::payload::{Payload, Plan};
use notebook::{Event, Hash, Kind, Node, World};
use sqlx::any::AnyArguments;
use sqlx::query::Query;
use sqlx::{Any, AnyConnection, AssertSqlSafe};
use std::collections::{BTreeMap, HashMap, HashSet};

/// Rows of one statement: few sizes, so that few statements are prepared.
const SIZES: [usize; 3] = [64, 8, 1];

/// A value of a column.
#[derive(Clone, Debug)]
pub(crate) enum Value {
    Text(String),
    OptionalText(Option<String>),
    Whole(i64),
    OptionalWhole(Option<i64>),
    Real(f64),
}

macro_rules! from {
    ($($type:ty => $variant:ident),*) => {$(
        impl From<$type> for Value {
            fn from(value: $type) -> Self {
                Self::$variant(value)
            }
        }
    )*};
}
from!(String => Text, Option<String> => OptionalText, i64 => Whole, Option<i64> => OptionalWhole, f64 => Real);

impl From<&str> for Value {
    fn from(text: &str) -> Self {
        Self::Text(text.into())
    }
}

type Row = Vec<Value>;

/// A line of the lists.
#[derive(Clone, Debug, Default)]
pub(crate) struct Thing {
    pub(crate) kind: &'static str,
    pub(crate) name: String,
    pub(crate) title: String,
    pub(crate) status: String,
    pub(crate) who: String,
    pub(crate) since_ms: i64,
    pub(crate) since: String,
    pub(crate) changed_ms: i64,
    pub(crate) version: i64,
    pub(crate) use_before: Option<String>,
    pub(crate) own_use_before: Option<String>,
    pub(crate) words: String,
    pub(crate) result: Option<String>,
    pub(crate) usable: Option<i64>,
}

/// What changes of a line that is in the table.
#[derive(Clone, Debug, Default)]
pub(crate) struct Changed {
    pub(crate) changed_ms: i64,
    pub(crate) version: i64,
    pub(crate) status: Option<String>,
    pub(crate) use_before: Option<String>,
    /// The result in words and whether its rules are kept, if they are new.
    pub(crate) result: Option<(Option<String>, i64)>,
}

/// What a determination gave, in the place of what it gave before.
#[derive(Clone, Debug, Default)]
pub(crate) struct Given {
    pub(crate) findings: Vec<Row>,
    pub(crate) results: Vec<Row>,
    pub(crate) scatter: Vec<Row>,
}

/// The rows that wait.
#[derive(Debug, Default)]
pub(crate) struct Rows {
    events: Vec<Row>,
    /// First and last event of each command.
    commands: BTreeMap<String, (i64, i64)>,
    pub(crate) things: HashMap<String, Thing>,
    pub(crate) changed: BTreeMap<String, Changed>,
    pub(crate) words: Vec<Row>,
    edges: Vec<Row>,
    /// The other ends of the threads that wait, by their beginning and by their end.
    down: HashMap<String, Vec<(String, &'static str)>>,
    up: HashMap<String, Vec<(String, &'static str)>>,
    pub(crate) given: BTreeMap<String, Given>,
    /// Determinations that were opened by an event that waits: plan, person, burette.
    pub(crate) opened: HashMap<String, (Plan, String, Node)>,
    /// Determinations whose review or approval waits.
    pub(crate) signed: HashSet<String>,
    /// Determinations folded, or open again.
    folds: BTreeMap<String, Option<String>>,
    /// The threads in the table from a thing, as far as they were asked for.
    pub(crate) below: HashMap<String, Vec<(String, String)>>,
    /// How many events wait.
    pub(crate) waiting: usize,
}

impl Rows {
    /// An event that waits to be written itself.
    pub(crate) fn event(&mut self, event: &Event, body: &str, hash: &Hash) {
        self.events.push(vec![
            int(event.number).into(),
            event.stream.to_string().into(),
            int(event.stream_version).into(),
            event.payload.kind().into(),
            body.into(),
            hash.to_string().into(),
        ]);
    }

    /// Remembers that the command with this key made this event.
    pub(crate) fn command(&mut self, key: &str, number: i64) {
        let taken = self.commands.entry(key.into()).or_insert((number, number));
        taken.1 = number;
    }

    /// Keeps a determination as it is after an event, if it takes no readings any more.
    pub(crate) fn fold(&mut self, world: &World, event: &Event) {
        if event.stream.kind() != Kind::Determination {
            return;
        }
        let node = event.stream.to_string();
        match world.kept(&event.stream) {
            Some(text) => self.folds.insert(node, Some(text)),
            None if matches!(event.payload, Payload::DeterminationReopened(_)) => {
                self.folds.insert(node, None)
            }
            None => None,
        };
    }

    /// A thread between two things.
    pub(crate) fn edge(&mut self, what: String, on: String, how: &'static str, at: i64) {
        let known = self.down.entry(what.clone()).or_default();
        // The first of its kind stays.
        if known.iter().any(|(o, h)| *o == on && *h == how) {
            return;
        }
        known.push((on.clone(), how));
        self.up
            .entry(on.clone())
            .or_default()
            .push((what.clone(), how));
        self.edges
            .push(vec![what.into(), on.into(), how.into(), at.into()]);
    }

    /// The threads from a thing that wait.
    pub(crate) fn below(&self, what: &str) -> &[(String, &'static str)] {
        self.down.get(what).map_or(&[], Vec::as_slice)
    }

    /// What rests on a thing, and how, of the threads that wait.
    pub(crate) fn above(&self, on: &str) -> &[(String, &'static str)] {
        self.up.get(on).map_or(&[], Vec::as_slice)
    }

    /// Writes all that waits.
    ///
    /// # Errors
    /// [`StoreError`]; then nothing of it may be kept.
    pub(crate) async fn flush(&mut self, tx: &mut AnyConnection) -> Result<(), StoreError> {
        let rows = std::mem::take(self);
        insert(
            tx,
            "INSERT INTO event (number, stream, stream_version, kind, body, hash)",
            rows.events,
            "",
        )
        .await?;
        let things = rows.things.into_iter().map(|(node, thing)| {
            vec![
                node.into(),
                thing.kind.into(),
                thing.name.into(),
                thing.title.into(),
                thing.status.into(),
                thing.who.into(),
                thing.since_ms.into(),
                thing.since.into(),
                thing.changed_ms.into(),
                thing.version.into(),
                thing.use_before.into(),
                thing.own_use_before.into(),
                thing.words.into(),
                thing.result.into(),
                thing.usable.into(),
            ]
        });
        insert(
            tx,
            "INSERT INTO thing (node, kind, name, title, status, who, since_ms, since, changed_ms, version, use_before,
             own_use_before, words, result, usable)",
            things.collect(),
            "",
        )
        .await?;
        let changed = rows.changed.into_iter().map(|(node, changed)| {
            let (result, usable) = changed.result.clone().unzip();
            vec![
                node.into(),
                changed.changed_ms.into(),
                changed.version.into(),
                changed.status.into(),
                changed.use_before.into(),
                i64::from(changed.result.is_some()).into(),
                result.flatten().into(),
                usable.into(),
            ]
        });
        many(
            tx,
            "WITH v (node, changed_ms, version, status, use_before, given, result, usable) AS (",
            changed.collect(),
            ") UPDATE thing SET changed_ms = v.changed_ms, version = v.version,
             status = CASE WHEN v.status <> 'computed again, if approved' THEN v.status
                      WHEN v.status IS NOT NULL AND thing.status = 'approved' THEN 'computed again'
                      ELSE thing.status END,
             use_before = COALESCE(v.use_before, thing.use_before),
             result = CASE WHEN v.given = 1 THEN v.result ELSE thing.result END,
             usable = CASE WHEN v.given = 1 THEN v.usable ELSE thing.usable END
             FROM v WHERE thing.node = v.node",
        )
        .await?;
        insert(
            tx,
            "INSERT INTO word (word, node, at_ms)",
            rows.words,
            " ON CONFLICT (word, at_ms, node) DO NOTHING",
        )
        .await?;
        insert(
            tx,
            "INSERT INTO edge (what, on_what, how, at_ms)",
            rows.edges,
            " ON CONFLICT (what, on_what, how) DO NOTHING",
        )
        .await?;
        given(tx, rows.given).await?;
        folds(tx, rows.folds).await?;
        let commands = rows
            .commands
            .into_iter()
            .map(|(key, (first, last))| vec![key.into(), first.into(), last.into()]);
        insert(
            tx,
            "INSERT INTO command_taken (command_key, first_event, last_event)",
            commands.collect(),
            " ON CONFLICT (command_key) DO UPDATE SET last_event = excluded.last_event",
        )
        .await
    }
}

/// Determinations as they are now in the place of what they were; those that are open have none.
async fn folds(
    tx: &mut AnyConnection,
    folds: BTreeMap<String, Option<String>>,
) -> Result<(), StoreError> {
    let (mut kept, mut open) = (Vec::new(), Vec::new());
    for (node, text) in folds {
        match text {
            Some(text) => kept.push(vec![node.into(), World::FORM.into(), text.into()]),
            None => open.push(vec![node.into()]),
        }
    }
    many(tx, "DELETE FROM fold WHERE node IN (", open, ")").await?;
    insert(
        tx,
        "INSERT INTO fold (node, form, body)",
        kept,
        " ON CONFLICT (node) DO UPDATE SET form = excluded.form, body = excluded.body",
    )
    .await
}

/// What determinations gave goes in the place of what they gave before.
async fn given(tx: &mut AnyConnection, given: BTreeMap<String, Given>) -> Result<(), StoreError> {
    let (mut findings, mut results, mut scatter) = (Vec::new(), Vec::new(), Vec::new());
    let mut nodes = Vec::new();
    for (node, given) in given {
        nodes.push(vec![node.into()]);
        findings.extend(given.findings);
        results.extend(given.results);
        scatter.extend(given.scatter);
    }
    for table in ["finding", "result", "scatter"] {
        let head = format!("DELETE FROM {table} WHERE determination IN (");
        many(tx, &head, nodes.clone(), ")").await?;
    }
    // By when the determination began, as lists give them.
    many(
        tx,
        "WITH v (determination, code) AS (",
        findings,
        ") INSERT INTO finding (determination, code, at_ms)
         SELECT v.determination, v.code, t.since_ms FROM v JOIN thing t ON t.node = v.determination",
    )
    .await?;
    insert(
        tx,
        "INSERT INTO result (determination, place, of_what, name, unit, value, standard_uncertainty,
         expanded_uncertainty, coverage_factor, conforms, at_ms)",
        results,
        "",
    )
    .await?;
    insert(
        tx,
        "INSERT INTO scatter (determination, place, plan, who, burette, relative, degrees_of_freedom)",
        scatter,
        "",
    )
    .await
}

async fn insert(
    tx: &mut AnyConnection,
    head: &str,
    rows: Vec<Row>,
    tail: &str,
) -> Result<(), StoreError> {
    many(tx, &format!("{head} "), rows, tail).await
}

/// Statements of the form: head, VALUES and rows, tail.
async fn many(
    tx: &mut AnyConnection,
    head: &str,
    rows: Vec<Row>,
    tail: &str,
) -> Result<(), StoreError> {
    let mut rows = rows.into_iter();
    while let Some(columns) = rows.as_slice().first().map(Vec::len) {
        let left = rows.len();
        let size = SIZES.into_iter().find(|size| *size <= left).unwrap_or(1);
        let sql = format!("{head}{}{tail}", values(size, columns));
        let mut query = sqlx::query(AssertSqlSafe(sql));
        for value in rows.by_ref().take(size).flatten() {
            query = bound(query, value);
        }
        query.execute(&mut *tx).await?;
    }
    Ok(())
}

fn values(rows: usize, columns: usize) -> String {
    let mut text = String::from("VALUES ");
    for row in 0..rows {
        text.push_str(if row == 0 { "(" } else { ", (" });
        for column in 0..columns {
            if column > 0 {
                text.push_str(", ");
            }
            text.push_str(&format!("${}", row * columns + column + 1));
        }
        text.push(')');
    }
    text
}

fn bound<'q>(query: Query<'q, Any, AnyArguments>, value: Value) -> Query<'q, Any, AnyArguments> {
    match value {
        Value::Text(text) => query.bind(text),
        Value::OptionalText(text) => query.bind(text),
        Value::Whole(n) => query.bind(n),
        Value::OptionalWhole(n) => query.bind(n),
        Value::Real(x) => query.bind(x),
    }
}
