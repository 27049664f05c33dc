//! Hardware counters of 16 and 32 bits widened to the 64 bits of the core.
//!
//! A timer or an encoder counter wraps; the core's [`Instant`] and [`Counts`] never do. Each widener keeps the last
//! reading and adds the difference, formed by wrapping subtraction, to a wide total. Two kinds:
//!
//! | kind | moves | limit between two readings |
//! |---|---|---|
//! | [`Encoder16`], [`Encoder32`] | both ways | less than half a wrap: 32 767 or 2 147 483 647 counts either way |
//! | [`Clock16`], [`Clock32`] | forwards only | less than a whole wrap: 65 535 µs or 71.6 min at 1 MHz |
//!
//! **Read every counter at least twice a wrap.** A counter read less often than its limit loses whole wraps, and no
//! arithmetic can find them again. At 20.48 counts/mm and 1 m/s a 16-bit encoder counter wraps in 3.2 s and must be
//! read every 1.6 s; a 16-bit microsecond clock wraps in 65.5 ms and must be read every 32 ms. The sample gap of a
//! machine ([`crate::MachineProfile::sample_gap`]) bounds the time between ticks: choose it below half a wrap of the
//! narrowest counter, or let the counter's own overflow interrupt read it.

use crate::units::{Counts, Instant};

/// A 16-bit up/down encoder counter, widened. Less than half a wrap (32 767 counts) either way between readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Encoder16 {
    last: u16,
    total: i64,
}

impl Encoder16 {
    /// Starts at total zero with the counter's present reading.
    #[must_use]
    pub const fn new(reading: u16) -> Self {
        Self { last: reading, total: 0 }
    }

    /// Takes a reading and returns the total, counts; it saturates at the ends of 64 bits.
    ///
    /// A difference of exactly half a wrap (32 768) reads as backwards.
    pub const fn see(&mut self, reading: u16) -> Counts {
        let moved = reading.wrapping_sub(self.last).cast_signed();
        self.last = reading;
        self.total = self.total.saturating_add(moved as i64);
        Counts::new(self.total)
    }

    /// The total at the last reading, counts.
    #[must_use]
    pub const fn total(&self) -> Counts {
        Counts::new(self.total)
    }

    /// The total that belonged to `capture`, a reading latched by hardware within half a wrap of the last reading, earlier
    /// or later; the total itself does not move.
    #[must_use]
    pub const fn total_at(&self, capture: u16) -> Counts {
        let moved = capture.wrapping_sub(self.last).cast_signed();
        Counts::new(self.total.saturating_add(moved as i64))
    }
}

/// A 32-bit up/down encoder counter, widened. Less than half a wrap (2 147 483 647 counts) either way between readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Encoder32 {
    last: u32,
    total: i64,
}

impl Encoder32 {
    /// Starts at total zero with the counter's present reading.
    #[must_use]
    pub const fn new(reading: u32) -> Self {
        Self { last: reading, total: 0 }
    }

    /// Takes a reading and returns the total, counts; it saturates at the ends of 64 bits.
    ///
    /// A difference of exactly half a wrap (2 147 483 648) reads as backwards.
    pub const fn see(&mut self, reading: u32) -> Counts {
        let moved = reading.wrapping_sub(self.last).cast_signed();
        self.last = reading;
        self.total = self.total.saturating_add(moved as i64);
        Counts::new(self.total)
    }

    /// The total at the last reading, counts.
    #[must_use]
    pub const fn total(&self) -> Counts {
        Counts::new(self.total)
    }

    /// The total that belonged to `capture`, a reading latched by hardware within half a wrap of the last reading, earlier
    /// or later; the total itself does not move.
    #[must_use]
    pub const fn total_at(&self, capture: u32) -> Counts {
        let moved = capture.wrapping_sub(self.last).cast_signed();
        Counts::new(self.total.saturating_add(moved as i64))
    }
}

/// A free-running 16-bit timer of 1 µs a tick, counting up, widened. Less than a whole wrap (65 535 µs) between readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Clock16 {
    last: u16,
    total: u64,
}

impl Clock16 {
    /// Starts at the origin of time with the timer's present reading.
    #[must_use]
    pub const fn new(reading: u16) -> Self {
        Self { last: reading, total: 0 }
    }

    /// Takes a reading and returns the time since the first; it saturates after 584 000 years.
    pub const fn see(&mut self, reading: u16) -> Instant {
        let passed = reading.wrapping_sub(self.last);
        self.last = reading;
        self.total = self.total.saturating_add(passed as u64);
        Instant::from_micros(self.total)
    }

    /// The time of the last reading.
    #[must_use]
    pub const fn now(&self) -> Instant {
        Instant::from_micros(self.total)
    }

    /// The time of `capture`, a reading latched by hardware less than a whole wrap *before* the last reading; the clock
    /// itself does not move. Saturates at the origin.
    #[must_use]
    pub const fn time_of(&self, capture: u16) -> Instant {
        let ago = self.last.wrapping_sub(capture);
        Instant::from_micros(self.total.saturating_sub(ago as u64))
    }
}

/// A free-running 32-bit timer of 1 µs a tick, counting up, widened. Less than a whole wrap (71.6 min) between readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Clock32 {
    last: u32,
    total: u64,
}

impl Clock32 {
    /// Starts at the origin of time with the timer's present reading.
    #[must_use]
    pub const fn new(reading: u32) -> Self {
        Self { last: reading, total: 0 }
    }

    /// Takes a reading and returns the time since the first; it saturates after 584 000 years.
    pub const fn see(&mut self, reading: u32) -> Instant {
        let passed = reading.wrapping_sub(self.last);
        self.last = reading;
        self.total = self.total.saturating_add(passed as u64);
        Instant::from_micros(self.total)
    }

    /// The time of the last reading.
    #[must_use]
    pub const fn now(&self) -> Instant {
        Instant::from_micros(self.total)
    }

    /// The time of `capture`, a reading latched by hardware less than a whole wrap *before* the last reading; the clock
    /// itself does not move. Saturates at the origin.
    #[must_use]
    pub const fn time_of(&self, capture: u32) -> Instant {
        let ago = self.last.wrapping_sub(capture);
        Instant::from_micros(self.total.saturating_sub(ago as u64))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_16_bit_encoder_wraps_both_ways() {
        let mut e = Encoder16::new(65_530);
        assert_eq!(e.see(4).get(), 10);
        assert_eq!(e.see(65_530).get(), 0);
        assert_eq!(e.see(65_520).get(), -10);
        // Ten whole wraps forwards in steps of just under half a wrap, then all the way back.
        let mut e = Encoder16::new(0);
        let mut reading = 0_u16;
        for _ in 0..20 {
            reading = reading.wrapping_add(32_767);
            e.see(reading);
        }
        assert_eq!(e.total().get(), 20 * 32_767);
        for _ in 0..40 {
            reading = reading.wrapping_sub(32_767);
            e.see(reading);
        }
        assert_eq!(e.total().get(), -20 * 32_767);
    }

    #[test]
    fn a_32_bit_encoder_wraps_both_ways() {
        let mut e = Encoder32::new(u32::MAX - 5);
        assert_eq!(e.see(4).get(), 10);
        assert_eq!(e.see(u32::MAX - 5).get(), 0);
        assert_eq!(e.see(u32::MAX - 15).get(), -10);
        let mut e = Encoder32::new(0);
        let mut reading = 0_u32;
        for _ in 0..6 {
            reading = reading.wrapping_add(i32::MAX as u32);
            e.see(reading);
        }
        assert_eq!(e.total().get(), 6 * i64::from(i32::MAX));
        for _ in 0..12 {
            reading = reading.wrapping_sub(i32::MAX as u32);
            e.see(reading);
        }
        assert_eq!(e.total().get(), -6 * i64::from(i32::MAX));
    }

    #[test]
    fn half_a_wrap_is_the_documented_limit() {
        // One count less than half a wrap is forwards, half a wrap reads as backwards: read twice a wrap.
        assert_eq!(Encoder16::new(0).see(32_767).get(), 32_767);
        assert_eq!(Encoder16::new(0).see(32_768).get(), -32_768);
        assert_eq!(Encoder32::new(0).see(1 << 31).get(), -(1 << 31));
    }

    #[test]
    fn clocks_go_forwards_over_every_wrap() {
        let mut c = Clock16::new(65_000);
        assert_eq!(c.see(65_000).as_micros(), 0);
        assert_eq!(c.see(464).as_micros(), 1_000);
        assert_eq!(c.see(463).as_micros(), 1_000 + 65_535); // one short of a whole wrap
        let mut c = Clock32::new(u32::MAX - 999);
        assert_eq!(c.see(1_000).as_micros(), 2_000);
        assert_eq!(c.see(999).as_micros(), 2_000 + u64::from(u32::MAX));
    }

    #[test]
    fn captures_are_placed_on_the_right_side_of_a_wrap() {
        let mut e = Encoder16::new(65_530);
        e.see(10);
        assert_eq!(e.total_at(65_534).get(), 4);
        assert_eq!(e.total_at(12).get(), 18);
        assert_eq!(e.total().get(), 16);
        let mut e = Encoder32::new(u32::MAX);
        e.see(9);
        assert_eq!(e.total_at(u32::MAX - 1).get(), -1);
        let mut c = Clock16::new(65_000);
        c.see(500);
        assert_eq!(c.time_of(65_100).as_micros(), 100);
        assert_eq!(c.time_of(500), c.now());
        let mut c = Clock32::new(u32::MAX - 10);
        c.see(39);
        assert_eq!(c.time_of(u32::MAX).as_micros(), 10);
        // Before the origin there is no time.
        assert_eq!(c.time_of(u32::MAX - 20).as_micros(), 0);
    }

    #[test]
    fn totals_saturate() {
        let mut e = Encoder16 { last: 0, total: i64::MAX - 1 };
        assert_eq!(e.see(5).get(), i64::MAX);
        let mut e = Encoder32 { last: 5, total: i64::MIN + 1 };
        assert_eq!(e.see(0).get(), i64::MIN);
        let mut c = Clock16 { last: 0, total: u64::MAX - 1 };
        assert_eq!(c.see(5).as_micros(), u64::MAX);
        let mut c = Clock32 { last: 0, total: u64::MAX };
        assert_eq!(c.see(5).as_micros(), u64::MAX);
    }
}
