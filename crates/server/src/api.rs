//! The JSON interface: the same commands and the same evaluation as the pages.

use crate::answer::Fault;
use crate::app::App;
use crate::command::{self, Sent};
use crate::openapi;
use crate::told::Told;
use crate::visitor::Visitor;
use axum::Json;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Response};
use notebook::state::State as Known;
use notebook::{Day, Event, Hash, Kind, Node};
use serde::Deserialize;
use serde_json::{Value, json};
use store::{Cursor, Filter, Receipt};

pub(crate) type Answer = Result<Response, JsonFault>;

/// A fault that is told as JSON.
pub(crate) struct JsonFault(Fault);

impl<F: Into<Fault>> From<F> for JsonFault {
    fn from(fault: F) -> Self {
        Self(fault.into())
    }
}

impl IntoResponse for JsonFault {
    fn into_response(self) -> Response {
        self.0.json()
    }
}

fn event(event: &Event) -> Value {
    let payload = serde_json::to_value(&event.payload).unwrap_or_default();
    let hash = event.body().ok().map(|body| Hash::of(body.as_bytes()));
    json!({
        "number": event.number, "id": event.id, "at": event.at.to_string(), "who": event.who, "device": event.device,
        "on": event.stream.to_string(), "version": event.stream_version, "kind": event.payload.kind(),
        "payload": payload["payload"], "cause": event.cause, "previous": event.previous.to_string(),
        "hash": hash.map(|hash| hash.to_string()),
    })
}

pub(crate) async fn command(State(app): State<App>, visitor: Visitor, body: String) -> Answer {
    Ok(taken(
        &command::submit(&app, &visitor, Sent::read(&body)?).await?,
    ))
}

/// What is answered once a command is durable.
pub(crate) fn taken(receipt: &Receipt) -> Response {
    let events: Vec<Value> = receipt.events.iter().map(event).collect();
    Json(json!({ "taken": true, "repeated": receipt.repeated, "version": receipt.version, "events": events }))
        .into_response()
}

/// Filters of a list.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct Ask {
    pub(crate) kind: Option<String>,
    pub(crate) who: Option<String>,
    pub(crate) status: Option<String>,
    pub(crate) rests_on: Option<String>,
    pub(crate) finding: Option<String>,
    pub(crate) from: Option<String>,
    pub(crate) to: Option<String>,
    pub(crate) search: Option<String>,
    pub(crate) after: Option<String>,
    pub(crate) limit: Option<u32>,
}

impl Ask {
    /// The filter; empty fields of a form count as left out.
    pub(crate) fn filter(&self) -> Result<Filter, Fault> {
        let said = |text: &Option<String>| text.clone().filter(|t| !t.trim().is_empty());
        let form = |error: &dyn std::fmt::Display| Fault::Form(error.to_string());
        // One of few words: blanks are none of them.
        let kind = self.kind.as_deref().filter(|word| !word.is_empty());
        Ok(Filter {
            kind: kind
                .map(|t| t.parse::<Kind>().map_err(|e| form(&e)))
                .transpose()?,
            any_kind: kind.is_none() && said(&self.search).is_some(),
            who: said(&self.who),
            status: said(&self.status),
            rests_on: said(&self.rests_on)
                .map(|t| t.parse::<Node>().map_err(|e| form(&e)))
                .transpose()?,
            finding: said(&self.finding),
            from: said(&self.from)
                .map(|t| t.parse::<Day>().map_err(|e| form(&e)))
                .transpose()?,
            to: said(&self.to)
                .map(|t| t.parse::<Day>().map_err(|e| form(&e)))
                .transpose()?,
            search: said(&self.search),
            after: said(&self.after)
                .map(|t| serde_json::from_str::<Cursor>(&t).map_err(|e| form(&e)))
                .transpose()?,
            limit: self.limit,
        })
    }
}

pub(crate) async fn things(State(app): State<App>, _: Visitor, Query(ask): Query<Ask>) -> Answer {
    Ok(Json(app.store.list(&ask.filter()?).await?).into_response())
}

/// The node of a path.
pub(crate) fn node(kind: &str, name: &str) -> Result<Node, Fault> {
    let kind: Kind = kind.parse().map_err(|e| Fault::Missing(format!("{e}")))?;
    Node::new(kind, name).map_err(|e| Fault::Missing(e.to_string()))
}

pub(crate) async fn thing(
    State(app): State<App>,
    _: Visitor,
    Path((kind, name)): Path<(String, String)>,
) -> Answer {
    let node = node(&kind, &name)?;
    let world = app.store.world(std::slice::from_ref(&node)).await?;
    let state = world.state(&node).ok_or_else(|| Fault::not_there(&node))?;
    let line = app.store.thing(&node).await?;
    let today = app.store.now().day();
    // A bottle that was standardized is there for its concentration.
    let for_its_value = matches!(state, Known::Solution(s) if !s.standardized.is_empty());
    let objections = notebook::validity::objections(&world, &node, today, for_its_value);
    let until = notebook::validity::last_day(&world, &node);
    let mut said = json!({
        "node": node.to_string(), "line": line, "state": state, "objections": objections,
        "usable": objections.is_empty(), "until": until,
    });
    if let Known::Certificate(_) = state {
        said["replaced_by"] = json!(app.store.successor(&node).await?);
    }
    Ok(Json(said).into_response())
}

pub(crate) async fn history(
    State(app): State<App>,
    _: Visitor,
    Path((kind, name)): Path<(String, String)>,
) -> Answer {
    let events = app.store.history(&node(&kind, &name)?, 0).await?;
    Ok(Json(events.iter().map(event).collect::<Vec<_>>()).into_response())
}

pub(crate) async fn trace(
    State(app): State<App>,
    _: Visitor,
    Path((kind, name)): Path<(String, String)>,
) -> Answer {
    let node = node(&kind, &name)?;
    let made_of = app.store.made_of(&node).await?;
    let rests_on = app.store.rests_on(&node).await?;
    Ok(Json(json!({ "made_of": made_of, "rests_on": rests_on })).into_response())
}

pub(crate) async fn evaluation(
    State(app): State<App>,
    _: Visitor,
    Path(name): Path<String>,
) -> Answer {
    let node = node("determination", &name)?;
    let evaluation = app.store.evaluate(&node).await?;
    let outcome = evaluation
        .outcome
        .map_err(|error| Fault::Form(error.to_string()))?;
    let document = Told::of(&outcome)
        .document()
        .map_err(|e| Fault::Form(e.to_string()))?;
    Ok(Json(document).into_response())
}

/// From where events are asked.
#[derive(Debug, Deserialize)]
pub(crate) struct After {
    pub(crate) after: Option<u64>,
    pub(crate) limit: Option<u32>,
}

pub(crate) async fn events(State(app): State<App>, _: Visitor, Query(ask): Query<After>) -> Answer {
    let limit = ask.limit.unwrap_or(100).clamp(1, 1000);
    let events = app.store.events(ask.after.unwrap_or(0), limit).await?;
    Ok(Json(events.iter().map(event).collect::<Vec<_>>()).into_response())
}

pub(crate) async fn correction(
    State(app): State<App>,
    _: Visitor,
    Path(number): Path<u64>,
) -> Answer {
    let Some(found) = app.store.correction(number).await? else {
        let text = crate::text::filled("correction.missing", &[("n", &number.to_string())]);
        return Err(Fault::Missing(text).into());
    };
    Ok(Json(json!({
        "correction": event(&found.event), "changes": found.changes, "settled": found.settled,
    }))
    .into_response())
}

pub(crate) async fn usable(State(app): State<App>, _: Visitor, Query(ask): Query<Ask>) -> Answer {
    let filter = ask.filter()?;
    let kind = filter.kind.unwrap_or(Kind::Solution);
    if !matches!(kind, Kind::Lot | Kind::Solution | Kind::Apparatus) {
        let said = "the kind is lot, solution or apparatus";
        return Err(Fault::Form(said.into()).into());
    }
    Ok(Json(app.store.usable(kind, filter.after).await?).into_response())
}

pub(crate) async fn openapi() -> Json<Value> {
    Json(openapi::document())
}
