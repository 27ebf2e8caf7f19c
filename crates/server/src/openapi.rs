//! The JSON interface described, from the table of routes and the types of the commands (OpenAPI 3.1).

use crate::command::Sent;
use crate::entry::SignIn;
use crate::page::people::NewSecret;
use crate::routes::ROUTES;
use notebook::Kind;
use serde_json::{Map, Value, json};

/// Query parameters of a path, with what they hold. An empty one of the lists counts as left out.
fn asked(path: &str) -> Vec<Value> {
    let text = |says: &str| json!({ "type": "string", "description": says });
    let number = |least: u32, says: &str| json!({ "type": "integer", "minimum": least, "description": says });
    let kinds: Vec<&str> = [""].into_iter().chain(kinds()).collect();
    let parameters = match path {
        "/api/v1/usable" => vec![
            (
                "kind",
                json!({ "type": "string", "enum": ["", "lot", "solution", "apparatus"], "description": "solution if left out" }),
            ),
            ("after", text("the `next` of the page before")),
        ],
        "/api/v1/things" => vec![
            (
                "kind",
                json!({ "type": "string", "enum": kinds, "description": "kind of thing; left out: determinations, with `search` things of any kind" }),
            ),
            ("who", text("begun by this person")),
            ("status", text("in this status, such as open")),
            (
                "rests_on",
                text(
                    "resting on this thing, at once or through others, such as lot/S-0107: what its trace gives",
                ),
            ),
            (
                "finding",
                text("with a finding of this code, such as not-concordant"),
            ),
            (
                "from",
                text("begun on this day or later, such as 2026-03-12"),
            ),
            ("to", text("begun on this day or earlier")),
            (
                "search",
                text(
                    "found by these words: names, titles, numbers of certificates, who began it; the last may be a beginning",
                ),
            ),
            (
                "after",
                text("only after this thing: `next` of the page before, as JSON"),
            ),
            (
                "limit",
                number(0, "how many; 50 if left out, at most 200 are given"),
            ),
        ],
        "/api/v1/events" => vec![
            ("after", number(0, "only events with a higher number")),
            (
                "limit",
                number(0, "how many; 100 if left out, at most 1000 are given"),
            ),
        ],
        "/api/v1/determinations/{name}/what-if" => vec![
            (
                "of",
                text(
                    "which result, where there are several: a sample, or sample/1 for its second result; the first if left out",
                ),
            ),
            (
                "changes",
                json!({ "type": "object", "additionalProperties": { "type": "string" }, "description": "the inputs to change, each as a parameter of its own: v.INPUT for its value, u.INPUT for its standard uncertainty" }),
            ),
        ],
        _ => Vec::new(),
    };
    parameters
        .into_iter()
        .map(|(name, schema)| parameter(name, "query", schema))
        .collect()
}

/// What a POST sends.
fn sent(path: &str) -> Option<Value> {
    let json = |schema: &str| {
        let reference = format!("#/components/schemas/{schema}");
        json!({ "required": true, "content": { "application/json": { "schema": { "$ref": reference } } } })
    };
    Some(match path {
        "/api/v1/commands" => json("Command"),
        "/api/v1/sign-in" => json("SignIn"),
        "/api/v1/secrets" => json("NewSecret"),
        "/api/v1/files" => {
            json!({ "required": true, "content": { "multipart/form-data": { "schema": {
            "type": "object", "required": ["on", "file"], "properties": {
                "on": { "type": "string", "description": "the determination, such as determination/D-0005" },
                "file": { "type": "string", "contentMediaType": "application/octet-stream", "description": "a JPEG or PNG" },
                "about": { "type": "string", "description": "run and reading, such as \"2 final\", or the run alone" },
                "key": { "type": "string" }, "at": { "type": "string" },
            } } } } })
        }
        _ => return None,
    })
}

fn kinds() -> impl Iterator<Item = &'static str> {
    Kind::ALL.iter().map(|kind| kind.word())
}

/// A member of a path, with an example from the demo record.
fn member(name: &str) -> Value {
    let schema = match name {
        "kind" => json!({ "type": "string", "enum": kinds().collect::<Vec<_>>() }),
        "hash" => json!({ "type": "string", "pattern": "^[0-9a-f]{64}$" }),
        "number" => json!({ "type": "integer", "minimum": 0 }),
        _ => json!({ "type": "string", "minLength": 1 }),
    };
    let mut parameter = parameter(name, "path", schema);
    parameter["example"] = match name {
        "kind" => Value::from("determination"),
        "number" => Value::from(346),
        _ => Value::from("D-0001"),
    };
    parameter
}

/// What is answered if it is not, by its status.
fn faults() -> Value {
    let mut faults = Map::new();
    for (status, says) in [
        (
            "400",
            "a path, query or body that is no text, or a number that is none",
        ),
        ("401", "the record is shared; sign in first"),
        (
            "403",
            "sent by another site's page, or it is not proved who asks: wrong or missing passphrase, too many failures",
        ),
        ("404", "nothing of that name"),
        ("409", "changed meanwhile, with what happened"),
        ("413", "too long"),
        ("422", "refused, with the reason"),
        ("503", "the record cannot be read now"),
    ] {
        let schema = json!({ "$ref": "#/components/schemas/Fault" });
        let answer =
            json!({ "description": says, "content": { "application/json": { "schema": schema } } });
        faults.insert(status.into(), answer);
    }
    Value::Object(faults)
}

/// What a route answers if all is well.
fn answer(path: &str) -> Value {
    let object = |members: &[&str]| json!({ "type": "object", "required": members });
    match path {
        "/api/v1/commands" | "/api/v1/files" => object(&["taken", "repeated", "version", "events"]),
        "/api/v1/sign-in" => object(&["token", "person", "by", "ends"]),
        "/api/v1/check" => object(&["sound", "events", "last_hash", "broken"]),
        "/api/v1/notices" => object(&["person", "notices"]),
        "/api/v1/things" => object(&["things", "next"]),
        "/api/v1/things/{kind}/{name}" => object(&["node", "line", "state", "objections"]),
        "/api/v1/usable" => object(&["today", "things", "next"]),
        "/api/v1/corrections/{number}" => object(&["correction", "changes", "settled"]),
        "/api/v1/things/{kind}/{name}/trace" => object(&["made_of", "rests_on"]),
        "/api/v1/things/{kind}/{name}/history" | "/api/v1/events" => {
            json!({ "type": "array", "items": object(&["number", "id", "at", "who", "on", "kind", "payload", "cause", "previous", "hash"]) })
        }
        _ => json!({ "type": "object" }),
    }
}

/// The document.
pub(crate) fn document() -> Value {
    let mut paths = Map::new();
    for route in ROUTES.iter().filter(|r| r.path.starts_with("/api/")) {
        let mut parameters: Vec<Value> = route
            .path
            .split('/')
            .filter_map(|part| part.strip_prefix('{')?.strip_suffix('}'))
            .map(member)
            .collect();
        parameters.extend(asked(route.path));
        let fault = |status: &str| json!({ "$ref": format!("#/components/responses/{status}") });
        let mut operation = json!({
            "summary": route.says,
            "parameters": parameters,
            "responses": {
                "200": { "description": "done", "content": { "application/json": { "schema": answer(route.path) } } },
                "400": fault("400"),
                "401": fault("401"),
                "404": fault("404"),
                "422": fault("422"),
                "503": fault("503"),
            },
        });
        if route.path == "/api/v1/files/{hash}" {
            operation["responses"]["200"] = json!({ "description": "the bytes", "content": { "image/*": {}, "application/octet-stream": {} } });
        }
        if route.method == "post" {
            if let Some(body) = sent(route.path) {
                operation["requestBody"] = body;
            }
            for status in ["403", "409", "413"] {
                operation["responses"][status] = fault(status);
            }
        }
        if matches!(route.path, "/api/v1/sign-in" | "/api/v1/openapi.json") {
            operation["security"] = json!([]);
        }
        let path = paths
            .entry(route.path)
            .or_insert_with(|| Value::Object(Map::new()));
        path[route.method] = operation;
    }
    let mut schemas = Map::new();
    for (name, mut schema) in [
        ("Command", schema::<Sent>()),
        ("SignIn", schema::<SignIn>()),
        ("NewSecret", schema::<NewSecret>()),
    ] {
        if let Some(object) = schema.as_object_mut() {
            object.remove("$schema");
            // The types that it uses stand beside it.
            if let Some(Value::Object(components)) = object.remove("components")
                && let Some(Value::Object(inner)) = components.get("schemas")
            {
                schemas.extend(inner.clone());
            }
        }
        schemas.insert(name.into(), schema);
    }
    schemas.insert(
        "Fault".into(),
        json!({ "type": "object", "required": ["error"], "properties": { "error": { "type": "string" }, "meanwhile": { "type": "array", "items": { "type": "object" } } } }),
    );
    json!({
        "openapi": "3.1.0",
        "info": { "title": "halfdrop", "version": env!("CARGO_PKG_VERSION"), "description": "Commands to the record of a bench, and what is known of it." },
        "paths": paths,
        "security": [{ "session": [] }, {}],
        "components": { "schemas": schemas, "responses": faults(), "securitySchemes": { "session": {
            "type": "http", "scheme": "bearer", "description": "the token that POST /api/v1/sign-in gives; needed once the record is shared",
        } } },
    })
}

fn schema<T: schemars::JsonSchema>() -> Value {
    let generator = schemars::generate::SchemaSettings::openapi3().into_generator();
    generator.into_root_schema_for::<T>().to_value()
}

fn parameter(name: &str, place: &str, schema: Value) -> Value {
    json!({ "name": name, "in": place, "required": place == "path", "schema": schema })
}
