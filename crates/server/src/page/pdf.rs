//! Certificates and labels as PDF.

use crate::answer::Fault;
use crate::api;
use crate::app::App;
use crate::paper::{PaperError, certificate_sheet, label_sheet};
use crate::visitor::Visitor;
use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use certificate::{CertificateError, LabelForm, certificate_pdf, label_pdf};
use notebook::Node;

impl From<PaperError> for Fault {
    fn from(error: PaperError) -> Self {
        match error {
            PaperError::Store(error) => error.into(),
            PaperError::Certificate(error) => error.into(),
            PaperError::Evaluate(error) => Self::Missing(error.to_string()),
        }
    }
}

impl From<CertificateError> for Fault {
    fn from(error: CertificateError) -> Self {
        match error {
            CertificateError::Missing(_) => Self::Missing(error.to_string()),
            _ => Self::Form(error.to_string()),
        }
    }
}

/// The name of a thing as a file may bear it.
pub(crate) fn file_name(node: &Node) -> String {
    node.name()
        .chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.') {
                c
            } else {
                '-'
            }
        })
        .collect()
}

/// The file, shown by the browser and saved under the name of the thing.
pub(crate) fn answer(node: &Node, pdf: Vec<u8>) -> Response {
    let name = file_name(node);
    let headers = [
        (header::CONTENT_TYPE, "application/pdf".to_string()),
        (
            header::CONTENT_DISPOSITION,
            format!("inline; filename=\"{name}.pdf\""),
        ),
        (header::CACHE_CONTROL, "no-cache".to_string()),
    ];
    (headers, pdf).into_response()
}

pub(crate) async fn certificate(
    State(app): State<App>,
    _: Visitor,
    Path(name): Path<String>,
) -> Result<Response, Fault> {
    let node = api::node("certificate", &name)?;
    let (sheet, _) = certificate_sheet(&app.store, &node).await?;
    Ok(answer(&node, certificate_pdf(&sheet)?))
}

pub(crate) async fn label(
    State(app): State<App>,
    _: Visitor,
    Path(name): Path<String>,
) -> Result<Response, Fault> {
    let node = api::node("solution", &name)?;
    let label = label_sheet(&app.store, &node).await?;
    Ok(answer(&node, label_pdf(&[label], LabelForm::Single)?))
}
