//! The belt: counts to position, speed, standstill, reversal and impossible jumps.
//!
//! Speed is sampled by the M/T method once per window of counts, and only while someone needs it; between samples it is
//! constant. Whether the belt moves is looked at when a deadline says so, by the time of the newest count edge.

use crate::io::Inputs;
use crate::machine::Machine;
use crate::units::{Counts, Deadline, Instant, Place, Rate};

/// What one tick brought.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct News {
    pub(crate) started: bool,
    pub(crate) stopped: bool,
    pub(crate) reversed: bool,
    pub(crate) jumped: bool,
    pub(crate) sampled: bool,
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
    anchor: Counts,
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
            anchor: Counts::ZERO,
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
    pub(crate) fn start(&mut self, inputs: &Inputs) {
        self.anchor = inputs.belt;
    }

    pub(crate) fn tick(&mut self, inputs: &Inputs, edge_at: Instant, m: &Machine) -> News {
        let mut news = News::default();
        let belt = inputs.belt;
        if self.moving {
            if belt <= self.anchor.ahead(m.reverse.saturating_neg()) {
                news.reversed = true;
                self.look(belt, inputs.now);
            } else if belt >= self.anchor.ahead(m.jump) {
                news.jumped = true;
                self.look(belt, inputs.now);
            }
            if self.check.is_due(inputs.now) {
                let last = match inputs.belt_at {
                    Some(_) => edge_at,
                    None if belt != self.anchor => inputs.now,
                    None => self.moved_at.instant(),
                };
                let due = Deadline::after(last, m.still);
                if due.is_due(inputs.now) {
                    self.moving = false;
                    self.check = Deadline::NEVER;
                    self.anchor = belt;
                    self.moved_at = Deadline::NEVER;
                    self.rate = Rate::ZERO;
                    self.windows = 0;
                    news.stopped = true;
                } else {
                    self.check = due;
                    self.look(belt, last);
                }
            }
        } else if belt >= self.anchor.ahead(DITHER) || belt <= self.anchor.ahead(DITHER.saturating_neg()) {
            self.moving = true;
            self.check = Deadline::after(inputs.now, m.still);
            self.look(belt, inputs.now);
            if self.next.is_armed() {
                self.sample_from(belt, edge_at, self.window());
            }
            news.started = true;
        }
        if self.next.is_due(belt) {
            let counts = belt.minus(self.from.counts()).get();
            let window = self.window();
            let us = edge_at.since(self.from_at.instant()).as_micros_u32();
            if counts > 0 && us > 0 {
                self.before = self.rate;
                // Without timed edges a window is only as good as the tick: no slope is read from it.
                self.windows = if inputs.belt_at.is_some() { self.windows.saturating_add(1).min(2) } else { 0 };
                self.rate = Rate::over(u32::try_from(counts).unwrap_or(u32::MAX), us);
                news.sampled = true;
            }
            self.sample_from(belt, edge_at, window);
        }
        news
    }

    fn look(&mut self, belt: Counts, moved_at: Instant) {
        self.anchor = belt;
        self.moved_at = Deadline::at(moved_at);
    }

    fn window(&self) -> i64 {
        self.next.counts().minus(self.from.counts()).get()
    }

    fn sample_from(&mut self, belt: Counts, edge_at: Instant, window: i64) {
        self.from = Place::at(belt);
        self.from_at = Deadline::at(edge_at);
        self.next = Place::at(belt.plus(Counts::new(window)));
    }

    /// Samples speed from here on, every `window` counts; `expected` holds until the first sample.
    pub(crate) fn begin_sampling(&mut self, belt: Counts, edge_at: Instant, window: i32, expected: Rate) {
        if !self.next.is_armed() {
            self.sample_from(belt, edge_at, i64::from(window));
            self.windows = 0;
            if self.moving {
                self.rate = expected;
            }
        }
    }

    /// The belt is ordered on again: the window that spans its standing still says nothing of its speed.
    pub(crate) fn resample(&mut self, belt: Counts, edge_at: Instant, window: i32, expected: Rate) {
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

    /// Places above and below which the belt is news.
    pub(crate) fn bounds(&self, m: &Machine) -> (Counts, Counts) {
        if self.moving {
            let jump = self.anchor.ahead(m.jump);
            let above = if self.next.counts() < jump { self.next.counts() } else { jump };
            (self.anchor.ahead(m.reverse.saturating_neg()), above)
        } else {
            let above = self.anchor.ahead(DITHER);
            (
                self.anchor.ahead(DITHER.saturating_neg()),
                if self.next.counts() < above { self.next.counts() } else { above },
            )
        }
    }

    pub(crate) fn rebase(&mut self, dt: i64, dp: i64) {
        self.check = self.check.rebased(dt);
        self.next = self.next.rebased(dp);
        self.anchor = Counts::new(self.anchor.get().saturating_add(dp));
        self.from = self.from.rebased(dp);
        self.moved_at = self.moved_at.rebased(dt);
        self.from_at = self.from_at.rebased(dt);
    }
}
