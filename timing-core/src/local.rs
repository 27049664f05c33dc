//! Time and place as the station keeps them: 32 bits, counted from an origin that moves along.
//!
//! Outside, time is 64 bits of microseconds and the belt 64 bits of counts, and neither ever wraps ([`crate::units`]). Inside,
//! everything that is awaited lies within minutes and metres, so 32 bits from an [`Origin`] of the station's own hold it: half
//! the storage, and about half the instructions on a 32-bit controller. When the clock or the belt has gone far from the
//! origin, the origin moves up ([`Origin::renew`]) and every stored time and place with it.
//!
//! What is *awaited* is a [`Deadline`] or a [`Place`]: armed, or neutral. A neutral one lies at the far end of its range, so
//! that "is it due" is one comparison. What is long past stays past: it is clipped at the near end, and stays due.
//!
//! | | unit | range kept by the origin |
//! |---|---|---|
//! | [`Time`] of a tick | µs | 0 … 2³¹ (36 min) |
//! | [`Span`] | µs | 0 … 2³⁰ (18 min); the validated tables hold at most 10 min |
//! | [`Spot`] of the belt | counts | ±2³⁰ (1 km at 1000 counts/mm) |

use crate::units::{Counts, Duration, Instant};

/// A point in time, µs since the origin.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub(crate) struct Time(u32);

impl Time {
    /// Time from `earlier` to this one; zero if `earlier` is later.
    pub(crate) const fn since(self, earlier: Self) -> Span {
        Span(self.0.saturating_sub(earlier.0))
    }
}

/// A span of time, µs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub(crate) struct Span(u32);

impl Span {
    pub(crate) const ZERO: Self = Self(0);
    /// The longest that can be awaited.
    const LONGEST: u32 = 1 << 30;

    /// `us` microseconds; longer than can be awaited reads as that.
    pub(crate) const fn from_micros(us: u32) -> Self {
        if us > Self::LONGEST { Self(Self::LONGEST) } else { Self(us) }
    }

    /// From a table's duration; longer than can be awaited reads as that.
    pub(crate) const fn of(d: Duration) -> Self {
        Self::from_micros(d.as_micros_u32())
    }

    /// Whole microseconds.
    pub(crate) const fn as_micros(self) -> u32 {
        self.0
    }

    /// The sum; no longer than can be awaited.
    pub(crate) const fn plus(self, other: Self) -> Self {
        Self::from_micros(self.0.saturating_add(other.0))
    }
}

/// When something is due: a time that is awaited, or nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub(crate) struct Deadline(u32);

impl Default for Deadline {
    fn default() -> Self {
        Self::NEVER
    }
}

impl Deadline {
    /// Nothing is awaited.
    pub(crate) const NEVER: Self = Self(u32::MAX);
    /// Due whenever it is looked at.
    pub(crate) const NOW: Self = Self(0);

    /// Due at `t`.
    pub(crate) const fn at(t: Time) -> Self {
        Self(t.0)
    }

    /// Due `d` after `t`.
    pub(crate) const fn after(t: Time, d: Span) -> Self {
        Self(t.0.saturating_add(d.0))
    }

    /// Whether something is awaited.
    pub(crate) const fn is_armed(self) -> bool {
        self.0 != u32::MAX
    }

    /// Whether what is awaited is due by `now`.
    pub(crate) const fn is_due(self, now: Time) -> bool {
        now.0 >= self.0
    }

    /// If due: disarms and says `true`. A deadline fires once.
    pub(crate) const fn fire(&mut self, now: Time) -> bool {
        let due = self.is_due(now);
        if due {
            *self = Self::NEVER;
        }
        due
    }

    /// The later of the two.
    pub(crate) const fn later(self, other: Self) -> Self {
        if other.0 > self.0 { other } else { self }
    }

    /// The nearer of the two.
    pub(crate) const fn sooner(self, other: Self) -> Self {
        if other.0 < self.0 { other } else { self }
    }

    /// The time, far in the future when neutral.
    pub(crate) const fn time(self) -> Time {
        Time(self.0)
    }
}

/// A place along the belt, counts from the origin; grows downstream.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub(crate) struct Spot(i32);

impl Spot {
    pub(crate) const ZERO: Self = Self(0);

    /// `n` counts further downstream; saturates.
    pub(crate) const fn ahead(self, n: i32) -> Self {
        Self(self.0.saturating_add(n))
    }

    /// Counts from `other` to here; saturates.
    pub(crate) const fn minus(self, other: Self) -> i32 {
        self.0.saturating_sub(other.0)
    }
}

/// Where something is due: a belt place ahead that is awaited, or nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub(crate) struct Place(i32);

impl Default for Place {
    fn default() -> Self {
        Self::NOWHERE
    }
}

impl Place {
    /// Nothing is awaited.
    pub(crate) const NOWHERE: Self = Self(i32::MAX);

    /// Due when the belt has reached `c`.
    pub(crate) const fn at(c: Spot) -> Self {
        Self(c.0)
    }

    /// Whether something is awaited.
    pub(crate) const fn is_armed(self) -> bool {
        self.0 != i32::MAX
    }

    /// Whether the belt has reached what is awaited.
    pub(crate) const fn is_due(self, belt: Spot) -> bool {
        belt.0 >= self.0
    }

    /// If due: disarms and says `true`. A place fires once.
    pub(crate) const fn fire(&mut self, belt: Spot) -> bool {
        let due = self.is_due(belt);
        if due {
            *self = Self::NOWHERE;
        }
        due
    }

    /// The nearer of the two.
    pub(crate) const fn nearer(self, other: Self) -> Self {
        if other.0 < self.0 { other } else { self }
    }

    /// The belt position, far downstream when neutral.
    pub(crate) const fn spot(self) -> Spot {
        Spot(self.0)
    }
}

fn clip(n: i64) -> i32 {
    i32::try_from(n).unwrap_or(if n < 0 { i32::MIN } else { i32::MAX })
}

/// How far an origin moves: downstream and later are positive.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Shift {
    us: i64,
    counts: i64,
}

impl Shift {
    /// For a clock that was set forward by `dt` µs and a belt that is counted from `dp` counts further on.
    pub(crate) const fn set(self, dt: i64, dp: i64) -> Self {
        Self { us: self.us.saturating_sub(dt), counts: self.counts.saturating_sub(dp) }
    }
}

/// What moves with the origin.
pub(crate) trait Moves {
    /// The same from an origin that lies `by` further on.
    fn shift(&mut self, by: Shift);
}

impl Moves for Deadline {
    fn shift(&mut self, by: Shift) {
        if self.is_armed() {
            let at = i64::from(self.0).saturating_sub(by.us);
            self.0 = u32::try_from(at.max(0)).unwrap_or(u32::MAX).min(u32::MAX - 1);
        }
    }
}

impl Moves for Spot {
    fn shift(&mut self, by: Shift) {
        let at = i64::from(self.0).saturating_sub(by.counts);
        self.0 = clip(at);
    }
}

impl Moves for Place {
    fn shift(&mut self, by: Shift) {
        if self.is_armed() {
            let at = i64::from(self.0).saturating_sub(by.counts);
            self.0 = clip(at).min(i32::MAX - 1);
        }
    }
}

/// Shifts each of them.
pub(crate) fn shift_all(all: &mut [&mut dyn Moves], by: Shift) {
    for one in all {
        one.shift(by);
    }
}

/// Where the station counts from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
pub(crate) struct Origin {
    at: Instant,
    belt: Counts,
}

impl Origin {
    /// How old what is kept can be after the origin has moved, µs.
    const KEPT: u64 = 1 << 30;
    /// The clock is let run so far from the origin, µs.
    const FURTHEST: u64 = 1 << 31;
    /// The belt is let run so far from the origin, either way, counts.
    const REACH: i64 = 1 << 30;
    /// No origin lies nearer to the ends of time and belt, so that what is within reach of one never overflows.
    const LAST: u64 = u64::MAX - (1 << 33);
    const ENDS: i64 = i64::MAX - (1 << 33);

    pub(crate) const ZERO: Self = Self { at: Instant::ZERO, belt: Counts::ZERO };

    /// `now` and `belt` from here; `None`: the origin must move first.
    pub(crate) const fn reach(&self, now: Instant, belt: Counts) -> Option<(Time, Spot)> {
        let us = now.as_micros().wrapping_sub(self.at.as_micros());
        let counts = belt.get().wrapping_sub(self.belt.get());
        let near = us <= Self::FURTHEST && counts >= -Self::REACH && counts <= Self::REACH;
        if near { Some((Time(us as u32), Spot(counts as i32))) } else { None }
    }

    /// The origin that every station has at `now` and `belt` when it has just moved: that of the caller, if it is near.
    fn near(now: Instant, belt: Counts) -> Self {
        let belt = belt.get();
        let belt = if (-Self::REACH..=Self::REACH).contains(&belt) { 0 } else { belt.clamp(-Self::ENDS, Self::ENDS) };
        let at = now.as_micros().min(Self::LAST).saturating_sub(Self::KEPT);
        Self { at: Instant::from_micros(at), belt: Counts::new(belt) }
    }

    /// Moves to where it is near; says how everything that is stored must move.
    pub(crate) fn renew(&mut self, now: Instant, belt: Counts) -> Shift {
        let old = core::mem::replace(self, Self::near(now, belt));
        Shift { us: self.at.signed_since(old.at), counts: self.belt.minus(old.belt).get() }
    }

    /// The time of `t`; what lies before the origin reads as the origin, what lies out of reach as the furthest.
    pub(crate) const fn time(&self, t: Instant) -> Time {
        let us = t.since(self.at).as_micros();
        Time(if us > Self::FURTHEST { Self::FURTHEST as u32 } else { us as u32 })
    }

    /// The time of `t`, which is known to be within reach.
    pub(crate) const fn recent(&self, t: Instant) -> Time {
        Time(t.as_micros().wrapping_sub(self.at.as_micros()) as u32)
    }

    /// The spot of `c`; what lies out of reach reads as the furthest.
    pub(crate) const fn spot(&self, c: Counts) -> Spot {
        let n = c.minus(self.belt).get();
        Spot(if n > Self::REACH {
            Self::REACH as i32
        } else if n < -Self::REACH {
            -Self::REACH as i32
        } else {
            n as i32
        })
    }

    /// The instant of `t`.
    pub(crate) const fn instant(&self, t: Time) -> Instant {
        Instant::from_micros(self.at.as_micros().wrapping_add(t.0 as u64))
    }

    /// The belt count of `s`.
    pub(crate) const fn counts(&self, s: Spot) -> Counts {
        Counts::new(self.belt.get().wrapping_add(s.0 as i64))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn at(us: u64, counts: i64) -> (Instant, Counts) {
        (Instant::from_micros(us), Counts::new(counts))
    }

    #[test]
    fn what_is_awaited_fires_once() {
        let mut d = Deadline::after(Time(5), Span(10));
        assert!(!d.fire(Time(14)) && d.fire(Time(15)) && !d.fire(Time(u32::MAX - 1)));
        let mut p = Place::at(Spot(15));
        assert!(!p.fire(Spot(14)) && p.fire(Spot(15)) && !p.fire(Spot(i32::MAX - 1)));
    }

    #[test]
    fn times_and_places_are_the_same_from_everywhere() {
        let mut origin = Origin::ZERO;
        for (now, belt) in [
            at(1 << 32, 0),
            at((1 << 32) + 5, 3 << 30),
            at(1 << 40, -(3 << 30)),
            at((1 << 40) + 7, -(1 << 40)),
            at(u64::MAX >> 1, i64::MAX >> 1),
        ] {
            assert_eq!(origin.reach(now, belt), None, "{now:?} {belt:?}");
            // A minute ago and ten metres back: still known after the move.
            let (before, behind) = (Instant::from_micros(now.as_micros() - 60_000_000), belt.ahead(-200_000));
            let old = origin;
            let (mut deadline, mut place) = (Deadline::NEVER, Place::NOWHERE);
            let by = origin.renew(now, belt);
            deadline.shift(by);
            place.shift(by);
            assert!(!deadline.is_armed() && !place.is_armed(), "nothing awaited, still nothing");
            let (time, spot) = origin.reach(now, belt).expect("near after the move");
            assert_eq!((origin.instant(time), origin.counts(spot)), (now, belt));
            assert_eq!(origin.instant(origin.time(before)), before);
            assert_eq!(origin.counts(origin.spot(behind)), behind);
            // What lay at the old origin lies where it did, or, if that is out of reach, is due for ever.
            let mut first = Deadline::at(Time(0));
            first.shift(by);
            assert_eq!(origin.instant(first.time()), old.at.max(origin.at));
            assert!(first.is_due(time));
        }
    }

    #[test]
    fn the_ends_of_time_and_belt_are_out_of_reach_and_overflow_nothing() {
        for (now, belt) in [at(u64::MAX, i64::MAX), at(u64::MAX - 1, i64::MIN)] {
            let mut origin = Origin::ZERO;
            origin.renew(now, belt);
            assert_eq!(origin.reach(now, belt), None);
            assert!(origin.instant(origin.time(now)) <= now);
        }
    }

    #[test]
    fn a_clock_that_is_set_and_a_belt_counted_from_elsewhere_move_nothing_relative() {
        let mut origin = Origin::ZERO;
        let mut deadline = Deadline::at(Time(1_000));
        let mut place = Place::at(Spot(50));
        let by = origin.renew(Instant::from_micros(90_000_000_500), Counts::new(-7)).set(90_000_000_000, -17);
        deadline.shift(by);
        place.shift(by);
        assert_eq!(origin.instant(deadline.time()).as_micros(), 90_000_001_000);
        assert_eq!(origin.counts(place.spot()).get(), 33);
    }
}
