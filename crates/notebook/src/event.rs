//! An event: what happened, when, by whom, and the hash of the one before.
//!
//! An event is kept as the canonical JSON text of [`Event`], its *body*. Its hash is SHA-256 of that text, which names
//! the hash of the event before: changing any byte of any event breaks every later link.

use crate::canonical::canonical;
use crate::hash::Hash;
use crate::moment::Moment;
use crate::node::Node;
use crate::payload::Payload;
use crate::upcast::{self, UpcastError};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use thiserror::Error;

/// Longest body that is read, in bytes.
pub const MAX_BODY: usize = 1024 * 1024;

/// Why a body is no event.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum EventError {
    /// Larger than any event.
    #[error("the event is {0} bytes long; at most {MAX_BODY} are read")]
    TooLong(usize),
    /// Not the JSON of an event.
    #[error("not an event: {0}")]
    Form(String),
    /// The payload cannot be read.
    #[error(transparent)]
    Payload(#[from] UpcastError),
    /// An event about a thing of the wrong kind.
    #[error("{kind} happens to a {expected}, not to {stream}")]
    Stream {
        /// The kind of event.
        kind: String,
        /// To what it happens.
        expected: &'static str,
        /// What it says it happened to.
        stream: String,
    },
}

/// What brought an event about.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cause {
    /// Key of the command, chosen by who sent it: the same key is taken once.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub command: Option<String>,
    /// Number of the event that this one follows from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub event: Option<u64>,
}

/// An event.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// Its number in the record, from 1 without gaps.
    pub number: u64,
    /// Its identity, a UUID of version 7.
    pub id: String,
    /// When it happened, by the clock of the machine that wrote it.
    pub at: Moment,
    /// Name of the person (`person/...` without the kind).
    pub who: String,
    /// The device it was entered on.
    pub device: String,
    /// What brought it about.
    pub cause: Cause,
    /// What it happened to.
    pub stream: Node,
    /// How many events this thing has, this one included.
    pub stream_version: u64,
    /// What happened.
    pub payload: Payload,
    /// Hash of the event before.
    pub previous: Hash,
}

/// The members of a body, in their order.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Body {
    at: Moment,
    cause: Cause,
    device: String,
    id: String,
    kind: String,
    number: u64,
    payload: Value,
    previous: Hash,
    stream: Node,
    stream_version: u64,
    version: u32,
    who: String,
}

impl Event {
    /// The canonical JSON of the event, which is what is kept and hashed.
    ///
    /// # Errors
    /// [`EventError::Form`] if the payload holds a number that JSON cannot write.
    pub fn body(&self) -> Result<String, EventError> {
        let form = |e: serde_json::Error| EventError::Form(e.to_string());
        let mut tagged = serde_json::to_value(&self.payload).map_err(form)?;
        let body = Body {
            at: self.at,
            cause: self.cause.clone(),
            device: self.device.clone(),
            id: self.id.clone(),
            kind: self.payload.kind().to_string(),
            number: self.number,
            payload: tagged["payload"].take(),
            previous: self.previous,
            stream: self.stream.clone(),
            stream_version: self.stream_version,
            version: self.payload.version(),
            who: self.who.clone(),
        };
        Ok(canonical(&serde_json::to_value(&body).map_err(form)?))
    }

    /// Reads a body. Payloads of earlier versions are read as the present one.
    ///
    /// # Errors
    /// [`EventError`] naming what is wrong.
    pub fn read(body: &str) -> Result<Self, EventError> {
        if body.len() > MAX_BODY {
            return Err(EventError::TooLong(body.len()));
        }
        if let Some(event) = Self::read_present(body) {
            return Ok(event);
        }
        let body: Body = serde_json::from_str(body).map_err(|e| EventError::Form(e.to_string()))?;
        let payload = upcast::read(&body.kind, body.version, body.payload)?;
        let expected = payload.happens_to();
        if body.stream.kind() != expected {
            return Err(EventError::Stream {
                kind: body.kind,
                expected: expected.word(),
                stream: body.stream.to_string(),
            });
        }
        Ok(Self {
            number: body.number,
            id: body.id,
            at: body.at,
            who: body.who,
            device: body.device,
            cause: body.cause,
            stream: body.stream,
            stream_version: body.stream_version,
            payload,
            previous: body.previous,
        })
    }
}

impl Event {
    /// Reads a body with a payload of the present version straight into what it is; none if that cannot be done, be it
    /// older or wrong.
    fn read_present(body: &str) -> Option<Self> {
        let around: Around<'_> = serde_json::from_str(body).ok()?;
        if !upcast::is_present(&around.kind, around.version) {
            return None;
        }
        let payload = Payload::inside(&around.kind, body)?.ok()?;
        if around.stream.kind() != payload.happens_to() {
            return None;
        }
        Some(Self {
            number: around.number,
            id: around.id,
            at: around.at,
            who: around.who,
            device: around.device,
            cause: around.cause,
            stream: around.stream,
            stream_version: around.stream_version,
            payload,
            previous: around.previous,
        })
    }
}

/// The members of a body around its payload.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Around<'a> {
    at: Moment,
    cause: Cause,
    device: String,
    id: String,
    #[serde(borrow)]
    kind: std::borrow::Cow<'a, str>,
    number: u64,
    #[serde(rename = "payload")]
    _payload: serde::de::IgnoredAny,
    previous: Hash,
    stream: Node,
    stream_version: u64,
    version: u32,
    who: String,
}

/// What of a body a check of the chain compares, read without looking into the payload.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
pub struct Head<'a> {
    /// The number it says it has.
    pub number: u64,
    /// What it says it happened to.
    #[serde(borrow)]
    pub stream: std::borrow::Cow<'a, str>,
    /// The version of that thing.
    pub stream_version: u64,
    /// Its kind.
    #[serde(borrow)]
    pub kind: std::borrow::Cow<'a, str>,
    /// Its identity.
    #[serde(borrow)]
    pub id: std::borrow::Cow<'a, str>,
    /// The hash it says the event before has.
    #[serde(borrow)]
    pub previous: std::borrow::Cow<'a, str>,
    /// When, as written.
    #[serde(borrow)]
    pub at: std::borrow::Cow<'a, str>,
}

impl<'a> Head<'a> {
    /// Reads the head of a body.
    ///
    /// # Errors
    /// [`EventError::Form`].
    pub fn read(body: &'a str) -> Result<Self, EventError> {
        serde_json::from_str(body).map_err(|e| EventError::Form(e.to_string()))
    }
}

/// A UUID of version 7 (RFC 9562, 5.7) from a moment and ten random bytes.
pub fn uuid_v7(at: Moment, random: [u8; 10]) -> String {
    let ms = u64::try_from(at.milliseconds()).unwrap_or(0).to_be_bytes();
    let mut bytes = [0_u8; 16];
    bytes[..6].copy_from_slice(&ms[2..]);
    bytes[6..].copy_from_slice(&random);
    bytes[6] = bytes[6] & 0x0f | 0x70;
    bytes[8] = bytes[8] & 0x3f | 0x80;
    let hex: String = bytes.iter().map(|b| format!("{b:02x}")).collect();
    format!(
        "{}-{}-{}-{}-{}",
        &hex[..8],
        &hex[8..12],
        &hex[12..16],
        &hex[16..20],
        &hex[20..]
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::payload::{ReadingTaken, Slot};

    fn event() -> Event {
        Event {
            number: 7,
            id: "0195b8a0-0000-7000-8000-000000000000".into(),
            at: "2026-03-12T09:14:22.125+01:00".parse().unwrap(),
            who: "sorrel".into(),
            device: "bench 2".into(),
            cause: Cause {
                command: Some("k-1".into()),
                event: None,
            },
            stream: "determination/D-1".parse().unwrap(),
            stream_version: 3,
            payload: ReadingTaken {
                run: 1,
                sample: None,
                reading: Slot::Final,
                value: "24.60 mL".into(),
                refilled: false,
            }
            .into(),
            previous: Hash::of(b"before"),
        }
    }

    #[test]
    fn a_body_is_canonical_and_read_back() {
        let event = event();
        let body = event.body().unwrap();
        assert!(body.starts_with(r#"{"at":"2026-03-12T09:14:22.125+01:00","cause":{"command":"k-1"},"device":"bench 2","id":"#), "{body}");
        assert!(body.contains(r#""value":"24.60 mL""#));
        assert_eq!(canonical(&serde_json::from_str(&body).unwrap()), body);
        assert_eq!(Event::read(&body).unwrap(), event);
        let head = Head::read(&body).unwrap();
        assert_eq!((head.number, head.stream_version), (7, 3));
        assert_eq!(head.stream, "determination/D-1");
    }

    #[test]
    fn an_event_happens_to_the_right_kind_of_thing() {
        let body = event()
            .body()
            .unwrap()
            .replace("determination/D-1", "lot/D-1");
        let error = Event::read(&body).unwrap_err().to_string();
        assert!(error.contains("happens to a determination"), "{error}");
    }

    #[test]
    fn a_uuid_has_its_version_and_time() {
        // RFC 9562, appendix A.6: 2022-02-22T14:22:22.00-05:00 is 017F22E2-79B0 (from memory).
        let at: Moment = "2022-02-22T14:22:22.000-05:00".parse().unwrap();
        let uuid = uuid_v7(at, [0xff; 10]);
        assert_eq!(uuid, "017f22e2-79b0-7fff-bfff-ffffffffffff");
    }
}
