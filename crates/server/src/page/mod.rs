//! The pages.

pub(crate) mod agreement;
pub(crate) mod amending;
pub(crate) mod asking;
pub(crate) mod assets;
pub(crate) mod basis;
pub(crate) mod beginning;
pub(crate) mod bench;
pub(crate) mod certificate;
pub(crate) mod choosing;
pub(crate) mod code;
pub(crate) mod correction;
pub(crate) mod demo;
pub(crate) mod determination;
pub(crate) mod expected;
pub(crate) mod facts;
pub(crate) mod files;
pub(crate) mod forms;
pub(crate) mod frame;
pub(crate) mod happened;
pub(crate) mod history;
pub(crate) mod home;
pub(crate) mod label;
pub(crate) mod language;
pub(crate) mod list;
pub(crate) mod new;
pub(crate) mod offered;
pub(crate) mod opening;
pub(crate) mod origin;
pub(crate) mod pdf;
pub(crate) mod people;
pub(crate) mod plan;
pub(crate) mod protocol;
pub(crate) mod record;
pub(crate) mod result;
pub(crate) mod run_table;
pub(crate) mod scan;
pub(crate) mod shelf;
pub(crate) mod sign_in;
pub(crate) mod simulation;
pub(crate) mod tables;
pub(crate) mod thing;
pub(crate) mod trial;
pub(crate) mod validity;
pub(crate) mod what_if;
pub(crate) mod working;

use crate::answer::Fault;
use axum::http::Uri;

/// Nothing stands at this address.
pub(crate) async fn missing(uri: Uri) -> Fault {
    let path: String = uri.path().chars().take(100).collect();
    Fault::Missing(crate::text::filled("fault.missing", &[("path", &path)]))
}
