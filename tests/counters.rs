//! Hardware counters that wrap under a running station: the same orders and control state as without a wrap.

use crate::random_job::shipped;
use host_sim::rehearse::{Options, rehearse_with};
use timing_core::widen::{Clock16, Clock32, Encoder16, Encoder32};
use timing_core::{Counts, Inputs, Instant, Station};

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
