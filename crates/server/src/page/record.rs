//! The record: its last events, and the check of its chain.

use super::frame::{Page, Part};
use super::{forms, thing};
use crate::answer::Fault;
use crate::app::App;
use crate::text::{filled, t};
use crate::visitor::Visitor;
use axum::extract::State;
use maud::{Markup, html};
use notebook::Node;

/// Events shown.
const LAST: u64 = 60;

async fn page(app: &App, visitor: &Visitor, checked: Option<Markup>) -> Result<Markup, Fault> {
    let (number, hash) = app.store.end().await?;
    let events = app.store.events(number.saturating_sub(LAST), 200).await?;
    let world = app.store.world(&[]).await?;
    let change = match world.state(&Node::record()) {
        Some(state) => forms::change(app, visitor, &Node::record(), state, "/record").await?,
        None => html! {},
    };
    let name = world.record().map(|r| r.name.as_str()).unwrap_or_default();
    let page = Page {
        title: t("nav.record"),
        part: Some(Part::Record),
        visitor: Some(visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        h1 { (t("nav.record")) }
        p { span.strong { (name) } " " span.quiet { (t("record.heading")) } }
        (change)
        p { @if number == 1 { (t("record.size_one")) } @else { (filled("record.size", &[("n", &number.to_string())])) } }
        p.quiet { (t("record.hash")) " " code { (hash.to_string()) } }
        @if let Some(checked) = checked { (checked) }
        form method="post" action="/record/check" { button type="submit" { (t("record.check")) } }
        h2 { (t("record.last")) " · " a href={ "/record.csv?after=" (number.saturating_sub(LAST)) } { (t("list.csv")) } }
        (thing::events(&events))
    }))
}

pub(crate) async fn record(State(app): State<App>, visitor: Visitor) -> Result<Markup, Fault> {
    page(&app, &visitor, None).await
}

pub(crate) async fn check(State(app): State<App>, visitor: Visitor) -> Result<Markup, Fault> {
    let checked = app.store.check().await?;
    let said = html! {
        @match &checked.broken {
            None => { p.notice role="status" { @if checked.events == 1 { (t("record.whole_one")) } @else { (filled("record.whole", &[("n", &checked.events.to_string())])) } } }
            Some(broken) => { p.notice role="alert" { (filled("record.broken", &[("n", &broken.number.to_string())])) " " (broken.what) } }
        }
        @for hash in &checked.altered_files {
            p.notice role="alert" { (filled("record.file-altered", &[("hash", hash)])) }
        }
        @for found in &checked.found { p.notice role="alert" { (found) } }
        @for note in &checked.notes { p.quiet { (note) } }
    };
    page(&app, &visitor, Some(said)).await
}
