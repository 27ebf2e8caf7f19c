//! The demo of the pickle works beside this record: made when it is asked for, at an address of its own.

use super::frame::{Page, Part};
use crate::answer::Fault;
use crate::app::App;
use crate::text::{filled, t};
use crate::visitor::Visitor;
use axum::extract::State;
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Redirect, Response};
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

/// Name of the cookie that says that the guide was put away.
const SEEN: &str = "looked";

/// What to look at first in the demo, until it is put away.
pub(crate) fn guide(app: &App, headers: &HeaderMap) -> Markup {
    if !app.is_demo() || crate::visitor::cookie(headers, SEEN).is_some() {
        return html! {};
    }
    let stops = [
        ("/determinations/D-0004", t("demo.result")),
        ("/things/solution/T-0098", t("demo.bottle")),
        ("/certificates/C-0004", t("demo.correction")),
        ("/determinations/D-0005", t("demo.bench")),
    ];
    html! {
        section.notice.noprint {
            p.strong { (t("demo.guide")) }
            ol { @for (path, words) in stops { li { a href=(path) { (words) } } } }
            form method="post" action="/demo/seen" { button type="submit" { (t("demo.seen")) } }
        }
    }
}

/// Puts the guide away on this device.
pub(crate) async fn seen() -> Response {
    let set = format!("{SEEN}=1; Path=/; Max-Age=31536000; SameSite=Strict; HttpOnly");
    ([(header::SET_COOKIE, set)], Redirect::to("/")).into_response()
}
