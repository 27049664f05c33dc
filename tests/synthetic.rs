//! A made-up rehearsal for the tests of charts and files: three bottles and a queue at 100 mm/s through an invented
//! station, the second without a closure, and a fault at the end. Every figure is ours; nothing here is measured.

use host_sim::trace::{BottlePath, Moment, Piece, Places, Trace};
use host_sim::verdict::{Breach, Centring, Check, Comparison, Counted, Outcome, Placement, RunResult};
use timing_core::{
    Actuator, Contact, Contacts, Event, EventKind, Fault, FeedStep, HeadStep, Mode, Orders, UnitState, Why,
};

/// Body diameter, mm.
const D: f64 = 65.0;
/// Belt speed, mm/s.
const V: f64 = 100.0;
/// Time between two releases, µs.
const CYCLE: u64 = 2_900_000;
/// First release, µs.
const FIRST: u64 = 1_600_000;
/// Where the first bottle of the pocket rests, mm.
const REST: f64 = -126.0;

/// Where things stand in the invented station.
#[must_use]
pub fn places() -> Places {
    Places {
        entry_blade_mm: Some(-152.0),
        release_blade_mm: -94.0,
        pocket_eye_mm: Some(-126.0),
        release_eye_mm: -61.5,
        discharge_eye_mm: Some(110.0),
        supply_eye_mm: Some(-215.0),
        reject_mm: Some(330.0),
        capture_mm: 23.8,
        diameter_mm: D,
    }
}

/// A head step, how long it takes, µs, and the coil it sets.
type Step = (HeadStep, u64, Option<(Actuator, bool)>);

fn piece(t_us: f64, x_mm: f64, v_mm_s: f64, a_mm_s2: f64) -> Piece {
    Piece { t_us, x_mm, v_mm_s, a_mm_s2 }
}

/// Rides from rest at `x`, starting at `t`, to `to` or on for ever; returns when it arrives.
fn ride(pieces: &mut Vec<Piece>, t: f64, x: f64, to: f64) -> f64 {
    // Pick-up by friction at 0.2 g.
    let a = 0.2 * 9_810.0;
    let (s, dt) = (V * V / (2.0 * a), V / a * 1e6);
    pieces.push(piece(t, x, 0.0, a));
    if to - x <= s {
        // Too short to reach belt speed: good enough for a nudge in the queue.
        let dt = 2e6 * (to - x) / V;
        pieces.pop();
        pieces.push(piece(t, x, V / 2.0, 0.0));
        pieces.push(piece(t + dt, to, 0.0, 0.0));
        return t + dt;
    }
    pieces.push(piece(t + dt, x + s, V, 0.0));
    let arrive = t + dt + (to - x - s) / V * 1e6;
    pieces.push(piece(arrive, to, 0.0, 0.0));
    arrive
}

/// A trace of `n` bottles through the station and two more in the queue; the fault `misfeed` at the end if `fault`.
#[must_use]
pub fn trace(n: u32, fault: bool) -> Trace {
    let mut trace = Trace { places: places(), ..Trace::default() };
    let mut marks: Vec<(u64, Mark)> = vec![
        (400_000, Mark::Unit(UnitState::Resetting)),
        (500_000, Mark::Unit(UnitState::Idle)),
        (600_000, Mark::Unit(UnitState::Starting)),
        (600_000, Mark::Beacon(true)),
        (1_400_000, Mark::Beacon(false)),
        (1_400_000, Mark::Unit(UnitState::Execute)),
        (1_400_000, Mark::Belt(true)),
        (1_400_000, Mark::Coil(Actuator::Reject, true)),
    ];
    for k in 0..n + 2 {
        bottle(&mut trace, &mut marks, k, n);
    }
    let end = FIRST + u64::from(n) * CYCLE + 4_000_000;
    if fault {
        // The next bottle is let go and hangs.
        let t = FIRST + u64::from(n) * CYCLE;
        marks.push((t, Mark::Feed(FeedStep::Releasing)));
        marks.push((t, Mark::Coil(Actuator::ReleaseGate, true)));
        marks.push((
            t + 900_000,
            Mark::Tell(Event { kind: EventKind::Fault, why: Why::Fault, detail: Fault::Misfeed.code(), value: 0 }),
        ));
        let overdue = Fault::StrokeOverdue(Actuator::ReleaseGate).code();
        marks.push((
            t + 1_050_000,
            Mark::Tell(Event { kind: EventKind::Fault, why: Why::Fault, detail: overdue, value: 0 }),
        ));
        marks.push((t + 900_000, Mark::Unit(UnitState::Holding)));
        marks.push((t + 1_600_000, Mark::Unit(UnitState::Held)));
        marks.push((t + 1_600_000, Mark::Belt(false)));
        marks.push((t + 2_100_000, Mark::Contact(Contact::Guard, false)));
        marks.push((
            t + 2_100_000,
            Mark::Tell(Event { kind: EventKind::Fault, why: Why::Fault, detail: Fault::GuardOpen.code(), value: 0 }),
        ));
        marks.push((t + 2_100_000, Mark::Unit(UnitState::Aborting)));
        marks.push((t + 2_100_000, Mark::Safe));
        marks.push((t + 2_400_000, Mark::Unit(UnitState::Aborted)));
    }
    marks.retain(|(t, _)| *t <= end);
    marks.sort_by_key(|(t, _)| *t);
    trace.end_us = end;
    play(&mut trace, &marks);
    trace
}

/// The way of bottle `k` (0 = first) and all that it brings about.
fn bottle(trace: &mut Trace, marks: &mut Vec<(u64, Mark)>, k: u32, n: u32) {
    let release = |k: u32| FIRST + u64::from(k) * CYCLE;
    let uncapped = k == 1;
    let mut pieces = vec![piece(0.0, REST - f64::from(k) * D, 0.0, 0.0)];
    let mut x = REST - f64::from(k) * D;
    // The queue moves up one place whenever the pocket refills.
    for j in 0..k.min(n) {
        let start = release(j) as f64 + 1.15e6;
        let at = ride(&mut pieces, start, x, x + D);
        x += D;
        if j + 1 == k {
            let loaded = at as u64;
            marks.push((loaded, Mark::Contact(Contact::PocketEye, true)));
            marks.push((loaded + 250_000, Mark::Feed(FeedStep::Loaded)));
            marks.push((loaded + 250_000, Mark::Coil(Actuator::EntryGate, false)));
        }
    }
    if k == 0 {
        marks.push((0, Mark::Contact(Contact::PocketEye, true)));
    }
    let mut gone_us = None;
    let off = [0.3, -0.4, 0.1].get(k as usize % 3).copied().unwrap_or(0.0);
    if k < n {
        let t = release(k);
        marks.push((t, Mark::Feed(FeedStep::Releasing)));
        marks.push((t, Mark::Coil(Actuator::ReleaseGate, true)));
        marks.push((t + 400_000, Mark::Contact(Contact::PocketEye, false)));
        marks.push((t, Mark::Head(HeadStep::Incoming)));
        let caught = ride(&mut pieces, t as f64 + 80e3, x, off);
        let c = caught as u64;
        let edge = c - ((94.0 + off) / V * 1e6) as u64;
        marks.push((edge, Mark::Contact(Contact::ReleaseEye, true)));
        marks.push((
            edge + 12_000,
            Mark::Tell(Event { kind: EventKind::Registered, why: Why::Plain, detail: 0, value: k as i32 + 1 }),
        ));
        marks.push((edge + 650_000, Mark::Contact(Contact::ReleaseEye, false)));
        marks.push((edge + 480_000, Mark::Coil(Actuator::ReleaseGate, false)));
        marks.push((edge + 480_000, Mark::Feed(FeedStep::Shutting)));
        marks.push((edge + 600_000, Mark::Feed(FeedStep::Filling)));
        marks.push((edge + 600_000, Mark::Coil(Actuator::EntryGate, true)));
        marks.push((c - 120_000, Mark::Coil(Actuator::Grip, true)));
        marks.push((c - 120_000, Mark::Head(HeadStep::Catch)));
        marks.push((c, Mark::Contact(Contact::GripWork, true)));
        let mut at = c + 10_000;
        let steps: &[Step] = if uncapped {
            &[
                (HeadStep::Seat, 420_000, Some((Actuator::Plunger, true))),
                (HeadStep::Lift, 200_000, Some((Actuator::Plunger, false))),
            ]
        } else {
            &[
                (HeadStep::Seat, 300_000, Some((Actuator::Plunger, true))),
                (HeadStep::Engage, 250_000, Some((Actuator::Rollers, true))),
                (HeadStep::Tighten, 450_000, None),
                (HeadStep::Disengage, 220_000, Some((Actuator::Rollers, false))),
                (HeadStep::Lift, 200_000, Some((Actuator::Plunger, false))),
            ]
        };
        for &(step, long, coil) in steps {
            marks.push((at, Mark::Head(step)));
            if step == HeadStep::Tighten {
                marks.push((at, Mark::Spin(true)));
                marks.push((at + long - 40_000, Mark::Spin(false)));
            }
            if let Some((a, work)) = coil {
                marks.push((at, Mark::Coil(a, work)));
                let contact = if work { Contact::work_of(a) } else { Contact::home_of(a) };
                let left = if work { Contact::home_of(a) } else { Contact::work_of(a) };
                marks.push((at + 30_000, Mark::Contact(left, false)));
                let found = if uncapped && work { Contact::PlungerOver } else { contact };
                marks.push((at + 140_000, Mark::Contact(found, true)));
            }
            at += long;
        }
        marks.push((at, Mark::Head(HeadStep::LetGo)));
        marks.push((at, Mark::Coil(Actuator::Grip, false)));
        marks.push((at + 20_000, Mark::Contact(Contact::GripWork, false)));
        let free = at + 60_000;
        marks.push((at + 120_000, Mark::Head(HeadStep::Leaving)));
        if uncapped {
            marks.push((c + 430_000, Mark::Contact(Contact::PlungerOver, false)));
            marks.push((
                c + 400_000,
                Mark::Tell(Event { kind: EventKind::Flagged, why: Why::NoCap, detail: 0, value: k as i32 + 1 }),
            ));
        }
        if let Some(p) = pieces.last_mut() {
            p.x_mm = off;
        }
        let reject = uncapped;
        let to = if reject { 345.0 } else { 900.0 };
        let gone = ride(&mut pieces, free as f64, off, to);
        gone_us = Some(gone as u64);
        let passes = |x: f64| (free as f64 + (x - off) / V * 1e6) as u64 + 25_000;
        marks.push((passes(110.0 - D / 2.0), Mark::Contact(Contact::DischargeEye, true)));
        marks.push((passes(110.0 + D / 2.0), Mark::Contact(Contact::DischargeEye, false)));
        marks.push((passes(50.0), Mark::Head(HeadStep::Vacant)));
        if reject {
            marks.push((passes(270.0), Mark::Coil(Actuator::Reject, false)));
            marks.push((passes(380.0), Mark::Coil(Actuator::Reject, true)));
        }
        let why = if reject { Why::Rejected } else { Why::Good };
        marks
            .push((passes(345.0), Mark::Tell(Event { kind: EventKind::Counted, why, detail: 0, value: k as i32 + 1 })));
    }
    trace.bottles.push(BottlePath {
        number: k + 1,
        length_mm: D,
        pieces,
        gone_us,
        outcome: if k >= n {
            "unfinished"
        } else if uncapped {
            "uncapped"
        } else {
            "tight"
        },
        off_centre_mm: (k < n).then_some(off),
    });
}

#[derive(Clone, Copy)]
enum Mark {
    Unit(UnitState),
    Head(HeadStep),
    Feed(FeedStep),
    Coil(Actuator, bool),
    Contact(Contact, bool),
    Belt(bool),
    Spin(bool),
    Beacon(bool),
    Safe,
    Tell(Event),
}

/// Turns marks into moments and events.
fn play(trace: &mut Trace, marks: &[(u64, Mark)]) {
    let on = [
        Contact::Chain,
        Contact::Guard,
        Contact::Air,
        Contact::Drive,
        Contact::GripHome,
        Contact::PlungerHome,
        Contact::RollersHome,
        Contact::SupplyEye,
    ];
    let mut now = Moment {
        t_us: 0,
        contacts: on.into_iter().fold(Contacts::NONE, |s, c| s.with(c, true)),
        orders: Orders::SAFE,
        unit: UnitState::Stopped,
        mode: Mode::Production,
        head: HeadStep::Vacant,
        feed: FeedStep::Loaded,
        belt: 0,
        belt_mm_s: 0.0,
    };
    trace.moments.push(now);
    for &(t, mark) in marks {
        let counts = f64::from(now.belt_mm_s) * 20.48 * (t - now.t_us) as f64 * 1e-6;
        now.belt += counts as i64;
        now.t_us = t;
        match mark {
            Mark::Unit(u) => {
                let event = Event { kind: EventKind::State, why: Why::Plain, detail: u as u16, value: now.unit as i32 };
                trace.events.push((t, event));
                now.unit = u;
            }
            Mark::Head(h) => {
                trace.events.push((t, Event { kind: EventKind::Head, why: Why::Plain, detail: h as u16, value: 0 }));
                now.head = h;
            }
            Mark::Feed(f) => {
                trace.events.push((t, Event { kind: EventKind::Feed, why: Why::Plain, detail: f as u16, value: 0 }));
                now.feed = f;
            }
            Mark::Coil(a, work) => now.orders = now.orders.with_coils(a, work, false),
            Mark::Contact(c, level) => now.contacts = now.contacts.with(c, level),
            Mark::Belt(run) => {
                now.orders = now.orders.with_belt(run);
                now.belt_mm_s = if run { V as f32 } else { 0.0 };
            }
            Mark::Spin(run) => now.orders = now.orders.with_spin(run),
            Mark::Beacon(run) => now.orders = now.orders.with_beacon(run),
            Mark::Safe => now.orders = Orders::SAFE,
            Mark::Tell(event) => trace.events.push((t, event)),
        }
        match trace.moments.last_mut() {
            Some(last) if last.t_us == t => *last = now,
            _ => trace.moments.push(now),
        }
    }
}

/// The result that goes with [`trace`]`(3, true)`: one check fails and one rule is broken, so that every part of a report
/// has something to say.
#[must_use]
pub fn result() -> RunResult {
    let mut outcomes = [0; 12];
    for (i, o) in Outcome::ALL.into_iter().enumerate() {
        let n = match o {
            Outcome::Tight => 2,
            Outcome::Uncapped => 1,
            Outcome::Unfinished => 2,
            _ => 0,
        };
        if let Some(slot) = outcomes.get_mut(i) {
            *slot = n;
        }
    }
    RunResult {
        job: "three-and-a-misfeed".into(),
        title: "Three bottles, one without a closure, then a misfeed (invented <station> & line)".into(),
        pass: false,
        checks: vec![
            Check { expected: "rejected = 1".into(), got: "1".into(), ok: true },
            Check { expected: "good = 3".into(), got: "2".into(), ok: false },
        ],
        breaches: vec![Breach {
            rule: 4,
            t_us: 6_123_456,
            text: "The plunger was ordered up while the rollers were in.".into(),
        }],
        bottles_in: 5,
        counted: Counted { registered: 3, good: 2, rejected: 1, ..Counted::default() },
        outcomes,
        rate_per_min: 20.689_655,
        seed: 42,
        off_plan: 0,
        simulated_s: 14.3,
        ticks: 1_234,
        digest: 0x00ab_cdef_0123_4567,
        trace_digest: 0xfeed_0000_0000_beef,
        centring: Centring { n: 3, mean_mm: 0.0, rms_mm: 0.29, max_mm: 0.4 },
        comparison: Some(Comparison {
            even: Centring { n: 3, mean_mm: 0.0, rms_mm: 0.1, max_mm: 0.2 },
            even_fixed: Centring { n: 3, mean_mm: -1.1, rms_mm: 6.3, max_mm: 9.6 },
            fixed: Centring { n: 3, mean_mm: -1.2, rms_mm: 6.4, max_mm: 9.8 },
            fixed_failed: 2,
            failed: 0,
            predicted_mm: 1.5,
        }),
        inputs: Vec::new(),
        recording: Vec::new(),
        placement: Placement { n: 3, max_counts: 0 },
        state: "Aborted",
        trace: trace(3, true),
    }
}
