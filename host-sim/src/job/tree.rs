//! A TOML document with the place of every key and value, owned, so that errors can outlive the parser.

use super::error::Place;
use core::ops::Range;
use toml::de::{DeTable, DeValue};

/// A value and where it stands.
#[derive(Clone, Debug)]
pub(super) struct Node {
    pub(super) place: Place,
    pub(super) value: Value,
}

/// A value.
#[derive(Clone, Debug)]
pub(super) enum Value {
    Text(String),
    /// A whole number that fits; larger ones are [`Value::Other`].
    Whole(i64),
    Float(f64),
    Flag(bool),
    List(Vec<Node>),
    Table(Vec<Entry>),
    Other(&'static str),
}

/// A key with its value.
#[derive(Clone, Debug)]
pub(super) struct Entry {
    pub(super) key: String,
    pub(super) key_place: Place,
    pub(super) node: Node,
}

impl Value {
    /// The type's name for people.
    pub(super) const fn type_name(&self) -> &'static str {
        match self {
            Self::Text(_) => "a text",
            Self::Whole(_) => "a whole number",
            Self::Float(_) => "a number",
            Self::Flag(_) => "true/false",
            Self::List(_) => "a list",
            Self::Table(_) => "a table",
            Self::Other(name) => name,
        }
    }
}

/// What the parser has against the text: the message, and where.
pub(super) struct SyntaxError {
    pub(super) message: String,
    pub(super) span: Range<usize>,
}

/// Parses `text`; the tree holds what could be understood in spite of the errors.
pub(super) fn parse(source: usize, text: &str) -> (Node, Vec<SyntaxError>) {
    let (doc, errors) = DeTable::parse_recoverable(text);
    let errors = errors
        .iter()
        .map(|e| SyntaxError { message: e.message().to_owned(), span: e.span().unwrap_or(0..0) })
        .collect();
    let place = Place { source, span: 0..0 };
    (Node { place, value: Value::Table(entries(source, doc.get_ref())) }, errors)
}

fn entries(source: usize, table: &DeTable<'_>) -> Vec<Entry> {
    let mut list: Vec<Entry> = table
        .iter()
        .map(|(key, value)| Entry {
            key: key.get_ref().to_string(),
            key_place: Place { source, span: key.span() },
            node: Node { place: Place { source, span: value.span() }, value: convert(source, value.get_ref()) },
        })
        .collect();
    // The parser sorts by name; people read in the order of lines.
    list.sort_by_key(|e| e.key_place.span.start);
    list
}

fn convert(source: usize, value: &DeValue<'_>) -> Value {
    match value {
        DeValue::String(s) => Value::Text(s.to_string()),
        DeValue::Integer(i) => {
            i64::from_str_radix(i.as_str(), i.radix()).map_or(Value::Other("a huge number"), Value::Whole)
        }
        DeValue::Float(x) => x.as_str().parse().map_or(Value::Other("an odd number"), Value::Float),
        DeValue::Boolean(b) => Value::Flag(*b),
        DeValue::Datetime(_) => Value::Other("a date"),
        DeValue::Array(list) => Value::List(
            list.iter()
                .map(|v| Node { place: Place { source, span: v.span() }, value: convert(source, v.get_ref()) })
                .collect(),
        ),
        DeValue::Table(t) => Value::Table(entries(source, t)),
    }
}
