//! `gen-docs [--check]`: writes the chapters that come from the core's tables, or says which of them are out of date.

use std::fs;
use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let check = match std::env::args().nth(1).as_deref() {
        None => false,
        Some("--check") => true,
        Some(other) => {
            eprintln!("{other}: unknown; usage: gen-docs [--check]");
            return ExitCode::from(2);
        }
    };
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/src");
    let chapters = match tests::tables::chapters() {
        Ok(chapters) => chapters,
        Err(wrong) => {
            for w in wrong {
                eprintln!("{w}");
            }
            eprintln!(
                "a chapter names what is not there: nothing was written; mend tests/hazards.rs, tests/bad_input.rs or what they name"
            );
            return ExitCode::FAILURE;
        }
    };
    let mut stale = false;
    for (name, text) in chapters {
        let path = folder.join(name);
        if !check {
            if let Err(e) = fs::write(&path, text) {
                eprintln!("{}: {e}", path.display());
                return ExitCode::from(2);
            }
            continue;
        }
        let found = fs::read_to_string(&path).unwrap_or_default();
        if found != text {
            stale = true;
            tell_first_difference(name, &found, &text);
        }
    }
    if stale {
        eprintln!("mend it by `cargo run -p tests --bin gen-docs`, and look at the difference before you commit it");
        return ExitCode::FAILURE;
    }
    ExitCode::SUCCESS
}

fn tell_first_difference(name: &str, found: &str, wanted: &str) {
    let mut found = found.lines();
    let mut wanted = wanted.lines();
    // Ends: one of the two runs out, or a line differs.
    for n in 1.. {
        let (f, w) = (found.next(), wanted.next());
        if f != w || f.is_none() {
            eprintln!("docs/src/{name} is not what the tables say, from line {n} on:");
            eprintln!("- {}", f.unwrap_or("(end of file)"));
            eprintln!("+ {}", w.unwrap_or("(end of file)"));
            return;
        }
    }
}
