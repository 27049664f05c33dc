//! From files to a [`Job`]: finds the texts, parses them, reads the tables, and gathers what is wrong.

use super::check;
use super::error::{JobErrors, Mistake, Place, Source};
use super::fill;
use super::keys;
use super::spec::{ExpectSpec, Job};
use super::table::{Reader, Table};
use super::tree::{self, Entry, Node, Value};
use std::path::{Path, PathBuf};

/// Where the text of a named file comes from.
pub type Fetch<'f> = &'f dyn Fn(&Path) -> std::io::Result<String>;

impl Job {
    /// Reads a job file, and the files that it names for `machine` and `product` (relative to itself).
    ///
    /// # Errors
    /// Everything that is wrong, at once.
    pub fn read(path: impl AsRef<Path>) -> Result<Self, JobErrors> {
        let path = path.as_ref();
        let mut r = Reader::default();
        match std::fs::read_to_string(path) {
            Ok(text) => read(r, path, text, &|p| std::fs::read_to_string(p)),
            Err(e) => {
                r.sources.push(Source { name: path.display().to_string(), text: String::new() });
                let place = Place { source: 0, span: 0..0 };
                r.tell(
                    Mistake::File,
                    &place,
                    "",
                    unreadable(path, &e),
                    "give the path of a job file (TOML)".to_owned(),
                );
                Err(JobErrors::new(r.errors, r.sources))
            }
        }
    }

    /// Reads a job from its text; `name` is what errors call the file, and where `machine` and `product` files are looked for.
    ///
    /// # Errors
    /// Everything that is wrong, at once.
    pub fn parse(name: &str, text: &str) -> Result<Self, JobErrors> {
        Self::parse_with(name, text, &|p| std::fs::read_to_string(p))
    }

    /// As [`Job::parse`], but what the job names for `machine` and `product` is asked of `fetch`, and no file is touched.
    ///
    /// # Errors
    /// Everything that is wrong, at once.
    pub fn parse_with(name: &str, text: &str, fetch: Fetch<'_>) -> Result<Self, JobErrors> {
        read(Reader::default(), Path::new(name), text.to_owned(), fetch)
    }

    /// The built-in job: a steady day of an invented small bottler.
    ///
    /// # Panics
    /// Never in a build whose tests pass: the files are part of the program, and a test reads them.
    #[must_use]
    pub fn demo() -> Self {
        let inside = |p: &Path| match p.to_str().map(|s| s.replace('\\', "/")).as_deref() {
            Some("line/machine.toml") => Ok(include_str!("../../jobs/line/machine.toml").to_owned()),
            Some("line/elderflower.toml") => Ok(include_str!("../../jobs/line/elderflower.toml").to_owned()),
            _ => Err(std::io::ErrorKind::NotFound.into()),
        };
        let text = include_str!("../../jobs/steady-day.toml").to_owned();
        match read(Reader::default(), Path::new("steady-day.toml"), text, &inside) {
            Ok(job) => job,
            Err(e) => unreachable!("the built-in job is broken:\n{e}"),
        }
    }
}

fn unreadable(path: &Path, e: &std::io::Error) -> String {
    let why = match e.kind() {
        std::io::ErrorKind::NotFound => "there is no such file".to_owned(),
        std::io::ErrorKind::PermissionDenied => "it may not be read".to_owned(),
        std::io::ErrorKind::InvalidData => "it is not UTF-8 text".to_owned(),
        std::io::ErrorKind::IsADirectory => "it is a folder".to_owned(),
        _ => e.to_string(),
    };
    format!("cannot read {}: {why}", path.display())
}

fn read(mut r: Reader, path: &Path, text: String, fetch: Fetch<'_>) -> Result<Job, JobErrors> {
    let mut root = load(&mut r, path.display().to_string(), text);
    if let Value::Table(entries) = &mut root.value {
        for name in ["machine", "product"] {
            if let Some(entry) = entries.iter_mut().find(|e| e.key == name) {
                include(&mut r, entry, path, fetch);
            }
        }
    }
    let job = tables(&mut r, path, &root);
    drop_consequences(&mut r);
    match job {
        Some(job) if r.errors.is_empty() => Ok(job),
        _ => Err(JobErrors::new(r.errors, r.sources)),
    }
}

/// Parses one text and notes its syntax errors.
fn load(r: &mut Reader, name: String, text: String) -> Node {
    let source = r.sources.len();
    // A mark of byte order is no part of the text.
    let text = text.strip_prefix('\u{feff}').map(str::to_owned).unwrap_or(text);
    let (node, errors) = tree::parse(source, &text);
    r.sources.push(Source { name, text });
    let mut repeated: Option<std::ops::Range<usize>> = None;
    for e in errors {
        let duplicate = e.message.contains("duplicate key");
        // Of a whole table given twice one mistake is told, not one for each of its keys.
        if duplicate && repeated.as_ref().is_some_and(|r| r.contains(&e.span.start)) {
            continue;
        }
        if duplicate {
            repeated = table_from(&r.sources[source].text, e.span.start);
        }
        let key = r.sources[source].text.get(e.span.clone()).unwrap_or("").trim().to_owned();
        let place = Place { source, span: e.span };
        let (key, mend) = if duplicate {
            (key, "keep one of the two")
        } else {
            (String::new(), "mend the TOML here: key = value, one a line; texts in quotes; tables as [name]")
        };
        r.tell(Mistake::Syntax, &place, &key, e.message, mend.to_owned());
    }
    node
}

/// The stretch of the table whose header stands on the line of `at`, to the next header; `None` if no header stands there.
fn table_from(text: &str, at: usize) -> Option<std::ops::Range<usize>> {
    let line = text.get(..at)?.rfind('\n').map_or(0, |i| i + 1);
    let rest = text.get(line..)?;
    rest.trim_start().starts_with('[').then(|| {
        let end = rest.find("\n[").map_or(text.len(), |i| line + i);
        line..end
    })
}

/// Puts the table of a named file in the place of its name.
fn include(r: &mut Reader, entry: &mut Entry, job: &Path, fetch: Fetch<'_>) {
    let Value::Text(name) = &entry.node.value else { return };
    let path: PathBuf = job.parent().unwrap_or_else(|| Path::new("")).join(name);
    match fetch(&path) {
        Ok(text) => {
            let source = r.sources.len();
            let node = load(r, path.display().to_string(), text);
            entry.key_place = Place { source, span: 0..0 };
            entry.node = unwrapped(node, &entry.key);
        }
        Err(e) => {
            let mend =
                format!("the path is relative to the job file; or write the table [{}] into the job itself", entry.key);
            r.tell(Mistake::File, &entry.node.place, &entry.key, unreadable(&path, &e), mend);
            entry.node.value = Value::Other("missing");
        }
    }
}

/// A file may hold the table's keys as they are, or under the table's own header, as in a job.
fn unwrapped(node: Node, name: &str) -> Node {
    match node.value {
        Value::Table(mut entries) if entries.len() == 1 && entries[0].key == name => entries.remove(0).node,
        value => Node { place: node.place, value },
    }
}

fn tables(r: &mut Reader, path: &Path, root: &Node) -> Option<Job> {
    let Value::Table(entries) = &root.value else { return None };
    let top = Table::open(r, "", keys::JOB, entries, &root.place);
    let title = top.text(r, "title").unwrap_or_default();
    // A file that could not be read has been told of; the rest is read all the same.
    let sub = |r: &mut Reader, name: &str| match top.node(name).map(|n| &n.value) {
        Some(Value::Other("missing")) => None,
        _ => top.table(r, name),
    };
    let machine_table = sub(r, "machine");
    let product_table = sub(r, "product");
    let run_table = sub(r, "run");
    let expect_table = sub(r, "expect");
    let machine = machine_table.as_ref().map(|t| fill::machine(r, t));
    let product = product_table.as_ref().map(|t| fill::product(r, t));
    let run = run_table.as_ref().map(|t| fill::run(r, t));
    let expect = expect_table.as_ref().map_or_else(ExpectSpec::default, |t| fill::expect(r, t));
    if let (Some(m), Some(mt)) = (&machine, &machine_table) {
        check::machine(r, m, mt);
    }
    if let (Some(p), Some(pt)) = (&product, &product_table) {
        check::product(r, p, pt);
    }
    if let (Some(m), Some(mt), Some(p), Some(pt)) = (&machine, &machine_table, &product, &product_table) {
        check::both(r, m, mt, p, pt);
    }
    if let (Some(run), Some(rt)) = (&run, &run_table) {
        check::run(r, run, rt, machine.as_ref(), product.as_ref());
    }
    let name = path.file_stem().map_or_else(|| "job".to_owned(), |s| s.to_string_lossy().into_owned());
    Some(Job { name, title, machine: machine?, product: product?, run: run?, expect })
}

/// Where the text itself is broken, keys that seem missing and values on the broken line are consequences, not mistakes.
fn drop_consequences(r: &mut Reader) {
    let broken: Vec<(usize, usize)> =
        r.errors.iter().filter(|e| e.mistake == Mistake::Syntax).map(|e| (e.place.source, e.line)).collect();
    r.errors.retain(|e| match e.mistake {
        Mistake::Syntax | Mistake::File => true,
        // A broken header leaves its keys to the table before it, where they are not known.
        Mistake::Missing | Mistake::Contradiction | Mistake::UnknownKey => {
            !broken.iter().any(|(s, _)| *s == e.place.source)
        }
        _ => !broken.contains(&(e.place.source, e.line)),
    });
}
