//! What a chapter says of the sources is looked up in them, so that it cannot go stale: code that enforces something, tests that
//! prove it, scripts that are run, pages that are linked. What is not there is an error of the generator.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// A named thing: file, from the repository's root, and name in it.
pub type Named = (&'static str, &'static str);

/// Looks things up, and remembers what was not found.
pub struct Evidence {
    root: PathBuf,
    files: BTreeMap<String, Option<String>>,
    wrong: Vec<String>,
}

impl Evidence {
    /// Looks into the repository at `root`.
    #[must_use]
    pub fn of(root: &Path) -> Self {
        Self { root: root.to_owned(), files: BTreeMap::new(), wrong: Vec::new() }
    }

    /// The text of a file, read once.
    pub fn text(&mut self, file: &str) -> Option<&str> {
        let path = self.root.join(file);
        let text = self.files.entry(file.to_owned()).or_insert_with(|| fs::read_to_string(path).ok());
        if text.is_none() {
            self.wrong.push(format!("{file}: cannot be read"));
        }
        text.as_deref()
    }

    /// Something that is not as it must be.
    pub fn complain(&mut self, what: String) {
        self.wrong.push(what);
    }

    /// Code: an item of that name, outside of the file's own tests.
    pub fn code(&mut self, (file, name): Named) -> String {
        let found = self.text(file).map(|text| {
            let code = text.split("\n#[cfg(test)]\nmod ").next().unwrap_or_default();
            code.lines().any(|l| defines(l, name))
        });
        if found == Some(false) {
            self.complain(format!("{file}: defines no `{name}`"));
        }
        format!("`{name}` in `{file}`")
    }

    /// A test of that name: one that is compiled, run, and not ignored; its own text, too.
    pub fn test(&mut self, (file, name): Named) -> (String, String) {
        let words = format!("`{name}` (`{file}`)");
        let Some(text) = self.text(file).map(str::to_owned) else { return (words, String::new()) };
        if let Some(stem) = file.strip_prefix("tests/").and_then(|f| f.strip_suffix(".rs")) {
            let module = format!("mod {stem};");
            let runs = stem.contains('/') || self.text("tests/main.rs").is_some_and(|t| t.lines().any(|l| l == module));
            if !runs {
                self.complain(format!("{file}: is no module of tests/main.rs, so its tests do not run"));
            }
        }
        match test_in(&text, name) {
            Ok(body) => (words, body),
            Err(e) => {
                self.complain(format!("{file}: {e}"));
                (words, String::new())
            }
        }
    }

    /// A script of the tests; told when it is no part of `tests/all.sh`.
    pub fn script(&mut self, file: &str) -> String {
        let there = self.text(file).is_some();
        let runs = self.text("tests/all.sh").is_some_and(|t| t.contains(file));
        if there && runs { format!("`{file}`") } else { format!("`{file}` (by hand, no part of `tests/all.sh`)") }
    }

    /// Looks whether a chapter has a heading of that name.
    pub fn heading(&mut self, page: &str, heading: &str) {
        let file = format!("docs/src/{page}");
        let line = format!("## {heading}");
        if self.text(&file).is_some_and(|t| !t.lines().any(|l| l == line)) {
            self.complain(format!("{file}: has no heading \"{heading}\""));
        }
    }

    /// All that was not found.
    ///
    /// # Errors
    /// Each in a sentence.
    pub fn close(self) -> Result<(), Vec<String>> {
        if self.wrong.is_empty() { Ok(()) } else { Err(self.wrong) }
    }
}

/// Whether the line defines an item of that name.
fn defines(line: &str, name: &str) -> bool {
    let line = line.trim_start();
    !line.starts_with("//")
        && ["fn ", "const ", "static ", "struct ", "enum ", "trait "].iter().any(|kind| {
            let item = format!("{kind}{name}");
            line.match_indices(&item).any(|(at, _)| {
                let before = line[..at].chars().next_back();
                let after = line[at + item.len()..].chars().next();
                let of_a_name = |c: char| c.is_alphanumeric() || c == '_';
                !before.is_some_and(of_a_name) && !after.is_some_and(of_a_name)
            })
        })
}

/// The text of the test of that name, from its first line to the end of its body.
fn test_in(text: &str, name: &str) -> Result<String, String> {
    let lines: Vec<&str> = text.lines().collect();
    let begins = format!("fn {name}(");
    let at = lines.iter().position(|l| l.trim_start().starts_with(&begins)).ok_or(format!("has no test `{name}`"))?;
    let above = lines[..at].iter().rev().map(|l| l.trim_start());
    let attributes: Vec<&str> = above.take_while(|l| l.starts_with("#[") || l.starts_with("///")).collect();
    if !attributes.contains(&"#[test]") {
        return Err(format!("`{name}` is no test"));
    }
    if attributes.iter().any(|a| a.starts_with("#[ignore") || a.starts_with("#[cfg(any())")) {
        return Err(format!("the test `{name}` is not run"));
    }
    let indent = lines[at].len() - lines[at].trim_start().len();
    let end = format!("{:indent$}}}", "");
    let body: Vec<&str> = lines[at..].iter().copied().take_while(|l| *l != end).collect();
    Ok(body.join("\n"))
}
