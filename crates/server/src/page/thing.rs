//! A thing: whether it may be used today, what it is made of, what rests on it, its history.

use super::frame::{Page, Part, drawn, link, path_of};
use super::validity::validity;
use super::{facts, forms, happened, history};
use crate::answer::Fault;
use crate::api;
use crate::app::App;
use crate::drawing::threads;
use crate::text::t;
use crate::visitor::Visitor;
use crate::words;
use axum::extract::{Path, Query, State};
use maud::{Markup, html};
use notebook::payload::Payload;
use notebook::state::State as Known;
use notebook::{Event, Kind};

pub(crate) async fn thing(
    State(app): State<App>,
    visitor: Visitor,
    Path((kind, name)): Path<(String, String)>,
    Query(asked): Query<history::Asked>,
) -> Result<Markup, Fault> {
    let node = api::node(&kind, &name)?;
    let world = app.store.world(std::slice::from_ref(&node)).await?;
    let Some(state) = world.state(&node) else {
        return Err(Fault::not_there(&node));
    };
    let line = app.store.thing(&node).await?;
    let title = line
        .as_ref()
        .map_or_else(|| node.to_string(), |l| l.title.clone());
    let today = app.store.now().day();
    // A bottle that was standardized is there for its concentration.
    let for_its_value = matches!(state, Known::Solution(s) if !s.standardized.is_empty());
    let objections = notebook::validity::objections(&world, &node, today, for_its_value);
    let made_of = app.store.made_of(&node).await?;
    let rests_on = app.store.rests_on(&node).await?;
    let mut said = threads::Said::new();
    for node in threads::nodes(&node, &made_of, &rests_on) {
        if let Some(thing) = app.store.thing(&node).await? {
            said.insert(node, (thing.title, thing.status));
        }
    }
    let events_of = app.store.history(&node, 0).await?;
    let in_time = match state {
        Known::Solution(solution) => {
            history::of_bottle(&app, &node, solution, (&events_of, &rests_on), &asked).await?
        }
        Known::Sample(sample) => history::of_check(&app, &node, sample, &asked).await?,
        _ => html! {},
    };
    let change = forms::change(&app, &visitor, &node, state, &path_of(&node)).await?;
    let page = Page {
        title: &title,
        part: Some(Part::Shelf),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        h1 translate="no" { (node.name()) " " span.quiet { (title) } }
        @if node.kind() == Kind::Record {
        } @else if !matches!(node.kind(), Kind::Determination | Kind::Certificate) {
            @if objections.is_empty() {
                p { (t("thing.usable")) @if let Some(words) = validity(&world, &node, today) { "; " (words) } "." }
            } @else {
                p.notice { (t("thing.not_usable")) " " (words::objections(&objections.join("; "))) "." }
            }
        } @else {
            p { a.button href=(path_of(&node)) { (t("thing.open")) } }
        }
        @if let Known::Solution(solution) = state {
            @if let Some(standing) = solution.standing() {
                @for result in standing.evaluated.results.iter().take(1) {
                    @let (value, u) = super::result::rounded(result.value, result.expanded_uncertainty);
                    p.result { (value) " " span.together { "± " (u) " " span.unit { (result.unit) } } }
                    p.quiet { (t("thing.by")) " " (link(&standing.determination)) ", " (standing.at.day()) }
                }
            }
            p.row { a.button href={ "/labels/" (super::frame::escaped(node.name())) } { (t("thing.label")) } }
        }
        @if matches!(node.kind(), Kind::Apparatus | Kind::Lot | Kind::Sample) {
            p.row.noprint { a.button href={ "/codes/" (node.kind()) "/" (super::frame::escaped(node.name())) } { (t("code.link")) } }
        }
        (facts::facts(&node, state))
        @if !change.0.is_empty() { (forms::lists()) (change) }
        (in_time)
        h2 { (t("thing.threads")) }
        div.wide.threads { (drawn(threads::threads(&node, &made_of, &rests_on, &said))) }
        @if !rests_on.threads.is_empty() {
            p { a href={ "/determinations?rests_on=" (super::frame::escaped(&node.to_string())) } { (t("thing.resting")) } }
        }
        @if made_of.cut || rests_on.cut { p.quiet { (t("thing.cut")) } }
        h2 { (t("thing.history")) }
        p {
            a href={ "/things/" (node.kind()) "/" (super::frame::escaped(node.name())) "/history.csv" } { (t("thing.history_csv")) }
            @if matches!(state, Known::Solution(_) | Known::Sample(_)) {
                " · " a href={ "/things/" (node.kind()) "/" (super::frame::escaped(node.name())) "/values.csv" } { (t("thing.values_csv")) }
            }
        }
        (events(&events_of))
    }))
}

/// What later events are told against: how a thing of the shelf stood, and which runs were begun.
fn is_told_against(event: &Event) -> bool {
    match event.stream.kind() {
        Kind::Determination => event.payload.kind() == "run-started",
        kind => kind != Kind::Access,
    }
}

/// Events, the newest first.
pub(crate) fn events(events: &[Event]) -> Markup {
    html! {
        div.wide { table {
            thead { tr { th.number { "#" } th { (t("thing.when")) } th { (t("thing.who")) } th { (t("thing.what")) } th { (t("thing.detail")) } } }
            tbody {
                @for (at, event) in events.iter().enumerate().rev().take(200) {
                    @let earlier: Vec<&Event> = events[..at].iter().filter(|e| e.stream == event.stream && is_told_against(e)).collect();
                    tr {
                        td.number.quiet { (event.number) }
                        td { span.together { (event.at.day()) } " " span.quiet { (event.at.clock()) } }
                        td { (event.who) span.quiet { " · " (event.device) } }
                        td { (words::event(event.payload.kind())) " " (link(&event.stream)) }
                        td {
                            (happened::happened(event, &earlier).join(" · "))
                            @if matches!(event.payload, Payload::LotCertificateCorrected(_) | Payload::CalibrationCorrected(_)) {
                                " · " a href={ "/corrections/" (event.number) } { (t("correction.followed")) }
                            }
                        }
                    }
                }
            }
        } }
    }
}
