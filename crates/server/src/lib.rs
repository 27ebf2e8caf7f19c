//! The bench in a browser, and the JSON interface: pages rendered here, commands taken, changes told as they happen.
//!
//! Every form of every page is a command of the record ([`notebook::Command`]); the pages, the scripts and other
//! programs use the same one door, and the record decides. [`ROUTES`] is the table of everything that can be asked.
#![forbid(unsafe_code)]

mod answer;
mod api;
mod app;
mod calendar;
mod command;
mod csv;
mod decimals;
mod drawing;
mod entry;
mod guard;
mod live;
mod measured;
mod openapi;
mod page;
pub mod paper;
mod picture;
mod room;
mod routes;
mod series;
mod text;
mod told;
mod visitor;
mod words;

pub use app::{App, Demo};
pub use routes::{ROUTES, Route, router};
pub use text::{TextsError, add_texts};

use std::future::Future;
use tokio::net::TcpListener;

/// Serves a record until `stop` comes true; streams of changes end with it.
///
/// # Errors
/// What the network says.
pub async fn serve(
    app: App,
    listener: TcpListener,
    stop: impl Future<Output = ()> + Send + 'static,
) -> std::io::Result<()> {
    let ends = app.ends();
    let stopped = async move {
        stop.await;
        // A graceful end waits for every open stream, so they are told first.
        let _ = ends.send(true);
    };
    axum::serve(listener, router(app))
        .with_graceful_shutdown(stopped)
        .await
}
