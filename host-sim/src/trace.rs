//! What happened in a rehearsal, for charts, files and reports: pure data, filled by the rehearsal, read by `show` and
//! `record`.

mod keep;

pub(crate) use keep::Keeper;

use timing_core::{Contacts, Event, FeedStep, HeadStep, Mode, Orders, UnitState};

/// A whole rehearsal as told.
#[derive(Clone, Debug, Default)]
pub struct Trace {
    /// Geometry that the distance–time chart draws as lines.
    pub places: Places,
    /// Every change of a contact, order, state or step, in time order; the first entry is the state at the start.
    pub moments: Vec<Moment>,
    /// Every event with its time, µs.
    pub events: Vec<(u64, Event)>,
    /// The way of each bottle.
    pub bottles: Vec<BottlePath>,
    /// End of the run, µs.
    pub end_us: u64,
}

/// One line of [`Trace::moments`]: everything as it is from `t_us` on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moment {
    /// Time, µs.
    pub t_us: u64,
    /// Contacts as the core was given them (raw).
    pub contacts: Contacts,
    /// Orders as they left.
    pub orders: Orders,
    /// Unit state.
    pub unit: UnitState,
    /// Mode.
    pub mode: Mode,
    /// Head step.
    pub head: HeadStep,
    /// Feed step.
    pub feed: FeedStep,
    /// Encoder count.
    pub belt: i64,
    /// True belt speed, mm/s.
    pub belt_mm_s: f32,
}

/// Coordinates of what stands along the belt, mm from the head centre.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Places {
    /// Entry blade; `None` where it is not known, as in a recording.
    pub entry_blade_mm: Option<f64>,
    /// Release blade.
    pub release_blade_mm: f64,
    /// Pocket eye; `None` where it is not known, as in a recording.
    pub pocket_eye_mm: Option<f64>,
    /// Release eye.
    pub release_eye_mm: f64,
    /// Discharge eye.
    pub discharge_eye_mm: Option<f64>,
    /// Supply eye.
    pub supply_eye_mm: Option<f64>,
    /// Diverter.
    pub reject_mm: Option<f64>,
    /// Half-width of what the jaw captures.
    pub capture_mm: f64,
    /// Body diameter.
    pub diameter_mm: f64,
}

/// The way of one bottle, as straight and parabolic pieces.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BottlePath {
    /// Number on the line, 1 = first.
    pub number: u32,
    /// Length of its body along the belt, mm.
    pub length_mm: f64,
    /// Pieces of its centre's motion in time order; each holds until the next begins, the last until `gone_us`.
    pub pieces: Vec<Piece>,
    /// When it left the model, µs.
    pub gone_us: Option<u64>,
    /// The judge's outcome, in words ("tight", "uncapped", …); empty while none.
    pub outcome: &'static str,
    /// How far off centre it was caught, mm (positive = downstream), if it was.
    pub off_centre_mm: Option<f64>,
}

/// Motion x(t) = x + v·τ + a·τ²/2 with τ = t − t₀ in seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Piece {
    /// t₀, µs.
    pub t_us: f64,
    /// x, mm.
    pub x_mm: f64,
    /// v, mm/s.
    pub v_mm_s: f64,
    /// a, mm/s².
    pub a_mm_s2: f64,
}

impl Piece {
    /// Position at `t_us`, mm.
    #[must_use]
    pub fn at(&self, t_us: f64) -> f64 {
        let s = (t_us - self.t_us) * 1e-6;
        self.x_mm + (self.v_mm_s + 0.5 * self.a_mm_s2 * s) * s
    }
}
