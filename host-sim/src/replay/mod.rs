//! A recording on the desk: the same core over it, and what it shows: the moments and the ways of bottles for the charts, each stroke's
//! time, and the story around a fault in plain sentences.

mod explain;
mod strokes;
mod ways;
pub mod what_if;

pub use explain::{Fault, explain, faults};
pub use strokes::Stroke;

use crate::record::rec::{Recording, Replayed, Told, replay_with};
use crate::trace::{Keeper, Places, Trace};
use strokes::Strokes;
use timing_core::{CountsPerMm, MachineProfile, Millimetres, Product, Station};
use ways::Ways;

/// A recording, told anew by the core.
#[derive(Clone, Debug)]
pub struct Retold {
    /// Whether it gave the same bits, or where not.
    pub replayed: Replayed,
    /// What happened, up to the first difference. The ways of bottles are as the controller reckoned them: with the belt from the release
    /// eye on, standing while the grip held them; nobody saw them in between.
    pub trace: Trace,
    /// Every stroke whose end has a contact, in order of their orders.
    pub strokes: Vec<Stroke>,
    /// Each request of operator or line control, with its time, µs.
    pub requests: Vec<(u64, timing_core::Request)>,
}

/// Replays a recording and gathers what it shows.
///
/// # Errors
/// When the core refuses the machine or product of the recording: one sentence.
pub fn retell(recording: &Recording) -> Result<Retold, String> {
    let setup = &recording.setup;
    let mut keeper = Keeper::new(places(&setup.machine, &setup.product));
    let mut strokes = Strokes::new(&setup.machine);
    let mut ways = Ways::new(&setup.machine, &setup.product);
    let mut speed = Speed::new(counts_per_mm(setup.machine.counts_per_mm));
    let mut requests = Vec::new();
    let mut end = 0;
    let replayed = replay_with(recording, &mut |told: &Told, station: &Station| {
        end = told.inputs.now.as_micros();
        let belt_mm_s = speed.at(end, told.inputs.belt.get());
        keeper.tick(&told.inputs, told.orders, (told.unit, told.mode), station, belt_mm_s, &told.events);
        strokes.see(told);
        ways.see(told);
        requests.extend(told.inputs.request.map(|r| (end, r)));
    })?;
    Ok(Retold { replayed, trace: keeper.finish(end, ways.finish()), strokes: strokes.finish(), requests })
}

fn places(m: &MachineProfile, p: &Product) -> Places {
    Places {
        entry_blade_mm: None,
        release_blade_mm: mm(m.release_blade),
        pocket_eye_mm: None,
        release_eye_mm: mm(m.release_eye),
        discharge_eye_mm: m.discharge_eye.map(mm),
        supply_eye_mm: None,
        reject_mm: m.reject.map(mm),
        capture_mm: mm(p.capture),
        diameter_mm: mm(p.body),
    }
}

fn mm(length: Millimetres) -> f64 {
    f64::from(length.to_bits()) / 65_536.0
}

fn counts_per_mm(scale: CountsPerMm) -> f64 {
    f64::from(scale.to_bits()) / 65_536.0
}

/// Belt speed from the counts of a recording, over stretches long enough that single counts do not matter.
struct Speed {
    counts_per_mm: f64,
    from: Option<(u64, i64)>,
    mm_s: f64,
}

impl Speed {
    /// Shortest stretch, µs.
    const STRETCH_US: u64 = 100_000;

    const fn new(counts_per_mm: f64) -> Self {
        Self { counts_per_mm, from: None, mm_s: 0.0 }
    }

    fn at(&mut self, t_us: u64, belt: i64) -> f64 {
        let (from_us, counts) = *self.from.get_or_insert((t_us, belt));
        let us = t_us.saturating_sub(from_us);
        if us >= Self::STRETCH_US {
            self.mm_s = (belt - counts) as f64 / self.counts_per_mm / (us as f64 * 1e-6);
            self.from = Some((t_us, belt));
        }
        self.mm_s
    }
}
