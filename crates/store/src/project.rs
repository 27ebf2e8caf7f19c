//! Projections: what lists and searches read, made from the events in the same transaction.
//!
//! Everything here is a function of the event and of what earlier events left in these tables, so that making them again
//! from the events gives the same rows.

use crate::error::StoreError;
use crate::search;
use notebook::cascade;
use notebook::graph::{self, How};
use notebook::payload::{Evaluated, KnownBy, Payload, Piece, Plan};
use notebook::{Event, Kind, Node};
use sqlx::AnyConnection;

/// The tables made from events.
pub(crate) const TABLES: &[&str] = &[
    "command_taken",
    "thing",
    "edge",
    "finding",
    "result",
    "scatter",
    "word",
    "notice",
    "unsettled",
];

/// How a determination rests on the lots that its solutions were standardized with.
pub(crate) const CARRIED: &str = "rests, through others, on";

/// Writes what an event changes.
pub(crate) async fn project(tx: &mut AnyConnection, event: &Event) -> Result<(), StoreError> {
    thing(tx, event).await?;
    edges(tx, event).await?;
    match &event.payload {
        Payload::DeterminationClosed(p) => results(tx, event, p.evaluated.as_ref()).await?,
        Payload::DeterminationApproved(p) => {
            results(tx, event, p.evaluated.as_ref()).await?;
            // Approved anew, after others already rest on it: they are to be computed again.
            if rests(tx, &event.stream).await? {
                unsettled(tx, event).await?;
            }
        }
        Payload::DeterminationRecomputed(p) => {
            if p.now.is_some() {
                results(tx, event, p.now.as_ref()).await?;
            }
            let text = match (&p.now, p.flips) {
                (None, _) => "cannot be computed any more after a correction",
                (Some(_), true) => {
                    "comes out otherwise after a correction, and its verdict changes"
                }
                (Some(_), false) => "comes out otherwise after a correction",
            };
            notify_people(tx, event, text).await?;
        }
        Payload::CorrectionSettled(p) => {
            sqlx::query("DELETE FROM unsettled WHERE number = $1")
                .bind(int(p.because))
                .execute(&mut *tx)
                .await?;
        }
        payload if cascade::corrects(payload) => unsettled(tx, event).await?,
        _ => {}
    }
    Ok(())
}

/// Remembers that the command with this key was taken.
pub(crate) async fn command_taken(
    tx: &mut AnyConnection,
    key: &str,
    number: u64,
) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO command_taken (command_key, first_event, last_event) VALUES ($1, $2, $2)
         ON CONFLICT (command_key) DO UPDATE SET last_event = excluded.last_event",
    )
    .bind(key)
    .bind(int(number))
    .execute(tx)
    .await?;
    Ok(())
}

pub(crate) fn int(n: u64) -> i64 {
    i64::try_from(n).unwrap_or(i64::MAX)
}

async fn unsettled(tx: &mut AnyConnection, event: &Event) -> Result<(), StoreError> {
    sqlx::query("INSERT INTO unsettled (number) VALUES ($1)")
        .bind(int(event.number))
        .execute(tx)
        .await?;
    Ok(())
}

async fn rests(tx: &mut AnyConnection, node: &Node) -> Result<bool, StoreError> {
    let count: i64 = sqlx::query_scalar(
        "SELECT CAST(COUNT(*) AS BIGINT) FROM edge WHERE on_what = $1 AND how = $2",
    )
    .bind(node.to_string())
    .bind(How::ResultOf.word())
    .fetch_one(tx)
    .await?;
    Ok(count > 0)
}

/// What a list says of a thing when it begins: title, further words to find it by.
fn beginning(payload: &Payload) -> Option<(String, Vec<String>, Option<String>)> {
    let day = |day: Option<notebook::Day>| day.map(|d| d.to_string());
    Some(match payload {
        Payload::RecordOpened(p) => (p.name.clone(), vec![], None),
        Payload::PersonAdded(p) => (p.name.clone(), vec![], None),
        Payload::LotReceived(p) => (
            p.substance.clone(),
            p.makers_lot.iter().cloned().collect(),
            day(p.expires),
        ),
        Payload::ApparatusRegistered(p) => {
            let title = match &p.piece {
                Piece::Glass(spec) => spec.catalogue().to_string(),
                Piece::Balance(titrimetry::sheet::BalanceSpec::Name(name)) => name.clone(),
                Piece::Balance(titrimetry::sheet::BalanceSpec::Own(own)) => {
                    format!("balance, {}", own.readability)
                }
            };
            (title, vec![], day(p.due))
        }
        Payload::SolutionPrepared(p) => (
            format!("{}, {}", p.substance, p.nominal),
            vec![],
            day(p.use_before),
        ),
        Payload::SampleReceived(p) => (p.what.clone(), p.from.iter().cloned().collect(), None),
        Payload::MethodAdopted(p) => (p.method.title.clone(), vec![], None),
        Payload::RulesAdopted(p) => (p.profile.purpose.clone(), vec![], None),
        Payload::DeterminationOpened(p) => {
            let named = graph::references(payload)
                .iter()
                .map(|node| node.name().to_string())
                .collect();
            (p.title.clone(), named, None)
        }
        Payload::CertificateIssued(p) => (
            format!("certificate of {}", p.determination.name()),
            vec![p.determination.name().to_string()],
            day(p.use_before),
        ),
        _ => return None,
    })
}

/// What becomes of a thing's status by an event that does not begin it.
fn status(payload: &Payload) -> Option<&'static str> {
    Some(match payload {
        Payload::RecordShared(_) => "shared",
        Payload::PersonLeft(_) => "left",
        Payload::LotOpened(_) => "opened",
        Payload::LotDiscarded(_) | Payload::SolutionDiscarded(_) | Payload::SampleDiscarded(_) => {
            "gone"
        }
        Payload::ApparatusOutOfService(_) => "out of service",
        Payload::ApparatusReturned(_) => "in use",
        Payload::SolutionToppedUp(_) => "topped up",
        Payload::SolutionStandardized(_) => "standardized",
        Payload::MethodAdopted(_) | Payload::RulesAdopted(_) => "in use",
        Payload::MethodWithdrawn(_)
        | Payload::RulesWithdrawn(_)
        | Payload::CertificateWithdrawn(_) => "withdrawn",
        Payload::DeterminationClosed(_) => "closed",
        Payload::DeterminationReopened(_) => "open",
        Payload::DeterminationGivenUp(_) => "given up",
        Payload::DeterminationReviewed(p) if p.accepted => "reviewed",
        Payload::DeterminationApproved(_) => "approved",
        Payload::CertificateSuperseded(_) => "superseded",
        _ => return None,
    })
}

fn first_status(kind: Kind) -> &'static str {
    match kind {
        Kind::Determination => "open",
        Kind::Certificate => "current",
        Kind::Lot => "unopened",
        Kind::Solution => "not standardized",
        Kind::Sample => "here",
        Kind::Person => "here",
        Kind::Record => "one person",
        Kind::Apparatus | Kind::Method | Kind::Rules | Kind::Access => "in use",
    }
}

async fn thing(tx: &mut AnyConnection, event: &Event) -> Result<(), StoreError> {
    let node = event.stream.to_string();
    let at = event.at.milliseconds();
    if event.stream_version == 1
        && let Some((title, words, use_before)) = beginning(&event.payload)
    {
        let texts = [title.as_str(), event.stream.name()]
            .into_iter()
            .chain(words.iter().map(String::as_str));
        let words = search::words(texts);
        sqlx::query(
            "INSERT INTO thing (node, kind, name, title, status, who, since_ms, since, changed_ms, version, use_before,
             own_use_before, words) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $7, 1, $9, $9, $10)",
        )
        .bind(&node)
        .bind(event.stream.kind().word())
        .bind(event.stream.name())
        .bind(&title)
        .bind(first_status(event.stream.kind()))
        .bind(&event.who)
        .bind(at)
        .bind(event.at.to_string())
        .bind(use_before)
        .bind(search::in_one_text(&words))
        .execute(&mut *tx)
        .await?;
        for word in words {
            sqlx::query("INSERT INTO word (word, node, at_ms) VALUES ($1, $2, $3)")
                .bind(word)
                .bind(&node)
                .bind(at)
                .execute(&mut *tx)
                .await?;
        }
        return Ok(());
    }
    let use_before = use_before(tx, event).await?;
    sqlx::query(
        "UPDATE thing SET changed_ms = $2, version = $3, status = COALESCE($4, status),
         use_before = COALESCE($5, use_before) WHERE node = $1",
    )
    .bind(&node)
    .bind(at)
    .bind(int(event.stream_version))
    .bind(status(&event.payload))
    .bind(use_before)
    .execute(tx)
    .await?;
    Ok(())
}

/// The last day of use that an event brings: its own, or the thing's own if that comes sooner.
async fn use_before(tx: &mut AnyConnection, event: &Event) -> Result<Option<String>, StoreError> {
    let (new, replaces) = match &event.payload {
        Payload::LotOpened(p) => (p.expires, false),
        Payload::ApparatusCalibrated(p) => (p.due, true),
        Payload::SolutionStandardized(p) => (p.use_before, false),
        _ => return Ok(None),
    };
    let Some(new) = new.map(|day| day.to_string()) else {
        return Ok(None);
    };
    if replaces {
        return Ok(Some(new));
    }
    let own: Option<String> =
        sqlx::query_scalar("SELECT own_use_before FROM thing WHERE node = $1")
            .bind(event.stream.to_string())
            .fetch_optional(tx)
            .await?
            .flatten();
    Ok(Some(own.map_or(new.clone(), |own| own.min(new))))
}

async fn edges(tx: &mut AnyConnection, event: &Event) -> Result<(), StoreError> {
    for edge in graph::edges(event) {
        sqlx::query(
            "INSERT INTO edge (what, on_what, how, at_ms) VALUES ($1, $2, $3, $4)
             ON CONFLICT (what, on_what, how) DO NOTHING",
        )
        .bind(edge.what.to_string())
        .bind(edge.on.to_string())
        .bind(edge.how.word())
        .bind(event.at.milliseconds())
        .execute(&mut *tx)
        .await?;
        if edge.how == How::ResultOf {
            // So that a list by lot finds what rests on it through others.
            sqlx::query(
                "INSERT INTO edge (what, on_what, how, at_ms)
                 SELECT DISTINCT CAST($1 AS TEXT), on_what, CAST($2 AS TEXT), CAST($3 AS BIGINT) FROM edge
                 WHERE what = $4 AND how IN ($2, $5)
                 ON CONFLICT (what, on_what, how) DO NOTHING",
            )
            .bind(edge.what.to_string())
            .bind(CARRIED)
            .bind(event.at.milliseconds())
            .bind(edge.on.to_string())
            .bind(How::KnownBy.word())
            .execute(&mut *tx)
            .await?;
        }
    }
    Ok(())
}

async fn results(
    tx: &mut AnyConnection,
    event: &Event,
    evaluated: Option<&Evaluated>,
) -> Result<(), StoreError> {
    let Some(evaluated) = evaluated else {
        return Ok(());
    };
    let node = event.stream.to_string();
    let at = event.at.milliseconds();
    for sql in [
        "DELETE FROM finding WHERE determination = $1",
        "DELETE FROM result WHERE determination = $1",
        "DELETE FROM scatter WHERE determination = $1",
    ] {
        sqlx::query(sql).bind(&node).execute(&mut *tx).await?;
    }
    for code in &evaluated.findings {
        sqlx::query(
            "INSERT INTO finding (determination, code, at_ms)
             SELECT node, CAST($2 AS TEXT), since_ms FROM thing WHERE node = $1",
        )
            .bind(&node)
            .bind(code)
            .execute(&mut *tx)
            .await?;
    }
    for (place, result) in (0_i64..).zip(&evaluated.results) {
        sqlx::query(
            "INSERT INTO result (determination, place, of_what, name, unit, value, standard_uncertainty,
             expanded_uncertainty, coverage_factor, conforms, at_ms)
             VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)",
        )
        .bind(&node)
        .bind(place)
        .bind(result.of.to_string())
        .bind(&result.name)
        .bind(&result.unit)
        .bind(result.value)
        .bind(result.standard_uncertainty)
        .bind(result.expanded_uncertainty)
        .bind(result.coverage_factor)
        .bind(result.conforms.map(i64::from))
        .bind(at)
        .execute(&mut *tx)
        .await?;
    }
    let words = crate::list::in_words(evaluated);
    sqlx::query("UPDATE thing SET result = $2, usable = $3 WHERE node = $1")
        .bind(&node)
        .bind(words)
        .bind(i64::from(evaluated.usable))
        .execute(&mut *tx)
        .await?;
    scatter(tx, &node, evaluated).await
}

async fn scatter(
    tx: &mut AnyConnection,
    node: &str,
    evaluated: &Evaluated,
) -> Result<(), StoreError> {
    if evaluated.scatter.is_empty() {
        return Ok(());
    }
    // Plan, person and burette stand in the opening event, which is the first of its stream.
    let body: String =
        sqlx::query_scalar("SELECT body FROM event WHERE stream = $1 AND stream_version = 1")
            .bind(node)
            .fetch_one(&mut *tx)
            .await?;
    let opened = Event::read(&body).map_err(|error| StoreError::Event { number: 0, error })?;
    let Payload::DeterminationOpened(p) = &opened.payload else {
        return Ok(());
    };
    let plan = plan_name(tx, &p.plan).await?;
    for (place, set) in (0_i64..).zip(&evaluated.scatter) {
        sqlx::query(
            "INSERT INTO scatter (determination, place, plan, who, burette, relative, degrees_of_freedom)
             VALUES ($1, $2, $3, $4, $5, $6, $7)",
        )
        .bind(node)
        .bind(place)
        .bind(&plan)
        .bind(&opened.who)
        .bind(p.burette.to_string())
        .bind(set.relative)
        .bind(set.degrees_of_freedom)
        .execute(&mut *tx)
        .await?;
    }
    Ok(())
}

/// What repeatability is pooled by: the method, or what a solution is standardized with.
pub(crate) async fn plan_name(tx: &mut AnyConnection, plan: &Plan) -> Result<String, StoreError> {
    let known = match plan {
        Plan::Assay { method, .. } => return Ok(method.to_string()),
        Plan::Standardization { known, .. } => match known {
            KnownBy::Lot(node) | KnownBy::Solution { solution: node, .. } => node,
        },
    };
    let title: Option<String> = sqlx::query_scalar("SELECT title FROM thing WHERE node = $1")
        .bind(known.to_string())
        .fetch_optional(tx)
        .await?;
    Ok(format!(
        "standardization with {}",
        title.unwrap_or_else(|| known.to_string())
    ))
}

/// Tells those who opened, reviewed or approved a determination.
async fn notify_people(
    tx: &mut AnyConnection,
    event: &Event,
    text: &str,
) -> Result<(), StoreError> {
    let node = event.stream.to_string();
    let rows: Vec<String> = sqlx::query_scalar(
        "SELECT body FROM event WHERE stream = $1 AND kind IN
         ('determination-opened', 'determination-reviewed', 'determination-approved')",
    )
    .bind(&node)
    .fetch_all(&mut *tx)
    .await?;
    for body in rows {
        let person = Event::read(&body)
            .map_err(|error| StoreError::Event { number: 0, error })?
            .who;
        sqlx::query(
            "INSERT INTO notice (number, person, node, text, at_ms) VALUES ($1, $2, $3, $4, $5)
             ON CONFLICT (number, person) DO NOTHING",
        )
        .bind(int(event.number))
        .bind(person)
        .bind(&node)
        .bind(format!("{} {text}", event.stream.name()))
        .bind(event.at.milliseconds())
        .execute(&mut *tx)
        .await?;
    }
    Ok(())
}
