//! Open a determination: what is sought, what it is compared with, and the glass.

use super::frame::{Page, Part, path_of};
use crate::answer::Fault;
use crate::app::App;
use crate::command::{self, Sent};
use crate::text::t;
use crate::visitor::Visitor;
use axum::extract::{Form, State};
use axum::response::Redirect;
use maud::{Markup, html};
use notebook::{Command, Kind, Node};
use serde_json::{Value, json};
use store::{Filter, Thing};

async fn all(app: &App, kind: Kind) -> Result<Vec<Thing>, Fault> {
    let filter = Filter {
        kind: Some(kind),
        limit: Some(200),
        ..Filter::default()
    };
    Ok(app.store.list(&filter).await?.things)
}

fn choice(name: &str, word: &str, things: &[&Thing], none: Option<&str>) -> Markup {
    html! {
        label {
            span { (word) }
            select name=(name) required[none.is_none()] {
                @if let Some(none) = none { option value="" { (none) } }
                @for thing in things { option value=(thing.node) { (thing.node.name()) " · " (thing.title) } }
            }
        }
    }
}

pub(crate) async fn new(State(app): State<App>, visitor: Visitor) -> Result<Markup, Fault> {
    let (solutions, lots, apparatus) = (
        all(&app, Kind::Solution).await?,
        all(&app, Kind::Lot).await?,
        all(&app, Kind::Apparatus).await?,
    );
    let (samples, methods) = (
        all(&app, Kind::Sample).await?,
        all(&app, Kind::Method).await?,
    );
    let pieces = |word: &str| -> Vec<&Thing> {
        apparatus
            .iter()
            .filter(|a| a.title.to_lowercase().contains(word))
            .collect()
    };
    let glass = |word: &str| {
        let found = pieces(word);
        if found.is_empty() {
            apparatus.iter().collect()
        } else {
            found
        }
    };
    let every = |things: &'_ [Thing]| -> Vec<Thing> { things.to_vec() };
    let known: Vec<Thing> = every(&lots).into_iter().chain(every(&solutions)).collect();
    let page = Page {
        title: t("new.title"),
        part: Some(Part::Bench),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        h1 { (t("new.title")) }
        @if solutions.is_empty() || apparatus.is_empty() {
            p.notice { (t("new.empty")) " " a href="/shelf" { (t("nav.shelf")) } }
        }
        h2 { (t("new.standardize")) }
        form method="post" action="/new" {
            label { span { (t("new.called")) } input name="title" required placeholder="Base 0.1 by phthalate"; }
            (choice("sought", t("new.sought"), &solutions.iter().collect::<Vec<_>>(), None))
            label { span { (t("new.place")) } select name="place" { option value="burette" { (t("new.in_burette")) } option value="flask" { (t("new.in_flask")) } } }
            (choice("known", t("new.known"), &known.iter().collect::<Vec<_>>(), None))
            (choice("burette", t("new.burette"), &glass("burette"), None))
            (choice("balance", t("new.balance"), &glass("balance"), Some(t("new.no_balance"))))
            (choice("pipette", t("new.pipette"), &glass("pipette"), Some(t("new.no_pipette"))))
            label { span { (t("new.indicator")) } input name="indicator" placeholder="phenolphthalein"; }
            label { span { (t("new.temperature")) } input name="temperature" placeholder="21.5 degC"; }
            button.main type="submit" { (t("new.open")) }
        }
        @if !methods.is_empty() && !samples.is_empty() {
            h2 { (t("new.assay")) }
            p.quiet { (t("new.assay_how")) }
            form method="post" action="/new" {
                label { span { (t("new.called")) } input name="title" required placeholder="Vinegar of today"; }
                (choice("method", t("new.method"), &methods.iter().collect::<Vec<_>>(), None))
                (choice("titrant", t("new.titrant"), &solutions.iter().collect::<Vec<_>>(), None))
                (choice("sample", t("new.sample"), &samples.iter().collect::<Vec<_>>(), None))
                (choice("burette", t("new.burette"), &glass("burette"), None))
                label { span { (t("new.pieces")) } input name="pieces" placeholder="sample=P-10-2, flask=F-100-1, aliquot=P-25-1"; }
                label { span { (t("new.temperature")) } input name="temperature" placeholder="21.5 degC"; }
                button.main type="submit" { (t("new.open")) }
            }
        }
    }))
}

pub(crate) async fn open(
    State(app): State<App>,
    visitor: Visitor,
    Form(fields): Form<Vec<(String, String)>>,
) -> Result<Redirect, Fault> {
    let node = app.store.free_name(Kind::Determination).await?;
    let mut opened = opened(&fields)?;
    if let Some(repeatability) = earlier_work(&app, &visitor, &fields).await? {
        opened["repeatability"] = repeatability;
    }
    let command: Command = serde_json::from_value(json!({
        "on": node.to_string(), "kind": "determination-opened", "payload": opened,
    }))
    .map_err(|error| Fault::Form(format!("the form does not fit: {error}")))?;
    let sent = Sent {
        key: None,
        expects: None,
        at: None,
        passphrase: None,
        command,
    };
    command::submit(&app, &visitor, sent).await?;
    Ok(Redirect::to(&path_of(&node)))
}

/// How runs by this plan repeat in this person's hands, by the record; by anybody's if there is nothing of his own.
async fn earlier_work(
    app: &App,
    visitor: &Visitor,
    fields: &[(String, String)],
) -> Result<Option<Value>, Fault> {
    let field = |name: &str| {
        fields
            .iter()
            .find(|(n, _)| n == name)
            .map(|(_, v)| v.as_str())
    };
    let plan = match (field("method"), field("known")) {
        (Some(method), _) => method.to_string(),
        (None, Some(known)) => {
            let node: Node = known.parse().map_err(|e| Fault::Form(format!("{e}")))?;
            let title = app.store.thing(&node).await?.map(|thing| thing.title);
            format!(
                "standardization with {}",
                title.unwrap_or_else(|| node.to_string())
            )
        }
        (None, None) => return Ok(None),
    };
    let mut pooled = None;
    for who in [Some(visitor.who.as_str()), None] {
        if pooled.is_none() {
            pooled = app.store.pooled_repeatability(&plan, who, None).await?;
        }
    }
    Ok(pooled
        .filter(|p| p.relative > 0.0 && p.degrees_of_freedom >= 1.0)
        .map(|p| {
            json!({
                "s": format!("{:.4} %", 100.0 * p.relative),
                "degrees_of_freedom": p.degrees_of_freedom,
                "source": format!("pooled from {} earlier sets of this record", p.sets),
            })
        }))
}

/// The payload that the form makes.
fn opened(fields: &[(String, String)]) -> Result<Value, Fault> {
    let field = |name: &str| {
        fields
            .iter()
            .find(|(n, v)| n == name && !v.trim().is_empty())
            .map(|(_, v)| v.trim().to_string())
    };
    let need = |name: &str| {
        field(name).ok_or_else(|| Fault::Form(format!("\"{name}\" is missing from the form")))
    };
    let known = |text: String| -> Result<Value, Fault> {
        let node: Node = text.parse().map_err(|e| Fault::Form(format!("{e}")))?;
        Ok(match node.kind() {
            Kind::Solution => json!({ "solution": { "solution": node.to_string() } }),
            _ => json!({ "lot": node.to_string() }),
        })
    };
    let plan = match field("method") {
        Some(method) => json!({
            "of": "assay", "method": method, "titrant": { "known": known(need("titrant")?)? }, "samples": [need("sample")?],
        }),
        None => {
            let mut plan = json!({
                "of": "standardization", "sought": need("sought")?, "place": need("place")?, "known": known(need("known")?)?,
            });
            if let Some(indicator) = field("indicator") {
                plan["indicator"] = Value::from(indicator);
            }
            plan
        }
    };
    let mut opened = json!({ "title": need("title")?, "plan": plan, "burette": need("burette")? });
    for name in ["balance", "pipette"] {
        if let Some(piece) = field(name) {
            opened[name] = Value::from(piece);
        }
    }
    if let Some(temperature) = field("temperature") {
        opened["conditions"] = json!({ "temperature": temperature.replace(',', ".") });
    }
    if let Some(pieces) = field("pieces") {
        let mut map = serde_json::Map::new();
        for pair in pieces.split(',') {
            let (step, piece) = pair.split_once('=').ok_or_else(|| {
                Fault::Form(format!(
                    "\"{}\" is no piece of a step; write it like sample=P-10-2",
                    pair.trim()
                ))
            })?;
            map.insert(
                step.trim().into(),
                Value::from(format!("apparatus/{}", piece.trim())),
            );
        }
        opened["pieces"] = Value::Object(map);
    }
    Ok(opened)
}
