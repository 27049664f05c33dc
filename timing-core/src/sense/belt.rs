//! The belt: counts to position, speed, standstill, reversal and impossible jumps.
//!
//! Speed is sampled by the M/T method once per window of counts, and only while someone needs it; between samples it is
//! constant. Whether the belt moves is looked at when a deadline says so, by the time of the newest count edge.

use crate::local::{Deadline, Moves, Place, Shift, Spot, shift_all};
use crate::machine::Machine;
use crate::sense::Seen;
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
pub(crate) struct Belt {
    moving: bool,
    /// While moving: when to look again for counts.
    check: Deadline,
    /// Where the belt was at the last look (moving), or where it rests.
    anchor: Spot,
    /// While moving: when it was last known to move, where edges are not timed.
    moved_at: Deadline,
    /// While sampling: where the next sample is due, and where and when this one began.
    next: Place,
    from: Place,
    from_at: Deadline,
    rate: Rate,
    /// The speed of the window before, and how many windows were sampled whole: 0, 1, or 2 for more.
    before: Rate,
    windows: u8,
}

impl Belt {
    pub(crate) const fn new() -> Self {
        Self {
            moving: false,
            check: Deadline::NEVER,
            anchor: Spot::ZERO,
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
        self.anchor = belt;
    }

    pub(crate) fn tick(&mut self, seen: &mut Seen, m: &Machine) {
        let belt = seen.belt;
        if self.moving {
            if belt <= self.anchor.ahead(m.reverse.saturating_neg()) {
                seen.belt_news.add(News::REVERSED);
                self.look(belt, Deadline::at(seen.now));
            } else if belt >= self.anchor.ahead(m.jump) {
                seen.belt_news.add(News::JUMPED);
                self.look(belt, Deadline::at(seen.now));
            }
            if self.check.is_due(seen.now) {
                self.look_whether_it_moves(seen, m);
            }
        } else if belt >= self.anchor.ahead(DITHER) || belt <= self.anchor.ahead(DITHER.saturating_neg()) {
            self.moving = true;
            self.check = Deadline::after(seen.now, m.still);
            self.look(belt, Deadline::at(seen.now));
            if self.next.is_armed() {
                self.sample_from(seen, self.window());
            }
            seen.belt_news.add(News::STARTED);
        }
        if self.next.is_due(belt) {
            self.sample(seen);
        }
    }

    fn look_whether_it_moves(&mut self, seen: &mut Seen, m: &Machine) {
        let last = if seen.edges_timed {
            Deadline::at(seen.edge_at)
        } else if seen.belt != self.anchor {
            Deadline::at(seen.now)
        } else {
            self.moved_at
        };
        let due = Deadline::after(last.time(), m.still);
        if due.is_due(seen.now) {
            self.moving = false;
            self.check = Deadline::NEVER;
            self.anchor = seen.belt;
            self.moved_at = Deadline::NEVER;
            self.rate = Rate::ZERO;
            self.windows = 0;
            seen.belt_news.add(News::STOPPED);
        } else {
            self.check = due;
            self.look(seen.belt, last);
        }
    }

    /// The window is full: one speed.
    fn sample(&mut self, seen: &mut Seen) {
        let counts = seen.belt.minus(self.from.spot());
        let window = self.window();
        let us = seen.edge_at.since(self.from_at.time()).as_micros();
        if counts > 0 && us > 0 {
            self.before = self.rate;
            // Without timed edges a window is only as good as the tick: no slope is read from it.
            self.windows = if seen.edges_timed { self.windows.saturating_add(1).min(2) } else { 0 };
            self.rate = Rate::over(counts.unsigned_abs(), us);
            seen.belt_news.add(News::SAMPLED);
        }
        self.sample_from(seen, window);
    }

    fn look(&mut self, belt: Spot, moved_at: Deadline) {
        self.anchor = belt;
        self.moved_at = moved_at;
    }

    const fn window(&self) -> i32 {
        self.next.spot().minus(self.from.spot())
    }

    fn sample_from(&mut self, seen: &Seen, window: i32) {
        self.from = Place::at(seen.belt);
        self.from_at = Deadline::at(seen.edge_at);
        self.next = Place::at(seen.belt.ahead(window));
    }

    /// Samples speed from here on, every `window` counts; `expected` holds until the first sample.
    pub(crate) fn begin_sampling(&mut self, seen: &Seen, window: i32, expected: Rate) {
        if !self.next.is_armed() {
            self.sample_from(seen, window);
            self.windows = 0;
            if self.moving {
                self.rate = expected;
            }
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
    pub(crate) const fn bounds(&self, m: &Machine) -> (Spot, Place) {
        let (back, on) = if self.moving { (m.reverse, m.jump) } else { (DITHER, DITHER) };
        (self.anchor.ahead(back.saturating_neg()), self.next.nearer(Place::at(self.anchor.ahead(on))))
    }
}

impl Moves for Belt {
    fn shift(&mut self, by: Shift) {
        let Self { check, anchor, moved_at, next, from, from_at, .. } = self;
        shift_all(&mut [check, anchor, moved_at, next, from, from_at], by);
    }
}
