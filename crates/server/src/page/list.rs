//! Lists of things, with search and filters.

use super::frame::{Page, Part, escaped, path_of};
use crate::answer::Fault;
use crate::api::Ask;
use crate::app::App;
use crate::text::t;
use crate::visitor::Visitor;
use crate::words;
use axum::extract::{Query, State};
use maud::{Markup, html};
use notebook::Kind;
use store::Thing;

/// Things, a line each.
pub(crate) fn lines(things: &[Thing]) -> Markup {
    let until = |thing: &Thing| {
        let day = thing.use_before?;
        Some(format!("{} {day}", t("list.until")))
    };
    lines_until(things, until)
}

/// The same, each with words of its own on how long it may be used.
pub(crate) fn lines_until(things: &[Thing], until: impl Fn(&Thing) -> Option<String>) -> Markup {
    html! {
        ul.list {
            @for thing in things {
                li {
                    a.line href=(path_of(&thing.node)) {
                        span.strong translate="no" { (thing.node.name()) }
                        span.what {
                            span translate="no" { (thing.title) }
                            @if let Some(result) = &thing.result { br; span { (result) } }
                        }
                        span.quiet {
                            (words::status(&thing.status))
                            @if thing.usable == Some(false) { ", " (t("list.rules_broken")) }
                            @if let Some(until) = until(thing) { " · " (until) }
                            br; (thing.since.day()) " · " (thing.who)
                        }
                    }
                }
            }
        }
    }
}

/// The filters of a list as a query.
fn query(ask: &Ask) -> String {
    [
        ("kind", &ask.kind),
        ("search", &ask.search),
        ("rests_on", &ask.rests_on),
        ("finding", &ask.finding),
        ("from", &ask.from),
    ]
    .into_iter()
    .filter_map(|(name, text)| Some(format!("{name}={}", escaped(text.as_deref()?))))
    .collect::<Vec<_>>()
    .join("&")
}

pub(crate) async fn determinations(
    State(app): State<App>,
    visitor: Visitor,
    Query(mut ask): Query<Ask>,
) -> Result<Markup, Fault> {
    ask.kind = Some(Kind::Determination.word().into());
    let found = app.store.list(&ask.filter()?).await?;
    let value = |text: &Option<String>| text.clone().unwrap_or_default();
    let next = found
        .next
        .as_ref()
        .and_then(|cursor| serde_json::to_string(cursor).ok());
    let page = Page {
        title: t("nav.results"),
        part: Some(Part::Results),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        h1 { (t("nav.results")) }
        form.row method="get" action="/determinations" {
            label { span { (t("list.search")) } input type="search" name="search" value=(value(&ask.search)); }
            label { span { (t("list.rests_on")) } input name="rests_on" placeholder="solution/T-0117" value=(value(&ask.rests_on)); }
            label { span { (t("list.finding")) } input name="finding" placeholder="not-concordant" value=(value(&ask.finding)); }
            label { span { (t("list.from")) } input type="date" name="from" value=(value(&ask.from)); }
            button type="submit" { (t("list.show")) }
        }
        @if found.things.is_empty() { p.quiet { (t("list.nothing")) } } @else { (lines(&found.things)) }
        p { a href={ "/things.csv?" (query(&ask)) } { (t("list.csv")) } }
        @if let Some(next) = next {
            form method="get" action="/determinations" {
                @for (name, text) in [("search", &ask.search), ("rests_on", &ask.rests_on), ("finding", &ask.finding), ("from", &ask.from)] {
                    @if let Some(text) = text { input type="hidden" name=(name) value=(text); }
                }
                input type="hidden" name="after" value=(next);
                button type="submit" { (t("list.more")) }
            }
        }
    }))
}
