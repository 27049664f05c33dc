//! `keep FILE…`: writes what the core as it is makes of recorded inputs beside each file.

use std::process::ExitCode;

fn main() -> ExitCode {
    let files: Vec<_> = std::env::args_os().skip(1).map(std::path::PathBuf::from).collect();
    if files.is_empty() {
        eprintln!("usage: keep FILE…");
        return ExitCode::from(2);
    }
    for file in files {
        let mut kept = Vec::new();
        let written = std::fs::read(&file).and_then(|bytes| {
            mutants::hashes(&bytes, |hash| kept.extend_from_slice(&hash.to_le_bytes()));
            std::fs::write(mutants::beside(&file), &kept)
        });
        if let Err(e) = written {
            eprintln!("{}: {e}", file.display());
            return ExitCode::from(2);
        }
    }
    ExitCode::SUCCESS
}
