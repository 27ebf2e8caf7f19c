//! Changes as they happen, for the pages that are open.

use crate::answer::Fault;
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

/// First how many events the thing has by now, as a message named `version`, so that a page knows whether it missed any while
/// the line was down; then one message for each change of it. Without a thing, any change is told.
pub(crate) async fn live(
    State(app): State<App>,
    _: Visitor,
    Query(About { about }): Query<About>,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, Fault> {
    // Watched before it is counted, so that nothing falls between.
    let changes = app.store.changes();
    let version = match &about {
        Some(node) => app.store.thing(node).await?,
        None => None,
    };
    let version = version.map(|thing| {
        Event::default()
            .event("version")
            .data(thing.version.to_string())
    });
    let changes = BroadcastStream::new(changes).filter_map(move |change| {
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
    let events = tokio_stream::iter(version.map(Some))
        .chain(changes.merge(end))
        .take_while(Option::is_some)
        .filter_map(|event| event.map(Ok));
    Ok(Sse::new(events).keep_alive(KeepAlive::default()))
}
