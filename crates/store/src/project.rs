//! Projections: what lists and searches read, made from the events in the same transaction.
//!
//! Everything here is a function of the event and of what earlier events left in these tables, so that making them again
//! from the events gives the same rows.

use crate::error::StoreError;
use crate::rows::{Given, Rows, Thing, Value};
use crate::search;
use crate::threads;
use notebook::cascade;
use notebook::graph::{self, How};
use notebook::payload::{Evaluated, KnownBy, Payload, Piece, Plan};
use notebook::{Event, Kind, Node};
use sqlx::{AnyConnection, Row};

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
    "fold",
];

/// The status of a determination that was approved, and computed again since.
pub(crate) const COMPUTED_AGAIN: &str = "computed again";
/// The same where it is not at hand whether it was approved: the table knows.
pub(crate) const IF_APPROVED: &str = "computed again, if approved";

/// Notes what an event changes; it is written when the rows are.
pub(crate) async fn project(
    tx: &mut AnyConnection,
    rows: &mut Rows,
    event: &Event,
) -> Result<(), StoreError> {
    rows.waiting += 1;
    thing(tx, rows, event).await?;
    threads::tie(tx, rows, event).await?;
    later_words(tx, rows, event).await?;
    match &event.payload {
        Payload::DeterminationOpened(p) => {
            let opened = (p.plan.clone(), event.who.clone(), p.burette.clone());
            rows.opened.insert(event.stream.to_string(), opened);
        }
        Payload::DeterminationReviewed(_) => {
            rows.signed.insert(event.stream.to_string());
        }
        Payload::DeterminationClosed(p) => results(tx, rows, event, p.evaluated.as_ref()).await?,
        Payload::DeterminationApproved(p) => {
            rows.signed.insert(event.stream.to_string());
            results(tx, rows, event, p.evaluated.as_ref()).await?;
            // Approved anew, after others already rest on it: they are to be computed again.
            if rests(tx, rows, &event.stream).await? {
                unsettled(tx, event).await?;
            }
        }
        Payload::DeterminationRecomputed(p) => {
            match &p.now {
                Some(now) => results(tx, rows, event, Some(now)).await?,
                None => no_result(rows, &event.stream),
            }
            let text = match (&p.now, p.flips) {
                (None, _) => "cannot be computed any more after a correction",
                (Some(_), true) => {
                    "comes out otherwise after a correction, and its verdict changes"
                }
                (Some(_), false) => "comes out otherwise after a correction",
            };
            notify_people(tx, rows, event, text).await?;
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
    if let Some(key) = &event.cause.command {
        rows.command(key, int(event.number));
    }
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

async fn rests(tx: &mut AnyConnection, rows: &Rows, node: &Node) -> Result<bool, StoreError> {
    let node = node.to_string();
    if rows
        .above(&node)
        .iter()
        .any(|(_, how)| *how == How::ResultOf.word())
    {
        return Ok(true);
    }
    let found: Option<i64> = sqlx::query_scalar(
        "SELECT CAST(1 AS BIGINT) FROM edge WHERE on_what = $1 AND how = $2 LIMIT 1",
    )
    .bind(node)
    .bind(How::ResultOf.word())
    .fetch_optional(tx)
    .await?;
    Ok(found.is_some())
}

/// What a list says of a thing when it begins: title, further words to find it by.
fn beginning(payload: &Payload) -> Option<(String, Vec<String>, Option<String>)> {
    let day = |day: Option<notebook::Day>| day.map(|d| d.to_string());
    Some(match payload {
        Payload::RecordOpened(p) => (p.name.clone(), vec![], None),
        Payload::PersonAdded(p) => (p.name.clone(), vec![], None),
        Payload::LotReceived(p) => {
            let number = p.certificate.as_ref().map(|c| c.number.clone());
            let words = p.makers_lot.iter().cloned().chain(number).collect();
            (p.substance.clone(), words, day(p.expires))
        }
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
        Payload::AttemptRefused(_)
        | Payload::SignedIn(_)
        | Payload::SignedOut(_)
        | Payload::SignInFailed(_)
        | Payload::LockedOut(_)
        | Payload::SecretSet(_) => ("comings and goings".into(), vec![], None),
        _ => return None,
    })
}

/// A number that a thing is found by from an event on that does not begin it.
fn later_word(payload: &Payload) -> Option<&str> {
    match payload {
        Payload::LotCertificateCorrected(p) => Some(&p.certificate.number),
        Payload::ApparatusCalibrated(p) => Some(&p.certificate),
        _ => None,
    }
}

async fn later_words(
    tx: &mut AnyConnection,
    rows: &mut Rows,
    event: &Event,
) -> Result<(), StoreError> {
    let Some(text) = later_word(&event.payload) else {
        return Ok(());
    };
    let node = event.stream.to_string();
    let (mut words, since) = match rows.things.get(&node) {
        Some(thing) => (thing.words.clone(), thing.since_ms),
        None => {
            let row = sqlx::query("SELECT words, since_ms FROM thing WHERE node = $1")
                .bind(&node)
                .fetch_one(&mut *tx)
                .await?;
            (row.try_get(0)?, row.try_get(1)?)
        }
    };
    for word in search::words([text]) {
        if !words.contains(&format!(" {word} ")) {
            words.push_str(&format!("{word} "));
            rows.words
                .push(vec![word.into(), node.clone().into(), since.into()]);
        }
    }
    match rows.things.get_mut(&node) {
        Some(thing) => thing.words = words,
        None => {
            sqlx::query("UPDATE thing SET words = $2 WHERE node = $1")
                .bind(node)
                .bind(words)
                .execute(tx)
                .await?;
        }
    }
    Ok(())
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
        Payload::StandardizationLost(_) => "not standardized",
        Payload::MethodAdopted(_) | Payload::RulesAdopted(_) => "in use",
        Payload::MethodWithdrawn(_)
        | Payload::RulesWithdrawn(_)
        | Payload::CertificateWithdrawn(_) => "withdrawn",
        Payload::DeterminationClosed(_) => "closed",
        Payload::DeterminationReopened(_) => "open",
        Payload::DeterminationGivenUp(_) => "given up",
        Payload::DeterminationReviewed(p) if p.accepted => "reviewed",
        Payload::DeterminationApproved(_) => "approved",
        // Of one that was approved; see `crate::rows`.
        Payload::DeterminationRecomputed(_) => COMPUTED_AGAIN,
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
        Kind::Apparatus | Kind::Method | Kind::Rules => "in use",
        Kind::Access => "noted",
    }
}

async fn thing(tx: &mut AnyConnection, rows: &mut Rows, event: &Event) -> Result<(), StoreError> {
    let node = event.stream.to_string();
    let at = event.at.milliseconds();
    if event.stream_version == 1
        && let Some((title, words, use_before)) = beginning(&event.payload)
    {
        let texts = [title.as_str(), event.stream.name(), event.who.as_str()]
            .into_iter()
            .chain(words.iter().map(String::as_str));
        let words = search::words(texts);
        let thing = Thing {
            kind: event.stream.kind().word(),
            name: event.stream.name().into(),
            title,
            status: first_status(event.stream.kind()).into(),
            who: event.who.clone(),
            since_ms: at,
            since: event.at.to_string(),
            changed_ms: at,
            version: 1,
            own_use_before: use_before.clone(),
            use_before,
            words: search::in_one_text(&words),
            result: None,
            usable: None,
        };
        for word in words {
            rows.words
                .push(vec![word.into(), node.clone().into(), at.into()]);
        }
        rows.things.insert(node, thing);
        return Ok(());
    }
    let use_before = use_before(tx, rows, event).await?;
    let status = status(&event.payload);
    let after = |old: &str, new: &'static str| match (old, new) {
        ("approved" | COMPUTED_AGAIN, COMPUTED_AGAIN) => new.to_string(),
        // What nobody approved yet is looked at as before.
        (_, COMPUTED_AGAIN) => old.to_string(),
        _ => new.to_string(),
    };
    let version = int(event.stream_version);
    if let Some(thing) = rows.things.get_mut(&node) {
        thing.changed_ms = at;
        thing.version = version;
        if let Some(status) = status {
            thing.status = after(&thing.status, status);
        }
        thing.use_before = use_before.or(thing.use_before.take());
    } else {
        let changed = rows.changed.entry(node).or_default();
        changed.changed_ms = at;
        changed.version = version;
        changed.status = match (changed.status.take(), status) {
            (Some(old), Some(new)) => Some(after(&old, new)),
            (None, Some(COMPUTED_AGAIN)) => Some(IF_APPROVED.into()),
            (old, new) => new.map(str::to_string).or(old),
        };
        changed.use_before = use_before.or(changed.use_before.take());
    }
    Ok(())
}

/// The last day of use that an event brings: its own, or the thing's own if that comes sooner.
async fn use_before(
    tx: &mut AnyConnection,
    rows: &Rows,
    event: &Event,
) -> Result<Option<String>, StoreError> {
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
    let node = event.stream.to_string();
    let own: Option<String> = match rows.things.get(&node) {
        Some(thing) => thing.own_use_before.clone(),
        None => sqlx::query_scalar("SELECT own_use_before FROM thing WHERE node = $1")
            .bind(node)
            .fetch_optional(tx)
            .await?
            .flatten(),
    };
    Ok(Some(own.map_or(new.clone(), |own| own.min(new))))
}

async fn results(
    tx: &mut AnyConnection,
    rows: &mut Rows,
    event: &Event,
    evaluated: Option<&Evaluated>,
) -> Result<(), StoreError> {
    let Some(evaluated) = evaluated else {
        return Ok(());
    };
    let node = event.stream.to_string();
    let at = event.at.milliseconds();
    let findings = evaluated.findings.iter();
    let findings = findings.map(|code| vec![node.clone().into(), code.clone().into()]);
    let results = (0_i64..).zip(&evaluated.results).map(|(place, result)| {
        vec![
            node.clone().into(),
            place.into(),
            result.of.to_string().into(),
            result.name.clone().into(),
            result.unit.clone().into(),
            result.value.into(),
            result.standard_uncertainty.into(),
            result.expanded_uncertainty.into(),
            result.coverage_factor.into(),
            result.conforms.map(i64::from).into(),
            at.into(),
        ]
    });
    let given = Given {
        findings: findings.collect(),
        results: results.collect(),
        scatter: scatter(tx, rows, &node, evaluated).await?,
    };
    rows.given.insert(node.clone(), given);
    let words = crate::list::in_words(evaluated);
    let usable = i64::from(evaluated.usable);
    if let Some(thing) = rows.things.get_mut(&node) {
        (thing.result, thing.usable) = (words, Some(usable));
    } else {
        rows.changed.entry(node).or_default().result = Some((words, usable));
    }
    Ok(())
}

/// What a determination gave is no result any more.
fn no_result(rows: &mut Rows, node: &Node) {
    let node = node.to_string();
    rows.given.insert(node.clone(), Given::default());
    if let Some(thing) = rows.things.get_mut(&node) {
        (thing.result, thing.usable) = (None, Some(0));
    } else {
        rows.changed.entry(node).or_default().result = Some((None, 0));
    }
}

async fn scatter(
    tx: &mut AnyConnection,
    rows: &Rows,
    node: &str,
    evaluated: &Evaluated,
) -> Result<Vec<Vec<Value>>, StoreError> {
    if evaluated.scatter.is_empty() {
        return Ok(Vec::new());
    }
    let (plan, who, burette) = match rows.opened.get(node) {
        Some(opened) => opened.clone(),
        None => {
            // They stand in the opening event, which is the first of its stream.
            let body: String = sqlx::query_scalar(
                "SELECT body FROM event WHERE stream = $1 AND stream_version = 1",
            )
            .bind(node)
            .fetch_one(&mut *tx)
            .await?;
            let opened =
                Event::read(&body).map_err(|error| StoreError::Event { number: 0, error })?;
            let Payload::DeterminationOpened(p) = opened.payload else {
                return Ok(Vec::new());
            };
            (p.plan, opened.who, p.burette)
        }
    };
    let plan = plan_name(tx, rows, &plan).await?;
    let sets = (0_i64..).zip(&evaluated.scatter).map(|(place, set)| {
        vec![
            node.into(),
            place.into(),
            plan.clone().into(),
            who.clone().into(),
            burette.to_string().into(),
            set.relative.into(),
            set.degrees_of_freedom.into(),
        ]
    });
    Ok(sets.collect())
}

/// What repeatability is pooled by: the method, or what a solution is standardized with.
async fn plan_name(tx: &mut AnyConnection, rows: &Rows, plan: &Plan) -> Result<String, StoreError> {
    let known = match plan {
        Plan::Assay { method, .. } => return Ok(method.to_string()),
        Plan::Standardization { known, .. } => match known {
            KnownBy::Lot(node) | KnownBy::Solution { solution: node, .. } => node,
        },
    };
    let title: Option<String> = match rows.things.get(&known.to_string()) {
        Some(thing) => Some(thing.title.clone()),
        None => {
            sqlx::query_scalar("SELECT title FROM thing WHERE node = $1")
                .bind(known.to_string())
                .fetch_optional(tx)
                .await?
        }
    };
    Ok(format!(
        "standardization with {}",
        title.unwrap_or_else(|| known.to_string())
    ))
}

/// Tells those who opened, reviewed or approved a determination.
async fn notify_people(
    tx: &mut AnyConnection,
    rows: &mut Rows,
    event: &Event,
    text: &str,
) -> Result<(), StoreError> {
    let node = event.stream.to_string();
    if rows.opened.contains_key(&node) || rows.signed.contains(&node) {
        rows.flush(tx).await?;
    }
    let bodies: Vec<String> = sqlx::query_scalar(
        "SELECT body FROM event WHERE stream = $1 AND kind IN
         ('determination-opened', 'determination-reviewed', 'determination-approved')",
    )
    .bind(&node)
    .fetch_all(&mut *tx)
    .await?;
    for body in bodies {
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
