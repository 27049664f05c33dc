//! What happened, kept for charts and files.

use crate::job::spec::Job;
use crate::trace::{BottlePath, Moment, Places, Trace};
use timing_core::{Event, Inputs, Mode, Orders, Station, UnitState};

pub(super) struct Recorder {
    trace: Trace,
}

impl Recorder {
    pub(super) fn new(job: &Job, capture_mm: f64) -> Self {
        let m = &job.machine;
        let places = Places {
            entry_blade_mm: m.entry_blade_mm,
            release_blade_mm: m.release_blade_mm,
            pocket_eye_mm: m.pocket_eye_mm,
            release_eye_mm: m.release_eye_mm,
            discharge_eye_mm: m.discharge_eye_mm,
            supply_eye_mm: m.supply_eye_mm,
            reject_mm: m.reject_mm,
            capture_mm,
            diameter_mm: job.product.diameter_mm,
        };
        Self { trace: Trace { places, ..Trace::default() } }
    }

    pub(super) fn tick(
        &mut self,
        inputs: &Inputs,
        orders: Orders,
        (unit, mode): (UnitState, Mode),
        station: &Station,
        belt_mm_s: f64,
        events: &[Event],
    ) {
        let t_us = inputs.now.as_micros();
        let moment = Moment {
            t_us,
            contacts: inputs.contacts,
            orders,
            unit,
            mode,
            head: station.head(),
            feed: station.feed(),
            belt: inputs.belt.get(),
            belt_mm_s: belt_mm_s as f32,
        };
        let same = self.trace.moments.last().is_some_and(|m| {
            let still = Moment { t_us: m.t_us, belt: m.belt, belt_mm_s: m.belt_mm_s, ..moment };
            *m == still && (m.belt_mm_s - moment.belt_mm_s).abs() < 1.0
        });
        if !same {
            self.trace.moments.push(moment);
        }
        self.trace.events.extend(events.iter().map(|e| (t_us, *e)));
    }

    pub(super) fn finish(mut self, end_us: u64, bottles: Vec<BottlePath>) -> Trace {
        self.trace.end_us = end_us;
        self.trace.bottles = bottles;
        self.trace
    }
}
