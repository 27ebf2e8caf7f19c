//! Certificates and labels as PDF.

use crate::answer::Fault;
use crate::api;
use crate::app::App;
use crate::paper::{PaperError, certificate_sheet, label_sheet};
use crate::text::filled;
use crate::visitor::Visitor;
use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use certificate::{CertificateError, LabelForm, ON_A_SHEET, certificate_pdf, label_pdf};
use notebook::Node;
use serde::Deserialize;

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

/// How many labels are wanted, and on what.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct Wanted {
    copies: Option<String>,
    sheet: Option<String>,
    skip: Option<String>,
}

/// Most labels at once: ten sheets.
const MOST_LABELS: usize = 10 * ON_A_SHEET;

pub(crate) async fn label(
    State(app): State<App>,
    _: Visitor,
    Path(name): Path<String>,
    Query(wanted): Query<Wanted>,
) -> Result<Response, Fault> {
    let node = api::node("solution", &name)?;
    let number = |text: Option<String>, least: usize, most: usize| match text.as_deref() {
        None | Some("") => Ok(least),
        Some(text) => match text.trim().parse() {
            Ok(n) if (least..=most).contains(&n) => Ok(n),
            _ => Err(Fault::Form(filled(
                "label.count",
                &[
                    ("text", text),
                    ("least", &least.to_string()),
                    ("most", &most.to_string()),
                ],
            ))),
        },
    };
    let copies = number(wanted.copies, 1, MOST_LABELS)?;
    let skip = number(wanted.skip, 0, ON_A_SHEET - 1)?;
    let form = match wanted.sheet {
        Some(_) => LabelForm::Sheet { skip },
        None => LabelForm::Single,
    };
    let label = label_sheet(&app.store, &node).await?;
    Ok(answer(&node, label_pdf(&vec![label; copies], form)?))
}
