//! A thing's code for the camera, to be printed and stuck to it: glass, lots and samples have no bottle's label.

use super::frame::{Page, Part, drawn};
use crate::answer::Fault;
use crate::api;
use crate::app::App;
use crate::text::{filled, t};
use crate::visitor::Visitor;
use axum::extract::{Path, State};
use maud::{Markup, html};
use qrcode::{Color, EcLevel, QrCode};
use std::fmt::Write;

/// Light squares around the code that the standard (ISO/IEC 18004) asks for.
const QUIET: usize = 4;

pub(crate) async fn code(
    State(app): State<App>,
    visitor: Visitor,
    Path((kind, name)): Path<(String, String)>,
) -> Result<Markup, Fault> {
    let node = api::node(&kind, &name)?;
    let Some(thing) = app.store.thing(&node).await? else {
        return Err(Fault::Missing(format!("{node} is not in the record")));
    };
    let text = node.to_string();
    let page = Page {
        title: node.name(),
        part: Some(Part::Shelf),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        article.certificate {
            div.code { (drawn(squares(&text)?)) }
            p.result { (node.name()) }
            p { (thing.title) }
            p.quiet.noprint { (t("code.how")) }
        }
    }))
}

/// The code as a picture; a quarter of it may be spoiled (level Q).
fn squares(text: &str) -> Result<String, Fault> {
    let code = QrCode::with_error_correction_level(text, EcLevel::Q)
        .map_err(|error| Fault::Form(error.to_string()))?;
    let width = code.width();
    let side = width + 2 * QUIET;
    let mut path = String::new();
    for (index, color) in code.to_colors().into_iter().enumerate() {
        if color == Color::Dark {
            let (x, y) = (index % width + QUIET, index / width + QUIET);
            let _ = write!(path, "M{x} {y}h1v1h-1z");
        }
    }
    // The name may hold any sign; it stands in the words of the page, not in the picture.
    let words = filled("code.words", &[]);
    Ok(format!(
        "<svg viewBox=\"0 0 {side} {side}\" role=\"img\" aria-label=\"{words}\" shape-rendering=\"crispEdges\"><rect class=\"light\" width=\"{side}\" height=\"{side}\"/><path class=\"dark\" d=\"{path}\"/></svg>"
    ))
}
