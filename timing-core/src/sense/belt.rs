//! The belt: counts to position, speed, standstill, reversal and impossible jumps.
//!
//! Speed is sampled by the M/T method once per window of counts, and only while someone needs it; between samples it is
//! constant. Whether the belt moves is looked at when a deadline says so, by the time of the newest count edge.

use crate::local::{Deadline, Moves, Place, Shift, Spot, Time, shift_all};
use crate::machine::Machine;
use crate::sense::{From, Seen};
use crate::units::Rate;

/// What one tick brought, one bit each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct News(u8);

impl News {
    pub(crate) const NONE: Self = Self(0);
    pub(crate) const STARTED: Self = Self(1);
    pub(crate) const STOPPED: Self = Self(2);
    pub(crate) const REVERSED: Self = Self(4);
    pub(crate) const JUMPED: Self = Self(8);
    pub(crate) const SAMPLED: Self = Self(16);

    /// Whether any of these came.
    pub(crate) const fn has(self, any: Self) -> bool {
        self.0 & any.0 != 0
    }

    /// Both.
    pub(crate) const fn or(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    pub(crate) const fn is_empty(self) -> bool {
        self.0 == 0
    }

    const fn add(&mut self, one: Self) {
        self.0 |= one.0;
    }
}

/// A standing belt may dither by one count without moving.
const DITHER: i32 = 2;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
#[repr(C)]
pub(crate) struct Belt {
    moving: bool,
    windows: u8,
    /// While moving: when to look again for counts.
    check: Deadline,
    /// Where the belt was at the last look (moving), or where it rests.
    anchor: Spot,
    /// The places below and above which that is news: it moves, or moves back, or jumps.
    low: Spot,
    high: Spot,
    /// While moving: when it was last known to move, where edges are not timed.
    moved_at: Deadline,
    /// While sampling: where the next sample is due, and where and when this one began.
    next: Place,
    from: Place,
    from_at: Deadline,
    rate: Rate,
    /// The speed of the window before, and how many windows were sampled whole: 0, 1, or 2 for more.
    before: Rate,
}

impl Belt {
    pub(crate) const fn new() -> Self {
        Self {
            moving: false,
            check: Deadline::NEVER,
            anchor: Spot::ZERO,
            low: Spot::ZERO,
            high: Spot::ZERO,
            moved_at: Deadline::NEVER,
            next: Place::NOWHERE,
            from: Place::NOWHERE,
            from_at: Deadline::NEVER,
            rate: Rate::ZERO,
            before: Rate::ZERO,
            windows: 0,
        }
    }

    /// Takes over the position of the first tick.
    pub(crate) const fn start(&mut self, belt: Spot) {
        self.rest(belt);
    }

    /// It stands at `belt`.
    const fn rest(&mut self, belt: Spot) {
        self.anchor = belt;
        self.low = belt.ahead(DITHER.saturating_neg());
        self.high = belt.ahead(DITHER);
    }

    pub(crate) fn tick(&mut self, seen: &mut Seen, from: &From<'_>) {
        if seen.belt <= self.low || seen.belt >= self.high {
            self.leave(seen, from);
        }
        if self.check.is_due(seen.now) {
            self.look_whether_it_moves(seen, from);
        }
        if self.next.is_due(seen.belt) {
            self.sample(seen, from);
        }
    }

    /// It has left the places where it was no news: it moves, or moves as no belt should.
    #[inline(never)]
    fn leave(&mut self, seen: &mut Seen, from: &From<'_>) {
        if self.moving {
            seen.belt_news.add(if seen.belt <= self.low { News::REVERSED } else { News::JUMPED });
            self.look(seen.belt, Deadline::at(seen.now), from.m);
        } else {
            self.moving = true;
            self.check = Deadline::after(seen.now, from.m.still);
            self.look(seen.belt, Deadline::at(seen.now), from.m);
            if self.next.is_armed() {
                self.sample_from(seen.belt, from.edge_at(seen.now), self.window());
            }
            seen.belt_news.add(News::STARTED);
        }
    }

    #[inline(never)]
    fn look_whether_it_moves(&mut self, seen: &mut Seen, from: &From<'_>) {
        let last = if from.edges_are_timed() {
            Deadline::at(from.edge_at(seen.now))
        } else if seen.belt != self.anchor {
            Deadline::at(seen.now)
        } else {
            self.moved_at
        };
        let due = Deadline::after(last.time(), from.m.still);
        if due.is_due(seen.now) {
            self.moving = false;
            self.check = Deadline::NEVER;
            self.rest(seen.belt);
            self.moved_at = Deadline::NEVER;
            self.rate = Rate::ZERO;
            self.windows = 0;
            seen.belt_news.add(News::STOPPED);
        } else {
            self.check = due;
            self.look(seen.belt, last, from.m);
        }
    }

    /// The window is full: one speed.
    #[inline(never)]
    fn sample(&mut self, seen: &mut Seen, from: &From<'_>) {
        let counts = seen.belt.minus(self.from.spot());
        let window = self.window();
        let edge_at = from.edge_at(seen.now);
        let us = edge_at.since(self.from_at.time()).as_micros();
        if counts > 0 && us > 0 {
            self.before = self.rate;
            // Without timed edges a window is only as good as the tick: no slope is read from it.
            self.windows = if from.edges_are_timed() { self.windows.saturating_add(1).min(2) } else { 0 };
            self.rate = Rate::over(counts.unsigned_abs(), us);
            seen.belt_news.add(News::SAMPLED);
        }
        self.sample_from(seen.belt, edge_at, window);
    }

    fn look(&mut self, belt: Spot, moved_at: Deadline, m: &Machine) {
        self.anchor = belt;
        self.low = belt.ahead(m.reverse.saturating_neg());
        self.high = belt.ahead(m.jump);
        self.moved_at = moved_at;
    }

    const fn window(&self) -> i32 {
        self.next.spot().minus(self.from.spot())
    }

    fn sample_from(&mut self, belt: Spot, edge_at: Time, window: i32) {
        self.from = Place::at(belt);
        self.from_at = Deadline::at(edge_at);
        self.next = Place::at(belt.ahead(window));
    }

    /// Samples speed from here on, every `window` counts; `expected` holds until the first sample.
    pub(crate) fn begin_sampling(&mut self, belt: Spot, edge_at: Time, window: i32, expected: Rate) {
        if !self.next.is_armed() {
            self.sample_from(belt, edge_at, window);
            self.windows = 0;
            if self.moving {
                self.rate = expected;
            }
        }
    }

    /// The belt is ordered on again: the window that spans its standing still says nothing of its speed.
    pub(crate) fn resample(&mut self, belt: Spot, edge_at: Time, window: i32, expected: Rate) {
        if self.next.is_armed() {
            self.end_sampling();
            self.begin_sampling(belt, edge_at, window, expected);
        }
    }

    pub(crate) const fn end_sampling(&mut self) {
        self.next = Place::NOWHERE;
        self.from = Place::NOWHERE;
        self.from_at = Deadline::NEVER;
    }

    pub(crate) const fn is_moving(&self) -> bool {
        self.moving
    }

    /// The newest sampled speed; zero while the belt stands.
    pub(crate) const fn rate(&self) -> Rate {
        self.rate
    }

    /// The speed to be expected on the mean of a stroke ordered now: the newest window's, and as much more as it had
    /// gained on the window before, `windows_ahead` (8 fraction bits) times. At most a quarter more or less.
    pub(crate) fn rate_ahead(&self, windows_ahead: u32) -> Rate {
        if self.windows < 2 {
            return self.rate;
        }
        let (now, before) = (self.rate.to_bits(), self.before.to_bits());
        let gain = u64::from(now.abs_diff(before)).wrapping_mul(u64::from(windows_ahead)) >> 8;
        let gain = u32::try_from(gain).unwrap_or(u32::MAX).min(now / 4);
        Rate::from_bits(if now >= before { now.saturating_add(gain) } else { now.saturating_sub(gain) })
    }

    pub(crate) const fn due(&self) -> Deadline {
        self.check
    }

    /// Places below and above which the belt is news.
    pub(crate) const fn bounds(&self) -> (Spot, Place) {
        (self.low, self.next.nearer(Place::at(self.high)))
    }
}

impl Moves for Belt {
    fn shift(&mut self, by: Shift) {
        let Self { check, anchor, low, high, moved_at, next, from, from_at, .. } = self;
        shift_all(&mut [check, anchor, low, high, moved_at, next, from, from_at], by);
    }
}
