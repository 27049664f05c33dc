//! `run.vcd`: value change dump of every signal, IEEE Std 1364-2005 clause 18, for any waveform viewer.
//!
//! One microsecond is one unit of time. A scope per group of signals; contacts and orders are one-bit wires, the belt an
//! integer of encoder counts, its speed a real in mm/s, and unit state, mode, head and feed step are registers of numbers
//! whose meaning stands in the header's comment. There is no `$date`: the same run gives the same file.

use crate::show::lanes::{Group, Signal};
use crate::trace::{Moment, Trace};
use std::fmt::Write as _;
use std::io;
use timing_core::{FeedStep, HeadStep, Mode, UnitState};
use vcd::{IdCode, SimulationCommand, TimescaleUnit, Value, VarType, Writer};

/// Bits of the belt counter in the file, two's complement.
const BELT_BITS: u32 = 64;

/// The trace as a value change dump.
#[must_use]
pub fn vcd(trace: &Trace) -> String {
    let mut out = Vec::with_capacity(trace.moments.len() * 24 + 4096);
    match write(&mut out, trace) {
        Ok(()) => String::from_utf8(out).unwrap_or_default(),
        // Writing to memory cannot fail; should it ever, an empty file is loud in every reader.
        Err(_) => String::new(),
    }
}

fn write(out: &mut Vec<u8>, trace: &Trace) -> io::Result<()> {
    let mut w = Writer::new(out);
    w.comment(&legend())?;
    w.version("capcycle")?;
    w.timescale(1, TimescaleUnit::US)?;
    w.add_module("station")?;
    let vars = Vars::define(&mut w)?;
    w.upscope()?;
    w.enddefinitions()?;
    let mut before: Option<&Moment> = None;
    for m in &trace.moments {
        match before {
            None => {
                w.timestamp(m.t_us)?;
                w.begin(SimulationCommand::Dumpvars)?;
                vars.changes(&mut w, None, m)?;
                w.end()?;
            }
            Some(b) => {
                if changed(b, m) {
                    // Two moments at one time share its line.
                    if m.t_us > b.t_us {
                        w.timestamp(m.t_us)?;
                    }
                    vars.changes(&mut w, Some(b), m)?;
                }
            }
        }
        before = Some(m);
    }
    if before.is_none_or(|m| trace.end_us > m.t_us) {
        w.timestamp(trace.end_us)?;
    }
    w.flush()
}

fn changed(a: &Moment, b: &Moment) -> bool {
    Moment { t_us: 0, ..*a } != Moment { t_us: 0, ..*b }
}

struct Vars {
    bits: Vec<(Signal, IdCode)>,
    belt: IdCode,
    speed: IdCode,
    unit: IdCode,
    mode: IdCode,
    head: IdCode,
    feed: IdCode,
}

impl Vars {
    fn define<W: io::Write>(w: &mut Writer<W>) -> io::Result<Self> {
        w.add_module("steps")?;
        let unit = w.add_var(VarType::Reg, 5, "unit", None)?;
        let mode = w.add_var(VarType::Reg, 2, "mode", None)?;
        let head = w.add_var(VarType::Reg, 4, "head", None)?;
        let feed = w.add_var(VarType::Reg, 2, "feed", None)?;
        w.upscope()?;
        let mut bits = Vec::new();
        for group in Group::ALL {
            w.add_module(scope(group))?;
            for signal in Signal::all().filter(|s| s.group() == group) {
                bits.push((signal, w.add_wire(1, &signal.identifier())?));
            }
            w.upscope()?;
        }
        w.add_module("belt")?;
        let belt = w.add_var(VarType::Integer, BELT_BITS, "counts", None)?;
        let speed = w.add_var(VarType::Real, 64, "speed_mm_s", None)?;
        w.upscope()?;
        Ok(Self { bits, belt, speed, unit, mode, head, feed })
    }

    /// What differs between `b` and `m`; everything if there is no `b`.
    fn changes<W: io::Write>(&self, w: &mut Writer<W>, b: Option<&Moment>, m: &Moment) -> io::Result<()> {
        let same_bits = b.is_some_and(|b| b.contacts == m.contacts && b.orders == m.orders);
        if !same_bits {
            for (signal, id) in &self.bits {
                let level = signal.level(m);
                if b.is_none_or(|b| signal.level(b) != level) {
                    w.change_scalar(*id, level)?;
                }
            }
        }
        if b.is_none_or(|b| b.unit != m.unit) {
            w.change_vector(self.unit, binary(m.unit as u64, 5))?;
        }
        if b.is_none_or(|b| b.mode != m.mode) {
            w.change_vector(self.mode, binary(m.mode as u64, 2))?;
        }
        if b.is_none_or(|b| b.head != m.head) {
            w.change_vector(self.head, binary(m.head as u64, 4))?;
        }
        if b.is_none_or(|b| b.feed != m.feed) {
            w.change_vector(self.feed, binary(m.feed as u64, 2))?;
        }
        if b.is_none_or(|b| b.belt != m.belt) {
            w.change_vector(self.belt, binary(m.belt.cast_unsigned(), BELT_BITS))?;
        }
        if b.is_none_or(|b| b.belt_mm_s.to_bits() != m.belt_mm_s.to_bits()) {
            // A viewer cannot read "NaN".
            let speed = f64::from(m.belt_mm_s);
            w.change_real(self.speed, if speed.is_finite() { speed } else { 0.0 })?;
        }
        Ok(())
    }
}

fn binary(value: u64, bits: u32) -> impl Iterator<Item = Value> {
    (0..bits).rev().map(move |i| Value::from(value >> i & 1 == 1))
}

const fn scope(group: Group) -> &'static str {
    match group {
        Group::Eyes => "eyes",
        Group::Orders => "orders",
        Group::Reeds => "reeds",
        Group::Safety => "safety",
        Group::Line => "line",
    }
}

/// What the numbers of the registers mean.
fn legend() -> String {
    let mut s = String::from("unit:");
    for u in UnitState::ALL {
        let _ = write!(s, " {}={}", u as u8, u.name());
    }
    s.push_str("; mode:");
    for m in [Mode::Production, Mode::Maintenance, Mode::Manual] {
        let _ = write!(s, " {}={}", m as u8, m.name());
    }
    s.push_str("; head:");
    for h in HeadStep::ALL {
        let _ = write!(s, " {}={}", h as u8, h.name());
    }
    s.push_str("; feed:");
    for f in FeedStep::ALL {
        let _ = write!(s, " {}={}", f as u8, f.name());
    }
    s.push_str("; orders: _work and _home are the coils of an actuator; belt/counts: encoder counts");
    s
}
