//! The figures of the project, one row each: what, by which command, with which result, when and of which commit. They stand in
//! `figures.toml`; every number of a row must be found in the chapter that it is from, so that the two cannot part.

use crate::evidence::Evidence;
use serde::Deserialize;
use std::fmt::Write as _;

/// The file that holds them.
const FILE: &str = "tests/figures.toml";

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Figures {
    subject: Vec<Subject>,
}

/// A table.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Subject {
    name: String,
    figure: Vec<Figure>,
}

/// A row.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Figure {
    what: String,
    command: String,
    result: String,
    date: String,
    commit: String,
    /// Where it is told at length, from the repository's root.
    from: String,
}

/// `docs/src/figures.md`.
pub fn chapter(e: &mut Evidence) -> String {
    let mut out = String::from("# Figures\n\n");
    out.push_str(
        "<!-- Written by `cargo run -p tests --bin gen-docs` from tests/figures.toml. Do not edit. -->\n\n\
         Every figure that this project claims for itself, with the command that gives it. *Commit* is the one that was measured, or, for a figure taken before this page was kept, the one that wrote it down. Figures of speed and cost \
         are of the computer named in the chapter, or of emulated boards; all the others come out the same anywhere. None says anything of a real \
         machine: see [what the modelled line leaves out](model.md) and [what is not claimed](safety-case.md).\n",
    );
    let Some(text) = e.text(FILE).map(str::to_owned) else { return out };
    let figures: Figures = match toml::from_str(&text) {
        Ok(figures) => figures,
        Err(error) => {
            e.complain(format!("{FILE}: {error}"));
            return out;
        }
    };
    for Subject { name, figure } in figures.subject {
        let _ = write!(out, "\n## {name}\n\n| figure | command | result | date | commit |\n|---|---|---|---|---|\n");
        for f in figure {
            look(e, &f);
            let place = place(&f.from);
            let _ =
                writeln!(out, "| {} ({place}) | `{}` | {} | {} | {} |", f.what, f.command, f.result, f.date, f.commit);
        }
    }
    out
}

/// A chapter of the handbook is linked; another file is named.
fn place(from: &str) -> String {
    match from.strip_prefix("docs/src/") {
        Some(page) => format!("[{}]({page})", page.trim_end_matches(".md")),
        None => format!("`{from}`"),
    }
}

/// Its script is there, and each of its numbers stands in its chapter.
fn look(e: &mut Evidence, f: &Figure) {
    for script in f.command.split_whitespace().filter(|w| w.starts_with("tests/") && w.ends_with(".sh")) {
        let _ = e.text(script);
    }
    let Some(text) = e.text(&f.from) else { return };
    let there = numbers(text);
    let gone: Vec<String> = numbers(&f.result).into_iter().filter(|n| !there.contains(n)).collect();
    if !gone.is_empty() {
        e.complain(format!("{FILE}: \"{}\": {} does not say {}", f.what, f.from, gone.join(", ")));
    }
}

/// The numbers of a text, without the blanks between thousands; those of names (`R12`, `k3`, `f64`) are none.
fn numbers(text: &str) -> Vec<String> {
    let c: Vec<char> = text.chars().collect();
    let digit = |i: usize| c.get(i).is_some_and(char::is_ascii_digit);
    let mut all = Vec::new();
    let mut i = 0;
    while i < c.len() {
        let part_of_a_name = i > 0 && (c[i - 1].is_alphanumeric() || c[i - 1] == '_');
        if !digit(i) || part_of_a_name {
            i += 1;
            continue;
        }
        let mut number = String::new();
        loop {
            while digit(i) {
                number.push(c[i]);
                i += 1;
            }
            let thousands = c.get(i) == Some(&' ') && (1..4).all(|n| digit(i + n)) && !digit(i + 4);
            if thousands {
                i += 1;
            } else if c.get(i) == Some(&'.') && digit(i + 1) {
                number.push('.');
                i += 1;
            } else {
                break;
            }
        }
        all.push(number);
    }
    all
}

#[cfg(test)]
mod tests {
    use super::numbers;

    #[test]
    fn numbers_are_read_as_people_write_them() {
        assert_eq!(numbers("R12: 6 073 867 states, depth 173, 0.4 s; k3 12 34"), ["6073867", "173", "0.4", "12", "34"]);
    }
}
