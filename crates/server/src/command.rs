//! Commands: from forms and from programs, through one door. A signature proves once more who signs.

use crate::answer::Fault;
use crate::app::App;
use crate::page::forms;
use crate::text::filled;
use crate::visitor::Visitor;
use axum::extract::{Form, State};
use axum::response::{IntoResponse, Redirect, Response};
use notebook::{Command, Moment, Payload, Permissions};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use store::{Order, Receipt, Secret};

/// A command as it is sent.
#[derive(Debug, Deserialize, Serialize, schemars::JsonSchema)]
pub(crate) struct Sent {
    /// A key of the sender's: the same key is taken once, and answered the same.
    pub(crate) key: Option<String>,
    /// The version of the thing that the sender has seen.
    pub(crate) expects: Option<u64>,
    /// When it happened, if it had to wait for the network (RFC 3339).
    pub(crate) at: Option<String>,
    /// The passphrase of who signs, once more, where the command is a signature in a shared record.
    pub(crate) passphrase: Option<String>,
    /// What happened, to what.
    #[serde(flatten)]
    pub(crate) command: Command,
}

impl Sent {
    /// The members beside the payload's own.
    const MEMBERS: [&str; 7] = [
        "on",
        "kind",
        "payload",
        "key",
        "expects",
        "at",
        "passphrase",
    ];

    /// A command as a program sends it. A member that is not known is refused: it may be one that was meant.
    ///
    /// # Errors
    /// [`Fault::Form`].
    pub(crate) fn read(body: &str) -> Result<Self, Fault> {
        let unread =
            |error: serde_json::Error| Fault::Form(format!("the command cannot be read: {error}"));
        let members: Map<String, Value> = serde_json::from_str(body).map_err(unread)?;
        if let Some(strange) = members
            .keys()
            .find(|name| !Self::MEMBERS.contains(&name.as_str()))
        {
            let strange: String = strange.chars().take(60).collect();
            return Err(Fault::Form(format!(
                "the command cannot be read: unknown member \"{strange}\", expected one of {}",
                Self::MEMBERS.join(", ")
            )));
        }
        serde_json::from_str(body).map_err(unread)
    }
}

/// Gives a command to the record.
///
/// # Errors
/// [`Fault`], and nothing is saved then.
pub(crate) async fn submit(app: &App, visitor: &Visitor, sent: Sent) -> Result<Receipt, Fault> {
    if visitor.shared && Permissions::shipped().needs_signature(sent.command.payload.kind()) {
        let passphrase = sent.passphrase.as_deref().unwrap_or_default();
        app.store
            .prove(
                &visitor.who,
                &visitor.device,
                Secret::Passphrase,
                passphrase,
            )
            .await?;
    }
    let mut order = Order::new(&visitor.who, &visitor.device, sent.command);
    order.key = sent.key;
    order.expects = sent.expects;
    order.at = sent
        .at
        .map(|text| {
            text.parse::<Moment>()
                .map_err(|e| Fault::Form(e.to_string()))
        })
        .transpose()?;
    Ok(app.store.submit(order).await?)
}

/// A form: `on`, `kind`, `key`, `expects`, `back`, and the payload in fields `p.TYPE.member.member`, where TYPE is
/// `s` (text), `n` (number), `b` (true or false), `j` (JSON) or `a` (one of several texts); members `#0`, `#1` and so on are the
/// lines of a list. Empty fields are left out. `unit` stands behind a value that is a number alone, `unit.FIELD` behind what
/// is typed in another field. `on` may be the short name alone: the kind of event says of which kind the thing is.
///
/// What is refused comes back with its form, or with the way back to it.
pub(crate) async fn form(
    State(app): State<App>,
    visitor: Visitor,
    Form(mut fields): Form<Vec<(String, String)>>,
) -> Result<Response, Fault> {
    let back = fields
        .iter()
        // A button may lead elsewhere than its form.
        .rfind(|(name, _)| name == "back")
        .map_or("/", |(_, value)| own_path(value))
        .to_string();
    forms::complete(&mut fields);
    let done = match read(&fields) {
        Ok(sent) => submit(&app, &visitor, sent).await.map(|_| ()),
        Err(fault) => Err(fault),
    };
    let Err(fault) = done else {
        return Ok(Redirect::to(&back).into_response());
    };
    let status = fault.status();
    Ok(match forms::again(&app, &visitor, fields, &fault).await? {
        Some(page) => (status, page).into_response(),
        None => fault.with_way(&back),
    })
}

/// A page of ours to go on to: a path, with no other host behind two strokes; the bench for anything else.
pub(crate) fn own_path(path: &str) -> &str {
    if path.starts_with('/') && !path.starts_with("//") && !path.contains('\\') {
        path
    } else {
        "/"
    }
}

/// The command that a form makes.
pub(crate) fn read(fields: &[(String, String)]) -> Result<Sent, Fault> {
    let mut whole = Map::new();
    let mut payload = Map::new();
    for (name, value) in fields {
        let value = value.trim();
        if value.is_empty() {
            continue;
        }
        match name.as_str() {
            "on" => {
                whole.insert(name.clone(), Value::from(named(fields, value)));
            }
            "kind" | "key" | "at" | "passphrase" => {
                whole.insert(name.clone(), Value::from(value));
            }
            "expects" => {
                whole.insert(name.clone(), number(value)?);
            }
            _ => {
                if let Some(("p", rest)) = name.split_once('.')
                    && let Some((form, path)) = rest.split_once('.')
                {
                    let unit = fields.iter().find_map(|(n, unit)| {
                        (n.strip_prefix("unit.") == Some(name)).then_some(unit.as_str())
                    });
                    let value = typed(form, &with_unit(value, unit))?;
                    put(&mut payload, path, value, form == "a");
                }
            }
        }
    }
    if let Some((_, unit)) = fields.iter().find(|(name, _)| name == "unit")
        && let Some(Value::String(value)) = payload.get_mut("value")
    {
        *value = with_unit(value, Some(unit));
    }
    whole.insert("payload".into(), listed(Value::Object(payload)));
    serde_json::from_value(Value::Object(whole)).map_err(|error| Fault::unfit(&error))
}

/// What was typed, with the unit of its field behind it if it is a number alone.
pub(crate) fn with_unit(value: &str, unit: Option<&str>) -> String {
    let number = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+');
    match unit {
        Some(unit) if !value.is_empty() && value.chars().all(number) => {
            format!("{} {unit}", value.replace(',', "."))
        }
        _ => value.to_string(),
    }
}

fn number(value: &str) -> Result<Value, Fault> {
    serde_json::from_str::<serde_json::Number>(value)
        .map(Value::Number)
        .map_err(|_| Fault::Form(filled("fault.no_number", &[("text", value)])))
}

fn typed(form: &str, value: &str) -> Result<Value, Fault> {
    match form {
        "n" => number(value),
        "b" => Ok(Value::Bool(value == "true")),
        "j" => serde_json::from_str(value).map_err(|error| Fault::unfit(&error)),
        _ => Ok(Value::from(value)),
    }
}

/// The whole name of a thing: of a short one the kind of event says of which kind it is.
fn named(fields: &[(String, String)], name: &str) -> String {
    let kind = fields.iter().find(|(name, _)| name == "kind");
    let about = kind.and_then(|(_, kind)| Payload::KINDS.iter().find(|(known, ..)| known == kind));
    match about {
        Some((_, _, about)) if !name.contains('/') => format!("{about}/{name}"),
        _ => name.into(),
    }
}

/// What has members `#0`, `#1` and so on is a list.
fn listed(value: Value) -> Value {
    match value {
        Value::Object(members) => {
            if !members.is_empty() && members.keys().all(|name| name.starts_with('#')) {
                let mut lines: Vec<(usize, Value)> = members
                    .into_iter()
                    .map(|(name, value)| (name[1..].parse().unwrap_or(usize::MAX), listed(value)))
                    .collect();
                lines.sort_by_key(|(n, _)| *n);
                return lines.into_iter().map(|(_, value)| value).collect();
            }
            let members = members
                .into_iter()
                .map(|(name, value)| (name, listed(value)));
            Value::Object(members.collect())
        }
        other => other,
    }
}

fn put(into: &mut Map<String, Value>, path: &str, value: Value, one_of: bool) {
    match path.split_once('.') {
        None if one_of => {
            let several = into.entry(path).or_insert_with(|| Value::Array(Vec::new()));
            if let Value::Array(several) = several {
                several.push(value);
            }
        }
        None => {
            into.insert(path.into(), value);
        }
        Some((first, rest)) => {
            let inner = into
                .entry(first)
                .or_insert_with(|| Value::Object(Map::new()));
            if let Value::Object(inner) = inner {
                put(inner, rest, value, one_of);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_form_is_the_same_command_as_its_json() {
        let fields: Vec<(String, String)> = [
            ("on", "determination/D-0005"),
            ("kind", "reading-taken"),
            ("key", "tablet/7"),
            ("expects", "12"),
            ("p.n.run", "2"),
            ("p.s.reading", "final"),
            ("p.s.value", "24,60"),
            ("unit", "mL"),
            ("p.s.sample", ""),
            ("back", "/determinations/D-0005"),
        ]
        .map(|(a, b)| (a.to_string(), b.to_string()))
        .to_vec();
        let sent = read(&fields).unwrap();
        let json = r#"{"on":"determination/D-0005","kind":"reading-taken","key":"tablet/7","expects":12,
            "payload":{"run":2,"reading":"final","value":"24.60 mL"}}"#;
        let other: Sent = serde_json::from_str(json).unwrap();
        assert_eq!(sent.command, other.command);
        assert_eq!((sent.key, sent.expects), (other.key, other.expects));
    }

    #[test]
    fn a_number_alone_gets_the_unit_of_its_field() {
        for (typed, expected) in [("21,5", "21.5 degC"), ("294.6 K", "294.6 K")] {
            let fields = [
                ("on", "determination/D-1"),
                ("kind", "conditions-noted"),
                ("p.s.conditions.temperature", typed),
                ("unit.p.s.conditions.temperature", "degC"),
            ]
            .map(|(a, b)| (a.to_string(), b.to_string()));
            let command = serde_json::to_value(read(&fields).unwrap().command).unwrap();
            let said = &command["payload"]["conditions"]["temperature"];
            assert_eq!(said, expected, "{command}");
        }
    }

    #[test]
    fn what_does_not_fit_is_said() {
        let fields = [
            ("on", "determination/D-1"),
            ("kind", "reading-taken"),
            ("p.n.run", "two"),
        ]
        .map(|(a, b)| (a.to_string(), b.to_string()));
        assert!(
            read(&fields)
                .unwrap_err()
                .to_string()
                .contains("“two” is no number")
        );
    }
}
