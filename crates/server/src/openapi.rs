//! The JSON interface described, from the table of routes and the types of the commands (OpenAPI 3.1).

use crate::command::Sent;
use crate::routes::ROUTES;
use serde_json::{Map, Value, json};

/// Query parameters of the lists.
const FILTERS: &[&str] = &[
    "kind", "who", "status", "rests_on", "finding", "from", "to", "search", "after", "limit",
];

/// The document.
pub(crate) fn document() -> Value {
    let mut paths = Map::new();
    for route in ROUTES.iter().filter(|r| r.path.starts_with("/api/")) {
        let mut parameters: Vec<Value> = route
            .path
            .split('/')
            .filter_map(|part| part.strip_prefix('{')?.strip_suffix('}'))
            .map(|name| parameter(name, "path"))
            .collect();
        match route.path {
            "/api/v1/things" => parameters.extend(FILTERS.iter().map(|f| parameter(f, "query"))),
            "/api/v1/events" => {
                parameters.extend(["after", "limit"].map(|f| parameter(f, "query")));
            }
            _ => {}
        }
        let mut operation = json!({
            "summary": route.says,
            "parameters": parameters,
            "responses": {
                "200": { "description": "done", "content": { "application/json": {} } },
                "404": { "description": "nothing of that name", "content": { "application/json": { "schema": { "$ref": "#/components/schemas/Fault" } } } },
                "422": { "description": "refused, with the reason", "content": { "application/json": { "schema": { "$ref": "#/components/schemas/Fault" } } } },
                "400": { "description": "a query that cannot be read" },
            },
        });
        if route.method == "post" {
            operation["requestBody"] = json!({
                "required": true,
                "content": { "application/json": { "schema": { "$ref": "#/components/schemas/Command" } } },
            });
            operation["responses"]["409"] = json!({ "description": "changed meanwhile, with what happened", "content": { "application/json": { "schema": { "$ref": "#/components/schemas/Fault" } } } });
            operation["responses"]["403"] = json!({ "description": "sent by another site's page" });
            operation["responses"]["413"] = json!({ "description": "too long" });
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

fn parameter(name: &str, place: &str) -> Value {
    json!({ "name": name, "in": place, "required": place == "path", "schema": { "type": "string" } })
}
