//! The bench: what is open, what was found last, what needs a person's eye.

use super::frame::{Page, Part};
use super::{correction, demo, list};
use crate::answer::Fault;
use crate::app::App;
use crate::text::t;
use crate::visitor::Visitor;
use axum::extract::State;
use axum::http::HeaderMap;
use maud::{Markup, html};
use notebook::Kind;
use store::Filter;

/// Results shown on the first page.
const LAST: u32 = 8;

pub(crate) async fn home(
    State(app): State<App>,
    visitor: Visitor,
    headers: HeaderMap,
) -> Result<Markup, Fault> {
    let status = |status: &str, limit| Filter {
        kind: Some(Kind::Determination),
        status: Some(status.into()),
        limit: Some(limit),
        ..Filter::default()
    };
    let open = app.store.list(&status("open", 20)).await?.things;
    let waiting = app.store.list(&status("closed", 20)).await?.things;
    let last = app
        .store
        .list(&Filter {
            limit: Some(LAST),
            ..Filter::default()
        })
        .await?
        .things;
    let any = !last.is_empty();
    // What is open stands above already.
    let last: Vec<_> = last
        .into_iter()
        .filter(|thing| thing.status != "open")
        .collect();
    let on_the_shelf = Filter {
        kind: Some(Kind::Apparatus),
        limit: Some(1),
        ..Filter::default()
    };
    let bare = !any && app.store.list(&on_the_shelf).await?.things.is_empty();
    let notices = app.store.notices(&visitor.who, 0).await?;
    let world = app.store.world(&[]).await?;
    let name = world.record().map(|r| r.name.clone()).unwrap_or_default();
    let page = Page {
        title: t("home.title"),
        part: Some(Part::Bench),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        h1 { (name) }
        (demo::guide(&app, &headers))
        @if bare { p { (t("home.welcome")) } (way_to_demo(&app)) }
        p.row {
            @if bare { a.button .main[!app.offers_demo()] href="/shelf" { (t("home.shelf")) } }
            a.button .main[!bare] href="/new" { (t("home.begin")) }
            a.button href="/plan" { (t("home.plan")) }
        }
        @for notice in notices.iter().rev().take(3) {
            p.notice { (correction::notice(notice)) }
        }
        @if notices.len() > 3 { p { a href="/notices" { (t("correction.notices")) } } }
        h2 { (t("home.open")) }
        @if open.is_empty() { p.quiet { (t("home.none_open")) } } @else { (list::lines(&open)) }
        @if !waiting.is_empty() {
            h2 { (t("home.waiting")) }
            (list::lines(&waiting))
        }
        h2 { (t("home.last")) }
        @if any && last.is_empty() { p.quiet { (t("list.nothing")) } } @else if last.is_empty() { p.quiet { (t("home.none_last")) } } @else { (list::lines(&last)) }
    }))
}

/// The way to the demo: a press, or the command where none can be opened from here.
fn way_to_demo(app: &App) -> Markup {
    html! {
        @if app.offers_demo() {
            form method="post" action="/demo" { button.main type="submit" { (t("home.demo_open")) } }
        } @else {
            p.quiet { (t("home.demo")) " " code { "halfdrop serve --demo" } }
        }
    }
}
