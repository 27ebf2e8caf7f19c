//! The shipped schemas are those of the program, and its output is what they say.
#![allow(clippy::unwrap_used)]

mod common;

use common::{halfdrop, root};
use serde_json::Value;

#[test]
fn the_shipped_schemas_are_current() {
    for of in [
        "sheet",
        "evaluation",
        "assay-sheet",
        "assay",
        "method",
        "validation-file",
        "validation",
        "wishes",
        "plan",
    ] {
        let path = format!("docs/schema/{of}.schema.json");
        let shipped = std::fs::read_to_string(root().join(&path)).unwrap_or_default();
        assert!(
            shipped == halfdrop(&["schema", of]).out,
            "{path} is not current; write it anew: cargo run -- schema {of} > {path}"
        );
    }
}

#[test]
fn the_output_has_what_the_schema_requires_and_nothing_else() {
    let schema: Value = serde_json::from_str(&halfdrop(&["schema", "evaluation"]).out).unwrap();
    for name in ["base-by-phthalate", "single-run", "base-by-acid"] {
        let path = format!("examples/{name}.toml");
        let outcome = halfdrop(&["evaluate", &path, "--json", "--trials", "20000"]);
        let document: Value = serde_json::from_str(&outcome.out).unwrap();
        assert_eq!(document["format"], "halfdrop.evaluation/1");
        check(&document, &schema, &schema, name);
    }
}

/// Checks types, required and known properties; enough of the standard for what the generator writes.
fn check(value: &Value, schema: &Value, whole: &Value, at: &str) {
    if let Some(reference) = schema["$ref"].as_str() {
        let target = whole.pointer(reference.trim_start_matches('#')).unwrap();
        return check(value, target, whole, at);
    }
    if let Some(choices) = schema["anyOf"].as_array() {
        let nullable = choices.iter().any(|c| c["type"] == "null");
        if value.is_null() {
            assert!(nullable, "{at} is null");
        } else if choices.len() == 2 && nullable {
            let other = choices.iter().find(|c| c["type"] != "null").unwrap();
            check(value, other, whole, at);
        }
        return;
    }
    let kind = match value {
        Value::Null => "null",
        Value::Bool(_) => "boolean",
        Value::Number(n) if n.is_f64() => "number",
        Value::Number(_) => "integer",
        Value::String(_) => "string",
        Value::Array(_) => "array",
        Value::Object(_) => "object",
    };
    let allowed: Vec<&str> = match &schema["type"] {
        Value::String(one) => vec![one],
        Value::Array(several) => several.iter().filter_map(Value::as_str).collect(),
        _ => vec![],
    };
    let fits = |allowed: &&str| *allowed == kind || (*allowed == "number" && kind == "integer");
    assert!(
        allowed.is_empty() || allowed.iter().any(fits),
        "{at}: {kind} where {allowed:?} is promised"
    );
    if let Some(properties) = schema["properties"].as_object() {
        for required in schema["required"].as_array().into_iter().flatten() {
            assert!(
                value.get(required.as_str().unwrap()).is_some(),
                "{at} lacks {required}"
            );
        }
        for (key, inner) in value.as_object().unwrap() {
            let known = properties.get(key);
            assert!(known.is_some(), "{at}.{key} is not in the schema");
            check(inner, known.unwrap(), whole, &format!("{at}.{key}"));
        }
    }
    for inner in value.as_array().into_iter().flatten() {
        check(inner, &schema["items"], whole, at);
    }
}
