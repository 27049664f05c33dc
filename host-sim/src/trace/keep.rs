//! What happened, tick by tick, into a [`Trace`].

use super::{BottlePath, Moment, Places, Trace};
use timing_core::{Event, Inputs, Mode, Orders, Station, UnitState};

/// Gathers a trace; what does not differ from the moment before is left out.
pub(crate) struct Keeper {
    trace: Trace,
}

impl Keeper {
    pub(crate) fn new(places: Places) -> Self {
        Self { trace: Trace { places, ..Trace::default() } }
    }

    pub(crate) fn tick(
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

    pub(crate) fn finish(mut self, end_us: u64, bottles: Vec<BottlePath>) -> Trace {
        self.trace.end_us = end_us;
        self.trace.bottles = bottles;
        self.trace
    }
}
