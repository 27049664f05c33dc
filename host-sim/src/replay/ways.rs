//! The ways of bottles as the controller reckoned them, from what it was given and what it told.

use super::{counts_per_mm, mm};
use crate::record::rec::Told;
use crate::trace::{BottlePath, Piece};
use timing_core::{Contact, EventKind, HeadStep, MachineProfile, Product, Why};

/// Bottles whose end was never told are given up this far downstream of the head, mm.
const FAR_MM: f64 = 5_000.0;

struct Way {
    path: BottlePath,
    /// Belt count at which its centre would be on the head centre, were it never held.
    head_at: f64,
    held: bool,
    done: bool,
}

/// Gathers ways.
pub(super) struct Ways {
    counts_per_mm: f64,
    body_mm: f64,
    /// From the edge at the release eye to the centre on the head centre, mm.
    catch_mm: f64,
    all: Vec<Way>,
    gripped: bool,
    /// Where those that are inside begin: all before are done.
    first: usize,
}

impl Ways {
    pub(super) fn new(m: &MachineProfile, p: &Product) -> Self {
        let counts_per_mm = counts_per_mm(m.counts_per_mm);
        Self {
            counts_per_mm,
            body_mm: mm(p.body),
            catch_mm: mm(p.catch_travel),
            all: Vec::new(),
            gripped: false,
            first: 0,
        }
    }

    pub(super) fn see(&mut self, told: &Told) {
        let (t_us, belt) = (told.inputs.now.as_micros(), told.inputs.belt.get() as f64);
        for e in &told.events {
            match e.kind {
                EventKind::Registered => self.register(e.value, belt),
                EventKind::Caught => self.hold(),
                EventKind::Head if e.detail == HeadStep::Leaving as u16 => self.let_go(belt),
                EventKind::Flagged => self.outcome(e.value, e.why.words()),
                EventKind::Counted if e.value > 0 => self.end(e.value, e.why, t_us),
                _ => {}
            }
        }
        let gripped = told.inputs.contacts.has(Contact::GripWork);
        if std::mem::replace(&mut self.gripped, gripped) && !gripped {
            // It rides on as soon as the jaw leaves it, before the grip is all open.
            self.let_go(belt);
        }
        let inside = self.all.get_mut(self.first..).unwrap_or_default();
        for way in inside.iter_mut().filter(|w| !w.done) {
            let x_mm = if way.held { 0.0 } else { (belt - way.head_at) / self.counts_per_mm };
            step(&mut way.path, t_us, x_mm);
            if x_mm > FAR_MM {
                way.done = true;
                way.path.gone_us = Some(t_us);
            }
        }
        while self.all.get(self.first).is_some_and(|w| w.done) {
            self.first += 1;
        }
    }

    fn register(&mut self, serial: i32, belt: f64) {
        let path =
            BottlePath { number: serial.unsigned_abs(), length_mm: self.body_mm, outcome: "", ..BottlePath::default() };
        let head_at = belt + self.catch_mm * self.counts_per_mm;
        self.all.push(Way { path, head_at, held: false, done: false });
    }

    /// The one that was caught is the first still upstream of, or about, the head.
    fn hold(&mut self) {
        let half = self.body_mm / 2.0;
        let mut inside = self.all.get_mut(self.first..).unwrap_or_default().iter_mut();
        let near = |w: &&mut Way| !w.done && w.path.pieces.last().is_some_and(|p| p.x_mm.abs() < half);
        if let Some(way) = inside.find(near) {
            way.held = true;
        }
    }

    fn let_go(&mut self, belt: f64) {
        for way in self.all.iter_mut().skip(self.first).filter(|w| w.held) {
            way.held = false;
            way.head_at = belt;
        }
    }

    fn of(&mut self, serial: i32) -> Option<&mut Way> {
        let number = serial.unsigned_abs();
        self.all.iter_mut().rev().find(|w| w.path.number == number)
    }

    fn outcome(&mut self, serial: i32, words: &'static str) {
        if let Some(way) = self.of(serial) {
            way.path.outcome = words;
        }
    }

    fn end(&mut self, serial: i32, why: Why, t_us: u64) {
        if let Some(way) = self.of(serial) {
            way.done = true;
            way.path.gone_us = Some(t_us);
            if way.path.outcome.is_empty() {
                way.path.outcome = why.words();
            }
        }
    }

    pub(super) fn finish(self) -> Vec<BottlePath> {
        self.all.into_iter().map(|w| w.path).collect()
    }
}

/// One more point of the way; straight between points.
fn step(path: &mut BottlePath, t_us: u64, x_mm: f64) {
    let t_us = t_us as f64;
    if let Some(last) = path.pieces.last_mut() {
        if t_us <= last.t_us {
            last.x_mm = x_mm;
            return;
        }
        last.v_mm_s = (x_mm - last.x_mm) / ((t_us - last.t_us) * 1e-6);
    }
    path.pieces.push(Piece { t_us, x_mm, v_mm_s: 0.0, a_mm_s2: 0.0 });
}
