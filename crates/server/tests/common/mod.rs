//! A bench on a record of its own, asked as a browser or a program asks.

#![allow(dead_code)] // not every test file needs all of it
#![allow(clippy::unwrap_used)] // helpers outside of test functions may not answer for a failure

use axum::Router;
use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use http_body_util::BodyExt;
use notebook::payload::RecordOpened;
use notebook::{Command, Moment, Node};
use serde_json::{Value, json};
use server::{App, router};
use std::sync::Arc;
use store::{Machine, Order, Store};
use tower::ServiceExt;

/// A bench on an empty record in a folder of its own.
pub(crate) struct Bench {
    pub(crate) router: Router,
    _folder: tempfile::TempDir,
}

/// 2026-03-12, some day.
pub(crate) const FIRST_DAY: i64 = 1_773_306_000_000;

impl Bench {
    pub(crate) async fn empty() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("bench.record");
        let store = Store::create(place.to_str().unwrap(), Arc::new(Machine::new(60)))
            .await
            .unwrap();
        let open = RecordOpened {
            name: "Quality bench".into(),
        };
        let order = Order::new("sorrel", "test", Command::new(Node::record(), open));
        store.submit(order).await.unwrap();
        Self {
            router: router(App::new(store, "sorrel")),
            _folder: folder,
        }
    }

    pub(crate) async fn demo() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("demo.record");
        let store = store::build_demo(place.to_str().unwrap(), 1, Moment::new(FIRST_DAY, 60))
            .await
            .unwrap();
        Self {
            router: router(App::new(store, "sorrel")),
            _folder: folder,
        }
    }

    pub(crate) async fn ask(&self, request: Request<Body>) -> (StatusCode, String, Option<String>) {
        let response = self.router.clone().oneshot(request).await.unwrap();
        let status = response.status();
        let to = response
            .headers()
            .get(header::LOCATION)
            .map(|v| v.to_str().unwrap().to_string());
        let bytes = response.into_body().collect().await.unwrap().to_bytes();
        (status, String::from_utf8(bytes.to_vec()).unwrap(), to)
    }

    pub(crate) async fn get(&self, path: &str) -> (StatusCode, String) {
        let (status, body, _) = self
            .ask(Request::get(path).body(Body::empty()).unwrap())
            .await;
        (status, body)
    }

    /// A form as a browser without script sends it; gives where it leads.
    pub(crate) async fn form(&self, path: &str, fields: &[(&str, &str)]) -> Result<String, String> {
        let body: Vec<String> = fields
            .iter()
            .map(|(name, value)| format!("{}={}", encoded(name), encoded(value)))
            .collect();
        let request = Request::post(path)
            .header("content-type", "application/x-www-form-urlencoded")
            .body(Body::from(body.join("&")))
            .unwrap();
        let (status, body, to) = self.ask(request).await;
        if status == StatusCode::SEE_OTHER {
            Ok(to.unwrap())
        } else {
            Err(format!("{status}: {body}"))
        }
    }

    /// A command that must be taken.
    pub(crate) async fn does(&self, on: &str, kind: &str, payload: Value) -> Value {
        let command = json!({ "on": on, "kind": kind, "payload": payload });
        let (status, said) = self.command(&command).await;
        assert_eq!(status, StatusCode::OK, "{command}: {said}");
        said
    }

    pub(crate) async fn command(&self, command: &Value) -> (StatusCode, Value) {
        let request = Request::post("/api/v1/commands")
            .header("content-type", "application/json")
            .body(Body::from(command.to_string()))
            .unwrap();
        let (status, body, _) = self.ask(request).await;
        (status, serde_json::from_str(&body).unwrap_or(Value::Null))
    }
}

impl Bench {
    /// Opens a line of news.
    pub(crate) async fn line(&self, path: &str) -> Line {
        let request = Request::get(path).body(Body::empty()).unwrap();
        Line(
            self.router
                .clone()
                .oneshot(request)
                .await
                .unwrap()
                .into_body(),
        )
    }
}

/// A line of server-sent events.
pub(crate) struct Line(Body);

impl Line {
    /// The next message: its name, if it has one, and the number that it says.
    pub(crate) async fn next(&mut self) -> (Option<String>, u64) {
        let frame = self.0.frame().await.unwrap().unwrap();
        let text = String::from_utf8(frame.into_data().unwrap().to_vec()).unwrap();
        let field = |name: &str| {
            let value = text.lines().find_map(|line| line.strip_prefix(name));
            value.map(|value| value.trim().to_string())
        };
        (field("event:"), field("data:").unwrap().parse().unwrap())
    }
}

pub(crate) fn encoded(text: &str) -> String {
    text.bytes().map(|b| format!("%{b:02X}")).collect()
}
