//! Quantities of the core, each in one unit, each in a type of its own.
//!
//! Time is [`Instant`] and [`Duration`] in whole microseconds; place along the belt is [`Counts`] of the
//! encoder; geometry is [`Millimetres`] and [`Speed`]. All arithmetic is named (`plus`, `minus`, `since`) and
//! saturates: a value at the end of its range stays there and never wraps.
//!
//! What is *awaited* is a [`Deadline`]: armed, or neutral. A neutral one lies at the far end of its range, so that "is it
//! due" is one comparison. (The station itself keeps times and places in 32 bits, from an origin of its own.)

use fixed::types::{I16F16, U16F16};

/// A point in time, microseconds since an origin that the caller chooses (usually power-up).
///
/// 64 bits of microseconds last for 584 000 years, so it never wraps. Hardware timers of 16 or 32 bits are
/// widened by [`crate::widen`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Instant(u64);

impl Instant {
    /// The origin of time.
    pub const ZERO: Self = Self(0);
    /// The last instant that can come; what lies beyond stands for "never".
    pub const LAST: Self = Self(u64::MAX - 1);

    /// The instant `us` microseconds after the origin.
    #[must_use]
    pub const fn from_micros(us: u64) -> Self {
        Self(us)
    }

    /// Microseconds since the origin.
    #[must_use]
    pub const fn as_micros(self) -> u64 {
        self.0
    }

    /// This instant, `d` later; saturates.
    #[must_use]
    pub const fn plus(self, d: Duration) -> Self {
        Self(self.0.saturating_add(d.0))
    }

    /// This instant, `d` earlier; saturates at the origin.
    #[must_use]
    pub const fn minus(self, d: Duration) -> Self {
        Self(self.0.saturating_sub(d.0))
    }

    /// Time from `earlier` to this instant; zero if `earlier` is later.
    #[must_use]
    pub const fn since(self, earlier: Self) -> Duration {
        Duration(self.0.saturating_sub(earlier.0))
    }

    /// Microseconds from `other` to this instant, negative if it is later; saturates.
    pub(crate) const fn signed_since(self, other: Self) -> i64 {
        const fn clip(n: u64) -> i64 {
            if n > i64::MAX as u64 { i64::MAX } else { n as i64 }
        }
        if self.0 >= other.0 {
            clip(self.0.wrapping_sub(other.0))
        } else {
            clip(other.0.wrapping_sub(self.0)).saturating_neg()
        }
    }
}

/// A span of time, microseconds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Duration(u64);

impl Duration {
    /// No time at all.
    pub const ZERO: Self = Self(0);

    /// `us` microseconds.
    #[must_use]
    pub const fn from_micros(us: u64) -> Self {
        Self(us)
    }

    /// `ms` milliseconds; saturates.
    #[must_use]
    pub const fn from_millis(ms: u64) -> Self {
        Self(ms.saturating_mul(1_000))
    }

    /// Whole microseconds.
    #[must_use]
    pub const fn as_micros(self) -> u64 {
        self.0
    }

    /// Whole microseconds in 32 bits; longer spans read as the longest, 71 minutes.
    #[must_use]
    pub const fn as_micros_u32(self) -> u32 {
        if self.0 > u32::MAX as u64 { u32::MAX } else { self.0 as u32 }
    }

    /// The sum; saturates.
    #[must_use]
    pub const fn plus(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

/// A place along the belt, or a length of belt, in encoder counts; grows downstream.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Counts(i64);

impl Counts {
    /// The origin, or no length.
    pub const ZERO: Self = Self(0);
    /// The first position a belt can be at, so that another still lies below.
    pub const FIRST: Self = Self(i64::MIN + 1);
    /// The last position a belt can be at; what lies beyond stands for "nowhere".
    pub const LAST: Self = Self(i64::MAX - 1);

    /// `n` counts.
    #[must_use]
    pub const fn new(n: i64) -> Self {
        Self(n)
    }

    /// The number of counts.
    #[must_use]
    pub const fn get(self) -> i64 {
        self.0
    }

    /// The sum; saturates.
    #[must_use]
    pub const fn plus(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }

    /// The difference; saturates.
    #[must_use]
    pub const fn minus(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }

    /// The sum with a small signed length; saturates.
    #[must_use]
    pub const fn ahead(self, n: i32) -> Self {
        Self(self.0.saturating_add(n as i64))
    }
}

/// A length or a coordinate in millimetres: 16 integer and 16 fraction bits, ±32 767 mm in steps of 15 nm.
///
/// Coordinates have their origin at the head centre and grow downstream.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Millimetres(i32);

impl Millimetres {
    /// No length, or the head centre.
    pub const ZERO: Self = Self(0);
    /// The number of fraction bits in [`Self::to_bits`].
    pub const FRACTION_BITS: u32 = 16;

    /// From the raw fixed-point bits, 1/65 536 mm each.
    #[must_use]
    pub const fn from_bits(bits: i32) -> Self {
        Self(bits)
    }

    /// The raw fixed-point bits, 1/65 536 mm each.
    #[must_use]
    pub const fn to_bits(self) -> i32 {
        self.0
    }

    /// From whole millimetres; values beyond ±32 767 saturate.
    #[must_use]
    pub const fn from_mm(mm: i32) -> Self {
        Self(mm.saturating_mul(1 << 16))
    }

    /// From whole micrometres, rounded to the nearest step, halves away from zero; saturates.
    #[must_use]
    pub const fn from_um(um: i32) -> Self {
        let wide = (um as i64) << 16;
        let half = if wide < 0 { -500 } else { 500 };
        let bits = wide.saturating_add(half) / 1_000;
        if bits > i32::MAX as i64 {
            Self(i32::MAX)
        } else if bits < i32::MIN as i64 {
            Self(i32::MIN)
        } else {
            Self(bits as i32)
        }
    }

    /// The sum; saturates.
    #[must_use]
    pub const fn plus(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }

    /// The difference; saturates.
    #[must_use]
    pub const fn minus(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }

    pub(crate) const fn fixed(self) -> I16F16 {
        I16F16::from_bits(self.0)
    }
}

/// A belt speed in millimetres per second: 16 integer and 16 fraction bits, 0 … 32 767 mm/s.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Speed(i32);

impl Speed {
    /// Standing still.
    pub const ZERO: Self = Self(0);

    /// From the raw fixed-point bits, 1/65 536 mm/s each.
    #[must_use]
    pub const fn from_bits(bits: i32) -> Self {
        Self(bits)
    }

    /// The raw fixed-point bits, 1/65 536 mm/s each.
    #[must_use]
    pub const fn to_bits(self) -> i32 {
        self.0
    }

    /// From whole millimetres per second; values beyond ±32 767 saturate.
    #[must_use]
    pub const fn from_mm_per_s(v: i32) -> Self {
        Self(v.saturating_mul(1 << 16))
    }

    pub(crate) const fn fixed(self) -> I16F16 {
        I16F16::from_bits(self.0)
    }
}

/// The scale of the belt encoder, counts per millimetre of belt: 16 integer and 16 fraction bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct CountsPerMm(u32);

impl CountsPerMm {
    /// From the raw fixed-point bits, 1/65 536 count per mm each.
    #[must_use]
    pub const fn from_bits(bits: u32) -> Self {
        Self(bits)
    }

    /// The raw fixed-point bits, 1/65 536 count per mm each.
    #[must_use]
    pub const fn to_bits(self) -> u32 {
        self.0
    }

    /// `length` in whole counts, to the nearest, halves upwards.
    ///
    /// Exact to the half count: the product is formed in 64 bits and rounded once. A length that would not fit
    /// 32 bits saturates; [`crate::Machine::new`] refuses such a machine.
    #[must_use]
    pub const fn counts(self, length: Millimetres) -> i32 {
        let product = (length.fixed().to_bits() as i64).wrapping_mul(self.0 as i64);
        saturate(product.saturating_add(1 << 31) >> 32)
    }

    /// `length` in whole counts, never less than the length: for margins that must not shrink by rounding.
    #[must_use]
    pub const fn counts_up(self, length: Millimetres) -> i32 {
        let product = (length.fixed().to_bits() as i64).wrapping_mul(self.0 as i64);
        saturate(product.saturating_add((1 << 32) - 1) >> 32)
    }

    /// `speed` as a [`Rate`], to the nearest step; saturates at 16 counts/µs.
    #[must_use]
    pub const fn rate(self, speed: Speed) -> Rate {
        let bits = speed.fixed().to_bits();
        if bits <= 0 {
            return Rate::ZERO;
        }
        // counts/s in 32 fraction bits → counts/µs in 28: × 2^-4 / 10^6. Not in the tick, so a 64-bit division is allowed.
        let per_s = (bits as u64).wrapping_mul(U16F16::from_bits(self.0).to_bits() as u64);
        let steps = per_s.saturating_add(8_000_000) / 16_000_000;
        Rate(if steps > u32::MAX as u64 { u32::MAX } else { steps as u32 })
    }
}

const fn saturate(v: i64) -> i32 {
    if v > i32::MAX as i64 {
        i32::MAX
    } else if v < i32::MIN as i64 {
        i32::MIN
    } else {
        v as i32
    }
}

/// Belt speed inside the tick: counts per microsecond with 28 fraction bits (0.0037 count/s a step).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Rate(u32);

impl Rate {
    /// Standing still.
    pub const ZERO: Self = Self(0);
    /// The number of fraction bits in [`Self::to_bits`].
    pub const FRACTION_BITS: u32 = 28;

    /// From the raw bits, 2⁻²⁸ counts per µs each.
    #[must_use]
    pub const fn from_bits(bits: u32) -> Self {
        Self(bits)
    }

    /// The raw bits, 2⁻²⁸ counts per µs each.
    #[must_use]
    pub const fn to_bits(self) -> u32 {
        self.0
    }

    /// Speed over `counts` that took `us` microseconds (the M/T method: whole counts over the exact time between
    /// their edges; Ohmae et al., IEEE Trans. Ind. Electron. IE-29(3), 1982). Rounds down; zero when `us` is 0.
    ///
    /// One 32 ÷ 32 division, cut off: the result is too small by at most `us`/2³¹ of itself (one part in 2¹⁵ for a window
    /// of 2¹⁶ µs), besides one unit in its last place.
    #[must_use]
    pub const fn over(counts: u32, us: u32) -> Self {
        if us == 0 || counts == 0 {
            return Self::ZERO;
        }
        let shift = counts.leading_zeros();
        let quotient = match (counts << shift).checked_div(us) {
            Some(q) => q,
            None => return Self::ZERO,
        };
        if shift >= Self::FRACTION_BITS {
            Self(quotient >> shift.wrapping_sub(Self::FRACTION_BITS))
        } else {
            let up = Self::FRACTION_BITS.wrapping_sub(shift);
            if quotient.leading_zeros() < up { Self(u32::MAX) } else { Self(quotient << up) }
        }
    }

    /// Belt travel in `us` microseconds at this speed, whole counts to the nearest; saturates.
    #[must_use]
    pub const fn travel(self, us: u32) -> i32 {
        let product = (self.0 as u64).wrapping_mul(us as u64);
        saturate((product.saturating_add(1 << 27) >> Self::FRACTION_BITS) as i64)
    }
}

/// When something is due: an instant that is awaited, or nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Deadline(u64);

impl Default for Deadline {
    fn default() -> Self {
        Self::NEVER
    }
}

impl Deadline {
    /// Nothing is awaited.
    pub const NEVER: Self = Self(u64::MAX);
    /// Due whenever it is looked at.
    pub const NOW: Self = Self(0);

    /// Due at `t`.
    #[must_use]
    pub const fn at(t: Instant) -> Self {
        Self(t.0)
    }

    /// Due `d` after `t`.
    #[must_use]
    pub const fn after(t: Instant, d: Duration) -> Self {
        Self(t.plus(d).0)
    }

    /// Whether something is awaited.
    #[must_use]
    pub const fn is_armed(self) -> bool {
        self.0 != u64::MAX
    }

    /// Whether what is awaited is due by `now`.
    #[must_use]
    pub const fn is_due(self, now: Instant) -> bool {
        now.0 >= self.0
    }

    /// If due: disarms and says `true`. A deadline fires once.
    pub const fn fire(&mut self, now: Instant) -> bool {
        let due = self.is_due(now);
        if due {
            *self = Self::NEVER;
        }
        due
    }

    /// The instant, far in the future when neutral.
    #[must_use]
    pub const fn instant(self) -> Instant {
        Instant(self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_round_once_to_the_nearest_count() {
        // 4096 counts a turn over 200 mm of belt: 20.48 counts/mm.
        let scale = CountsPerMm::from_bits(1_342_177); // 20.48 × 65 536 = 1 342 177.28
        assert_eq!(scale.counts(Millimetres::from_mm(94)), 1_925); // 1 925.12
        assert_eq!(scale.counts(Millimetres::from_mm(-94)), -1_925);
        assert_eq!(scale.counts_up(Millimetres::from_mm(94)), 1_926);
        assert_eq!(Millimetres::from_um(-61_500).to_bits(), -4_030_464); // −61.5 × 65 536
    }

    #[test]
    fn rate_over_a_window_is_within_a_clock_step() {
        // 62 counts in 10 091 µs: 6 144.089 counts/s.
        let r = Rate::over(62, 10_091);
        let per_s = f64::from(r.to_bits()) / f64::from(1 << 28) * 1e6;
        assert!((per_s - 62.0 / 10_091e-6).abs() / per_s < 1e-5, "{per_s}");
        assert_eq!(Rate::over(0, 10), Rate::ZERO);
        assert_eq!(Rate::over(10, 0), Rate::ZERO);
        assert_eq!(Rate::over(u32::MAX, 1), Rate::from_bits(u32::MAX));
        assert_eq!(Rate::over(1, u32::MAX), Rate::ZERO);
    }

    #[test]
    fn lead_at_300_mm_per_s_and_120_ms_is_36_mm() {
        let scale = CountsPerMm::from_bits(20 << 16);
        let rate = scale.rate(Speed::from_mm_per_s(300));
        assert_eq!(rate.travel(120_000), 36 * 20);
    }

    #[test]
    fn a_deadline_fires_once() {
        let mut d = Deadline::after(Instant::from_micros(5), Duration::from_micros(10));
        assert!(!d.fire(Instant::from_micros(14)));
        assert!(d.fire(Instant::from_micros(15)));
        assert!(!d.fire(Instant::from_micros(u64::MAX - 1)));
    }
}
