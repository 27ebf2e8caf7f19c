//! Whether what is asked is what was taken before with the same key.

use crate::order::Order;
use notebook::payload::Payload;
use notebook::{Command, Event};
use serde_json::Value;

/// Members that a decision writes itself, whatever was sent.
const WRITTEN: [&str; 2] = ["was", "evaluated"];
/// Members that a decision fills in where they were left out.
const FILLED: [&str; 2] = ["by", "use_before"];

/// How what was taken with a key differs from what is asked with it now, in words. None if it does not.
pub(crate) fn taken_otherwise(event: Option<&Event>, order: &Order) -> Option<String> {
    let Some(event) = event else {
        return Some("its event is gone".into());
    };
    let told = format!(
        "event {} is {} of {} by {}",
        event.number,
        event.payload.kind(),
        event.stream,
        event.who
    );
    let same = event.stream == order.command.on
        && event.payload.kind() == order.command.payload.kind()
        && event.who == order.who;
    if !same {
        return Some(told);
    }
    let (member, held, asked) = difference(event, &order.command)?;
    Some(format!(
        "{told} and holds {held}, now {asked} is sent ({member})"
    ))
}

/// How a command differs from the event that was written for its key: the member, what the event holds, what is asked now.
/// None if it is the same.
fn difference(event: &Event, command: &Command) -> Option<(String, String, String)> {
    let value = |payload: &Payload| serde_json::to_value(payload).unwrap_or_default();
    let (held, asked) = (value(&event.payload), value(&command.payload));
    let approved = matches!(event.payload, Payload::DeterminationApproved(_));
    let mut path = Vec::new();
    differs(&held, &asked, &mut path, approved)
        .map(|(held, asked)| (path.join("."), short(held), short(asked)))
}

fn differs<'a>(
    held: &'a Value,
    asked: &'a Value,
    path: &mut Vec<String>,
    approved: bool,
) -> Option<(&'a Value, &'a Value)> {
    match (held, asked) {
        (Value::Object(a), Value::Object(b)) => {
            let names: std::collections::BTreeSet<&String> = a.keys().chain(b.keys()).collect();
            for name in names {
                // The name of who signs is the one in the record.
                if WRITTEN.contains(&name.as_str()) || (approved && name == "name") {
                    continue;
                }
                let (a, b) = (member(a, name), member(b, name));
                if b.is_null() && FILLED.contains(&name.as_str()) {
                    continue;
                }
                path.push(name.clone());
                let found = differs(a, b, path, approved);
                if found.is_some() {
                    return found;
                }
                path.pop();
            }
            None
        }
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => a
            .iter()
            .zip(b)
            .find_map(|(a, b)| differs(a, b, path, approved)),
        _ => (held != asked).then_some((held, asked)),
    }
}

fn member<'a>(of: &'a serde_json::Map<String, Value>, name: &str) -> &'a Value {
    of.get(name).unwrap_or(&Value::Null)
}

/// A value in words.
fn short(value: &Value) -> String {
    match value {
        Value::Null => "nothing".into(),
        Value::String(text) => format!("\"{}\"", text.chars().take(60).collect::<String>()),
        other => other.to_string().chars().take(60).collect(),
    }
}
