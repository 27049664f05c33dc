//! The job file as a JSON Schema (draft 2020-12), made from the tables of keys, for editors that complete and check TOML by one.
//!
//! The schema knows names, shapes, words and the ranges of bare numbers. What takes a unit is a text to it: its range, its units and
//! what fits together with what are checked by the reader, which says more.

use super::keys::{JOB, Key, Need, Takes};
use serde_json::{Map, Value, json};

/// The schema of a whole job file.
#[must_use]
pub fn schema() -> Value {
    let mut s = table(JOB);
    s["$schema"] = json!("https://json-schema.org/draft/2020-12/schema");
    s["title"] = json!("capcycle job");
    s["description"] = json!(
        "A job for capcycle: the machine, the product and the run. It describes a functional controller, never a safety device: \
         emergency stop, guards and air dump stay hard-wired."
    );
    s
}

fn table(keys: &[Key]) -> Value {
    let properties: Map<String, Value> = keys.iter().map(|k| (k.name.to_owned(), property(k))).collect();
    let must: Vec<&str> = keys.iter().filter(|k| k.need == Need::Must).map(|k| k.name).collect();
    let mut s = json!({ "type": "object", "additionalProperties": false, "properties": properties });
    if !must.is_empty() {
        s["required"] = json!(must);
    }
    s
}

fn property(key: &Key) -> Value {
    let mut s = match key.takes {
        Takes::Quantity(kind, low, high) => json!({
            "type": "string",
            "description":
                format!("{} from {} to {}; units: {}", kind.name(), kind.show(low), kind.show(high), kind.takes()),
            "examples": [kind.example().trim_matches('"')],
        }),
        Takes::Number(low, high) => json!({ "type": "number", "minimum": low, "maximum": high }),
        Takes::Whole(low, high) => json!({ "type": "integer", "minimum": low, "maximum": high }),
        Takes::Flag => json!({ "type": "boolean" }),
        Takes::Text => json!({ "type": "string" }),
        Takes::Word(words) => json!({ "enum": words() }),
        Takes::Words(words) => json!({ "type": "array", "items": { "enum": words() } }),
        Takes::Count => json!({
            "type": ["integer", "string"], "minimum": 0, "description": "a whole number or a range",
            "examples": [3, "3..5", ">= 3", "<= 5"],
        }),
        Takes::Table(keys) => table(keys),
        Takes::TableOrFile(keys) => json!({
            "anyOf": [table(keys), { "type": "string", "description": "the path of a file that holds the table" }],
        }),
        Takes::Tables(keys) => json!({ "type": "array", "items": table(keys) }),
    };
    if let Need::Default(text) = key.need {
        s["default"] = default(&key.takes, text);
    }
    s
}

/// The default as the file would hold it.
fn default(takes: &Takes, text: &str) -> Value {
    match takes {
        Takes::Flag | Takes::Number(..) | Takes::Whole(..) | Takes::Words(_) => {
            serde_json::from_str(text).unwrap_or_else(|_| json!(text))
        }
        _ => json!(text),
    }
}
