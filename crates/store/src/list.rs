//! Lists, search and filters: one page at a time, newest first.

use crate::error::StoreError;
use crate::search;
use crate::threads;
use notebook::graph::How;
use notebook::payload::{Evaluated, Stated};
use notebook::{Day, Kind, Moment, Node};
use serde::Serialize;
use sqlx::AnyConnection;
use sqlx::any::AnyRow;
use sqlx::{AssertSqlSafe, Row};

/// Most things on a page.
const MOST: u32 = 200;

/// What a list is asked for; what is left out does not matter.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Filter {
    /// Things of this kind; determinations if left out.
    pub kind: Option<Kind>,
    /// Where words are searched: things of any kind.
    pub any_kind: bool,
    /// Begun by this person.
    pub who: Option<String>,
    /// In this status, such as "open".
    pub status: Option<String>,
    /// Resting on this thing, at once or through others: as its trace gives it.
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

const COLUMNS: &str = "t.node, t.title, t.status, t.who, t.since, t.changed_ms, t.version, t.use_before, t.result, t.usable";

/// A list. The most telling condition leads the query by an index that gives the newest first, the others are asked of
/// what it finds; so a page costs what it looks at, however large the record is. Where several lead, those follow that may
/// still hold something newer than what was found.
pub(crate) async fn list(db: &mut AnyConnection, filter: &Filter) -> Result<Page, StoreError> {
    let limit = filter.limit.unwrap_or(50).min(MOST);
    let mut found: Vec<(i64, Thing)> = Vec::new();
    for (lead, newest) in search::leads(db, filter).await? {
        if found
            .get(limit as usize)
            .is_some_and(|(at, _)| *at > newest)
        {
            break;
        }
        let (sql, binds) = query(filter, &lead, limit);
        let mut query = sqlx::query(AssertSqlSafe(sql));
        for value in binds {
            query = match value {
                Bind::Text(text) => query.bind(text),
                Bind::Whole(n) => query.bind(n),
            };
        }
        for row in query.fetch_all(&mut *db).await? {
            let at: i64 = row.try_get(10)?;
            found.push((at, thing(&row)?));
        }
        found.sort_by(|(a, one), (b, other)| {
            let by_name = || other.node.to_string().cmp(&one.node.to_string());
            b.cmp(a).then_with(by_name)
        });
        // A thing may be found by two leads.
        let mut seen = std::collections::HashSet::new();
        found.retain(|(_, thing)| seen.insert(thing.node.clone()));
    }
    if found.is_empty() && filter.after.is_none() {
        crate::known::ask(db, filter).await?;
    }
    let more = found.len() > limit as usize;
    found.truncate(limit as usize);
    let next = found.last().filter(|_| more).map(|(at, last)| Cursor {
        since_ms: *at,
        node: last.node.clone(),
    });
    let things = found.into_iter().map(|(_, thing)| thing).collect();
    Ok(Page { things, next })
}

/// What a list is found by.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Lead {
    /// The threads to a thing; of those to another than was asked for, not those of who only seeks what is in it.
    Thread(Node, bool),
    /// The certificates of the determinations that these threads lead to.
    Certified(Node, bool),
    /// A finding.
    Finding(String),
    /// A word as it stands.
    Word(String),
    /// Words of which there are few, from one up to before another.
    Few(String, String),
    /// Nothing but the time.
    Time(Kind),
}

/// The query of a page and its values.
fn query(filter: &Filter, lead: &Lead, limit: u32) -> (String, Vec<Bind>) {
    let mut binds: Vec<Bind> = Vec::new();
    let mut conditions = Vec::new();
    let mut bind = |value: Bind| {
        binds.push(value);
        format!("${}", binds.len())
    };
    // The columns by which the leading table gives the newest first. The first table leads: a cross join is not
    // turned round.
    let (from, at, node) = match lead {
        Lead::Thread(node, asked) | Lead::Certified(node, asked) => {
            let certified = matches!(lead, Lead::Certified(..));
            let n = bind(Bind::Text(node.to_string()));
            conditions.push(format!("e.on_what = {n}"));
            let kind = if certified {
                Kind::Determination
            } else {
                search::kind(filter)
            };
            let (low, high) = threads::range(kind);
            let (low, high) = (bind(Bind::Text(low)), bind(Bind::Text(high)));
            conditions.push(format!("e.what >= {low} AND e.what < {high}"));
            // Of several threads between two things, one.
            let seeks = How::Seeks.word();
            let (mine, others) = if *asked {
                (String::new(), String::new())
            } else {
                (
                    format!(" AND e.how <> '{seeks}'"),
                    format!(" AND o.how <> '{seeks}'"),
                )
            };
            conditions.push(format!(
                "NOT EXISTS (SELECT 1 FROM edge o WHERE o.what = e.what AND o.on_what = e.on_what AND o.how > e.how{others}){mine}"
            ));
            if certified {
                let states = How::States.word();
                conditions.push(format!("s.on_what = e.what AND s.how = '{states}'"));
                let from = "edge e CROSS JOIN edge s CROSS JOIN thing t".to_string();
                (from, "e.at_ms", "s.what")
            } else {
                ("edge e CROSS JOIN thing t".to_string(), "e.at_ms", "e.what")
            }
        }
        Lead::Finding(code) => {
            let n = bind(Bind::Text(code.clone()));
            conditions.push(format!("f.code = {n}"));
            (
                "finding f CROSS JOIN thing t".to_string(),
                "f.at_ms",
                "f.determination",
            )
        }
        Lead::Word(word) => {
            let n = bind(Bind::Text(word.clone()));
            conditions.push(format!("w.word = {n}"));
            ("word w CROSS JOIN thing t".to_string(), "w.at_ms", "w.node")
        }
        Lead::Few(low, high) => {
            let low = bind(Bind::Text(low.clone()));
            let high = bind(Bind::Text(high.clone()));
            let few = search::FEW;
            (
                format!(
                    "(SELECT DISTINCT node, at_ms FROM word WHERE word >= {low} AND word < {high} LIMIT {few}) w
                     CROSS JOIN thing t"
                ),
                "w.at_ms",
                "w.node",
            )
        }
        Lead::Time(_) => ("thing t".to_string(), "t.since_ms", "t.node"),
    };
    let by_time = matches!(lead, Lead::Time(_));
    if !by_time {
        conditions.push(format!("t.node = {node}"));
    }
    let kind = match lead {
        Lead::Time(kind) => Some(*kind),
        _ if search::any_kind(filter) => None,
        _ => Some(search::kind(filter)),
    };
    if let Some(kind) = kind {
        let n = bind(Bind::Text(kind.word().into()));
        conditions.push(format!("t.kind = {n}"));
    }
    if let Some(who) = &filter.who {
        let n = bind(Bind::Text(who.clone()));
        conditions.push(format!("t.who = {n}"));
    }
    if let Some(status) = &filter.status {
        let n = bind(Bind::Text(status.clone()));
        conditions.push(format!("t.status = {n}"));
    }
    if let Some(code) = filter
        .finding
        .as_ref()
        .filter(|_| !matches!(lead, Lead::Finding(_)))
    {
        let n = bind(Bind::Text(code.clone()));
        conditions.push(format!(
            "EXISTS (SELECT 1 FROM finding g WHERE g.determination = t.node AND g.code = {n})"
        ));
    }
    for pattern in search::patterns(filter) {
        let n = bind(Bind::Text(pattern));
        conditions.push(format!("t.words LIKE {n} ESCAPE '\\'"));
    }
    // A day on the wall begins up to a day away from the same day in UTC.
    let day_ms = |day: Day| {
        format!("{day}T00:00:00Z")
            .parse::<Moment>()
            .map_or(0, Moment::milliseconds)
    };
    // What leads to a certificate bears the time of its determination.
    let began = match lead {
        Lead::Certified(..) => "t.since_ms",
        _ => at,
    };
    if let Some(day) = filter.from {
        let n = bind(Bind::Whole(day_ms(day)));
        conditions.push(format!("{began} >= {n}"));
    }
    if let Some(day) = filter.to {
        let n = bind(Bind::Whole(day_ms(day.plus(1))));
        conditions.push(format!("{began} < {n}"));
    }
    if let Some(cursor) = &filter.after {
        let ms = bind(Bind::Whole(cursor.since_ms));
        let name = bind(Bind::Text(cursor.node.to_string()));
        // The first condition says the same, for the index.
        conditions.push(format!(
            "{at} <= {ms} AND ({at} < {ms} OR ({at} = {ms} AND {node} < {name}))"
        ));
    }
    let limit = bind(Bind::Whole(i64::from(limit) + 1));
    let sql = format!(
        "SELECT {COLUMNS}, {at} FROM {from} WHERE {} ORDER BY {at} DESC, {node} DESC LIMIT {limit}",
        conditions.join(" AND "),
    );
    (sql, binds)
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

/// What a determination gave, in a few words: the first result, and how many more.
pub(crate) fn in_words(evaluated: &Evaluated) -> Option<String> {
    let mut text = one_in_words(evaluated.results.first()?);
    if evaluated.results.len() > 1 {
        text.push_str(&format!(" and {} more", evaluated.results.len() - 1));
    }
    Some(text)
}

/// A result with its expanded uncertainty, rounded.
pub(crate) fn one_in_words(result: &Stated) -> String {
    let rounded = metrology::rounding::round_to_uncertainty(
        result.value,
        result.expanded_uncertainty,
        2,
        metrology::rounding::TieRule::HalfEven,
    );
    match rounded {
        Ok(rounded) => format!("{} {}", rounded.plus_minus, result.unit),
        Err(_) => format!("{:.6e} {}", result.value, result.unit),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use sqlx::Connection;

    /// A beginning that many words of many things have, and a word that many have, are found newest first.
    #[tokio::test]
    async fn words_that_many_have_are_found_newest_first() {
        let folder = std::env::temp_dir().join(format!("halfdrop-words-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let place = folder.join("bench.record");
        let first = "2026-03-09T08:00:00+01:00".parse().unwrap();
        let store = crate::build_demo(place.to_str().unwrap(), 1, first)
            .await
            .unwrap();
        let mut db = store.pool().acquire().await.unwrap();
        let count = search::FEW + 1_000;
        for sql in [
            format!(
                "WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < {count})
                 INSERT INTO thing (node, kind, name, title, status, who, since_ms, since, changed_ms, version, words)
                 SELECT 'determination/item-' || (10000 + i), 'determination', 'item-' || (10000 + i), 'common', 'open', 'x', i,
                 '1970-01-01T00:00:00.000+00:00', i, 1,
                 ' common item-' || (10000 + i) || CASE WHEN i % 3 = 0 THEN ' third ' ELSE ' ' END FROM n"
            ),
            "INSERT INTO word (word, node, at_ms) SELECT 'common', node, since_ms FROM thing WHERE title = 'common'".into(),
            "INSERT INTO word (word, node, at_ms) SELECT name, node, since_ms FROM thing WHERE title = 'common'".into(),
            "INSERT INTO word (word, node, at_ms) SELECT 'third', node, since_ms FROM thing WHERE words LIKE '% third %'".into(),
        ] {
            sqlx::query(AssertSqlSafe(sql)).execute(&mut *db).await.unwrap();
        }
        drop(db);
        let lowest = 10_000;
        let highest = lowest + count;
        let names = |numbers: &mut dyn Iterator<Item = i64>| -> Vec<String> {
            numbers.take(5).map(|n| format!("item-{n}")).collect()
        };
        for (text, expected) in [
            ("common", names(&mut (lowest..=highest).rev())),
            ("comm", names(&mut (lowest..=highest).rev())),
            ("item-", names(&mut (lowest..=highest).rev())),
            ("common item-", names(&mut (lowest..=highest).rev())),
            (
                "common th",
                names(&mut (lowest..=highest).rev().filter(|n| (n - lowest) % 3 == 0)),
            ),
            ("common item-10017", names(&mut [10_017].into_iter())),
            ("item-10017", names(&mut [10_017].into_iter())),
            ("commonx", vec![]),
            ("item-10017 third", vec![]),
        ] {
            let mut found = Vec::new();
            let mut after = None;
            // Over two pages.
            for limit in [2, 3] {
                let filter = Filter {
                    search: Some(text.into()),
                    limit: Some(limit),
                    after: after.take(),
                    ..Filter::default()
                };
                let page = store.list(&filter).await.unwrap();
                found.extend(page.things.iter().map(|t| t.node.name().to_string()));
                after = page.next;
                if after.is_none() {
                    break;
                }
            }
            assert_eq!(found, expected, "{text}");
        }
        store.close().await;
        std::fs::remove_dir_all(&folder).unwrap();
    }

    /// No list reads a table from end to end or sorts more than a few rows: asked of SQLite's own plan.
    #[tokio::test]
    async fn no_list_scans_or_sorts_a_table() {
        let folder = std::env::temp_dir().join(format!("halfdrop-plans-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let place = folder.join("bench.record");
        let place = place.to_str().unwrap();
        let first = "2026-03-09T08:00:00+01:00".parse().unwrap();
        crate::build_demo(place, 1, first)
            .await
            .unwrap()
            .close()
            .await;
        sqlx::any::install_default_drivers();
        let mut db = AnyConnection::connect(&format!("sqlite://{place}"))
            .await
            .unwrap();
        let bottle: Node = "solution/T-0123".parse().unwrap();
        let leads = [
            Lead::Thread(bottle.clone(), true),
            Lead::Thread(bottle.clone(), false),
            Lead::Certified(bottle.clone(), true),
            Lead::Finding("run-set-aside".into()),
            Lead::Word("vinegar".into()),
            Lead::Few("vin".into(), search::after("vin")),
            Lead::Time(Kind::Determination),
        ];
        let everything = Filter {
            who: Some("sorrel".into()),
            status: Some("approved".into()),
            rests_on: Some(bottle),
            finding: Some("run-set-aside".into()),
            from: Some("2026-03-01".parse().unwrap()),
            to: Some("2026-04-01".parse().unwrap()),
            search: Some("vinegar v-2".into()),
            after: Some(Cursor {
                since_ms: 5,
                node: "determination/D-0003".parse().unwrap(),
            }),
            ..Filter::default()
        };
        for lead in &leads {
            for filter in [&Filter::default(), &everything] {
                let (sql, binds) = query(filter, lead, 50);
                let mut plan = sqlx::query(AssertSqlSafe(format!("EXPLAIN QUERY PLAN {sql}")));
                for value in binds {
                    plan = match value {
                        Bind::Text(text) => plan.bind(text),
                        Bind::Whole(n) => plan.bind(n),
                    };
                }
                let steps: Vec<String> = plan
                    .fetch_all(&mut db)
                    .await
                    .unwrap()
                    .iter()
                    .map(|row| row.get::<String, _>(3))
                    .collect();
                let few = matches!(lead, Lead::Few(..));
                for step in &steps {
                    let scans = step.starts_with("SCAN") && !(few && step == "SCAN w");
                    // The few certificates of one determination are put in order among themselves.
                    let few =
                        few || matches!(lead, Lead::Certified(..)) && step.ends_with("OF ORDER BY");
                    let sorts = step.contains("TEMP B-TREE") && !few;
                    assert!(!scans && !sorts, "{lead:?}: {steps:?}\n{sql}");
                }
                assert!(!steps.is_empty());
                if let Lead::Thread(..) = lead {
                    let few = |s: &String| s.starts_with("SEARCH o ") && s.contains("(what=?");
                    assert!(steps.iter().any(few), "{steps:?}");
                    // Whose it is, is seen in an index: of many that rest on a thing, few rows are read.
                    if filter.who.is_some() {
                        let whose =
                            |s: &String| s.contains("thing_whose (node=? AND kind=? AND who=?)");
                        assert!(steps.iter().any(whose), "{steps:?}");
                    }
                }
            }
        }
        db.close().await.unwrap();
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
