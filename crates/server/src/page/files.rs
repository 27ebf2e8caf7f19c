//! Photographs of readings: taken in, kept once under their hash, shown again.

use super::frame::path_of;
use super::result::Shown;
use super::run_table;
use super::scan::parts;
use crate::answer::Fault;
use crate::api;
use crate::app::App;
use crate::command::{self, Sent, own_path};
use crate::picture::Media;
use crate::routes::MAX_PHOTO;
use crate::text::{filled, t};
use crate::visitor::{Visitor, wants_json};
use crate::words;
use axum::extract::{Multipart, Path, State};
use axum::http::{HeaderMap, Uri, header};
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use notebook::payload::{FileAttached, Slot};
use notebook::{Command, Hash, Kind, Node};
use store::Receipt;

/// Bytes that the form around a photograph takes at most.
const FORM: usize = 4096;
/// Longest name of a file that is kept.
const MAX_NAME: usize = 120;

/// Takes a photograph in; a script is answered as it is for a command.
pub(crate) async fn attach(
    State(app): State<App>,
    visitor: Visitor,
    headers: HeaderMap,
    uri: Uri,
    multipart: Multipart,
) -> Response {
    // Whoever asks the interface for programs is told as it tells.
    let json = wants_json(&headers) || uri.path().starts_with("/api/");
    match taken(&app, &visitor, multipart).await {
        Ok((receipt, _)) if json => api::taken(&receipt),
        Ok((_, back)) => Redirect::to(own_path(&back)).into_response(),
        Err(fault) if json => fault.json(),
        Err(fault) => fault.into_response(),
    }
}

/// Keeps a photograph; gives the receipt and where to go on.
async fn taken(
    app: &App,
    visitor: &Visitor,
    multipart: Multipart,
) -> Result<(Receipt, String), Fault> {
    let (form, file) = parts(multipart, "file").await?;
    let form_fault = |e: &dyn std::fmt::Display| Fault::Form(e.to_string());
    let on: Node = form
        .get("on")
        .unwrap_or_default()
        .parse()
        .map_err(|e| form_fault(&e))?;
    let (name, bytes) = file.ok_or_else(|| Fault::Form(t("photo.none").into()))?;
    let media = Media::of(&bytes).ok_or_else(|| Fault::Form(t("photo.no_picture").into()))?;
    if on.kind() != Kind::Determination || app.store.thing(&on).await?.is_none() {
        return Err(Fault::not_there(&on));
    }
    // "2 final": a reading of a run; "2": a run.
    let (run, reading) = match form.get("about") {
        None => (None, None),
        Some(about) => {
            let mut words = about.split_whitespace();
            let run: u32 = words
                .next()
                .unwrap_or_default()
                .parse()
                .map_err(|e| form_fault(&e))?;
            let slot = words
                .next()
                .map(|word| word.parse::<Slot>().map_err(|e| form_fault(&e)))
                .transpose()?;
            (Some(run), slot)
        }
    };
    let name: String = name
        .rsplit(['/', '\\'])
        .next()
        .unwrap_or_default()
        .chars()
        .filter(|c| !c.is_control())
        .take(MAX_NAME)
        .collect();
    let length = bytes.len() as u64;
    let hash = app.store.keep_file(bytes).await?;
    let attached = FileAttached {
        run,
        reading,
        name: if name.trim().is_empty() {
            t("photo.unnamed").into()
        } else {
            name
        },
        media_type: media.name().into(),
        sha256: hash.to_string(),
        bytes: length,
    };
    let sent = Sent {
        key: form.get("key").map(str::to_string),
        expects: None,
        at: form.get("at").map(str::to_string),
        passphrase: None,
        command: Command::new(on.clone(), attached),
    };
    let receipt = command::submit(app, visitor, sent).await?;
    let back = form
        .get("back")
        .map_or_else(|| path_of(&on), str::to_string);
    Ok((receipt, back))
}

/// The bytes of a file. What it is follows from its first bytes; what is no picture is saved, never shown.
pub(crate) async fn file(
    State(app): State<App>,
    _: Visitor,
    Path(hash): Path<String>,
) -> Result<Response, Fault> {
    let missing = || Fault::Missing(t("photo.missing").into());
    let hash: Hash = hash.parse().map_err(|_| missing())?;
    let bytes = app.store.file(hash).await?.ok_or_else(missing)?;
    let (kind, shown) = match Media::of(&bytes) {
        Some(media) => (media.name(), "inline"),
        None => ("application/octet-stream", "attachment"),
    };
    let headers = [
        (header::CONTENT_TYPE, kind),
        (header::CONTENT_DISPOSITION, shown),
        (
            header::CONTENT_SECURITY_POLICY,
            "default-src 'none'; sandbox",
        ),
        // Bytes under their hash never change.
        (
            header::CACHE_CONTROL,
            "private, max-age=31536000, immutable",
        ),
    ];
    Ok((headers, bytes).into_response())
}

fn about(shown: &Shown<'_>, file: &FileAttached) -> String {
    let runs = &shown.determination.runs;
    let run = file
        .run
        .and_then(|number| runs.iter().find(|run| run.started.run == number));
    match (run, file.reading) {
        (Some(run), Some(slot)) => {
            format!("{}, {}", run_table::title(runs, run), words::slot(slot))
        }
        (Some(run), None) => run_table::title(runs, run),
        _ => t("photo.of_all").into(),
    }
}

/// The photographs of a determination, each with what it is of and its hash.
pub(crate) fn photographs(shown: &Shown<'_>) -> Markup {
    let files = &shown.determination.files;
    html! {
        @if !files.is_empty() {
            h2 { (t("photo.title")) }
            div.photos {
                @for file in files {
                    @let picture = matches!(file.media_type.as_str(), "image/jpeg" | "image/png");
                    @let words = filled("photo.alt", &[("of", &about(shown, file)), ("name", &file.name)]);
                    @let size = format!("{:.0} kB", (file.bytes as f64 / 1000.0).ceil());
                    figure {
                        a href={ "/files/" (file.sha256) } {
                            @if picture { img src={ "/files/" (file.sha256) } alt=(words) loading="lazy" width="180" height="135"; }
                            @else { (file.name) }
                        }
                        figcaption { (about(shown, file)) br; span.quiet { (file.name) ", " (size) br; "SHA-256 " code { (file.sha256.chars().take(16).collect::<String>()) "…" } } }
                    }
                }
            }
        }
    }
}

/// The form that takes one in.
pub(crate) fn attach_form(shown: &Shown<'_>) -> Markup {
    let runs = &shown.determination.runs;
    html! {
        details {
            summary { (t("photo.attach")) }
            form.photo method="post" action="/files" enctype="multipart/form-data" data-most=(MAX_PHOTO - FORM) data-too-large=(t("photo.too_large")) data-label=(t("photo.alt")) {
                input type="hidden" name="on" value=(shown.node);
                input type="hidden" name="back" value=(path_of(shown.node));
                div.row {
                    label { span { (t("photo.of")) } select name="about" {
                        @for run in runs.iter().rev() {
                            @for reading in run.readings.iter().rev() {
                                option value={ (run.started.run) " " (reading.slot) } { (run_table::title(runs, run)) ", " (words::slot(reading.slot)) @if let Some(sample) = &run.started.sample { " (" (sample.name()) ")" } }
                            }
                            option value=(run.started.run) { (run_table::title(runs, run)) @if let Some(sample) = &run.started.sample { " (" (sample.name()) ")" } }
                        }
                        option value="" { (t("photo.of_all")) }
                    } }
                    label { span { (t("photo.file")) } input type="file" name="file" accept="image/jpeg,image/png" capture="environment" required; }
                    button type="submit" { (t("photo.keep")) }
                }
                p.quiet { (t("photo.how")) }
                p.accent role="alert" hidden {}
            }
        }
        div #pictures-waiting.photos data-waits=(t("photo.waits")) {}
    }
}
