//! A fingerprint of a run, equal on every machine, schedule and board.
//!
//! FNV-1a, 64 bits (G. Fowler, L. C. Noll, K.-P. Vo, "The FNV Non-Cryptographic Hash Algorithm"), over canonical
//! little-endian bytes that are written out here and depend on no compiler's layout. It tells two runs apart by
//! accident, not by intent: it is no signature.

use crate::io::{Orders, Outputs};
use crate::units::{Instant, Speed};

/// FNV-1a, 64 bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Fnv64(u64);

impl Default for Fnv64 {
    fn default() -> Self {
        Self::new()
    }
}

impl Fnv64 {
    const OFFSET: u64 = 0xcbf2_9ce4_8422_2325;
    const PRIME: u64 = 0x0000_0100_0000_01b3;

    /// Of no bytes: the offset basis.
    #[must_use]
    pub const fn new() -> Self {
        Self(Self::OFFSET)
    }

    /// Takes more bytes in.
    pub fn write(&mut self, bytes: &[u8]) {
        for &b in bytes {
            self.0 = (self.0 ^ u64::from(b)).wrapping_mul(Self::PRIME);
        }
    }

    /// The hash of all bytes so far.
    #[must_use]
    pub const fn get(self) -> u64 {
        self.0
    }
}

/// Two fingerprints of the ticks seen so far.
///
/// [`Digest::digest`] takes in only ticks that changed an order or a set-point, or told an event; ticks that are added
/// between two wakes leave it as it is. [`Digest::trace`] takes in every tick, its wake included, so it also tells two
/// schedules apart.
///
/// The bytes of a tick, all little-endian: `now` in µs (8), orders (2), belt set-point as raw Q16.16 mm/s (4), spin
/// set-point in rpm (2), unit state (1), mode (1), then 8 for each event. For the trace there follow: events lost (1),
/// wake `at` in µs (8), `below` (8), `above` (8).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Digest {
    changes: Fnv64,
    trace: Fnv64,
    orders: Orders,
    belt_speed: Speed,
    spin_rpm: u16,
    ticks: u64,
}

impl Default for Digest {
    fn default() -> Self {
        Self::new()
    }
}

impl Digest {
    /// Of no ticks; what comes first is compared with everything off.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            changes: Fnv64::new(),
            trace: Fnv64::new(),
            orders: Orders::SAFE,
            belt_speed: Speed::ZERO,
            spin_rpm: 0,
            ticks: 0,
        }
    }

    /// Takes in one tick: the time it was called with, and what it gave.
    pub fn tick(&mut self, now: Instant, out: &Outputs<'_>) {
        let head = head_bytes(now, out);
        let changed = out.orders != self.orders || out.belt_speed != self.belt_speed || out.spin_rpm != self.spin_rpm;
        if changed || !out.events.is_empty() || out.events_lost != 0 {
            write_tick(&mut self.changes, &head, out);
        }
        write_tick(&mut self.trace, &head, out);
        self.trace.write(&[out.events_lost]);
        self.trace.write(&out.wake.at.as_micros().to_le_bytes());
        self.trace.write(&out.wake.below.get().to_le_bytes());
        self.trace.write(&out.wake.above.get().to_le_bytes());
        self.orders = out.orders;
        self.belt_speed = out.belt_speed;
        self.spin_rpm = out.spin_rpm;
        self.ticks = self.ticks.saturating_add(1);
    }

    /// Of the ticks that changed an order or a set-point, or told an event.
    #[must_use]
    pub const fn digest(&self) -> u64 {
        self.changes.get()
    }

    /// Of every tick.
    #[must_use]
    pub const fn trace(&self) -> u64 {
        self.trace.get()
    }

    /// How many ticks were taken in.
    #[must_use]
    pub const fn ticks(&self) -> u64 {
        self.ticks
    }
}

fn head_bytes(now: Instant, out: &Outputs<'_>) -> [u8; 18] {
    let [n0, n1, n2, n3, n4, n5, n6, n7] = now.as_micros().to_le_bytes();
    let [o0, o1] = out.orders.bits().to_le_bytes();
    let [b0, b1, b2, b3] = out.belt_speed.to_bits().to_le_bytes();
    let [s0, s1] = out.spin_rpm.to_le_bytes();
    [n0, n1, n2, n3, n4, n5, n6, n7, o0, o1, b0, b1, b2, b3, s0, s1, out.unit as u8, out.mode as u8]
}

fn write_tick(into: &mut Fnv64, head: &[u8; 18], out: &Outputs<'_>) {
    into.write(head);
    for event in out.events {
        into.write(&event.to_bytes());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::{Event, EventKind, Why};
    use crate::io::Wake;
    use crate::unit::{Mode, UnitState};
    use crate::units::Counts;

    /// Check values published by the authors of the hash (Fowler, Noll, Vo: test vectors of FNV-1a, 64 bits).
    #[test]
    fn fnv_agrees_with_its_authors() {
        for (text, value) in
            [("", 0xcbf2_9ce4_8422_2325), ("a", 0xaf63_dc4c_8601_ec8c), ("foobar", 0x8594_4171_f739_67e8)]
        {
            let mut h = Fnv64::new();
            h.write(text.as_bytes());
            assert_eq!(h.get(), value, "{text:?}");
        }
    }

    fn out(orders: Orders, events: &[Event]) -> Outputs<'_> {
        Outputs {
            orders,
            belt_speed: Speed::ZERO,
            spin_rpm: 0,
            unit: UnitState::Idle,
            mode: Mode::Production,
            wake: Wake { at: Instant::from_micros(9), below: Counts::new(-1), above: Counts::new(1) },
            events,
            events_lost: 0,
        }
    }

    #[test]
    fn a_quiet_tick_shows_in_the_trace_alone() {
        let mut d = Digest::new();
        d.tick(Instant::from_micros(1), &out(Orders::SAFE, &[]));
        assert_eq!(d.digest(), Digest::new().digest());
        assert_ne!(d.trace(), Digest::new().trace());
        assert_eq!(d.ticks(), 1);
    }

    #[test]
    fn each_order_set_point_event_and_time_shows_in_both() {
        let on = Orders::SAFE.with_beacon(true);
        let told = [Event::new(EventKind::Late, Why::Plain, 0, 5)];
        let base = out(on, &[]);
        let seen = |now: u64, o: &Outputs<'_>| {
            let mut d = Digest::new();
            d.tick(Instant::from_micros(now), o);
            (d.digest(), d.trace())
        };
        let first = seen(1, &base);
        let others = [
            seen(2, &base),
            seen(1, &out(on.with_spin(true), &[])),
            seen(1, &out(on, &told)),
            seen(1, &Outputs { belt_speed: Speed::from_mm_per_s(1), ..base }),
            seen(1, &Outputs { spin_rpm: 1, ..base }),
            seen(1, &Outputs { unit: UnitState::Held, ..base }),
            seen(1, &Outputs { mode: Mode::Manual, ..base }),
        ];
        for (i, other) in others.iter().enumerate() {
            assert_ne!(first.0, other.0, "digest, case {i}");
            assert_ne!(first.1, other.1, "trace, case {i}");
        }
    }

    #[test]
    fn the_bytes_of_a_tick_are_as_written() {
        let told = [Event::new(EventKind::Late, Why::Plain, 0x0102, -2)];
        let o = Outputs {
            belt_speed: Speed::from_bits(0x0403_0201),
            spin_rpm: 0x0605,
            ..out(Orders::from_bits(0x8001), &told)
        };
        let mut d = Digest::new();
        d.tick(Instant::from_micros(0x1122_3344_5566_7788), &o);
        let mut h = Fnv64::new();
        h.write(&[0x88, 0x77, 0x66, 0x55, 0x44, 0x33, 0x22, 0x11]);
        h.write(&[0x01, 0x80, 0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 4, 1]);
        h.write(&[15, 0, 0x02, 0x01, 0xfe, 0xff, 0xff, 0xff]);
        assert_eq!(d.digest(), h.get());
    }
}
