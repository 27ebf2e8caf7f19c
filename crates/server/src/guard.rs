//! What every answer carries, and what no request may do: foreign pages cannot make the browser act here.

use crate::text;
use crate::visitor::cookie;
use axum::extract::Request;
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

/// No script or style but ours from our own files, no frames, no forms that go elsewhere.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; media-src 'self' blob:; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// The cookie that holds the language that was chosen.
pub(crate) const LANGUAGE: &str = "language";

/// Refuses what another site's page sends, and adds the headers that keep a page to itself.
pub(crate) async fn guard(request: Request, next: Next) -> Response {
    let language = language(request.headers());
    if request.method() != Method::GET && request.method() != Method::HEAD && !is_ours(&request) {
        let said = text::SPOKEN.sync_scope(language, || text::t("fault.foreign"));
        return (StatusCode::FORBIDDEN, said).into_response();
    }
    let mut response = text::SPOKEN.scope(language, next.run(request)).await;
    let headers = response.headers_mut();
    let fixed = [
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "same-origin"),
        (
            HeaderName::from_static("cross-origin-opener-policy"),
            "same-origin",
        ),
        (
            HeaderName::from_static("permissions-policy"),
            "camera=(self), microphone=(), geolocation=()",
        ),
    ];
    for (name, value) in fixed {
        headers.insert(name, HeaderValue::from_static(value));
    }
    // A file that somebody sent says even less.
    headers
        .entry(header::CONTENT_SECURITY_POLICY)
        .or_insert(HeaderValue::from_static(POLICY));
    headers
        .entry(header::CACHE_CONTROL)
        .or_insert(HeaderValue::from_static("no-store"));
    response
}

/// The language of who asks.
fn language(headers: &HeaderMap) -> &'static text::Language {
    let accepts = headers.get(header::ACCEPT_LANGUAGE);
    text::chosen(
        cookie(headers, LANGUAGE).as_deref(),
        accepts.and_then(|value| value.to_str().ok()),
    )
}

/// A browser says where a page comes from; a program that is no browser says nothing and carries no one's cookies.
fn is_ours(request: &Request) -> bool {
    let text = |name: &str| request.headers().get(name).and_then(|v| v.to_str().ok());
    if let Some(site) = text("sec-fetch-site") {
        return matches!(site, "same-origin" | "none");
    }
    match (text("origin"), text("host")) {
        (None, _) => true,
        (Some(origin), Some(host)) => origin
            .split_once("://")
            .is_some_and(|(_, place)| place == host),
        (Some(_), None) => false,
    }
}
