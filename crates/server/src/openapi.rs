//! The JSON interface described, from the table of routes and the types of the commands (OpenAPI 3.1).

use crate::command::Sent;
use crate::routes::ROUTES;
use notebook::Kind;
use serde_json::{Map, Value, json};

/// Query parameters of the lists, with what they hold.
fn filters() -> Vec<Value> {
    let text = json!({ "type": "string" });
    let day =
        json!({ "type": "string", "description": "a day, such as 2026-03-12; empty for any" });
    // An empty one counts as left out.
    let kinds: Vec<&str> = [""].into_iter().chain(kinds()).collect();
    [
        ("kind", json!({ "type": "string", "enum": kinds })),
        ("who", text.clone()),
        ("status", text.clone()),
        ("rests_on", text.clone()),
        ("finding", text.clone()),
        ("from", day.clone()),
        ("to", day),
        ("search", text.clone()),
        ("after", text),
        (
            "limit",
            json!({ "type": "integer", "minimum": 0, "description": "at most 200 are given" }),
        ),
    ]
    .into_iter()
    .map(|(name, schema)| parameter(name, "query", schema))
    .collect()
}

fn kinds() -> impl Iterator<Item = &'static str> {
    Kind::ALL.iter().map(|kind| kind.word())
}

/// A member of a path, with an example from the demo record.
fn member(name: &str) -> Value {
    let schema = match name {
        "kind" => json!({ "type": "string", "enum": kinds().collect::<Vec<_>>() }),
        _ => json!({ "type": "string", "minLength": 1 }),
    };
    let mut parameter = parameter(name, "path", schema);
    parameter["example"] = Value::from(if name == "kind" {
        "determination"
    } else {
        "D-0001"
    });
    parameter
}

/// What a route answers if all is well.
fn answer(path: &str) -> Value {
    let object = |members: &[&str]| json!({ "type": "object", "required": members });
    match path {
        "/api/v1/commands" => object(&["taken", "repeated", "version", "events"]),
        "/api/v1/things" => object(&["things", "next"]),
        "/api/v1/things/{kind}/{name}" => object(&["node", "line", "state", "objections"]),
        "/api/v1/things/{kind}/{name}/trace" => object(&["made_of", "rests_on"]),
        "/api/v1/things/{kind}/{name}/history" | "/api/v1/events" => {
            json!({ "type": "array", "items": object(&["number", "id", "at", "who", "on", "kind", "payload"]) })
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
        match route.path {
            "/api/v1/things" => parameters.extend(filters()),
            "/api/v1/events" => {
                parameters.extend([
                    parameter("after", "query", json!({ "type": "integer", "minimum": 0 })),
                    parameter(
                        "limit",
                        "query",
                        json!({ "type": "integer", "minimum": 0, "description": "at most 1000 are given" }),
                    ),
                ]);
            }
            _ => {}
        }
        let fault = |says: &str| json!({ "description": says, "content": { "application/json": { "schema": { "$ref": "#/components/schemas/Fault" } } } });
        let text = |says: &str| json!({ "description": says, "content": { "text/plain": { "schema": { "type": "string" } } } });
        let mut operation = json!({
            "summary": route.says,
            "parameters": parameters,
            "responses": {
                "200": { "description": "done", "content": { "application/json": { "schema": answer(route.path) } } },
                "400": text("a path, query or body that is no text, or a number that is none"),
                "401": fault("the record is shared; sign in first"),
                "404": fault("nothing of that name"),
                "422": fault("refused, with the reason"),
                "503": fault("the record cannot be read now"),
            },
        });
        if route.method == "post" {
            operation["requestBody"] = json!({
                "required": true,
                "content": { "application/json": { "schema": { "$ref": "#/components/schemas/Command" } } },
            });
            operation["responses"]["409"] = fault("changed meanwhile, with what happened");
            operation["responses"]["403"] = json!({ "description": "sent by another site's page, or the signature is not proved" });
            operation["responses"]["413"] = text("too long");
        }
        let path = paths
            .entry(route.path)
            .or_insert_with(|| Value::Object(Map::new()));
        path[route.method] = operation;
    }
    let generator = schemars::generate::SchemaSettings::openapi3().into_generator();
    let mut command = generator.into_root_schema_for::<Sent>().to_value();
    let mut schemas = Map::new();
    // The types that the command uses stand beside it.
    if let Some(Value::Object(components)) =
        command.as_object_mut().and_then(|c| c.remove("components"))
        && let Some(Value::Object(inner)) = components.get("schemas")
    {
        schemas.extend(inner.clone());
    }
    if let Some(object) = command.as_object_mut() {
        object.remove("$schema");
    }
    schemas.insert("Command".into(), command);
    schemas.insert(
        "Fault".into(),
        json!({ "type": "object", "required": ["error"], "properties": { "error": { "type": "string" }, "meanwhile": { "type": "array", "items": { "type": "object" } } } }),
    );
    json!({
        "openapi": "3.1.0",
        "info": { "title": "halfdrop", "version": env!("CARGO_PKG_VERSION"), "description": "Commands to the record of a bench, and what is known of it." },
        "paths": paths,
        "components": { "schemas": schemas },
    })
}

fn parameter(name: &str, place: &str, schema: Value) -> Value {
    json!({ "name": name, "in": place, "required": place == "path", "schema": schema })
}
