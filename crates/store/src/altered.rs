//! What was altered of an event, told as exactly as what stands around it allows.

use crate::check::Broken;
use crate::error::StoreError;
use crate::project::int;
use notebook::{Hash, Head, Moment};
use sqlx::{AnyConnection, Row};

/// One event as the table holds it.
pub(crate) struct Line {
    pub(crate) number: i64,
    pub(crate) stream: String,
    pub(crate) version: i64,
    pub(crate) kind: String,
    pub(crate) body: String,
    pub(crate) hash: String,
}

impl Line {
    /// Which event it is, in brackets.
    pub(crate) fn told(&self) -> String {
        told(&self.body, &self.kind, &self.stream)
    }
}

/// Which event a body is, as far as it can be read, in brackets.
pub(crate) fn told(body: &str, kind: &str, stream: &str) -> String {
    let read = serde_json::from_str::<serde_json::Value>(body).unwrap_or_default();
    let member = |name: &str| read.get(name).and_then(serde_json::Value::as_str);
    let mut text = format!(
        " ({} of {}",
        member("kind").unwrap_or(kind),
        member("stream").unwrap_or(stream)
    );
    if let Some(who) = member("who") {
        text.push_str(&format!(", by {who}"));
    }
    if let Some(day) = member("at").and_then(|at| at.parse::<Moment>().ok()) {
        text.push_str(&format!(", {}", day.day()));
    }
    text.push(')');
    text
}

/// What does not fit.
pub(crate) enum Wrong {
    /// It cannot be read, for this reason.
    Unread(String),
    /// It is not there; the next one has this number.
    Missing(i64),
    /// Its hash is not that of its content.
    Content,
    /// It names another event before it than the one that is there.
    Before,
    /// A column says something else than the content.
    Column(String),
}

/// Hash and time of an event that is as it was written, or what does not fit.
pub(crate) fn compare(
    line: &Line,
    expected: u64,
    previous: Hash,
) -> Result<(Hash, Option<i64>), Wrong> {
    if line.number != int(expected) {
        return Err(Wrong::Missing(line.number));
    }
    let hash = Hash::of(line.body.as_bytes());
    if hash.to_string() != line.hash {
        return Err(Wrong::Content);
    }
    let head = Head::read(&line.body)
        .map_err(|error| Wrong::Unread(format!("it is {error}, although its hash fits")))?;
    if head.previous != previous.to_string() {
        return Err(Wrong::Before);
    }
    for (what, column, inside) in [
        ("stream", line.stream.as_str(), &*head.stream),
        ("kind", line.kind.as_str(), &*head.kind),
    ] {
        if column != inside {
            return Err(Wrong::Column(format!(
                "its {what} in the table is \"{column}\", in the event \"{inside}\""
            )));
        }
    }
    if line.version != int(head.stream_version) {
        return Err(Wrong::Column(format!(
            "its version in the table is {}, in the event {}",
            line.version, head.stream_version
        )));
    }
    if head.number != expected {
        return Err(Wrong::Column(format!(
            "it says that it is number {}",
            head.number
        )));
    }
    Ok((
        hash,
        head.at.parse::<Moment>().ok().map(Moment::milliseconds),
    ))
}

/// Where the chain breaks, by what stands around the event that does not fit; and how many events are as they were written.
pub(crate) async fn broken(
    db: &mut AnyConnection,
    lite: bool,
    wrong: Wrong,
    line: Option<&Line>,
    number: u64,
) -> Result<(Broken, u64), StoreError> {
    let told = line.map(Line::told).unwrap_or_default();
    let here = |what: String| Ok((Broken { number, what }, number - 1));
    match wrong {
        Wrong::Unread(what) | Wrong::Column(what) => here(format!("{what}{told}")),
        Wrong::Missing(next) => here(format!(
            "it is missing; the next one there is event {next}{told}"
        )),
        Wrong::Content => {
            let named = named_after(db, lite, number).await?;
            let content = line.map(|line| Hash::of(line.body.as_bytes()).to_string());
            let which = match (&named, line, content) {
                (Some((by, named)), Some(line), _) if *named == line.hash => {
                    format!(
                        "its content was altered; {by} still names the hash that stands beside it"
                    )
                }
                (Some((by, named)), _, Some(content)) if *named == content => {
                    format!(
                        "the hash beside it was altered; its content is the one that {by} names"
                    )
                }
                _ => "its content or its hash was altered".into(),
            };
            here(format!("{which}{told}"))
        }
        Wrong::Before => {
            let named = named_after(db, lite, number).await?;
            let own = line.map(|line| line.hash.as_str());
            let stands = named.as_ref().map(|(_, hash)| hash.as_str()) == own && own.is_some();
            match rows(db, lite, number.saturating_sub(2), 1).await?.pop() {
                // What comes after vouches for this one: the one before is another than it was.
                Some(Ok(before)) if stands && number > 1 => Ok((
                    Broken {
                        number: number - 1,
                        what: format!(
                            "it was replaced and its hash made anew{}; event {number} names another",
                            before.told()
                        ),
                    },
                    number - 2,
                )),
                _ => here(format!(
                    "it does not follow on the event before: it, or that one, was replaced and its hash made anew{told}"
                )),
            }
        }
    }
}

/// What comes after an event, in words, and the hash that it names.
async fn named_after(
    db: &mut AnyConnection,
    lite: bool,
    number: u64,
) -> Result<Option<(String, String)>, StoreError> {
    if let Some(Ok(next)) = rows(db, lite, number, 1).await?.pop() {
        let named = Head::read(&next.body).map(|head| head.previous.into_owned());
        return Ok(named
            .ok()
            .map(|hash| (format!("event {}", next.number), hash)));
    }
    let end: Option<String> =
        sqlx::query_scalar("SELECT hash FROM chain_end WHERE one = 1 AND number = $1")
            .bind(int(number))
            .fetch_optional(db)
            .await?;
    Ok(end.map(|hash| ("the end of the chain".to_string(), hash)))
}

/// The next rows after a number, each as it is or why it cannot be read.
pub(crate) async fn rows(
    db: &mut AnyConnection,
    lite: bool,
    after: u64,
    most: u64,
) -> Result<Vec<Result<Line, String>>, StoreError> {
    // A damaged file may hold anything in a column: as bytes it can be looked at.
    let sql = match lite {
        true => {
            "SELECT number, CAST(stream AS BLOB), stream_version, CAST(kind AS BLOB), CAST(body AS BLOB),
             CAST(hash AS BLOB), typeof(stream) || ' ' || typeof(kind) || ' ' || typeof(body) || ' ' || typeof(hash)
             FROM event WHERE number > $1 ORDER BY number LIMIT $2"
        }
        false => {
            "SELECT number, convert_to(stream, 'UTF8'), stream_version, convert_to(kind, 'UTF8'),
             convert_to(body, 'UTF8'), convert_to(hash, 'UTF8'), 'text text text text'
             FROM event WHERE number > $1 ORDER BY number LIMIT $2"
        }
    };
    let rows = sqlx::query(sql)
        .bind(int(after))
        .bind(int(most))
        .fetch_all(db)
        .await?;
    Ok(rows.iter().map(line).collect())
}

fn line(row: &sqlx::any::AnyRow) -> Result<Line, String> {
    let kinds: String = row.try_get(6).unwrap_or_default();
    let kinds: Vec<&str> = kinds.split(' ').collect();
    let text = |at: usize, kind: usize, what: &str| {
        let is = kinds.get(kind).copied().unwrap_or_default();
        if is != "text" {
            return Err(format!("its {what} is no text in the table ({is})"));
        }
        let bytes: Vec<u8> = row
            .try_get(at)
            .map_err(|_| format!("its {what} cannot be read"))?;
        String::from_utf8(bytes).map_err(|error| {
            let at = error.utf8_error().valid_up_to();
            format!("its {what} is not valid UTF-8 from byte {} on", at + 1)
        })
    };
    let whole = |at: usize, what: &str| {
        row.try_get::<i64, _>(at)
            .map_err(|_| format!("its {what} in the table is no whole number"))
    };
    let (stream, kind) = (text(1, 0, "stream"), text(3, 1, "kind"));
    let which = match (&stream, &kind) {
        (Ok(stream), Ok(kind)) => format!(" ({kind} of {stream})"),
        _ => String::new(),
    };
    let (body, hash) = (text(4, 2, "content"), text(5, 3, "hash"));
    let named = |error: String| format!("{error}{which}");
    Ok(Line {
        number: whole(0, "number").map_err(named)?,
        version: whole(2, "version").map_err(named)?,
        body: body.map_err(named)?,
        hash: hash.map_err(named)?,
        stream: stream?,
        kind: kind?,
    })
}
