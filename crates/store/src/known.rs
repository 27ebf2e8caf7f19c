//! A list that finds nothing says so only if what was asked for is known: a name that is written wrongly is told, with
//! the names that are there.

use crate::error::StoreError;
use crate::list::Filter;
use crate::project::COMPUTED_AGAIN;
use crate::search;
use notebook::{Kind, Refusal};
use sqlx::{AnyConnection, AssertSqlSafe};
use titrimetry::findings::CODES;

/// Most names that are told.
const TOLD: i64 = 40;

/// Every status that things of a kind may have.
pub(crate) fn statuses(kind: Kind) -> &'static [&'static str] {
    match kind {
        Kind::Record => &["one person", "shared"],
        Kind::Person => &["here", "left"],
        Kind::Access => &["noted"],
        Kind::Lot => &["unopened", "opened", "gone"],
        Kind::Apparatus => &["in use", "out of service"],
        Kind::Solution => &["not standardized", "standardized", "topped up", "gone"],
        Kind::Sample => &["here", "gone"],
        Kind::Method | Kind::Rules => &["in use", "withdrawn"],
        Kind::Determination => &[
            "open",
            "closed",
            "reviewed",
            "approved",
            COMPUTED_AGAIN,
            "given up",
        ],
        Kind::Certificate => &["current", "superseded", "withdrawn"],
    }
}

/// Whether everything that a filter names is known.
///
/// # Errors
/// [`Refusal::Missing`], [`StoreError::NotKnown`].
pub(crate) async fn ask(db: &mut AnyConnection, filter: &Filter) -> Result<(), StoreError> {
    if let Some(node) = &filter.rests_on
        && crate::list::one(db, node).await?.is_none()
    {
        return Err(Refusal::Missing(node.clone()).into());
    }
    let kind = search::kind(filter);
    if let Some(status) = &filter.status
        && !search::any_kind(filter)
        && !statuses(kind).contains(&status.as_str())
    {
        let known = statuses(kind).iter().map(|s| (*s).to_string()).collect();
        return Err(unknown("status", status, known));
    }
    if let Some(code) = &filter.finding
        && !CODES.iter().any(|(known, _)| known == code)
    {
        let found = distinct(db, "finding", "code", None).await?;
        if !found.contains(code) {
            return Err(unknown("finding", code, found));
        }
    }
    if let Some(who) = &filter.who {
        let mut names = Vec::new();
        for kind in Kind::ALL {
            names.extend(distinct(db, "thing", "who", Some(*kind)).await?);
        }
        let people: Vec<String> = sqlx::query_scalar(
            "SELECT name FROM thing WHERE kind = 'person' ORDER BY since_ms LIMIT $1",
        )
        .bind(TOLD)
        .fetch_all(db)
        .await?;
        names.extend(people);
        names.sort();
        names.dedup();
        if !names.contains(who) {
            return Err(unknown("person", who, names));
        }
    }
    Ok(())
}

fn unknown(what: &'static str, given: &str, known: Vec<String>) -> StoreError {
    StoreError::NotKnown {
        what,
        given: given.chars().take(60).collect(),
        known: if known.is_empty() {
            "none yet".into()
        } else {
            known.join(", ")
        },
    }
}

/// The different values of an indexed column, each found by a jump in the index.
async fn distinct(
    db: &mut AnyConnection,
    table: &str,
    column: &str,
    kind: Option<Kind>,
) -> Result<Vec<String>, StoreError> {
    let of = match kind {
        Some(kind) => format!("t.kind = '{kind}'"),
        None => "1 = 1".into(),
    };
    let sql = format!(
        "WITH RECURSIVE v(it) AS (
           SELECT MIN(t.{column}) FROM {table} t WHERE {of}
           UNION ALL
           SELECT (SELECT MIN(t.{column}) FROM {table} t WHERE {of} AND t.{column} > v.it) FROM v WHERE v.it IS NOT NULL
         )
         SELECT it FROM v WHERE it IS NOT NULL LIMIT {TOLD}"
    );
    Ok(sqlx::query_scalar(AssertSqlSafe(sql)).fetch_all(db).await?)
}
