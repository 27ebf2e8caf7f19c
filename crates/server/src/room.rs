//! The light of the room: pages follow the device, or are kept dark or light by a button that is remembered in a cookie.
//!
//! The choice is known to every page, error pages too, without being handed through: it belongs to the request.

use crate::command::own_path;
use axum::extract::{Form, Request};
use axum::http::{HeaderMap, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

/// Name of the cookie.
const COOKIE: &str = "room";
/// A year, in seconds.
const REMEMBERED: u32 = 31_536_000;

/// The light of the room.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) enum Room {
    /// As the device says.
    #[default]
    Device,
    /// Dark.
    Dark,
    /// Light.
    Light,
}

impl Room {
    fn read(word: &str) -> Self {
        match word {
            "dark" => Self::Dark,
            "light" => Self::Light,
            _ => Self::Device,
        }
    }

    /// The word in the cookie, the form and the page.
    pub(crate) fn word(self) -> Option<&'static str> {
        match self {
            Self::Device => None,
            Self::Dark => Some("dark"),
            Self::Light => Some("light"),
        }
    }

    fn of(headers: &HeaderMap) -> Self {
        crate::visitor::cookie(headers, COOKIE).map_or(Self::Device, |word| Self::read(&word))
    }
}

tokio::task_local! {
    static ROOM: Room;
}

/// The room of the request that is being answered.
pub(crate) fn room() -> Room {
    ROOM.try_with(|room| *room).unwrap_or_default()
}

/// Answers a request knowing its room.
pub(crate) async fn known(request: Request, next: Next) -> Response {
    let room = Room::of(request.headers());
    ROOM.scope(room, next.run(request)).await
}

/// What the button sends.
#[derive(Deserialize)]
pub(crate) struct Chosen {
    room: String,
}

/// Remembers the room and goes back to the page that the button stands on.
pub(crate) async fn choose(headers: HeaderMap, Form(chosen): Form<Chosen>) -> Response {
    let room = Room::read(&chosen.room);
    let set = match room.word() {
        Some(word) => {
            format!("{COOKIE}={word}; Path=/; Max-Age={REMEMBERED}; SameSite=Strict; HttpOnly")
        }
        None => format!("{COOKIE}=; Path=/; Max-Age=0; SameSite=Strict; HttpOnly"),
    };
    let back = came_from(&headers).unwrap_or_else(|| "/".into());
    ([(header::SET_COOKIE, set)], Redirect::to(own_path(&back))).into_response()
}

/// The path of our own page that a request was sent from.
fn came_from(headers: &HeaderMap) -> Option<String> {
    let from = headers.get(header::REFERER)?.to_str().ok()?;
    let (_, rest) = from.split_once("://")?;
    let (host, path) = rest.split_once('/')?;
    let ours = headers.get(header::HOST)?.to_str().ok()?;
    (host == ours).then(|| format!("/{path}"))
}
