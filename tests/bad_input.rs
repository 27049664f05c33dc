//! The chapter on bad input: every way in, what is refused there, in which words, what stays intact, and the test that shows it.

mod board;
mod desk;
mod refused;
mod station;

pub use refused::{MACHINE, PRODUCT};

use crate::evidence::{Evidence, Named};
use crate::tables::CAUTION;
use std::fmt::Write as _;
use timing_core::{FAULTS, Fault, Why};

/// How a refusal is said.
enum Said {
    /// Words that the code gives.
    Words(String),
    /// Words that the row's first test looks for: they must stand in it.
    Tested(&'static str),
    /// A name in the code: an error, a reason, a fault.
    Name(String),
    /// Nothing is refused: it is borne.
    Borne(&'static str),
}

/// What comes in, and what becomes of it.
struct Row {
    what: &'static str,
    said: Vec<Said>,
    stays: &'static str,
    tests: &'static [Named],
}

fn words(w: &(impl ToString + ?Sized)) -> Said {
    Said::Words(w.to_string())
}

fn tested(all: &[&'static str]) -> Vec<Said> {
    all.iter().copied().map(Said::Tested).collect()
}

fn reasons(all: &[Why]) -> Vec<Said> {
    all.iter().map(|w| Said::Name(format!("{w:?}"))).collect()
}

fn fault(fault: Fault) -> Said {
    let row = Fault::row_of(fault.code()).map_or("", |(row, _)| row.name);
    Said::Words(row.to_owned())
}

const ERRORS: &str = "tests/job_errors.rs";
const RUN: &str = "tests/run_verb.rs";

/// The chapter.
pub fn chapter(e: &mut Evidence) -> String {
    let mut out = String::from("# Bad input\n\n");
    out.push_str(
        "<!-- Written by `cargo run -p tests --bin gen-docs` from tests/bad_input.rs and the words in the code. Do not edit. -->\n\n",
    );
    out.push_str(CAUTION);
    out.push_str(
        "Every way in, and what becomes of what is wrong there. Nothing from outside makes the core panic (R16); what is refused is told, and what stood before\n\
         still stands. Words in quotation marks are those that are said: they come from the code, or from the test that looks for them. Each row names the test that shows\n\
         it; the generator looks it up. Numbers in quoted words are examples. What is right in form and wrong in fact (a measure that was taken wrongly, a contact wired to another's place) is not refused\n\
         here: the first runs on a machine are for that ([Safety and cautions](safety.md)).\n\n",
    );
    let ways = [
        (
            "Job file",
            "For `capcycle check`, `plan`, `run` and the like. Every mistake is told at once, with file, line, key, and how to mend it ([The job file](job-file.md)).",
            desk::job_file(),
        ),
        ("Captures and their maps", "For `capcycle survey` ([Surveying a machine](survey.md)).", desk::captures()),
        ("Recordings", "For `capcycle replay` ([Recordings](recordings.md)).", desk::recordings()),
        (
            "Machine and product tables",
            "As the core takes them, from a job's plan, from a firmware, from flash.",
            station::tables(),
        ),
        ("Arguments of the command", "", desk::arguments()),
        ("Frames of a link, recordings", "", board::link()),
        ("Products in flash", "([Products in flash](products.md))", board::flash()),
        ("Requests of an operator", "A refusal is an event with its reason.", station::requests()),
        ("Contacts and pins", "", station::wires()),
        ("Counters and time", "", station::counters()),
    ];
    for (title, intro, rows) in ways {
        let _ = writeln!(out, "## {title}\n");
        if !intro.is_empty() {
            let _ = writeln!(out, "{intro}\n");
        }
        out.push_str("| what comes | how it is said | what stays | shown by |\n|---|---|---|---|\n");
        for row in rows {
            put(&mut out, e, &row);
        }
        out.push('\n');
        if title.starts_with("Machine") {
            every_word(&mut out);
        }
    }
    let _ = writeln!(
        out,
        "## What is not in the table\n\n\
         - Of the {} rows of the [fault table](faults.md), those that are about bottles and actuators, not about input, stand there.\n\
         - A recording or flash that was changed on purpose, its check sum with it: check sums find accidents, not intent. Neither link nor flash knows who is\n  \
           writing; keep the port to those who may.\n\
         - What a network, a file system or an operating system does beside the files named.",
        FAULTS.len()
    );
    out
}

fn put(out: &mut String, e: &mut Evidence, row: &Row) {
    let tests: Vec<(String, String)> = row.tests.iter().map(|t| e.test(*t)).collect();
    if tests.is_empty() {
        e.complain(format!("bad input, {}: no test shows it", row.what));
    }
    let body = tests.first().map_or("", |t| t.1.as_str());
    let mut said = Vec::new();
    for s in &row.said {
        said.push(match s {
            Said::Words(w) => format!("“{w}”"),
            Said::Name(n) => format!("`{n}`"),
            Said::Borne(b) => (*b).to_owned(),
            Said::Tested(w) => {
                if !body.contains(w) {
                    e.complain(format!("bad input, {}: its first test does not look for \"{w}\"", row.what));
                }
                format!("“{w}”")
            }
        });
    }
    let names: Vec<String> = tests.into_iter().map(|t| t.0).collect();
    let _ = writeln!(out, "| {} | {} | {} | {} |", row.what, said.join("; "), row.stays, names.join(", "));
}

/// The words of every error of the core's tables.
fn every_word(out: &mut String) {
    out.push_str("What the core says of a machine:\n\n");
    for error in MACHINE {
        let name = format!("{error:?}");
        let _ = writeln!(out, "- `{}`: {}", name.split('(').next().unwrap_or(&name), error.words());
    }
    out.push_str("\nand of a product:\n\n");
    for error in PRODUCT {
        let _ = writeln!(out, "- `{error:?}`: {}", error.words());
    }
    out.push('\n');
}
