//! Style sheet, scripts and the picture in the tab: part of the program.

use crate::answer::Fault;
use crate::text::filled;
use axum::extract::Path;
use axum::http::header;
use axum::response::{IntoResponse, Response};

const CSS: &str = include_str!("../../static/halfdrop.css");
const SCRIPT: &str = include_str!("../../static/bench.js");
const WHAT_IF: &str = include_str!("../../static/what-if.js");
const CAMERA: &str = include_str!("../../static/camera.js");
const QUEUE: &str = include_str!("../../static/queue.js");
const PLAN: &str = include_str!("../../static/plan.js");
const PHOTO: &str = include_str!("../../static/photo.js");
const ICON: &str = include_str!("../../static/icon.svg");

pub(crate) async fn asset(Path(name): Path<String>) -> Result<Response, Fault> {
    let (kind, text) = match name.as_str() {
        "halfdrop.css" => ("text/css; charset=utf-8", CSS),
        "bench.js" => ("text/javascript; charset=utf-8", SCRIPT),
        "what-if.js" => ("text/javascript; charset=utf-8", WHAT_IF),
        "camera.js" => ("text/javascript; charset=utf-8", CAMERA),
        "queue.js" => ("text/javascript; charset=utf-8", QUEUE),
        "plan.js" => ("text/javascript; charset=utf-8", PLAN),
        "photo.js" => ("text/javascript; charset=utf-8", PHOTO),
        "icon.svg" => ("image/svg+xml", ICON),
        _ => return Err(Fault::Missing(filled("fault.missing", &[("path", &name)]))),
    };
    let headers = [
        (header::CONTENT_TYPE, kind),
        (header::CACHE_CONTROL, "no-cache"),
    ];
    Ok((headers, text).into_response())
}
