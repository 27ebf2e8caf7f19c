//! Lists, search and filters: one page at a time, newest first.

use crate::error::StoreError;
use notebook::payload::Evaluated;
use notebook::{Day, Kind, Moment, Node};
use serde::Serialize;
use sqlx::AnyConnection;
use sqlx::any::AnyRow;
use sqlx::{AssertSqlSafe, Row};
use std::collections::BTreeSet;

/// Most things on a page.
const MOST: u32 = 200;
/// Most words of one thing that a search finds it by.
const MAX_WORDS: usize = 60;

/// What a list is asked for; what is left out does not matter.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Filter {
    /// Things of this kind; determinations if left out.
    pub kind: Option<Kind>,
    /// Begun by this person.
    pub who: Option<String>,
    /// In this status, such as "open".
    pub status: Option<String>,
    /// Resting on this thing: a bottle, a lot (through others, too), a piece of apparatus, a sample, a method.
    pub rests_on: Option<Node>,
    /// With a finding of this code.
    pub finding: Option<String>,
    /// Begun on this day or later.
    pub from: Option<Day>,
    /// Begun on this day or earlier.
    pub to: Option<Day>,
    /// Found by these words: names, titles, what is used. The last one may be a beginning.
    pub search: Option<String>,
    /// Only after this thing, the last of the page before.
    pub after: Option<Cursor>,
    /// How many; 50 if left out, 200 at most.
    pub limit: Option<u32>,
}

/// Where a page ended.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, serde::Deserialize)]
pub struct Cursor {
    /// Moment of the last thing, in milliseconds.
    pub since_ms: i64,
    /// The last thing.
    pub node: Node,
}

/// A line of a list.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Thing {
    /// The thing.
    pub node: Node,
    /// What it is, in words.
    pub title: String,
    /// How it stands.
    pub status: String,
    /// Who began it.
    pub who: String,
    /// When.
    pub since: Moment,
    /// When it last changed, in milliseconds since 1970.
    pub changed_ms: i64,
    /// Events it has.
    pub version: u64,
    /// Last day of use.
    pub use_before: Option<Day>,
    /// What a determination gave, in words.
    pub result: Option<String>,
    /// Whether its rules are kept.
    pub usable: Option<bool>,
}

/// A page of a list.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Page {
    /// The lines, newest first.
    pub things: Vec<Thing>,
    /// Where the next page starts; none if this is the last.
    pub next: Option<Cursor>,
}

const COLUMNS: &str = "t.node, t.title, t.status, t.who, t.since, t.changed_ms, t.version, t.use_before, t.result, t.usable, t.since_ms";

/// A list. The most telling condition leads the query, the others are asked of what it finds.
pub(crate) async fn list(db: &mut AnyConnection, filter: &Filter) -> Result<Page, StoreError> {
    let kind = filter.kind.unwrap_or(Kind::Determination);
    let limit = filter.limit.unwrap_or(50).clamp(1, MOST);
    let mut binds: Vec<Bind> = Vec::new();
    let mut conditions = Vec::new();
    let mut bind = |value: Bind| {
        binds.push(value);
        format!("${}", binds.len())
    };
    let words: Vec<String> = filter
        .search
        .as_deref()
        .map(|text| words([text]).into_iter().collect())
        .unwrap_or_default();
    // `at` is the column by which the leading table gives the newest first.
    let (from, at) = if let Some(node) = &filter.rests_on {
        let n = bind(Bind::Text(node.to_string()));
        conditions.push(format!("e.on_what = {n}"));
        ("edge e JOIN thing t ON t.node = e.what", "e.at_ms")
    } else if let Some(code) = &filter.finding {
        let n = bind(Bind::Text(code.clone()));
        conditions.push(format!("f.code = {n}"));
        (
            "finding f JOIN thing t ON t.node = f.determination",
            "t.since_ms",
        )
    } else if let Some(word) = words.first() {
        let low = bind(Bind::Text(word.clone()));
        let high = bind(Bind::Text(format!("{word}\u{10ffff}")));
        if words.len() > 1 {
            conditions.push(format!("w.word = {low}"));
        } else {
            conditions.push(format!("w.word >= {low} AND w.word < {high}"));
        }
        ("word w JOIN thing t ON t.node = w.node", "w.at_ms")
    } else {
        ("thing t", "t.since_ms")
    };
    let leads_by_finding = filter.rests_on.is_none() && filter.finding.is_some();
    let leads_by_word = filter.rests_on.is_none() && filter.finding.is_none();
    let n = bind(Bind::Text(kind.word().into()));
    conditions.push(format!("t.kind = {n}"));
    if let Some(who) = &filter.who {
        let n = bind(Bind::Text(who.clone()));
        conditions.push(format!("t.who = {n}"));
    }
    if let Some(status) = &filter.status {
        let n = bind(Bind::Text(status.clone()));
        conditions.push(format!("t.status = {n}"));
    }
    if let (Some(code), false) = (&filter.finding, leads_by_finding) {
        let n = bind(Bind::Text(code.clone()));
        conditions.push(format!(
            "EXISTS (SELECT 1 FROM finding f WHERE f.determination = t.node AND f.code = {n})"
        ));
    }
    for (index, word) in words.iter().enumerate() {
        if leads_by_word && index == 0 {
            continue;
        }
        let low = bind(Bind::Text(word.clone()));
        let high = bind(Bind::Text(format!("{word}\u{10ffff}")));
        let last = index + 1 == words.len();
        let test = if last {
            format!("w2.word >= {low} AND w2.word < {high}")
        } else {
            format!("w2.word = {low} AND w2.word < {high}")
        };
        conditions.push(format!(
            "EXISTS (SELECT 1 FROM word w2 WHERE w2.node = t.node AND w2.at_ms = t.since_ms AND {test})"
        ));
    }
    // A day on the wall begins up to a day away from the same day in UTC.
    let day_ms = |day: Day| {
        format!("{day}T00:00:00Z")
            .parse::<Moment>()
            .map_or(0, Moment::milliseconds)
    };
    if let Some(day) = filter.from {
        let n = bind(Bind::Whole(day_ms(day)));
        conditions.push(format!("{at} >= {n}"));
    }
    if let Some(day) = filter.to {
        let n = bind(Bind::Whole(day_ms(day.plus(1))));
        conditions.push(format!("{at} < {n}"));
    }
    if let Some(cursor) = &filter.after {
        let ms = bind(Bind::Whole(cursor.since_ms));
        let node = bind(Bind::Text(cursor.node.to_string()));
        conditions.push(format!(
            "({at} < {ms} OR ({at} = {ms} AND t.node < {node}))"
        ));
    }
    let limit_bind = bind(Bind::Whole(i64::from(limit) + 1));
    // A thing may be found by two threads, or by two words that begin alike.
    let distinct = if at == "t.since_ms" { "" } else { "DISTINCT " };
    let sql = format!(
        "SELECT {distinct}{COLUMNS}{extra} FROM {from} WHERE {} ORDER BY {at} DESC, t.node DESC LIMIT {limit_bind}",
        conditions.join(" AND "),
        extra = if at == "t.since_ms" {
            String::new()
        } else {
            format!(", {at}")
        },
    );
    let mut query = sqlx::query(AssertSqlSafe(sql));
    for value in binds {
        query = match value {
            Bind::Text(text) => query.bind(text),
            Bind::Whole(n) => query.bind(n),
        };
    }
    let rows = query.fetch_all(db).await?;
    let things = rows
        .iter()
        .take(limit as usize)
        .map(thing)
        .collect::<Result<Vec<_>, _>>()?;
    let next = if rows.len() > limit as usize {
        things.last().map(|last| Cursor {
            since_ms: last.since.milliseconds(),
            node: last.node.clone(),
        })
    } else {
        None
    };
    Ok(Page { things, next })
}

enum Bind {
    Text(String),
    Whole(i64),
}

/// One line.
pub(crate) async fn one(db: &mut AnyConnection, node: &Node) -> Result<Option<Thing>, StoreError> {
    let sql = format!("SELECT {COLUMNS} FROM thing t WHERE t.node = $1");
    let row = sqlx::query(AssertSqlSafe(sql))
        .bind(node.to_string())
        .fetch_optional(db)
        .await?;
    row.as_ref().map(thing).transpose()
}

pub(crate) fn thing(row: &AnyRow) -> Result<Thing, StoreError> {
    let damaged = |what: &str| StoreError::Damaged(format!("a list line has an unreadable {what}"));
    let node: String = row.try_get(0)?;
    let since: String = row.try_get(4)?;
    let version: i64 = row.try_get(6)?;
    let use_before: Option<String> = row.try_get(7)?;
    let usable: Option<i64> = small(row, 9)?;
    Ok(Thing {
        node: node.parse().map_err(|_| damaged("name"))?,
        title: row.try_get(1)?,
        status: row.try_get(2)?,
        who: row.try_get(3)?,
        since: since.parse().map_err(|_| damaged("moment"))?,
        changed_ms: row.try_get(5)?,
        version: u64::try_from(version).unwrap_or(0),
        use_before: use_before.and_then(|day| day.parse().ok()),
        result: row.try_get(8)?,
        usable: usable.map(|n| n != 0),
    })
}

/// A SMALLINT, which one database gives as 16 bits and the other as 64.
fn small(row: &AnyRow, at: usize) -> Result<Option<i64>, StoreError> {
    match row.try_get::<Option<i64>, _>(at) {
        Ok(n) => Ok(n),
        Err(_) => Ok(row.try_get::<Option<i16>, _>(at)?.map(i64::from)),
    }
}

/// The words of texts, in lower case; names with strokes and dots count whole and in parts.
pub(crate) fn words<'a>(texts: impl IntoIterator<Item = &'a str>) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for text in texts {
        for whole in text.split(|c: char| c.is_whitespace() || c == ',' || c == ';') {
            let whole = whole.trim_matches(|c: char| !c.is_alphanumeric());
            if whole.is_empty() || found.len() >= MAX_WORDS {
                continue;
            }
            let lower: String = whole.to_lowercase().chars().take(60).collect();
            found.insert(lower);
        }
    }
    found
}

/// What a determination gave, in a few words: the first result, and how many more.
pub(crate) fn in_words(evaluated: &Evaluated) -> Option<String> {
    let first = evaluated.results.first()?;
    let rounded = metrology::rounding::round_to_uncertainty(
        first.value,
        first.expanded_uncertainty,
        2,
        metrology::rounding::TieRule::HalfEven,
    );
    let mut text = match rounded {
        Ok(rounded) => format!("{} {}", rounded.plus_minus, first.unit),
        Err(_) => format!("{:.6e} {}", first.value, first.unit),
    };
    if evaluated.results.len() > 1 {
        text.push_str(&format!(" and {} more", evaluated.results.len() - 1));
    }
    Some(text)
}
