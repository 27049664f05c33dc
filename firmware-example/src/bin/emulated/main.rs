//! Runs recorded inputs through the core and prints what came out of it, in three lines: ticks, digest, trace digest.
//!
//! On an emulated board the file comes by semihosting; on a host it is opened as files are. Both print the same, or one of
//! them is wrong: that is what this program is for. `tests/firmware.sh` compares.
#![cfg_attr(target_os = "none", no_std, no_main)]

use core::fmt::{self, Write};
use firmware_example::recorded::{ReadError, RecordedBoard, Source};

#[cfg(target_os = "none")]
mod board;

/// Runs the whole file and writes the result.
fn replay(source: impl Source, out: &mut impl Write) -> Result<(), Trouble> {
    let (mut board, mut station) = RecordedBoard::open(source)?;
    firmware_example::run(&mut station, &mut board)?;
    let digest = board.digest();
    writeln!(out, "ticks {}", digest.ticks())?;
    writeln!(out, "digest {:016x}", digest.digest())?;
    writeln!(out, "trace_digest {:016x}", digest.trace())?;
    Ok(())
}

enum Trouble {
    Read(ReadError),
    Write,
}

impl From<ReadError> for Trouble {
    fn from(e: ReadError) -> Self {
        Self::Read(e)
    }
}

impl From<fmt::Error> for Trouble {
    fn from(_: fmt::Error) -> Self {
        Self::Write
    }
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Read(e) => e.fmt(f),
            Self::Write => f.write_str("the result cannot be written"),
        }
    }
}

#[cfg(not(target_os = "none"))]
fn main() -> std::process::ExitCode {
    let Some(path) = std::env::args_os().nth(1) else {
        eprintln!("usage: emulated FILE    (recorded inputs; write some with `capcycle run JOB --inputs FILE`)");
        return std::process::ExitCode::from(2);
    };
    let bytes = match std::fs::read(&path) {
        Ok(bytes) => bytes,
        Err(e) => {
            eprintln!("{}: {e}", path.display());
            return std::process::ExitCode::from(2);
        }
    };
    let mut text = String::new();
    match replay(bytes.as_slice(), &mut text) {
        Ok(()) => {
            print!("{text}");
            std::process::ExitCode::SUCCESS
        }
        Err(e) => {
            eprintln!("{}: {e}", path.display());
            std::process::ExitCode::from(2)
        }
    }
}
