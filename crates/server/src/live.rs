//! Changes as they happen, for the pages that are open.

use crate::app::App;
use crate::visitor::Visitor;
use axum::extract::{Query, State};
use axum::response::Sse;
use axum::response::sse::{Event, KeepAlive};
use notebook::Node;
use serde::Deserialize;
use std::convert::Infallible;
use tokio_stream::{Stream, StreamExt, wrappers::BroadcastStream, wrappers::WatchStream};

/// What is watched.
#[derive(Deserialize)]
pub(crate) struct About {
    about: Option<Node>,
}

/// One message for each change of the thing that is watched; none says that anything may have changed.
pub(crate) async fn live(
    State(app): State<App>,
    _: Visitor,
    Query(About { about }): Query<About>,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let changes = BroadcastStream::new(app.store.changes()).filter_map(move |change| {
        let number = match change {
            // What another process wrote, or what was missed, may be about anything.
            Ok(change) if change.stream.is_none() || about.is_none() || change.stream == about => {
                change.number
            }
            Ok(_) => return None,
            Err(_) => 0,
        };
        Some(Some(Event::default().data(number.to_string())))
    });
    // The stream ends when the program does.
    let end = WatchStream::new(app.ending())
        .filter(|over| *over)
        .map(|_| None);
    let events = changes
        .merge(end)
        .take_while(Option::is_some)
        .filter_map(|event| event.map(Ok));
    Sse::new(events).keep_alive(KeepAlive::default())
}
