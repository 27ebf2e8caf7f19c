//! The shelf: lots, solutions, apparatus, samples; what may be used today, and how to take in what is new.

use super::forms;
use super::frame::{Page, Part};
use super::list;
use super::validity::validity;
use crate::answer::Fault;
use crate::app::App;
use crate::text::t;
use crate::visitor::Visitor;
use axum::extract::State;
use maud::{Markup, html};
use notebook::{Kind, Node};
use store::{Filter, Thing};

pub(crate) async fn shelf(State(app): State<App>, visitor: Visitor) -> Result<Markup, Fault> {
    let mut kinds = Vec::new();
    for (kind, word) in [
        (Kind::Solution, t("shelf.solutions")),
        (Kind::Lot, t("shelf.lots")),
        (Kind::Apparatus, t("shelf.apparatus")),
        (Kind::Sample, t("shelf.samples")),
    ] {
        let filter = Filter {
            kind: Some(kind),
            limit: Some(30),
            ..Filter::default()
        };
        kinds.push((kind, word, app.store.list(&filter).await?.things));
    }
    let all: Vec<Node> = kinds
        .iter()
        .flat_map(|(_, _, things)| things.iter().map(|thing| thing.node.clone()))
        .collect();
    let world = app.store.world(&all).await?;
    let today = app.store.now().day();
    let until = |thing: &Thing| validity(&world, &thing.node, today);
    let kinds_here: Vec<Kind> = kinds.iter().map(|(kind, ..)| *kind).collect();
    let begin = forms::begin(&app, &visitor, &kinds_here, "/shelf").await?;
    let page = Page {
        title: t("nav.shelf"),
        part: Some(Part::Shelf),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        h1 { (t("nav.shelf")) }
        @for (kind, word, things) in &kinds {
            h2 { (word) @if !things.is_empty() { " · " a href={ "/things.csv?kind=" (kind) } { (t("list.csv")) } } }
            @if things.is_empty() { p.quiet { (t("list.nothing")) } } @else { (list::lines_until(things, until)) }
        }
        h2 { (t("shelf.new")) }
        (forms::lists())
        (begin)
    }))
}
