//! The demo of the pickle works beside this record: made when it is asked for, at an address of its own.

use super::frame::{Page, Part};
use crate::answer::Fault;
use crate::app::App;
use crate::text::{filled, t};
use crate::visitor::Visitor;
use axum::extract::State;
use maud::{Markup, html};

pub(crate) async fn open(State(app): State<App>, visitor: Visitor) -> Result<Markup, Fault> {
    // Where people sign in nobody needs to look around, and a demo at this machine would not be reached.
    let offered = match app.is_shared().await? {
        true => None,
        false => app.demo().await,
    };
    let at = offered
        .ok_or_else(|| Fault::Missing(filled("fault.missing", &[("path", "/demo")])))?
        .map_err(Fault::Form)?;
    let page = Page {
        title: t("demo.title"),
        part: Some(Part::Bench),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        h1 { (t("demo.title")) }
        p { (t("demo.ready")) }
        p.row {
            a.button.main href=(at) target="_blank" rel="noopener" { (t("demo.go")) }
            a.button href="/" { (t("fault.back")) }
        }
    }))
}
