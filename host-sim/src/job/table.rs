//! One table of a job file, read key by key; everything wrong with it is told to the [`Reader`].

use super::blank;
use super::error::{JobError, Mistake, Place, Source, line_column};
use super::keys::{Key, Need, Takes};
use super::spec::Range;
use super::tree::{Entry, Node, Value};
use crate::quantity::{self, Kind, QuantityError};

/// What the reader knows of the files and what is wrong with them.
#[derive(Default)]
pub(super) struct Reader {
    pub(super) sources: Vec<Source>,
    pub(super) errors: Vec<JobError>,
}

impl Reader {
    /// Notes a mistake.
    pub(super) fn tell(&mut self, mistake: Mistake, place: &Place, key: &str, what: String, mend: String) {
        // Of a blank nothing else is wrong.
        if self.errors.iter().any(|e| e.mistake == Mistake::Blank && e.key == key) {
            return;
        }
        let (file, (line, column)) = self
            .sources
            .get(place.source)
            .map_or((String::new(), (1, 1)), |s| (s.name.clone(), line_column(&s.text, place.span.start)));
        self.errors.push(JobError {
            mistake,
            file,
            line,
            column,
            key: key.to_owned(),
            what,
            mend,
            place: place.clone(),
            also: Vec::new(),
        });
    }

    /// Notes that values contradict each other: the first is blamed, the others are shown beside it.
    pub(super) fn contradiction(&mut self, sides: &[Side], what: String, mend: &str) {
        let Some((first, others)) = sides.split_first() else { return };
        self.tell(Mistake::Contradiction, &first.place, &first.key, what, mend.to_owned());
        if let Some(e) = self.errors.last_mut() {
            e.also = others.iter().map(|s| (s.place.clone(), s.key.clone())).collect();
        }
    }
}

/// One side of a contradiction.
#[derive(Clone, Debug)]
pub(super) struct Side {
    key: String,
    place: Place,
}

/// A table being read.
pub(super) struct Table<'d> {
    /// Its name with the tables around it; empty for the whole file.
    path: String,
    keys: &'static [Key],
    entries: &'d [Entry],
    /// Where it stands: blamed for what is missing.
    place: Place,
}

/// The word that is nearest to `word`, if any is near enough to be meant.
pub(crate) fn nearest<'w>(word: &str, words: &[&'w str]) -> Option<&'w str> {
    let lower = word.to_lowercase().replace(['_', '-'], " ");
    // The first word of a name is that name, if of no other: "spring" for "spring return".
    let first = format!("{lower} ");
    let mut begun = words.iter().filter(|w| w.to_lowercase().starts_with(&first));
    if let (Some(only), None) = (begun.next(), begun.next()) {
        return Some(only);
    }
    words
        .iter()
        .map(|w| (strsim::damerau_levenshtein(&lower, &w.to_lowercase().replace(['_', '-'], " ")), *w))
        .filter(|(distance, w)| *distance <= 1 + w.chars().count().max(lower.chars().count()) / 3)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, w)| w)
}

fn list(words: &[&str]) -> String {
    let quoted: Vec<String> = words.iter().map(|w| format!("\"{w}\"")).collect();
    quoted.join(", ")
}

impl<'d> Table<'d> {
    /// Begins to read a table, and names every key that it does not know or that is missing.
    pub(super) fn open(r: &mut Reader, path: &str, keys: &'static [Key], entries: &'d [Entry], place: &Place) -> Self {
        let table = Self { path: path.to_owned(), keys, entries, place: place.clone() };
        let names: Vec<&str> = keys.iter().map(|k| k.name).collect();
        for e in entries {
            if names.contains(&e.key.as_str()) {
                continue;
            }
            let mend = match nearest(&e.key, &names) {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("known here: {}", names.join(", ")),
            };
            let what = if path.is_empty() {
                "is not a known key of a job file".to_owned()
            } else {
                format!("is not a known key of [{path}]")
            };
            r.tell(Mistake::UnknownKey, &e.key_place, &table.full(&e.key), what, mend);
        }
        for e in entries.iter().filter(|e| matches!(&e.node.value, Value::Text(text) if text.trim() == blank::BLANK)) {
            let full = table.full(&e.key);
            let mend = format!("measure it: {}", blank::how(&full));
            r.tell(Mistake::Blank, &e.node.place, &full, "is left blank".to_owned(), mend);
        }
        for k in keys {
            if k.need == Need::Must && table.entry(k.name).is_none() {
                table.missing(r, k.name);
            }
        }
        table
    }

    /// Notes that a key is missing.
    pub(super) fn missing(&self, r: &mut Reader, name: &str) {
        let Some(key) = self.keys.iter().find(|k| k.name == name) else { return };
        let full = self.full(name);
        r.tell(Mistake::Missing, &self.place, &full, "is missing".to_owned(), self.add(key));
    }

    /// How to add a missing key, for people.
    fn add(&self, key: &Key) -> String {
        let name = key.name;
        match key.takes {
            Takes::Quantity(kind, _, _) => {
                format!("add `{name} = {}`, {} in one of: {}", kind.example(), kind.name(), kind.takes())
            }
            Takes::Number(lo, hi) => format!("add `{name} = …`, a number without unit, {lo} … {hi}"),
            Takes::Whole(lo, hi) => format!("add `{name} = …`, a whole number, {lo} … {hi}"),
            Takes::Flag => format!("add `{name} = true` or `{name} = false`"),
            Takes::Text => format!("add `{name} = \"…\"`"),
            Takes::Word(words) => format!("add `{name} = \"…\"`, one of: {}", list(&words())),
            Takes::Words(words) => format!("add `{name} = [\"…\"]`, of: {}", list(&words())),
            Takes::Count => format!("add `{name} = 3`, or a range: \"3..5\", \">= 3\", \"<= 5\""),
            Takes::Table(_) => format!("add a table [{}]", self.full(name)),
            Takes::TableOrFile(_) => {
                format!("add a table [{name}], or `{name} = \"path.toml\"` for a file that holds it")
            }
            Takes::Tables(_) => format!("add a table [[{}]]", self.full(name)),
        }
    }

    /// A key's name with the tables around it.
    pub(super) fn full(&self, name: &str) -> String {
        if self.path.is_empty() { name.to_owned() } else { format!("{}.{name}", self.path) }
    }

    fn entry(&self, name: &str) -> Option<&'d Entry> {
        self.entries.iter().find(|e| e.key == name)
    }

    /// Whether a key is given.
    pub(super) fn has(&self, name: &str) -> bool {
        self.entry(name).is_some()
    }

    /// The place of a key's value, or of the table if it is not given.
    pub(super) fn place(&self, name: &str) -> Place {
        self.entry(name).map_or_else(|| self.place.clone(), |e| e.node.place.clone())
    }

    /// A key as one side of a contradiction.
    pub(super) fn side(&self, name: &str) -> Side {
        Side { key: self.full(name), place: self.place(name) }
    }

    fn takes(&self, name: &str) -> Takes {
        // A name that is not in the table's list is a slip in this program, and every test that reads a job finds it.
        let known = self.keys.iter().find(|k| k.name == name);
        debug_assert!(known.is_some(), "key {name} is not listed for [{}]", self.path);
        known.map_or(Takes::Text, |k| k.takes)
    }

    fn default(&self, name: &str) -> Option<&'static str> {
        self.keys.iter().find(|k| k.name == name).and_then(|k| match k.need {
            Need::Default(text) => Some(text),
            Need::Must | Need::May => None,
        })
    }

    fn wrong_type(&self, r: &mut Reader, name: &str, node: &Node, due: &str, mend: String) {
        let what = format!("is {}, and {due} is due", node.value.type_name());
        r.tell(Mistake::Type, &node.place, &self.full(name), what, mend);
    }

    fn out_of_range(&self, r: &mut Reader, name: &str, node: &Node, what: String, range: &str) {
        r.tell(Mistake::Range, &node.place, &self.full(name), what, format!("give a value within {range}"));
    }

    /// A number: a quantity in its kind's own unit, or a bare number. `None` if absent (and without default), or wrong and told.
    pub(super) fn number(&self, r: &mut Reader, name: &str) -> Option<f64> {
        let takes = self.takes(name);
        let Some(entry) = self.entry(name) else {
            let text = self.default(name)?;
            return match takes {
                Takes::Quantity(kind, _, _) => quantity::parse(kind, text).ok(),
                _ => text.parse().ok(),
            };
        };
        let node = &entry.node;
        let (value, shown, lo, hi, kind) = match takes {
            Takes::Quantity(kind, lo, hi) => {
                let value = self.quantity(r, name, node, kind)?;
                (value, kind.show(value), lo, hi, Some(kind))
            }
            Takes::Number(lo, hi) => {
                #[expect(clippy::cast_precision_loss, reason = "beyond 2^53 every range refuses it")]
                let value = match node.value {
                    Value::Whole(n) => n as f64,
                    Value::Float(x) if x.is_finite() => x,
                    _ => {
                        let mend = format!("write it without quotes and without a unit, {lo} … {hi}");
                        self.wrong_type(r, name, node, "a number", mend);
                        return None;
                    }
                };
                (value, value.to_string(), lo, hi, None)
            }
            _ => return None,
        };
        if value < lo || value > hi {
            let range = match kind {
                Some(k) => format!("{} … {}", k.show(lo), k.show(hi)),
                None => format!("{lo} … {hi}"),
            };
            self.out_of_range(r, name, node, format!("{shown} is outside {range}"), &range);
            return None;
        }
        Some(value)
    }

    fn quantity(&self, r: &mut Reader, name: &str, node: &Node, kind: Kind) -> Option<f64> {
        let full = self.full(name);
        let parsed = match &node.value {
            Value::Text(text) => quantity::parse(kind, text),
            #[expect(clippy::cast_precision_loss, reason = "a share beyond 2^53 is refused anyway")]
            Value::Whole(n) if kind == Kind::Share => Ok(*n as f64),
            Value::Float(x) if kind == Kind::Share && x.is_finite() => Ok(*x),
            Value::Whole(_) | Value::Float(_) => Err(QuantityError::NoUnit),
            _ => {
                let due = format!("{} with its unit", kind.name());
                self.wrong_type(r, name, node, &due, format!("write it as a text, for example {}", kind.example()));
                return None;
            }
        };
        match parsed {
            Ok(value) => Some(value),
            Err(e) => {
                r.tell(Mistake::Unit, &node.place, &full, e.what(), e.mend(kind));
                None
            }
        }
    }

    /// A number that other checks may compare: NaN where it is absent or wrong, so that they stay silent.
    pub(super) fn figure(&self, r: &mut Reader, name: &str) -> f64 {
        self.number(r, name).unwrap_or(f64::NAN)
    }

    /// A whole number.
    pub(super) fn whole(&self, r: &mut Reader, name: &str) -> Option<i64> {
        let Takes::Whole(lo, hi) = self.takes(name) else { return None };
        let Some(entry) = self.entry(name) else { return self.default(name)?.parse().ok() };
        let Value::Whole(n) = entry.node.value else {
            self.wrong_type(
                r,
                name,
                &entry.node,
                "a whole number",
                "write it without quotes, point or unit".to_owned(),
            );
            return None;
        };
        if n < lo || n > hi {
            let range = format!("{lo} … {hi}");
            self.out_of_range(r, name, &entry.node, format!("{n} is outside {range}"), &range);
            return None;
        }
        Some(n)
    }

    /// `true` or `false`; false where it is wrong (and told).
    pub(super) fn flag(&self, r: &mut Reader, name: &str) -> bool {
        let Some(entry) = self.entry(name) else { return self.default(name) == Some("true") };
        if let Value::Flag(b) = entry.node.value {
            return b;
        }
        self.wrong_type(r, name, &entry.node, "true or false", "write true or false, without quotes".to_owned());
        false
    }

    /// A text.
    pub(super) fn text(&self, r: &mut Reader, name: &str) -> Option<String> {
        let Some(entry) = self.entry(name) else { return self.default(name).map(str::to_owned) };
        if let Value::Text(s) = &entry.node.value {
            return Some(s.clone());
        }
        self.wrong_type(r, name, &entry.node, "a text", "put it in quotes".to_owned());
        None
    }

    /// One of the key's words.
    pub(super) fn word(&self, r: &mut Reader, name: &str) -> Option<&'static str> {
        let Takes::Word(words) = self.takes(name) else { return None };
        let entry = self.entry(name)?;
        self.one_word(r, name, &entry.node, &words())
    }

    /// A list of the key's words; `None` if it is absent.
    pub(super) fn words(&self, r: &mut Reader, name: &str) -> Option<Vec<&'static str>> {
        let Takes::Words(words) = self.takes(name) else { return None };
        let entry = self.entry(name)?;
        let Value::List(items) = &entry.node.value else {
            self.wrong_type(r, name, &entry.node, "a list", "write a list of texts: [\"…\", \"…\"]".to_owned());
            return None;
        };
        let known = words();
        Some(items.iter().filter_map(|node| self.one_word(r, name, node, &known)).collect())
    }

    fn one_word(&self, r: &mut Reader, name: &str, node: &Node, words: &[&'static str]) -> Option<&'static str> {
        let Value::Text(text) = &node.value else {
            self.wrong_type(r, name, node, "a word", format!("one of: {}", list(words)));
            return None;
        };
        // Capitals do not matter in words: Execute, execute.
        let found = words.iter().find(|w| w.eq_ignore_ascii_case(text.trim())).copied();
        if found.is_none() {
            self.unknown_word(r, name, node.place.clone(), text, words);
        }
        found
    }

    /// Notes that a word is none of those taken here.
    pub(super) fn unknown_word(&self, r: &mut Reader, name: &str, place: Place, text: &str, words: &[&str]) {
        let mend = match nearest(text, words) {
            Some(near) if words.len() > 8 => format!("did you mean \"{near}\"?"),
            Some(near) => format!("did you mean \"{near}\"? Taken here: {}", list(words)),
            None => format!("taken here: {}", list(words)),
        };
        r.tell(Mistake::Word, &place, &self.full(name), format!("\"{text}\" is not known"), mend);
    }

    /// A number or range of things.
    pub(super) fn count(&self, r: &mut Reader, name: &str) -> Option<Range> {
        let entry = self.entry(name)?;
        let found = match &entry.node.value {
            Value::Whole(n) => u32::try_from(*n).ok().map(|n| Range { min: n, max: n }),
            Value::Text(text) => range(text),
            _ => None,
        };
        if found.is_none() {
            let mend = "write a whole number, or a range: \"3..5\" (both included), \">= 3\", \"<= 5\"".to_owned();
            self.wrong_type(r, name, &entry.node, "a whole number or a range", mend);
        }
        found
    }

    /// The table under a key.
    pub(super) fn table(&self, r: &mut Reader, name: &str) -> Option<Table<'d>> {
        let (Takes::Table(keys) | Takes::TableOrFile(keys)) = self.takes(name) else { return None };
        let entry = self.entry(name)?;
        let Value::Table(entries) = &entry.node.value else {
            self.wrong_type(r, name, &entry.node, "a table", format!("write a table [{}]", self.full(name)));
            return None;
        };
        Some(Table::open(r, &self.full(name), keys, entries, &entry.key_place))
    }

    /// The tables under a key.
    pub(super) fn tables(&self, r: &mut Reader, name: &str) -> Vec<Table<'d>> {
        let Takes::Tables(keys) = self.takes(name) else { return Vec::new() };
        let Some(entry) = self.entry(name) else { return Vec::new() };
        let path = self.full(name);
        let Value::List(items) = &entry.node.value else {
            self.wrong_type(r, name, &entry.node, "a list of tables", format!("write each as a table [[{path}]]"));
            return Vec::new();
        };
        let mut tables = Vec::new();
        for item in items {
            if let Value::Table(entries) = &item.value {
                // The header of each stands before its first key; the list's own key is that of the first header only.
                tables.push(Table::open(r, &path, keys, entries, &item.place));
            } else {
                self.wrong_type(r, name, item, "a table", format!("write each as a table [[{path}]]"));
            }
        }
        tables
    }

    /// The node under a key.
    pub(super) fn node(&self, name: &str) -> Option<&'d Node> {
        self.entry(name).map(|e| &e.node)
    }
}

/// "3", "3..5", "3 … 5", ">= 3", "<= 5".
fn range(text: &str) -> Option<Range> {
    let text = text.trim();
    let number = |s: &str| s.trim().parse::<u32>().ok();
    if let Some(rest) = text.strip_prefix(">=").or_else(|| text.strip_prefix('≥')) {
        return number(rest).map(|min| Range { min, max: u32::MAX });
    }
    if let Some(rest) = text.strip_prefix("<=").or_else(|| text.strip_prefix('≤')) {
        return number(rest).map(|max| Range { min: 0, max });
    }
    for sign in ["...", "..=", "..", "…"] {
        if let Some((a, b)) = text.split_once(sign) {
            let (min, max) = (number(a)?, number(b)?);
            return (min <= max).then_some(Range { min, max });
        }
    }
    number(text).map(|n| Range { min: n, max: n })
}
