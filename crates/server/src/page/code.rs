//! A thing's code for the camera, to be printed and stuck to it: glass, lots and samples have no bottle's label.

use super::frame::{Page, Part};
use crate::answer::Fault;
use crate::api;
use crate::app::App;
use crate::text::t;
use crate::visitor::Visitor;
use axum::extract::{Path, State};
use certificate::Code;
use maud::{Markup, html};

pub(crate) async fn code(
    State(app): State<App>,
    visitor: Visitor,
    Path((kind, name)): Path<(String, String)>,
) -> Result<Markup, Fault> {
    let node = api::node(&kind, &name)?;
    let Some(thing) = app.store.thing(&node).await? else {
        return Err(Fault::not_there(&node));
    };
    let code = Code::of(&node.to_string())?;
    let page = Page {
        title: node.name(),
        part: Some(Part::Shelf),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        article.certificate {
            div.code { (picture(&code, t("code.words"))) }
            p.result { (node.name()) }
            p { (thing.title) }
            p.quiet.noprint { (t("code.how")) }
        }
    }))
}

/// The code as a picture, dark on light in a dark room too.
pub(crate) fn picture(code: &Code, words: &str) -> Markup {
    let side = code.side();
    html! {
        svg viewBox=(format!("0 0 {side} {side}")) role="img" aria-label=(words) shape-rendering="crispEdges" {
            rect.light width=(side) height=(side) {}
            path.dark d=(code.path()) {}
        }
    }
}
