//! What the command takes.

use clap::{Args, Parser, Subcommand};
use std::path::PathBuf;

/// Words for a job file, wherever one is taken.
const JOB: &str = "JOB";

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
    /// Show it all once with the built-in job: plan, rehearsal, charts and report, in a folder.
    Demo(DemoArgs),
    /// Plan a job: positions, set-points, step chart and checks, as a set-up sheet.
    Plan(PlanArgs),
    /// Rehearse jobs against the modelled line, and give each its verdict.
    Run(RunArgs),
    /// A recording once more through the same core: the same bits, or the first difference; and what the machine did, in words.
    Replay(ReplayArgs),
    /// A machine as it is, measured from a logic capture: strokes, delays, belt, broken rules, and a job file to start from.
    Survey(SurveyArgs),
    /// Firmware in the loop: a board ticks through what each rehearsal gave the core, and every output is compared.
    Lockstep(LockstepArgs),
    /// Seeded fault campaigns: the core through trouble of every sort, judged at every tick, and whether it runs again after.
    Soak(SoakArgs),
}

/// `check`.
#[derive(Debug, Args)]
#[command(after_help = CAUTIONS)]
pub(super) struct CheckArgs {
    /// Job files (TOML).
    #[arg(required = true, value_name = JOB)]
    pub(super) jobs: Vec<PathBuf>,
    /// For machines: one JSON object a job, one a line, on standard output.
    #[arg(long)]
    pub(super) json: bool,
    /// Say nothing when all is well.
    #[arg(short, long)]
    pub(super) quiet: bool,
}

/// `plan`.
#[derive(Debug, Args)]
#[command(after_help = CAUTIONS)]
pub(super) struct PlanArgs {
    /// Job file (TOML); with a second one of the same machine: what changes from the first to the second.
    #[arg(required = true, num_args = 1..=2, value_name = JOB)]
    pub(super) jobs: Vec<PathBuf>,
    /// For machines: one JSON object on standard output.
    #[arg(long)]
    pub(super) json: bool,
    /// Write the set-up sheet (of the last job) as one HTML file to print, with a sketch to scale and boxes to tick.
    #[arg(long, value_name = "FILE")]
    pub(super) sheet: Option<PathBuf>,
    /// Write over a file that is there already.
    #[arg(long)]
    pub(super) force: bool,
    /// Say nothing but the checks that fail.
    #[arg(short, long)]
    pub(super) quiet: bool,
}

/// `run`: rehearse jobs.
#[derive(Clone, Debug, Default, Args)]
#[command(after_help = CAUTIONS)]
pub struct RunArgs {
    /// Job files (TOML).
    #[arg(required = true, value_name = JOB)]
    pub jobs: Vec<PathBuf>,
    /// For machines: one JSON object a job, one a line, on standard output.
    #[arg(long)]
    pub json: bool,
    /// Write the verdicts as a JUnit report.
    #[arg(long, value_name = "FILE")]
    pub junit: Option<PathBuf>,
    /// Write every contact and order as a VCD file; with several jobs, a folder.
    #[arg(long, value_name = "FILE")]
    pub vcd: Option<PathBuf>,
    /// Write a recording of all that the core was given and said, for `replay`; with several jobs, a folder.
    #[arg(long, value_name = "FILE")]
    pub record: Option<PathBuf>,
    /// Write charts: into a folder both, the timing chart and the distance-time chart; into a file the timing chart, or the
    /// distance-time chart if its name has "travel" in it.
    #[arg(long, value_name = "FOLDER|FILE")]
    pub chart: Option<PathBuf>,
    /// Write a report as one HTML file; with several jobs, a folder.
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
    /// Write over files that are there already.
    #[arg(long)]
    pub force: bool,
    /// Take this seed for every random draw instead of the job's.
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// For comparison, rehearse with every place replaced by a time in seconds.
    #[arg(long)]
    pub fixed_delays: bool,
    /// Write all that the core was given, for a board that is to do the same (see the chapter on firmware).
    #[arg(long, value_name = "FILE")]
    pub inputs: Option<PathBuf>,
    /// Say nothing but what fails.
    #[arg(short, long)]
    pub quiet: bool,
}

/// `replay`: a recording.
#[derive(Debug, Args)]
#[command(after_help = CAUTIONS)]
pub(super) struct ReplayArgs {
    /// Recording, as `run --record` writes it.
    #[arg(value_name = "REC")]
    pub(super) recording: PathBuf,
    /// For machines: one JSON object on standard output.
    #[arg(long)]
    pub(super) json: bool,
    /// Tell the story around the last fault, or around the one chosen with --fault; without any, the last bottle's.
    #[arg(long)]
    pub(super) explain: bool,
    /// Which fault, 1 = the first of the recording.
    #[arg(long, value_name = "N", requires = "explain")]
    pub(super) fault: Option<usize>,
    /// Write the timing chart and the distance-time chart of that span into this folder; files in it are written over.
    #[arg(long, value_name = "FOLDER", requires = "explain")]
    pub(super) out: Option<PathBuf>,
    /// Ask what another set-point would have changed, for example product.seat_dwell="150 ms".
    #[arg(long, value_name = "KEY=VALUE")]
    pub(super) what_if: Option<String>,
    /// From when on the set-point is changed, s since power-up; without it, from the last bottle before the last fault, else from power-up.
    #[arg(long, value_name = "SECONDS", requires = "what_if")]
    pub(super) from: Option<f64>,
}

/// `survey`: a capture.
#[derive(Debug, Args)]
#[command(after_help = CAUTIONS)]
pub(super) struct SurveyArgs {
    /// Capture: a value change dump (VCD), a CSV with a column of time, or a logic analyser's archive.
    #[arg(value_name = "CAPTURE")]
    pub(super) capture: PathBuf,
    /// Map (TOML): which channel is which contact or order, and where the belt's counts come from.
    #[arg(long, value_name = "MAP")]
    pub(super) map: PathBuf,
    /// Write survey.json and a starting job.toml into this folder; files in it are written over.
    #[arg(long, value_name = "FOLDER")]
    pub(super) out: Option<PathBuf>,
    /// For machines: one JSON object on standard output.
    #[arg(long)]
    pub(super) json: bool,
}

/// `demo`: the built-in job, whole.
#[derive(Clone, Debug, Args)]
#[command(after_help = CAUTIONS)]
pub struct DemoArgs {
    /// Folder for plan, charts, report and recordings; it is made if need be, and files in it are written over.
    #[arg(long, value_name = "FOLDER", default_value = "capcycle-demo")]
    pub out: PathBuf,
    /// For machines: one JSON object on standard output.
    #[arg(long)]
    pub json: bool,
}

/// `lockstep`: firmware in the loop.
#[derive(Debug, Args)]
#[command(after_help = CAUTIONS, group = clap::ArgGroup::new("board").args(["emulator", "port"]).required(true))]
pub(super) struct LockstepArgs {
    /// Job files (TOML).
    #[arg(required = true, value_name = JOB)]
    pub(super) jobs: Vec<PathBuf>,
    /// Run the firmware on this board in the emulator (QEMU).
    #[arg(long, value_name = "BOARD", value_parser = ["microbit", "mps2-an386"], requires = "firmware")]
    pub(super) emulator: Option<String>,
    /// The firmware, as the linker wrote it, for the emulator.
    #[arg(long, value_name = "ELF", requires = "emulator")]
    pub(super) firmware: Option<PathBuf>,
    /// Talk to a board on this serial port. Unplug its outputs first.
    #[arg(long, value_name = "PATH")]
    pub(super) port: Option<PathBuf>,
    /// Speed of the port, bits a second.
    #[arg(long, value_name = "N", default_value_t = 115_200, conflicts_with = "emulator")]
    pub(super) baud: u32,
    /// Rehearse each job with so many seeds, from its own on.
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u64).range(1..=1_000_000))]
    pub(super) seeds: u64,
    /// Spoil one frame in 50 on the link, each way, as this seed says: the comparison must not mind.
    #[arg(long, value_name = "SEED")]
    pub(super) link_faults: Option<u64>,
    /// For machines: one JSON object a run, one a line, on standard output.
    #[arg(long)]
    pub(super) json: bool,
    /// Say nothing but what differs, and the sum.
    #[arg(short, long)]
    pub(super) quiet: bool,
}

/// `soak`: seeded fault campaigns.
#[derive(Debug, Args)]
#[command(after_help = CAUTIONS)]
pub(super) struct SoakArgs {
    /// How many runs.
    #[arg(long, value_name = "N", default_value_t = 200, value_parser = clap::value_parser!(u64).range(1..))]
    pub(super) runs: u64,
    /// Seed of the first run; the next ones follow it.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub(super) seed: u64,
    /// Begin no more runs after so many minutes; each run is the same as without.
    #[arg(long, value_name = "N")]
    pub(super) minutes: Option<f64>,
    /// wild: short runs on any machine, trouble every few seconds. shift: hours on machines that can work, trouble as seldom as in use.
    #[arg(long, value_name = "NAME", default_value = "wild", value_parser = ["wild", "shift"])]
    pub(super) profile: String,
    /// Threads; the results do not depend on it.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub(super) threads: usize,
    /// Run the seeds of this file before (lines "profile seed"; # begins a comment).
    #[arg(long, value_name = "FILE")]
    pub(super) seeds: Option<PathBuf>,
    /// Run only this seed, with only these strikes of trouble (numbers as --explain-draws gives them, "none" for none).
    #[arg(long, value_name = "LIST")]
    pub(super) keep: Option<String>,
    /// With --keep: let trouble end after so many seconds.
    #[arg(long, value_name = "SECONDS", requires = "keep")]
    pub(super) until: Option<f64>,
    /// Print all that the first seed draws, and run nothing.
    #[arg(long)]
    pub(super) explain_draws: bool,
    /// Commit to name in a failure; as the build does not know it.
    #[arg(long, value_name = "HASH", default_value = "unknown")]
    pub(super) commit: String,
    /// For machines: one JSON object on standard output.
    #[arg(long)]
    pub(super) json: bool,
    /// Begin no more runs after one that failed.
    #[arg(long)]
    pub(super) fail_fast: bool,
    /// Do not make failing runs small.
    #[arg(long)]
    pub(super) no_shrink: bool,
    /// Say nothing but failures and the sum.
    #[arg(short, long)]
    pub(super) quiet: bool,
}
