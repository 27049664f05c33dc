//! Turns the bytes of a firmware's log (standard input) into lines, with the texts that the firmware's file holds.

use defmt_decoder::{DecodeError, Table};
use std::io::Read;
use std::process::ExitCode;

fn main() -> ExitCode {
    match lines() {
        Ok(lines) => {
            print!("{lines}");
            ExitCode::SUCCESS
        }
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

fn lines() -> Result<String, String> {
    let path = std::env::args_os().nth(1).ok_or("usage: log-lines ELF <BYTES")?;
    let elf = std::fs::read(&path).map_err(|e| format!("{}: {e}", path.display()))?;
    let table = Table::parse(&elf).map_err(|e| format!("{}: {e}", path.display()))?;
    let table = table.ok_or_else(|| format!("{}: holds no texts of a log", path.display()))?;
    let mut bytes = Vec::new();
    std::io::stdin().read_to_end(&mut bytes).map_err(|e| e.to_string())?;
    let mut decoder = table.new_stream_decoder();
    decoder.received(&bytes);
    let mut out = String::new();
    loop {
        match decoder.decode() {
            Ok(frame) => {
                let level = frame.level().map_or("print", |l| l.as_str());
                out += &format!("{level:<5} {}\n", frame.display_message());
            }
            // The bytes end where a line does, or something is missing.
            Err(DecodeError::UnexpectedEof) => break,
            Err(DecodeError::Malformed) => return Err(format!("a line is broken, after:\n{out}")),
        }
    }
    Ok(out)
}
