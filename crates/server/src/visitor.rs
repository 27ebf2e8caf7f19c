//! Who asks: the person at this machine, or in a shared record the person who signed in on this device.

use crate::app::App;
use axum::Json;
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use serde_json::json;
use store::Secret;

/// The cookie that holds the token of a session.
pub(crate) const SESSION: &str = "session";

/// Who asks.
#[derive(Clone, Debug)]
pub(crate) struct Visitor {
    /// Name in the record.
    pub(crate) who: String,
    /// The device.
    pub(crate) device: String,
    /// Whether people sign in here.
    pub(crate) shared: bool,
    /// What the session was begun with; none where nobody signs in.
    pub(crate) session: Option<Secret>,
}

/// Nobody is signed in, and this needs somebody.
pub(crate) enum Stranger {
    /// A page: sign in first.
    Page(String),
    /// A program.
    Program,
    /// The record cannot be read.
    Fault(crate::answer::Fault),
}

impl IntoResponse for Stranger {
    fn into_response(self) -> Response {
        match self {
            Self::Page(path) => Redirect::to(&format!(
                "/sign-in?to={}",
                crate::page::frame::escaped(&path)
            ))
            .into_response(),
            Self::Program => (
                StatusCode::UNAUTHORIZED,
                Json(json!({ "error": "sign in first" })),
            )
                .into_response(),
            Self::Fault(fault) => fault.into_response(),
        }
    }
}

/// The value of a cookie.
pub(crate) fn cookie(headers: &HeaderMap, name: &str) -> Option<String> {
    headers
        .get_all("cookie")
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|line| line.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(key, _)| *key == name)
        .map(|(_, value)| value.to_string())
}

/// The token of a session: from the cookie of a browser, or as a program sends it (RFC 6750, section 2.1).
pub(crate) fn token(headers: &HeaderMap) -> Option<String> {
    let bearer = headers.get("authorization").and_then(|v| v.to_str().ok());
    match bearer.and_then(|v| v.strip_prefix("Bearer ")) {
        Some(token) => Some(token.trim().to_string()),
        None => cookie(headers, SESSION).filter(|token| !token.is_empty()),
    }
}

/// A name for the device a browser runs on, for the record.
pub(crate) fn device(headers: &HeaderMap) -> String {
    let agent = headers
        .get("user-agent")
        .and_then(|v| v.to_str().ok())
        .unwrap_or_default();
    let kind = ["iPad", "Android", "iPhone", "Windows", "Macintosh", "Linux"]
        .into_iter()
        .find(|word| agent.contains(word));
    match kind {
        Some("iPad" | "Android") => "tablet".into(),
        Some("iPhone") => "phone".into(),
        Some(_) => "desk".into(),
        None => "program".into(),
    }
}

/// True if a script or a program asks for JSON in place of a page.
pub(crate) fn wants_json(headers: &HeaderMap) -> bool {
    headers
        .get("accept")
        .and_then(|v| v.to_str().ok())
        .is_some_and(|accepts| accepts.starts_with("application/json"))
}

impl FromRequestParts<App> for Visitor {
    type Rejection = Stranger;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Stranger> {
        let device = device(&parts.headers);
        let shared = app
            .is_shared()
            .await
            .map_err(|error| Stranger::Fault(error.into()))?;
        if !shared {
            return Ok(Self {
                who: app.who.to_string(),
                device,
                shared,
                session: None,
            });
        }
        let session = match token(&parts.headers) {
            Some(token) => app.store.session(&token).await.ok(),
            None => None,
        };
        match session {
            Some(session) => Ok(Self {
                who: session.person,
                device: session.device,
                shared,
                session: Some(session.by),
            }),
            None if parts.uri.path().starts_with("/api/")
                || parts.uri.path() == "/live"
                || wants_json(&parts.headers) =>
            {
                Err(Stranger::Program)
            }
            None => Err(Stranger::Page(parts.uri.path().to_string())),
        }
    }
}
