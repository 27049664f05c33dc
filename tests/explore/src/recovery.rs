//! Recovery and rest, as properties of every single state: stateright's `eventually` is blind on cycles, so each state is asked
//! instead: with nothing more going wrong and a fixed operator, does the machine deliver a bottle again within a bound? And left
//! alone, does it come to rest?
//!
//! The operator's script depends on the state alone, so what follows a state follows it always: the distance is kept for every
//! state on the way, and most answers take one beat.

use crate::deed::{Beat, usual};
use crate::setup::BEAT_US;
use crate::setup::Kind;
use crate::world::{NOW_US, World};
use std::collections::HashMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use timing_core::{Command, HeadStep, Mode, Request, UnitState as S};

/// Beats within which a machine recovers or comes to rest: well above what is seen, below for ever.
pub const BOUND: u16 = 250;
/// Beats within which everything periodic at rest repeats.
const PHASES: u16 = 12;
const SHARDS: usize = 64;
const NEVER: u16 = u16::MAX;

/// Beats from a state to its goal, for all states met so far.
struct Memo(Vec<Mutex<HashMap<u64, u16>>>);

impl Memo {
    fn new() -> Self {
        Self((0..SHARDS).map(|_| Mutex::new(HashMap::new())).collect())
    }

    fn shard(&self, key: u64) -> std::sync::MutexGuard<'_, HashMap<u64, u16>> {
        let shard = &self.0[(key >> 32) as usize % SHARDS];
        shard.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }

    /// Beats from `from` to where `done` says so, following `step`; [`NEVER`] if more than the bound.
    fn distance(&self, from: World, step: impl Fn(&World) -> World, done: impl Fn(&World, &World) -> bool) -> u16 {
        let mut way = vec![from.course];
        let mut at = from;
        let mut beyond = NEVER;
        for _ in 0..BOUND {
            if let Some(d) = self.shard(at.course).get(&at.course) {
                beyond = *d;
                break;
            }
            let next = step(&at);
            if done(&at, &next) {
                beyond = 1;
                break;
            }
            at = next;
            way.push(at.course);
        }
        let mut d = beyond;
        let mut first = beyond;
        for (i, key) in way.iter().rev().enumerate() {
            if i > 0 && d != NEVER {
                d = if d >= BOUND { NEVER } else { d + 1 };
            }
            self.shard(*key).entry(*key).or_insert(d);
            first = d;
        }
        first
    }
}

/// Answers kept, and how they were reached.
pub struct Recovery {
    recovers: Memo,
    rests: Memo,
    /// States asked.
    pub asked: AtomicUsize,
    /// Of these, how many needed Abort and emptying by hand.
    pub by_abort: AtomicUsize,
    /// Most beats until a good bottle, without and with Abort; most beats until rest.
    pub most: [AtomicU64; 3],
}

impl Default for Recovery {
    fn default() -> Self {
        Self {
            recovers: Memo::new(),
            rests: Memo::new(),
            asked: AtomicUsize::new(0),
            by_abort: AtomicUsize::new(0),
            most: [AtomicU64::new(0), AtomicU64::new(0), AtomicU64::new(0)],
        }
    }
}

impl Recovery {
    /// Whether from `w`, with everything cured, the operator gets on without Abort.
    #[must_use]
    pub fn recovers_gently(&self, w: &World) -> bool {
        let cured = w.after(&Beat { cure: true, ..Beat::default() });
        is_reached(w, &cured) || self.recovers.distance(cured, script, is_reached) < NEVER
    }

    /// Whether from `w`, with everything cured, Unhold and Start lead to a good bottle; or at least Abort, hands that empty the
    /// line, Clear, Reset and Start.
    #[must_use]
    pub fn recovers(&self, w: &World) -> bool {
        self.asked.fetch_add(1, Ordering::Relaxed);
        let cured = w.after(&Beat { cure: true, ..Beat::default() });
        if is_reached(w, &cured) {
            return true;
        }
        let d = self.recovers.distance(cured, script, is_reached);
        if d < NEVER {
            self.most[0].fetch_max(u64::from(d), Ordering::Relaxed);
            return true;
        }
        self.by_abort.fetch_add(1, Ordering::Relaxed);
        let mut emptied = w.clone();
        emptied.plant.cure(w.kind);
        emptied.plant.empty();
        let aborted = emptied.after(&Beat { press: Some(Request::Command(Command::Abort)), ..Beat::default() });
        let d = self.recovers.distance(aborted, script, is_reached);
        self.most[1].fetch_max(if d < NEVER { u64::from(d) } else { 0 }, Ordering::Relaxed);
        d < NEVER
    }

    /// Whether `w`, left alone with no more bottles coming, comes to rest in a state that waits.
    #[must_use]
    pub fn rests(&self, w: &World) -> bool {
        let mut alone = w.clone();
        alone.plant.starved = true;
        let alone = alone.after(&Beat::default());
        let d = self.rests.distance(alone, |w| w.after(&Beat::default()), is_at_rest);
        self.most[2].fetch_max(if d < NEVER { u64::from(d) } else { 0 }, Ordering::Relaxed);
        d < NEVER
    }

    /// The beats that the script takes from `w`, for a timeline.
    #[must_use]
    pub fn replay(w: &World) -> Vec<Beat> {
        let mut beats = vec![Beat { cure: true, ..Beat::default() }];
        let mut at = w.after(&beats[0]);
        for _ in 0..60 {
            let (beat, next) = choose(&at);
            beats.push(beat);
            if is_reached(&at, &next) {
                break;
            }
            at = next;
        }
        beats
    }
}

/// One beat by the operator's script.
fn script(w: &World) -> World {
    choose(w).1
}

fn choose(w: &World) -> (Beat, World) {
    let s = &w.said;
    let wrong = s.unit == S::Execute && s.mode != w.kind.mode();
    let by_hand = s.unit == S::Execute && s.mode == Mode::Maintenance && s.head != HeadStep::Vacant;
    // Only when nothing moves any more: a step asked for too early is kept, and begins the next cycle.
    let steps = by_hand && is_still(w);
    let press = if wrong {
        Some(Request::Command(Command::Stop))
    } else if steps {
        Some(Request::Step)
    } else {
        usual(w.kind, s.unit, s.mode)
    };
    // What a blade came down on since, or stuck, is seen to before anything is asked for.
    let cure = !s.unit.is_acting() && w.plant.can_cure(w.kind);
    let beat = Beat { press: press.filter(|_| !cure), cure, ..Beat::default() };
    let next = w.after(&beat);
    if s.unit == S::Suspended && is_still(w) {
        // Nothing changes any more: it was the operator who suspended it.
        let beat = Beat { press: Some(Request::Command(Command::Unsuspend)), ..Beat::default() };
        let next = w.after(&beat);
        return (beat, next);
    }
    (beat, next)
}

/// What recovery is for.
fn is_reached(w: &World, next: &World) -> bool {
    let s = &next.said;
    let at_work = s.unit == S::Execute && s.mode == w.kind.mode();
    match w.kind {
        Kind::Line | Kind::Early | Kind::Torque | Kind::Batch => {
            s.tally.good > w.said.tally.good || s.unit == S::Completed
        }
        Kind::Manual => at_work,
        Kind::Maintenance => at_work && s.head == HeadStep::Vacant,
    }
}

/// Nothing changes any more but the phase of what the core looks at again and again.
fn is_still(w: &World) -> bool {
    let mut at = w.after(&Beat::default());
    for _ in 0..PHASES {
        if at.course == w.course {
            return true;
        }
        if (at.said.unit, at.said.orders, at.said.head) != (w.said.unit, w.said.orders, w.said.head) {
            return false;
        }
        at = at.after(&Beat::default());
    }
    false
}

/// At rest in a state that may wait, and without a wake in every beat (the sample gap is two), unless the belt runs.
fn is_at_rest(w: &World, next: &World) -> bool {
    let s = &w.said;
    let by_hand = s.unit == S::Execute && s.mode != Mode::Production;
    let quiet = s.orders.belt() || [w, next].into_iter().any(|w| w.said.wake.at.as_micros() > NOW_US + BEAT_US);
    (!s.unit.is_acting() || by_hand) && quiet && is_still(w)
}
