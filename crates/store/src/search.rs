//! Search by words: which words lead a list, and how the others are asked for.
//!
//! The last word may be a beginning. A word that few things have is read whole and sorted. A word that many have is
//! found newest first by its index, as are the few words that a beginning can mean. A beginning that means very many
//! words of very many things is looked for among the newest, where it is soon found.

use crate::error::StoreError;
use crate::list::{Filter, Lead};
use crate::threads;
use notebook::{Kind, Node};
use sqlx::AnyConnection;
use std::collections::BTreeSet;

/// Most words of one thing that a search finds it by.
const MAX_WORDS: usize = 60;
/// Rows of the table of words that are read and sorted at once.
pub(crate) const FEW: i64 = 2_000;
/// Most words that a beginning is taken to mean, each looked up by itself.
const MEANINGS: i64 = 20;

/// The words of texts, in lower case; names with strokes and dots count whole.
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

/// The words of a thing as one text, each between spaces.
pub(crate) fn in_one_text(words: &BTreeSet<String>) -> String {
    let mut text = String::from(" ");
    for word in words {
        text.push_str(word);
        text.push(' ');
    }
    text
}

fn asked(filter: &Filter) -> Vec<String> {
    let text = filter.search.as_deref().unwrap_or_default();
    let mut asked: Vec<String> = Vec::new();
    // In the order in which they were written: the last may be a beginning.
    for part in text.split_whitespace() {
        asked.extend(words([part]));
    }
    asked
}

/// The patterns that the words of a thing must fit, the words that lead included.
pub(crate) fn patterns(filter: &Filter) -> Vec<String> {
    let asked = asked(filter);
    let last = asked.len().saturating_sub(1);
    let pattern = |(index, word): (usize, &String)| {
        let mut pattern = String::from("% ");
        for c in word.chars() {
            if matches!(c, '%' | '_' | '\\') {
                pattern.push('\\');
            }
            pattern.push(c);
        }
        pattern.push_str(if index == last { "%" } else { " %" });
        pattern
    };
    asked.iter().enumerate().map(pattern).collect()
}

/// What comes after every word that begins so.
pub(crate) fn after(beginning: &str) -> String {
    format!("{beginning}\u{10ffff}")
}

/// The kind that is listed.
pub(crate) fn kind(filter: &Filter) -> Kind {
    filter.kind.unwrap_or(Kind::Determination)
}

/// True if things of any kind are looked for by their words.
pub(crate) fn any_kind(filter: &Filter) -> bool {
    filter.any_kind
        && filter.kind.is_none()
        && filter.rests_on.is_none()
        && filter.finding.is_none()
        && !asked(filter).is_empty()
}

/// What leads a list, each with the newest moment that it may find; where there are several, the list is of what any of
/// them finds, and they come with the newest first.
pub(crate) async fn leads(
    db: &mut AnyConnection,
    filter: &Filter,
) -> Result<Vec<(Lead, i64)>, StoreError> {
    let always = |leads: Vec<Lead>| leads.into_iter().map(|lead| (lead, i64::MAX)).collect();
    if let Some(node) = &filter.rests_on {
        return by_thread(db, filter, node).await;
    }
    if let Some(code) = &filter.finding {
        return Ok(always(vec![Lead::Finding(code.clone())]));
    }
    let by_time = || {
        let kinds = match any_kind(filter) {
            true => Kind::ALL,
            false => &[kind(filter)],
        };
        kinds.iter().map(|kind| Lead::Time(*kind)).collect()
    };
    let asked = asked(filter);
    let Some((last, whole)) = asked.split_last() else {
        return Ok(always(by_time()));
    };
    let mut rarest: Option<(i64, Lead)> = None;
    let ranges = whole
        .iter()
        .map(|word| (word.clone(), format!("{word}\u{1}")))
        .chain([(last.clone(), after(last))]);
    for (low, high) in ranges {
        let count = count(db, &low, &high).await?;
        if count < FEW && rarest.as_ref().is_none_or(|(least, _)| count < *least) {
            rarest = Some((count, Lead::Few(low, high)));
        }
    }
    if let Some((_, lead)) = rarest {
        return Ok(always(vec![lead]));
    }
    if let Some(word) = whole.first() {
        return Ok(always(vec![Lead::Word(word.clone())]));
    }
    let meant = meant(db, last).await?;
    if i64::try_from(meant.len()).is_ok_and(|n| n > MEANINGS) {
        return Ok(always(by_time()));
    }
    Ok(always(meant.into_iter().map(Lead::Word).collect()))
}

/// The threads to a thing and to the solutions that rest on it.
async fn by_thread(
    db: &mut AnyConnection,
    filter: &Filter,
    node: &Node,
) -> Result<Vec<(Lead, i64)>, StoreError> {
    let kind = kind(filter);
    let itself = Lead::Thread(node.clone(), true);
    let mut leads = match kind {
        // Their threads lead to all that they rest on.
        Kind::Solution => return Ok(vec![(itself, i64::MAX)]),
        Kind::Determination => vec![(itself, i64::MAX)],
        Kind::Certificate => vec![
            (itself, i64::MAX),
            (Lead::Certified(node.clone(), true), i64::MAX),
        ],
        _ => return Ok(Vec::new()),
    };
    let until = filter.after.as_ref().map_or(i64::MAX, |c| c.since_ms);
    for (bottle, newest) in threads::bottles(db, node, until).await? {
        let lead = match kind {
            Kind::Certificate => Lead::Certified(bottle, false),
            _ => Lead::Thread(bottle, false),
        };
        leads.push((lead, newest));
    }
    Ok(leads)
}

/// Rows of words in a range, counted up to [`FEW`].
async fn count(db: &mut AnyConnection, low: &str, high: &str) -> Result<i64, StoreError> {
    let count: i64 = sqlx::query_scalar(
        "SELECT CAST(COUNT(*) AS BIGINT) FROM
         (SELECT 1 AS one FROM word WHERE word >= $1 AND word < $2 LIMIT $3) AS few",
    )
    .bind(low)
    .bind(high)
    .bind(FEW)
    .fetch_one(db)
    .await?;
    Ok(count)
}

/// The words that begin so, one more than [`MEANINGS`] at most, each found by a jump in the index.
async fn meant(db: &mut AnyConnection, beginning: &str) -> Result<Vec<String>, StoreError> {
    let words: Vec<String> = sqlx::query_scalar(
        "WITH RECURSIVE meant(word) AS (
           SELECT MIN(word) FROM word WHERE word >= $1 AND word < $2
           UNION ALL
           SELECT (SELECT MIN(w.word) FROM word w WHERE w.word > meant.word AND w.word < $2)
           FROM meant WHERE meant.word IS NOT NULL
         )
         SELECT word FROM meant WHERE word IS NOT NULL LIMIT $3",
    )
    .bind(beginning)
    .bind(after(beginning))
    .bind(MEANINGS + 1)
    .fetch_all(db)
    .await?;
    Ok(words)
}
