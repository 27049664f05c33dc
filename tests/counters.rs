//! Hardware counters that wrap under a running station: the same orders and control state as without a wrap. And counters that
//! tell what cannot be.

use crate::bench::Bench;
use crate::random_job::shipped;
use host_sim::rehearse::{Options, rehearse_with};
use timing_core::widen::{Clock16, Clock32, Encoder16, Encoder32};
use timing_core::{Actuator, Counts, EventKind, Fault, HeadStep, Inputs, Instant, Station, UnitState};

/// Bottles closed, given the belt and clock that `widened` makes of the true ones; the two stations must agree at every tick.
fn same(mut widened: impl FnMut(u64, i64) -> (Instant, Counts)) {
    let mut job = shipped("steady-day");
    (job.run.bottles, job.run.batch) = (4, 0);
    let mut other: Option<Station> = None;
    let r = rehearse_with(&job, &Options { rules: false, ..Options::default() }, &mut |i, s| {
        let other = other.get_or_insert_with(|| Station::new(*s.machine(), *s.setpoints()));
        let (now, belt) = widened(i.now.as_micros(), i.belt.get());
        let late = i.belt_at.map(|t| i.now.since(t));
        other.tick(&Inputs { now, belt, belt_at: late.map(|d| now.minus(d)), ..*i });
        assert!(s.same_control(other), "state or orders differ at {:?}", i.now);
    })
    .expect("it runs");
    assert!(r.counted.good >= 2);
    assert_eq!(other.expect("ticked").tally().good, r.counted.good);
}

#[test]
fn counters_of_32_bits_wrap_unseen() {
    for start in [0_u32, u32::MAX - 7_000, i32::MAX as u32 - 7_000] {
        let (mut clock, mut belt) = (Clock32::new(start), Encoder32::new(start));
        same(|t, b| (clock.see(start.wrapping_add(t as u32)), belt.see(start.wrapping_add(b as u32))));
    }
}

#[test]
fn counters_of_16_bits_wrap_unseen_when_read_often_enough() {
    for start in [0_u16, u16::MAX - 3_000, i16::MAX as u16 - 3_000] {
        let (mut clock, mut belt, mut last) = (Clock16::new(start), Encoder16::new(start), 0_u64);
        same(|t, b| {
            // As the documentation asks: read at least every 32 ms.
            while t - last > 30_000 {
                last += 30_000;
                clock.see(start.wrapping_add(last as u16));
            }
            last = t;
            (clock.see(start.wrapping_add(t as u16)), belt.see(start.wrapping_add(b as u16)))
        });
    }
}

/// A count that no belt can have moved, and one that goes the wrong way, further than the belt moves between two looks at it: where the bottles are is not known any more.
#[test]
fn an_encoder_that_jumps_or_turns_back_holds() {
    for (mm, fault) in [(120.0, Fault::EncoderJump), (-40.0, Fault::BeltReversed)] {
        let mut b = Bench::new();
        b.start();
        b.until_head(HeadStep::Incoming);
        // On its way, past the release eye, and not yet at the place of the order.
        b.run(700);
        assert_eq!(b.station.head(), HeadStep::Incoming);
        b.counted_mm += mm;
        b.until("Held", 5_000, |b| {
            assert!(!b.orders.work(Actuator::Grip), "nothing is caught where nothing is known");
            b.unit() == UnitState::Held
        });
        assert!(b.has_fault(fault), "{fault:?}");
        assert!(!b.orders.belt());
    }
}

/// A clock that goes back (a counter widened wrongly): told at once, and the core's own time stands until it is caught up with.
#[test]
fn a_clock_that_goes_back_while_moving_is_a_gap_and_moves_no_time_back() {
    let mut b = Bench::new();
    b.start();
    b.until_head(HeadStep::Seat);
    let before = b.orders;
    let i =
        Inputs { now: Instant::from_micros(1_000), belt: Counts::new(0), contacts: b.contacts(), ..Inputs::default() };
    let out = b.station.tick(&i);
    let told: Vec<EventKind> = out.events.iter().map(|e| e.kind).collect();
    assert!(told.contains(&EventKind::Fault), "{told:?}");
    assert!(out.wake.at.as_micros() > b.ms * 1_000 - 1_000, "its time did not go back: {:?}", out.wake);
    assert_eq!(out.orders.bits() & !before.bits() & 0x3f, 0, "nothing is ordered to work");
}
