//! The way in for programs: sessions, secrets, the check, notices; and every error as JSON.

use crate::answer::Fault;
use crate::api::Answer;
use crate::app::App;
use crate::page::people::NewSecret;
use crate::text::filled;
use crate::visitor::{Visitor, device, token};
use axum::Json;
use axum::body::{Body, to_bytes};
use axum::extract::{Request, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::json;
use store::Secret;

/// Longest text of an error.
const LONGEST: usize = 16 * 1024;

fn read<T: DeserializeOwned>(body: &str) -> Result<T, Fault> {
    serde_json::from_str(body).map_err(|error| Fault::unfit(&error))
}

/// Who signs in.
#[derive(Deserialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct SignIn {
    /// Short name in the record.
    person: String,
    /// Passphrase, or code (4 to 8 digits).
    secret: String,
}

pub(crate) async fn sign_in(State(app): State<App>, headers: HeaderMap, body: String) -> Answer {
    let SignIn { person, secret } = read(&body)?;
    let which = Secret::looks_like(&secret);
    let token = app
        .store
        .sign_in(person.trim(), &device(&headers), which, &secret)
        .await?;
    let session = app.store.session(&token).await?;
    let said = json!({
        "token": token, "person": session.person, "by": session.by.word(), "ends": session.ends.to_string(),
    });
    Ok(Json(said).into_response())
}

pub(crate) async fn sign_out(State(app): State<App>, _: Visitor, headers: HeaderMap) -> Answer {
    if let Some(token) = token(&headers) {
        // A session that ended already needs no ending.
        let _ = app.store.sign_out(&token).await;
    }
    Ok(Json(json!({ "ended": true })).into_response())
}

pub(crate) async fn secret(State(app): State<App>, visitor: Visitor, body: String) -> Answer {
    let new: NewSecret = read(&body)?;
    if !matches!(new.which.as_str(), "passphrase" | "code") {
        return Err(Fault::unfit(&"which: expected \"passphrase\" or \"code\"").into());
    }
    new.set(&app, &visitor).await?;
    Ok(Json(json!({ "set": true })).into_response())
}

pub(crate) async fn check(State(app): State<App>, _: Visitor) -> Answer {
    let checked = app.store.check().await?;
    let broken = checked.broken.as_ref();
    let said = json!({
        "sound": checked.sound(),
        "events": checked.events,
        "last_hash": checked.last_hash.to_string(),
        "broken": broken.map(|b| json!({ "number": b.number, "what": b.what })),
        "altered_files": checked.altered_files,
        "found": checked.found,
        "notes": checked.notes,
    });
    Ok(Json(said).into_response())
}

pub(crate) async fn notices(State(app): State<App>, visitor: Visitor) -> Answer {
    let notices = app.store.notices(&visitor.who, 0).await?;
    Ok(Json(json!({ "person": visitor.who, "notices": notices })).into_response())
}

/// Every error under `/api/` is JSON, also what the framework says by itself: no such path, a body that is too long, a
/// number that is none.
pub(crate) async fn in_json(request: Request, next: Next) -> Response {
    let path = request.uri().path();
    let asked = path.starts_with("/api/").then(|| path.to_string());
    let response = next.run(request).await;
    let Some(path) = asked else { return response };
    let status = response.status();
    let kind = response.headers().get(header::CONTENT_TYPE);
    let kind = kind
        .and_then(|kind| kind.to_str().ok())
        .unwrap_or_default()
        .to_string();
    let fails = status.is_client_error() || status.is_server_error();
    if !fails || kind.starts_with("application/json") {
        return response;
    }
    let (mut parts, body) = response.into_parts();
    let said = to_bytes(body, LONGEST).await.unwrap_or_default();
    let said = match status {
        StatusCode::METHOD_NOT_ALLOWED => {
            "this path does not take that method; see /api/v1/openapi.json".to_string()
        }
        _ if kind.starts_with("text/plain") && !said.is_empty() => {
            String::from_utf8_lossy(&said).into_owned()
        }
        StatusCode::NOT_FOUND => {
            let path: String = path.chars().take(100).collect();
            filled("fault.missing", &[("path", &path)])
        }
        _ => status.to_string(),
    };
    parts.headers.remove(header::CONTENT_LENGTH);
    parts.headers.insert(
        header::CONTENT_TYPE,
        header::HeaderValue::from_static("application/json"),
    );
    let body = json!({ "error": said, "meanwhile": [] }).to_string();
    Response::from_parts(parts, Body::from(body))
}
