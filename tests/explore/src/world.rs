//! One state of the exploration: the real station, its plant, and what the monitor must remember; and how a beat leads to the
//! next.

use crate::deed::Beat;
use crate::key;
use crate::monitor::{Breach, Monitor, Tick};
use crate::plant::Plant;
use crate::sabotage::{Meddler, Sabotage};
use crate::setup::{BEAT_US, CELL, Kind};
use std::hash::{Hash, Hasher};
use std::panic::{AssertUnwindSafe, catch_unwind};
use timing_core::{
    Actuator, Contacts, Counts, Duration, Event, FeedStep, HeadStep, Inputs, Instant, Mode, Orders, Station, Tally,
    UnitState, Wake,
};

/// The time that every state stands at, so that states repeat.
pub const NOW_US: u64 = 1_000_000_000;
/// Ticks of one beat; more is a core that does not come to rest.
const TICKS: usize = 24;
/// Beats after which it does not matter any more how long the encoder has been silent.
const STILL: u8 = 4;

/// What the station said last, as it arrives outside.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Said {
    /// Coils and drives.
    pub orders: Orders,
    /// State of the unit.
    pub unit: UnitState,
    /// Mode of the unit.
    pub mode: Mode,
    /// Head step.
    pub head: HeadStep,
    /// Feed step.
    pub feed: FeedStep,
    /// When to call again.
    pub wake: Wake,
    /// The counts.
    pub tally: Tally,
    /// Bottles inside.
    pub inside: u32,
}

/// One state.
#[derive(Clone)]
pub struct World {
    /// What kind of world it is.
    pub kind: Kind,
    /// The real core.
    pub station: Station,
    /// Everything around it.
    pub plant: Plant,
    /// What the rules must remember.
    pub monitor: Monitor,
    /// Between station and plant, only in worlds that are broken on purpose.
    pub meddler: Meddler,
    /// What the station said last.
    pub said: Said,
    /// Deeds so far.
    pub spent: u8,
    /// Rules broken in the last beat, one bit each, and what of the first.
    pub broken: u32,
    /// The first breach of the last beat.
    pub first: Option<Breach>,
    /// The whole state as a number.
    pub key: u64,
    /// The same without the budget: from equal ones, the same follows.
    pub course: u64,
}

impl std::fmt::Debug for World {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:?} {:?} {:?} {:016x}", self.said.unit, self.said.head, self.said.feed, self.key)
    }
}

impl PartialEq for World {
    fn eq(&self, other: &Self) -> bool {
        self.key == other.key
    }
}

impl Hash for World {
    fn hash<H: Hasher>(&self, state: &mut H) {
        state.write_u64(self.key);
    }
}

/// Who listens to every tick, to print a timeline.
pub type Listener<'a> = &'a mut dyn FnMut(&[Event], u8);

impl World {
    /// At power-up. `hand`: a bottle stands at the head.
    #[must_use]
    pub fn new(kind: Kind, sabotage: Option<Sabotage>, hand: bool) -> Self {
        let station = kind.station();
        let said = Said {
            orders: Orders::SAFE,
            unit: station.unit(),
            mode: station.mode(),
            head: station.head(),
            feed: station.feed(),
            wake: Wake { at: Instant::ZERO, below: Counts::ZERO, above: Counts::ZERO },
            tally: *station.tally(),
            inside: 0,
        };
        let mut w = Self {
            kind,
            station,
            plant: Plant::new(kind, hand),
            monitor: Monitor::new(),
            meddler: Meddler::new(sabotage),
            said,
            spent: 0,
            broken: 0,
            first: None,
            key: 0,
            course: 0,
        };
        let contacts = w.plant.contacts;
        w.tick(NOW_US, 0, contacts, &Beat::default(), 0, true, &mut |_, _| {});
        w.seal();
        w
    }

    /// The state that `beat` leads to.
    #[must_use]
    pub fn after(&self, beat: &Beat) -> Self {
        let mut next = self.clone();
        next.beat(beat, &mut |_, _| {});
        next
    }

    /// Goes through one beat: ticks at every wake in it, and at its end with what the contacts then read.
    pub fn beat(&mut self, beat: &Beat, listen: Listener<'_>) {
        self.broken = 0;
        self.first = None;
        self.spent += beat.deeds.len() as u8;
        if beat.cure {
            self.plant.cure(self.kind);
        }
        let before = self.plant.contacts;
        let orders = self.said.orders;
        let counts = self.plant.advance(orders, beat, self.kind);
        self.monitor.begin_beat(&self.plant);
        self.inner_ticks(counts, before, listen);
        self.plant.settle();
        let contacts = self.plant.contacts;
        self.tick(NOW_US + BEAT_US, counts, contacts, beat, CELL, true, listen);
        // What did not settle in one tick settles at once.
        for _ in 0..TICKS {
            let at = self.said.wake.at.as_micros();
            if at > NOW_US + BEAT_US + 100 {
                break;
            }
            self.tick(at, counts, contacts, &Beat::default(), CELL, false, listen);
        }
        self.monitor.end_beat(&self.plant, &self.said, &mut self.broken, &mut self.first, counts);
        self.plant.blind &= self.said.inside > 0
            || self.plant.bottles.iter().any(|b| b.x > crate::setup::at::POCKET)
            || self.said.head != HeadStep::Vacant
            || self.plant.silent
            || self.plant.stuck_on.or(self.plant.stuck_off).has(timing_core::Contact::ReleaseEye);
        self.plant.still = if counts == 0 { (self.plant.still + 1).min(STILL) } else { 0 };
        self.station.rebase(-(BEAT_US as i64), -counts);
        let w = &mut self.said.wake;
        w.at = w.at.minus(Duration::from_micros(BEAT_US));
        (w.below, w.above) = (w.below.plus(Counts::new(-counts)), w.above.plus(Counts::new(-counts)));
        self.seal();
    }

    /// The wakes that fall into the beat, in time and place; contacts are as they were.
    fn inner_ticks(&mut self, counts: i64, contacts: Contacts, listen: Listener<'_>) {
        let steps = counts.abs();
        let step_us = BEAT_US as i64 / CELL;
        for n in 0.. {
            let w = self.said.wake;
            let due = w.at.as_micros().max(NOW_US) - NOW_US;
            let place = if counts > 0 { w.above.get() } else { -w.below.get() };
            let there = if steps > 0 && place <= steps { (place.max(0) * step_us) as u64 } else { u64::MAX };
            let at = due.min(there);
            if at >= BEAT_US {
                return;
            }
            if n == TICKS {
                self.tell(15, "the core does not come to rest within a beat");
                return;
            }
            let belt = (at as i64 / step_us).min(steps) * counts.signum();
            let done = at as i64 / step_us;
            self.tick(NOW_US + at, belt, contacts, &Beat::default(), done, false, listen);
        }
    }

    fn tell(&mut self, rule: u8, what: &'static str) {
        self.broken |= 1 << rule;
        self.first.get_or_insert(Breach { rule, what });
    }

    #[allow(clippy::too_many_arguments)]
    fn tick(
        &mut self,
        now: u64,
        belt: i64,
        contacts: Contacts,
        beat: &Beat,
        done: i64,
        last: bool,
        listen: Listener<'_>,
    ) {
        let step_us = BEAT_US as i64 / CELL;
        // The newest count: in this beat on the moving belt, else as long ago as it has been still.
        let edge = if belt == 0 {
            NOW_US - u64::from(self.plant.still) * BEAT_US
        } else {
            now.min(NOW_US + BEAT_US) / step_us as u64 * step_us as u64
        };
        let true_inputs = Inputs {
            now: Instant::from_micros(now),
            belt: Counts::new(belt),
            belt_at: Some(Instant::from_micros(edge)),
            contacts,
            request: beat.request(),
            ..Inputs::default()
        };
        let inputs = self.meddler.spoil_inputs(true_inputs, &self.said);
        let was = self.said;
        let (station, meddler) = (&mut self.station, &self.meddler);
        let ticked = catch_unwind(AssertUnwindSafe(|| {
            meddler.may_panic(&inputs, &was);
            let out = station.tick(&inputs);
            let events: heapless::Vec<Event, 8> = out.events.iter().copied().collect();
            (out.orders, out.unit, out.mode, out.wake, events, out.events_lost)
        }));
        let Ok((orders, unit, mode, wake, events, lost)) = ticked else {
            self.tell(16, "panic");
            return;
        };
        listen(&events, lost);
        self.said = Said {
            orders,
            unit,
            mode,
            head: self.station.head(),
            feed: self.station.feed(),
            wake,
            tally: *self.station.tally(),
            inside: self.station.inside(),
        };
        self.meddler.spoil_outputs(&mut self.said, contacts, true_inputs.now);
        self.note_catches(&was, done);
        let tick = Tick {
            kind: self.kind,
            inputs: &true_inputs,
            plant: &self.plant,
            done,
            was: &was,
            is: &self.said,
            events: &events,
            events_lost: lost,
            last,
        };
        self.monitor.see(&tick, &mut self.broken, &mut self.first);
    }

    /// A catch is noted at the bottle that it is meant for; after Unhold it may be repeated once.
    fn note_catches(&mut self, was: &Said, done: i64) {
        let (o, w) = (self.said.orders, was.orders);
        let carried = if o.belt() { CELL } else { 0 };
        let catches = o.work(Actuator::Grip) && !w.work(Actuator::Grip) && self.said.mode == Mode::Production;
        let unholds = self.said.unit == UnitState::Unholding && was.unit != UnitState::Unholding;
        for b in &mut self.plant.bottles {
            if unholds {
                b.catches = 0;
            }
            if catches && !b.astray && (b.place(done) + carried).abs() <= CELL / 2 {
                b.catches = (b.catches + 1).min(2);
            }
        }
    }

    /// Works out the keys.
    fn seal(&mut self) {
        let mut h = key::hasher();
        key::feed(&self.station, &mut h);
        self.plant.hash(&mut h);
        self.meddler.hash(&mut h);
        self.said.orders.hash(&mut h);
        self.course = h.clone().finish();
        self.monitor.hash(&mut h);
        h.write_u8(self.spent);
        h.write_u32(self.broken);
        self.key = h.finish();
    }
}
