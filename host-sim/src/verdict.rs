//! What a rehearsal says in the end: pure data, filled by the rehearsal and the judge, read by `show`, the command and the tests.

use crate::trace::Trace;

/// What became of a bottle, by physics. The judge decides it from [`crate::facts`], never from what the core believes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Outcome {
    /// Closed as wanted.
    Tight,
    /// Seated, spun too little or not at all.
    Loose,
    /// Crossed thread.
    Crossed,
    /// No closure.
    Uncapped,
    /// Caught further off centre than the jaw captures.
    OffCentre,
    /// Passed the head without being caught.
    Missed,
    /// Fell over.
    Tipped,
    /// Met by a gate's blade.
    StruckByGate,
    /// Run into by another bottle, or into one at the head.
    StruckByBottle,
    /// Turned in the grip.
    SpunInGrip,
    /// Taken out by hand.
    Taken,
    /// Still on the line at the end.
    Unfinished,
}

impl Outcome {
    /// All of them.
    pub const ALL: [Self; 12] = [
        Self::Tight,
        Self::Loose,
        Self::Crossed,
        Self::Uncapped,
        Self::OffCentre,
        Self::Missed,
        Self::Tipped,
        Self::StruckByGate,
        Self::StruckByBottle,
        Self::SpunInGrip,
        Self::Taken,
        Self::Unfinished,
    ];

    /// The word used in job files, reports and JSON.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Tight => "tight",
            Self::Loose => "loose",
            Self::Crossed => "crossed",
            Self::Uncapped => "uncapped",
            Self::OffCentre => "off centre",
            Self::Missed => "missed",
            Self::Tipped => "tipped",
            Self::StruckByGate => "struck by gate",
            Self::StruckByBottle => "struck by bottle",
            Self::SpunInGrip => "spun in grip",
            Self::Taken => "taken",
            Self::Unfinished => "unfinished",
        }
    }
}

/// A rule of the interlocks that orders or contacts broke.
#[derive(Clone, Debug, PartialEq)]
pub struct Breach {
    /// Rule number, 1 … 16.
    pub rule: u8,
    /// When, µs.
    pub t_us: u64,
    /// What happened, one sentence.
    pub text: String,
}

/// One check of `[expect]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// What was expected, e.g. "good = 12".
    pub expected: String,
    /// What came, e.g. "11".
    pub got: String,
    /// Whether it holds.
    pub ok: bool,
}

/// Counts that the core kept, at the end.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counted {
    /// Registered at the release eye.
    pub registered: u32,
    /// Good, past the diverter.
    pub good: u32,
    /// Diverted.
    pub rejected: u32,
    /// Taken by hand.
    pub removed: u32,
    /// Gone without a trace.
    pub lost: u32,
    /// Seen though unknown.
    pub found: u32,
    /// Inside at the end.
    pub inside: u32,
}

/// Centring at the catch, over all caught bottles, mm: the offset when the jaw met each, less the aim.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Centring {
    /// How many were caught.
    pub n: u32,
    /// Mean error, positive = downstream of the aim.
    pub mean_mm: f64,
    /// Root mean square of the error.
    pub rms_mm: f64,
    /// Largest error, either way.
    pub max_mm: f64,
}

/// Placement of the catch order against its computed place, counts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Placement {
    /// Orders given.
    pub n: u32,
    /// Largest lateness, counts.
    pub max_counts: i32,
}

/// The same job with every place replaced by a time in seconds, and with every stroke at its nominal time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Comparison {
    /// Places along the belt, strokes without spread.
    pub even: Centring,
    /// Fixed delays in seconds, strokes without spread.
    pub even_fixed: Centring,
    /// Fixed delays in seconds, strokes spread as in the job.
    pub fixed: Centring,
    /// Bottles that the judge found further off centre than the plan reckons with, or missed, with those.
    pub fixed_failed: u32,
    /// The same with places along the belt: this job.
    pub failed: u32,
    /// Largest error that the plan reckons with, mm: the sum of its parts.
    pub predicted_mm: f64,
}

/// Everything a rehearsal says.
#[derive(Clone, Debug, Default)]
pub struct RunResult {
    /// The job's name.
    pub job: String,
    /// The job's title.
    pub title: String,
    /// All checks hold and no rule is broken.
    pub pass: bool,
    /// `[expect]`, one by one.
    pub checks: Vec<Check>,
    /// Broken rules.
    pub breaches: Vec<Breach>,
    /// Bottles that came down the line.
    pub bottles_in: u32,
    /// The core's counts.
    pub counted: Counted,
    /// Number of bottles of each outcome, in the order of [`Outcome::ALL`].
    pub outcomes: [u32; 12],
    /// Good bottles per minute between the first and the last good one, 0 if fewer than two.
    pub rate_per_min: f64,
    /// Seed of every random draw.
    pub seed: u64,
    /// Simulated time, s.
    pub simulated_s: f64,
    /// Ticks of the core.
    pub ticks: u64,
    /// FNV-1a 64 over the ticks that changed an order or told an event.
    pub digest: u64,
    /// FNV-1a 64 over every tick.
    pub trace_digest: u64,
    /// Centring at the catch.
    pub centring: Centring,
    /// The same job with fixed delays in seconds, if it was asked for.
    pub comparison: Option<Comparison>,
    /// All that the core was given, in the form of [`crate::record::inputs`], if it was asked for.
    pub inputs: Vec<u8>,
    /// The recording, in the form of [`crate::record::rec`], if it was asked for.
    pub recording: Vec<u8>,
    /// Bottles that the jaw met further off the aim than the plan reckons with.
    pub off_plan: u32,
    /// Placement of the catch order.
    pub placement: Placement,
    /// Name of the unit's last state.
    pub state: &'static str,
    /// What happened, if it was recorded.
    pub trace: Trace,
}
