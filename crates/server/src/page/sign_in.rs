//! Sign in and out. The token of a session lives in a cookie that no script can read.

use super::frame;
use crate::answer::Fault;
use crate::app::App;
use crate::command::own_path;
use crate::text::t;
use crate::visitor::{SESSION, device, token};
use axum::extract::{Form, Query, State};
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use serde::Deserialize;
use store::Secret;

/// Where a person wanted to go.
#[derive(Deserialize)]
pub(crate) struct To {
    to: Option<String>,
}

pub(crate) async fn page(Query(To { to }): Query<To>) -> Markup {
    frame::plain(
        t("people.sign_in"),
        &html! {
            h1 { (t("people.sign_in")) }
            form method="post" action="/sign-in" {
                input type="hidden" name="to" value=(to.unwrap_or_default());
                label { span { (t("people.name")) } input name="person" required autocomplete="username" autocapitalize="none"; }
                label { span { (t("people.with")) } input type="password" name="secret" required autocomplete="current-password"; }
                button.main type="submit" { (t("people.sign_in")) }
            }
        },
    )
}

/// What the form says.
#[derive(Deserialize)]
pub(crate) struct SignIn {
    person: String,
    secret: String,
    #[serde(default)]
    to: String,
}

pub(crate) async fn sign_in(
    State(app): State<App>,
    headers: HeaderMap,
    Form(form): Form<SignIn>,
) -> Result<Response, Fault> {
    let which = Secret::looks_like(&form.secret);
    let token = app
        .store
        .sign_in(form.person.trim(), &device(&headers), which, &form.secret)
        .await?;
    let to = own_path(&form.to);
    let set = format!("{SESSION}={token}; HttpOnly; SameSite=Strict; Path=/");
    Ok(([(header::SET_COOKIE, set)], Redirect::to(to)).into_response())
}

pub(crate) async fn sign_out(State(app): State<App>, headers: HeaderMap) -> Response {
    if let Some(token) = token(&headers) {
        // A session that ended already needs no ending.
        let _ = app.store.sign_out(&token).await;
    }
    let gone = format!("{SESSION}=; HttpOnly; SameSite=Strict; Path=/; Max-Age=0");
    ([(header::SET_COOKIE, gone)], Redirect::to("/sign-in")).into_response()
}
