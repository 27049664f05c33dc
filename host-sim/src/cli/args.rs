//! What the command takes.

use clap::{Args, Parser, Subcommand};
use std::path::PathBuf;

/// Columns that help is set in, on every terminal.
const WIDTH: usize = 100;

const CAUTIONS: &str = "\
Cautions:
  capcycle is about a functional controller, never about a safety device. Emergency stop, guards and
  the air dump stay hard-wired. Lock out and vent before hands go in: air that returns can move a
  cylinder by itself. A rehearsal that passes says that the timings agree with a model, not that the
  machine is safe. Local codes and licensed practice decide.

Exit codes: 0 fine; 1 it ran, and the verdict is no; 2 the input is wrong, and nothing was written.";

/// Plan, rehearse and explain an inline bottle-closing station.
#[derive(Debug, Parser)]
#[command(name = "capcycle", version, term_width = WIDTH, after_help = CAUTIONS, after_long_help = CAUTIONS)]
#[command(disable_help_subcommand = true)]
pub(super) struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub(super) verb: Verb,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub(super) enum Verb {
    /// Read job files and name every mistake in them, each with its line and how to mend it.
    Check(CheckArgs),
}

/// `check`.
#[derive(Debug, Args)]
#[command(after_help = CAUTIONS)]
pub(super) struct CheckArgs {
    /// Job files (TOML).
    #[arg(required = true, value_name = "JOB")]
    pub(super) jobs: Vec<PathBuf>,
    /// For machines: one JSON object a job, one a line, on standard output.
    #[arg(long)]
    pub(super) json: bool,
    /// Say nothing when all is well.
    #[arg(short, long)]
    pub(super) quiet: bool,
}
