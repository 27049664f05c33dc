//! The command `capcycle`: one function, so that tests call it in-process.
//!
//! Exit codes: 0 = fine; 1 = ran, and the verdict is no; 2 = the input is wrong, and nothing was written.

mod args;
pub mod files;
mod jobs;
mod lockstep;
mod plan;
pub mod rehearsal;
mod replay;
mod soak;
mod survey;

pub use args::{DemoArgs, RunArgs};

use clap::Parser;
use std::ffi::OsString;
use std::io::Write;

/// Exit code: fine.
pub const FINE: u8 = 0;
/// Exit code: it ran, and the verdict is no.
pub const NO: u8 = 1;
/// Exit code: the input is wrong; nothing was written.
pub const WRONG_INPUT: u8 = 2;

/// Runs the command with its arguments (the first is the program's name), writing to `out` and `err`; returns the exit code.
///
/// A closed `out` (a pager that was left) is no error.
pub fn run(args: impl IntoIterator<Item = OsString>, out: &mut dyn Write, err: &mut dyn Write) -> u8 {
    let cli = match args::Cli::try_parse_from(args) {
        Ok(cli) => cli,
        Err(e) => {
            let asked_for_help = e.exit_code() == 0;
            let to: &mut dyn Write = if asked_for_help { out } else { err };
            say(to, &e.render().to_string());
            return if asked_for_help { FINE } else { WRONG_INPUT };
        }
    };
    match cli.verb {
        args::Verb::Check(a) => jobs::check(&a, out, err),
        args::Verb::Plan(a) => plan::plan(&a, out, err),
        args::Verb::Run(a) => rehearsal::run(&a, &rehearsal::real, out, err),
        args::Verb::Replay(a) => replay::run(&a, out, err),
        args::Verb::Survey(a) => survey::run(&a, out, err),
        args::Verb::Lockstep(a) => lockstep::run(&a, out, err),
        args::Verb::Soak(a) => soak::run(&a, out, err),
        args::Verb::Demo(a) => rehearsal::demo(&a, &rehearsal::real, out, err),
    }
}

/// Writes a text, and lets a closed pipe be.
fn say(to: &mut dyn Write, text: &str) {
    let _ = to.write_all(text.as_bytes()).and_then(|()| to.flush());
}
