//! A thing found by its label: by its short id, or by a photograph of the code on it.

use super::choosing::{self, Filled};
use crate::answer::Fault;
use crate::app::App;
use crate::picture::{self, PictureError};
use crate::visitor::Visitor;
use axum::extract::multipart::MultipartError;
use axum::extract::{Multipart, State};
use axum::response::Redirect;
use tokio::sync::Semaphore;

/// Photographs that are decoded at the same time; each may take some hundred milliseconds and some ten megabytes.
static DECODING: Semaphore = Semaphore::const_new(2);

impl From<MultipartError> for Fault {
    fn from(error: MultipartError) -> Self {
        if error.status() == axum::http::StatusCode::PAYLOAD_TOO_LARGE {
            Self::TooLarge(crate::text::t("photo.too_large").into())
        } else {
            Self::Form(error.body_text())
        }
    }
}

/// A form with a file: its fields, and the bytes of the file that stands under a name.
pub(crate) async fn parts(
    mut multipart: Multipart,
    file: &str,
) -> Result<(Filled, Option<(String, Vec<u8>)>), Fault> {
    let (mut form, mut found) = (Filled::default(), None);
    while let Some(field) = multipart.next_field().await? {
        let name = field.name().unwrap_or_default().to_string();
        if name == file {
            let called = field.file_name().unwrap_or_default().to_string();
            let bytes = field.bytes().await?;
            if !bytes.is_empty() {
                found = Some((called, bytes.to_vec()));
            }
        } else {
            form.0.push((name, field.text().await?));
        }
    }
    Ok((form, found))
}

/// Finds what a form asks for, puts it into the form, and goes back to it with everything that was filled in.
pub(crate) async fn find(
    State(app): State<App>,
    _: Visitor,
    multipart: Multipart,
) -> Result<Redirect, Fault> {
    let (mut form, photo) = parts(multipart, "photo").await?;
    form.0
        .retain(|(name, _)| !matches!(name.as_str(), "found" | "refused"));
    match named(&app, &form, photo).await? {
        Ok(thing) => {
            choosing::put(&mut form, &thing);
            form.0.retain(|(name, _)| name != "id");
            form.set("found", &thing.node.to_string());
        }
        Err(why) => form.set("refused", why),
    }
    Ok(Redirect::to(&format!("/new?{}", form.query())))
}

/// The thing, or the word for why there is none.
async fn named(
    app: &App,
    form: &Filled,
    photo: Option<(String, Vec<u8>)>,
) -> Result<Result<store::Thing, &'static str>, Fault> {
    let said = match (form.get("id"), photo) {
        (Some(id), _) => id.to_string(),
        (None, None) => return Ok(Err("nothing")),
        (None, Some((_, bytes))) => {
            let _turn = DECODING.acquire().await;
            let read = tokio::task::spawn_blocking(move || picture::code(&bytes)).await;
            match read {
                Ok(Ok(Some(text))) => text,
                Ok(Ok(None)) => return Ok(Err("no-code")),
                Ok(Err(PictureError::TooLarge)) => return Ok(Err("too-large")),
                // A decoder that gives up in the middle did not see a picture either.
                Ok(Err(PictureError::NoPicture)) | Err(_) => return Ok(Err("no-picture")),
            }
        }
    };
    match choosing::find(app, &said).await {
        Ok(thing) => Ok(Ok(thing)),
        Err(Fault::Missing(_)) => Ok(Err("nothing")),
        Err(fault) => Err(fault),
    }
}
