//! A determination: at the bench while it is open, then its result.

use super::frame::{Page, Part};
use super::protocol::View;
use super::{bench, result, simulation};
use crate::answer::Fault;
use crate::api;
use crate::app::App;
use crate::visitor::Visitor;
use axum::extract::{Path, Query, State};
use axum::http::HeaderMap;
use axum::response::{IntoResponse, Response};
use maud::html;
use notebook::state::Certificate;
use notebook::{Kind, Node};

pub(crate) async fn determination(
    State(app): State<App>,
    visitor: Visitor,
    Path(name): Path<String>,
    Query(view): Query<View>,
    headers: HeaderMap,
) -> Result<Response, Fault> {
    let node = api::node("determination", &name)?;
    let evaluation = app.store.evaluate(&node).await?;
    let Some(determination) = evaluation.world.determination(&node) else {
        return Err(Fault::not_there(&node));
    };
    let version = app
        .store
        .thing(&node)
        .await?
        .map_or(0, |thing| thing.version);
    let stating = app.store.certificates(&node).await?;
    let known = app.store.world(&stating).await?;
    let holds = |node: &Node| known.certificate(node).is_some_and(Certificate::is_current);
    let certificates = stating.into_iter().map(|node| (node.clone(), holds(&node)));
    let simulated = match &evaluation.outcome {
        Ok(outcome) if !determination.is_open() => simulation::simulate(outcome),
        _ => None,
    };
    let shown = result::Shown {
        simulated,
        shared: visitor.shared,
        certificates: certificates.collect(),
        next_certificate: app.store.free_name(Kind::Certificate).await?,
        recomputed: app.store.recomputed(&node).await?,
        today: app.store.now().day(),
        node: &node,
        version,
        determination,
        world: &evaluation.world,
        outcome: &evaluation.outcome,
    };
    let body = if determination.is_open() {
        bench::bench(&shown, &view)
    } else {
        result::result(&shown)
    };
    // The script asks for the inner part alone when something changed.
    let known = evaluation.world.version(&node);
    if headers.contains_key("x-part") {
        let body = maud::PreEscaped(crate::decimals::localized(body.into_string()));
        return Ok(([("x-version", known.to_string())], body).into_response());
    }
    let aside = result::status(&shown);
    let page = Page {
        title: &determination.opened.title,
        part: Some(if determination.is_open() {
            Part::Bench
        } else {
            Part::Results
        }),
        visitor: Some(&visitor),
        about: Some(&node),
        aside: Some(aside),
    };
    Ok(page
        .with(&html! {
            div #bench data-version=(known) { (body) }
            script type="module" src="/look/photo.js" {}
        })
        .into_response())
}
