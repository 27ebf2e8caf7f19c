//! Faults as answers: a page for people, JSON for programs, each with what to do.

use crate::page::frame;
use crate::text::{filled, t};
use crate::words;
use axum::Json;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use maud::html;
use notebook::Node;
use serde_json::json;
use store::StoreError;

/// What went wrong with a request.
#[derive(Debug, thiserror::Error)]
pub(crate) enum Fault {
    /// Nothing of that name.
    #[error("{0}")]
    Missing(String),
    /// What was sent is longer than is taken.
    #[error("{0}")]
    TooLarge(String),
    /// What was sent cannot be read.
    #[error("{0}")]
    Form(String),
    /// The record said no, or could not.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl Fault {
    /// A thing that the record does not hold.
    pub(crate) fn not_there(node: &Node) -> Self {
        Self::Missing(filled(
            "fault.not_there",
            &[("thing", words::kind(node.kind())), ("name", node.name())],
        ))
    }

    /// A form that lacks something, or holds what cannot be read.
    pub(crate) fn unfit(error: &dyn std::fmt::Display) -> Self {
        Self::Form(filled("fault.form", &[("why", &error.to_string())]))
    }

    pub(crate) fn status(&self) -> StatusCode {
        match self {
            Self::Missing(_) => StatusCode::NOT_FOUND,
            Self::TooLarge(_) => StatusCode::PAYLOAD_TOO_LARGE,
            Self::Form(_) => StatusCode::UNPROCESSABLE_ENTITY,
            Self::Store(StoreError::Refused(_) | StoreError::NotKnown { .. }) => {
                StatusCode::UNPROCESSABLE_ENTITY
            }
            Self::Store(StoreError::Conflict(_) | StoreError::KeyReused { .. }) => {
                StatusCode::CONFLICT
            }
            Self::Store(
                StoreError::SignIn { .. }
                | StoreError::SecretMissing(_)
                | StoreError::SessionEnded
                | StoreError::LockedOut { .. }
                | StoreError::WeakSecret(_),
            ) => StatusCode::FORBIDDEN,
            Self::Store(_) => StatusCode::SERVICE_UNAVAILABLE,
        }
    }

    /// As JSON.
    pub(crate) fn json(&self) -> Response {
        let meanwhile = match self {
            Self::Store(StoreError::Conflict(conflict)) => conflict
                .meanwhile
                .iter()
                .map(|event| {
                    json!({ "number": event.number, "kind": event.payload.kind(), "who": event.who, "at": event.at.to_string() })
                })
                .collect(),
            _ => Vec::new(),
        };
        let body = json!({ "error": self.to_string(), "meanwhile": meanwhile });
        (self.status(), Json(body)).into_response()
    }
}

impl Fault {
    /// The page that says so, with the way back to where it was asked.
    pub(crate) fn with_way(&self, back: &str) -> Response {
        let page = frame::plain(
            t("fault.title"),
            &html! {
                h1 { (t("fault.title")) }
                p.notice { (words::fault(self)) }
                p { a.button href=(back) { (t(if back == "/" { "fault.back" } else { "fault.way" })) } }
            },
        );
        (self.status(), page).into_response()
    }
}

impl IntoResponse for Fault {
    fn into_response(self) -> Response {
        self.with_way("/")
    }
}
