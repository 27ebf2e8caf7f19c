//! Another language on this device, kept in a cookie that says nothing else.

use crate::answer::Fault;
use crate::command::own_path;
use crate::guard::LANGUAGE;
use crate::text::{languages, t};
use axum::extract::Path;
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Redirect, Response};

pub(crate) async fn language(
    headers: HeaderMap,
    Path(code): Path<String>,
) -> Result<Response, Fault> {
    let language = languages()
        .into_iter()
        .find(|language| language.code == code)
        .ok_or_else(|| Fault::Missing(t("fault.language").into()))?;
    // Back to the page that was looked at, without the host in front of it.
    let back = headers
        .get(header::REFERER)
        .and_then(|value| value.to_str().ok())
        .and_then(|referer| referer.split_once("://"))
        .and_then(|(_, rest)| rest.find('/').map(|at| &rest[at..]))
        .map_or("/", own_path);
    let cookie = format!(
        "{LANGUAGE}={}; Path=/; Max-Age=31536000; HttpOnly; SameSite=Lax",
        language.code
    );
    Ok(([(header::SET_COOKIE, cookie)], Redirect::to(back)).into_response())
}
