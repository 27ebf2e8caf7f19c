//! The lists beside what the events give: all of them are made again in tables of this connection alone, and compared row by
//! row by their keys. So the record is not written, and what is in memory does not grow with it; the tables lie on the disk
//! of temporary files.

use crate::error::StoreError;
use crate::guards;
use crate::place::Place;
use crate::rebuild;
use serde::Serialize;
use sqlx::{AnyConnection, AnyPool, AssertSqlSafe, Connection, Row};
use std::fmt;

/// Most differences of a table that are named.
const MOST: usize = 20;

/// A list: its table, how many of its columns are the key, and the columns.
type List = (&'static str, usize, &'static [&'static str]);

/// The tables made from events, as [`crate::project::TABLES`] names them.
const LISTS: &[List] = &[
    (
        "command_taken",
        1,
        &["command_key", "first_event", "last_event"],
    ),
    (
        "thing",
        1,
        &[
            "node",
            "kind",
            "name",
            "title",
            "status",
            "who",
            "since_ms",
            "since",
            "changed_ms",
            "version",
            "use_before",
            "own_use_before",
            "result",
            "usable",
            "words",
        ],
    ),
    ("edge", 3, &["what", "on_what", "how", "at_ms"]),
    ("finding", 2, &["determination", "code", "at_ms"]),
    (
        "result",
        2,
        &[
            "determination",
            "place",
            "of_what",
            "name",
            "unit",
            "value",
            "standard_uncertainty",
            "expanded_uncertainty",
            "coverage_factor",
            "conforms",
            "at_ms",
        ],
    ),
    (
        "scatter",
        2,
        &[
            "determination",
            "place",
            "plan",
            "who",
            "burette",
            "relative",
            "degrees_of_freedom",
        ],
    ),
    ("word", 3, &["word", "at_ms", "node"]),
    ("notice", 2, &["number", "person", "node", "text", "at_ms"]),
    ("unsettled", 1, &["number"]),
    ("fold", 1, &["node", "form", "body"]),
];

/// A row of a list that is not what the events give.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Difference {
    /// The table.
    pub table: &'static str,
    /// The row: the thing, or what else is its key.
    pub of: String,
    /// How it differs.
    pub how: How,
}

/// How a row differs.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub enum How {
    /// The events give it, and it is not there.
    Gone,
    /// It is there, and no event gives it.
    PutIn,
    /// Columns that say something else: name, what is there, what the events give.
    Altered(Vec<(&'static str, String, String)>),
    /// More of this table differ than are named.
    More,
    /// Events of a thing are missing, though the chain holds: the number of its last, and how many are there.
    Gap(i64, i64),
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { table, of, how } = self;
        match how {
            How::Gone => write!(
                f,
                "list \"{table}\", {of}: the row is gone that its events give"
            ),
            How::PutIn => write!(
                f,
                "list \"{table}\", {of}: a row was put in that no event gives"
            ),
            How::Altered(columns) => {
                write!(f, "list \"{table}\", {of}:")?;
                if columns.is_empty() {
                    f.write_str(" a value differs in its kind, or in its last digits")?;
                }
                for (at, (column, is, should)) in columns.iter().enumerate() {
                    let and = if at > 0 { ";" } else { "" };
                    write!(f, "{and} {column} is {is}, its events give {should}")?;
                }
                Ok(())
            }
            How::Gap(last, there) => write!(
                f,
                "{of}: the last of its events is its number {last}, and {there} are there, although the chain holds: one was taken out and all hashes made anew"
            ),
            How::More => write!(f, "list \"{table}\": more rows differ than these"),
        }
    }
}

/// Makes the lists again beside those of the record, and compares.
pub(crate) async fn differences(
    pool: &AnyPool,
    place: &Place,
) -> Result<Vec<Difference>, StoreError> {
    // The tables go with the connection.
    let mut db = pool.acquire().await?.detach();
    let found = compared(&mut db, place).await;
    db.close().await?;
    found.map_err(|error| match error {
        StoreError::Full | StoreError::ReadOnly => StoreError::File {
            place: place.to_string(),
            reason: "there is no room for the temporary files in which its lists are made again (about a third of the record); set TMPDIR to a folder with room, or look at the chain alone (--chain-only)".into(),
        },
        other => other,
    })
}

async fn compared(db: &mut AnyConnection, place: &Place) -> Result<Vec<Difference>, StoreError> {
    // One state of the record, while others write.
    let begin = match place.is_file() {
        true => "BEGIN",
        false => "BEGIN ISOLATION LEVEL REPEATABLE READ",
    };
    let mut tx = db.begin_with(begin).await?;
    let (theirs, own) = match place.is_file() {
        true => ("main".to_string(), "temp"),
        false => {
            let schema: String = sqlx::query_scalar("SELECT quote_ident(current_schema())")
                .fetch_one(&mut *tx)
                .await?;
            (schema, "pg_temp")
        }
    };
    let gaps = gaps(&mut tx).await?;
    if !gaps.is_empty() {
        return Ok(gaps);
    }
    make(&mut tx, place, &theirs).await?;
    // From here on the names of the lists mean those of this connection; the events are the record's.
    rebuild::replay(&mut tx, place.is_file()).await?.map_err(|broken| StoreError::Altered {
        place: place.to_string(),
        found: broken.to_string(),
        so: "its lists cannot be compared; keep the record as it is, and restore a backup beside it",
    })?;
    let mut found = Vec::new();
    for list in LISTS {
        compare(&mut tx, list, &theirs, own, &mut found).await?;
    }
    tx.rollback().await?;
    Ok(found)
}

/// Things whose events are not numbered from 1 on without gaps; found in the index of the events alone.
pub(crate) async fn gaps(tx: &mut AnyConnection) -> Result<Vec<Difference>, StoreError> {
    let rows: Vec<(String, i64, i64)> = sqlx::query_as(AssertSqlSafe(format!(
        "SELECT stream, CAST(MAX(stream_version) AS BIGINT), CAST(COUNT(*) AS BIGINT) FROM event GROUP BY stream
         HAVING MAX(stream_version) <> COUNT(*) LIMIT {MOST}"
    )))
    .fetch_all(tx)
    .await?;
    let gap = |(of, last, there)| Difference {
        table: "event",
        of,
        how: How::Gap(last, there),
    };
    Ok(rows.into_iter().map(gap).collect())
}

/// Makes the tables, empty.
async fn make(tx: &mut AnyConnection, place: &Place, theirs: &str) -> Result<(), StoreError> {
    let new = match place.is_file() {
        true => guards::new_layout().await?,
        false => Default::default(),
    };
    let mut statements = Vec::new();
    for (table, ..) in LISTS {
        let words = new.get(&("table".to_string(), (*table).to_string()));
        statements.push(match words {
            // By a new record's words, not by those of a file that may have been altered.
            Some(words) => words.replacen("CREATE TABLE", "CREATE TEMP TABLE", 1),
            None => format!(
                "CREATE TEMP TABLE {table} (LIKE {theirs}.{table} INCLUDING DEFAULTS INCLUDING INDEXES)"
            ),
        });
    }
    if place.is_file() {
        statements.push("CREATE INDEX temp.edge_above ON edge (on_what, how)".into());
    }
    for statement in statements {
        sqlx::query(AssertSqlSafe(statement))
            .execute(&mut *tx)
            .await?;
    }
    Ok(())
}

/// Compares a list with what the events give.
async fn compare(
    tx: &mut AnyConnection,
    list: &List,
    theirs: &str,
    own: &str,
    found: &mut Vec<Difference>,
) -> Result<(), StoreError> {
    let (table, keys, columns) = *list;
    let (key, rest) = columns.split_at(keys);
    let each = |columns: &[&str], words: &dyn Fn(&str) -> String, between: &str| {
        columns
            .iter()
            .map(|c| words(c))
            .collect::<Vec<_>>()
            .join(between)
    };
    let same = each(key, &|c| format!("a.{c} = b.{c}"), " AND ");
    let named = |side: &str| each(key, &|c| format!("CAST({side}.{c} AS TEXT)"), ", ");
    let differ = match rest {
        [] => String::new(),
        rest => format!(
            " OR {}",
            each(rest, &|c| format!("a.{c} IS DISTINCT FROM b.{c}"), " OR ")
        ),
    };
    let both: String = rest
        .iter()
        .map(|c| format!(", CAST(a.{c} AS TEXT), CAST(b.{c} AS TEXT)"))
        .collect();
    // A fold of another form is not read, and says nothing.
    let form = match table {
        "fold" => format!(
            " AND (a.form IS NULL OR a.form = {})",
            notebook::World::FORM
        ),
        _ => String::new(),
    };
    let first = key[0];
    let sql = format!(
        "SELECT CAST(CASE WHEN a.{first} IS NULL THEN 1 ELSE 0 END AS BIGINT), {}{both}
         FROM {own}.{table} b LEFT JOIN {theirs}.{table} a ON {same}
         WHERE (a.{first} IS NULL{differ}){form} LIMIT {}",
        named("b"),
        MOST + 1
    );
    let start = found.len();
    for row in sqlx::query(AssertSqlSafe(sql)).fetch_all(&mut *tx).await? {
        let gone: i64 = row.try_get(0)?;
        let mut altered = Vec::new();
        for (at, column) in rest.iter().enumerate() {
            let is: Option<String> = row.try_get(1 + keys + 2 * at)?;
            let should: Option<String> = row.try_get(2 + keys + 2 * at)?;
            if is != should {
                let (is, should) = apart(is, should);
                altered.push((*column, is, should));
            }
        }
        found.push(Difference {
            table,
            of: of(&row, 1, key)?,
            how: if gone == 1 {
                How::Gone
            } else {
                How::Altered(altered)
            },
        });
    }
    let sql = format!(
        "SELECT {} FROM {theirs}.{table} a WHERE NOT EXISTS (SELECT 1 FROM {own}.{table} b WHERE {same}) LIMIT {}",
        named("a"),
        MOST + 1
    );
    for row in sqlx::query(AssertSqlSafe(sql)).fetch_all(&mut *tx).await? {
        found.push(Difference {
            table,
            of: of(&row, 0, key)?,
            how: How::PutIn,
        });
    }
    if found.len() - start > MOST {
        found.truncate(start + MOST);
        found.push(Difference {
            table,
            of: String::new(),
            how: How::More,
        });
    }
    Ok(())
}

/// The key of a row in words.
fn of(row: &sqlx::any::AnyRow, from: usize, key: &[&str]) -> Result<String, StoreError> {
    let mut words = Vec::with_capacity(key.len());
    for at in 0..key.len() {
        words.push(row.try_get::<String, _>(from + at)?);
    }
    Ok(words.join(" "))
}

/// Longest value that is told whole.
const SHORT: usize = 60;

/// Two values in words; of long ones the part where they differ.
fn apart(is: Option<String>, should: Option<String>) -> (String, String) {
    let words = |text: &Option<String>, from: usize| match text {
        None => "nothing".to_string(),
        Some(text) => {
            let part: String = text.chars().skip(from).take(SHORT).collect();
            let before = if from > 0 { "..." } else { "" };
            let after = if text.chars().count() > from + SHORT {
                "..."
            } else {
                ""
            };
            format!("\"{before}{part}{after}\"")
        }
    };
    let long = |text: &Option<String>| text.as_ref().is_some_and(|t| t.chars().count() > SHORT);
    let from = match (&is, &should) {
        (Some(a), Some(b)) if long(&is) || long(&should) => {
            let equal = a.chars().zip(b.chars()).take_while(|(a, b)| a == b).count();
            equal.saturating_sub(SHORT / 2)
        }
        _ => 0,
    };
    (words(&is, from), words(&should, from))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every column of every list is compared.
    #[tokio::test]
    async fn no_column_is_left_out() {
        let named: Vec<&str> = LISTS.iter().map(|(table, ..)| *table).collect();
        assert_eq!(named, crate::project::TABLES);
        let new = guards::new_layout().await.unwrap();
        sqlx::any::install_default_drivers();
        let mut db = AnyConnection::connect("sqlite::memory:").await.unwrap();
        for (table, keys, columns) in LISTS {
            let words = &new[&("table".to_string(), (*table).to_string())];
            sqlx::query(AssertSqlSafe(words.clone()))
                .execute(&mut db)
                .await
                .unwrap();
            let mut there: Vec<(String, i64)> = sqlx::query_as(AssertSqlSafe(format!(
                "SELECT name, pk FROM pragma_table_info('{table}')"
            )))
            .fetch_all(&mut db)
            .await
            .unwrap();
            there.sort_by_key(|(_, pk)| (*pk == 0, *pk));
            let names: Vec<&str> = there.iter().map(|(name, _)| name.as_str()).collect();
            assert_eq!(names[..*keys], columns[..*keys], "{table}");
            let (mut is, mut should) = (names.clone(), columns.to_vec());
            is.sort_unstable();
            should.sort_unstable();
            assert_eq!(is, should, "{table}");
        }
    }

    #[test]
    fn long_values_are_told_where_they_differ() {
        let long = |end: &str| Some(format!("{}{end}{}", "x".repeat(200), "y".repeat(200)));
        let (is, should) = apart(long("24.60"), long("23.60"));
        assert!(
            is.contains("24.60") && should.contains("23.60"),
            "{is} {should}"
        );
        assert!(is.len() < 100);
        assert_eq!(
            apart(None, Some("gone".into())),
            ("nothing".into(), "\"gone\"".into())
        );
    }
}
