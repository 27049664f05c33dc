//! A machine as it is, measured from a logic capture, whatever controls it.
//!
//! Nothing here is shared with the core or the judge: a survey must see a foreign machine as its wires show it, and not as this project would
//! have it. It measures in one pass and in memory that does not grow with the capture.

mod breach;
mod delay;
mod draft;
pub mod map;
mod stat;
mod stroke;
mod view;
mod words;

pub use breach::Breach;
pub use delay::{Delay, Steadier};
pub use draft::draft;
pub use stat::Stat;
pub use stroke::{Drifted, StrokeTimes};
pub use words::summary;

use crate::capture::Capture;
use map::Map;
use serde::Serialize;
use timing_core::Contact;
use view::{Feed, View};

/// What a capture shows of a machine.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Survey {
    /// Length of the capture, s.
    pub seconds: f64,
    /// Changes that were read.
    pub changes: u64,
    /// Values that were neither high nor low.
    pub unknown: u64,
    /// What is damaged, if anything is: all figures are of what came before.
    pub damage: Option<String>,
    /// Encoder counts from the beginning to the end, backward ones taken off.
    pub belt_counts: i64,
    /// Belt speed over stretches of half a second in which it ran, mm/s.
    pub belt_mm_s: Option<Stat>,
    /// Its standard deviation as a share of the mean.
    pub belt_wander: Option<f64>,
    /// Encoder transitions of both channels at once: an edge was missed.
    pub encoder_illegal: u64,
    /// Stroke times.
    pub strokes: Vec<StrokeTimes>,
    /// From a trigger to the order that follows it.
    pub delays: Vec<Delay>,
    /// Catches a minute, between the first and the last.
    pub rate_per_min: Option<f64>,
    /// Bottles that came past the release eye.
    pub bottles: u64,
    /// Belt travel for which a bottle blocked the release eye, mm.
    pub length_mm: Option<Stat>,
    /// Belt travel between bottles in the discharge eye, mm.
    pub gap_mm: Option<Stat>,
    /// Rules that orders and contacts show broken; at most 100 are kept.
    pub breaches: Vec<Breach>,
    /// How many there were.
    pub breaches_in_all: u64,
    /// When the release eye was blocked by half as much again as by the longest bottle before, s; at most 100 are kept.
    pub jams_s: Vec<f64>,
}

/// The most breaches and jams that are kept.
const KEPT: usize = 100;
/// Shortest stretch for a belt speed, ns.
const STRETCH_NS: u64 = 500_000_000;
/// A belt that goes slower stands, mm/s.
const STANDS: f64 = 1.0;

/// Measures a capture.
#[must_use]
pub fn survey(capture: Capture, map: &Map) -> Survey {
    let mut feed = Feed::new(map);
    let mut seen = Measures::new(map);
    let ended = capture.each(|change| {
        // All changes of one time are one step.
        if let Some((was, is)) = feed.take(change) {
            seen.step(&was, &is);
        }
    });
    if let Some((was, is)) = feed.finish(ended.until_ns) {
        seen.step(&was, &is);
    }
    let mut survey = seen.finish();
    survey.seconds = ended.until_ns as f64 * 1e-9;
    (survey.changes, survey.unknown, survey.damage) = (ended.changes, ended.unknown, ended.damage);
    survey.encoder_illegal = feed.illegal();
    survey
}

struct Measures {
    counts_per_mm: Option<f64>,
    strokes: stroke::Strokes,
    delays: delay::Delays,
    breach: breach::Breaches,
    out: Survey,
    speed: Stat,
    length: Stat,
    gap: Stat,
    stretch: Option<(u64, i64)>,
    /// Belt count at which the release eye was blocked, and whether that was told as a jam.
    eye_on: Option<(i64, bool)>,
    discharge_off: Option<i64>,
    first_catch: Option<u64>,
    catches: u64,
    last_catch: u64,
}

impl Measures {
    fn new(map: &Map) -> Self {
        Self {
            counts_per_mm: map.belt.as_ref().map(|b| b.counts_per_rev / b.wheel_mm),
            strokes: stroke::Strokes::new(map),
            delays: delay::Delays::new(map),
            breach: breach::Breaches::new(map),
            out: Survey::default(),
            speed: Stat::default(),
            length: Stat::default(),
            gap: Stat::default(),
            stretch: None,
            eye_on: None,
            discharge_off: None,
            first_catch: None,
            catches: 0,
            last_catch: 0,
        }
    }

    fn mm(&self, counts: i64) -> Option<f64> {
        self.counts_per_mm.map(|scale| counts as f64 / scale)
    }

    fn step(&mut self, was: &View, is: &View) {
        self.out.belt_counts += is.belt - was.belt;
        self.belt(is);
        self.strokes.step(was, is);
        self.delays.step(was, is, self.counts_per_mm);
        for breach in self.breach.step(was, is) {
            self.out.breaches_in_all += 1;
            if self.out.breaches.len() < KEPT {
                self.out.breaches.push(breach);
            }
        }
        self.bottles(was, is);
        if is.rose(was, Contact::GripWork) {
            self.catches += 1;
            self.first_catch.get_or_insert(is.at_ns);
            self.last_catch = is.at_ns;
        }
    }

    fn belt(&mut self, is: &View) {
        let (from_ns, from) = *self.stretch.get_or_insert((is.at_ns, is.belt));
        let ns = is.at_ns - from_ns;
        if ns < STRETCH_NS {
            return;
        }
        self.stretch = Some((is.at_ns, is.belt));
        if let Some(mm) = self.mm(is.belt - from) {
            let mm_s = mm / (ns as f64 * 1e-9);
            if libm::fabs(mm_s) > STANDS {
                self.speed.add(mm_s);
            }
        }
    }

    fn bottles(&mut self, was: &View, is: &View) {
        if is.rose(was, Contact::ReleaseEye) {
            self.out.bottles += 1;
            self.eye_on = Some((is.belt, false));
        }
        if let Some((from, told)) = self.eye_on
            && let Some(mm) = self.mm(is.belt - from)
        {
            let long = self.length.n >= 3 && mm > 1.5 * self.length.max;
            if long && !told {
                self.eye_on = Some((from, true));
                if self.out.jams_s.len() < KEPT {
                    self.out.jams_s.push(is.at_ns as f64 * 1e-9);
                }
            }
            if is.fell(was, Contact::ReleaseEye) {
                // A jam is no length.
                if !long {
                    self.length.add(mm);
                }
                self.eye_on = None;
            }
        }
        if is.rose(was, Contact::DischargeEye)
            && let Some(mm) = self.discharge_off.and_then(|from| self.mm(is.belt - from))
        {
            self.gap.add(mm);
        }
        if is.fell(was, Contact::DischargeEye) {
            self.discharge_off = Some(is.belt);
        }
    }

    fn finish(self) -> Survey {
        let some = |s: Stat| (s.n > 0).then_some(s);
        let span = self.first_catch.map(|first| (self.last_catch - first) as f64 * 1e-9);
        let rate = span.filter(|s| self.catches > 1 && *s > 0.0).map(|s| (self.catches - 1) as f64 * 60.0 / s);
        Survey {
            belt_wander: self.speed.relative(),
            belt_mm_s: some(self.speed),
            strokes: self.strokes.finish(),
            delays: self.delays.finish(),
            rate_per_min: rate,
            length_mm: some(self.length),
            gap_mm: some(self.gap),
            ..self.out
        }
    }
}
