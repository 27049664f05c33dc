//! When the core is called.

use timing_core::{Contacts, Counts, Instant, Wake};

/// A policy for calling the core.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Schedule {
    /// Exactly when the core asks for it: its time, its places, a changed contact, a request.
    Wake,
    /// As [`Schedule::Wake`], and at many other times besides, drawn from this seed; `mean_us` apart on average.
    Added {
        /// Seed of the added times.
        seed: u64,
        /// Mean distance, µs; at least 1.
        mean_us: u64,
    },
    /// Every so many µs, and at no other time.
    Every(u64),
}

/// Keeps the schedule.
#[derive(Clone, Debug)]
pub(super) struct Clock {
    schedule: Schedule,
    wake: Wake,
    contacts: Contacts,
    failed: Contacts,
    first: bool,
    random: u64,
    added: u64,
}

impl Clock {
    pub(super) fn new(schedule: Schedule) -> Self {
        let random = match schedule {
            Schedule::Added { seed, .. } => seed | 1,
            Schedule::Wake | Schedule::Every(_) => 1,
        };
        Self {
            schedule,
            wake: Wake { at: Instant::ZERO, below: Counts::new(i64::MIN), above: Counts::new(i64::MAX) },
            contacts: Contacts::NONE,
            failed: Contacts::NONE,
            first: true,
            random,
            added: 0,
        }
    }

    pub(super) const fn wake(&self) -> Wake {
        self.wake
    }

    /// The next time at which the core may have to be called, given when the belt reaches one of its places.
    pub(super) fn next(&mut self, now: u64, by_place: u64) -> u64 {
        match self.schedule {
            Schedule::Wake => self.wake.at.as_micros().min(by_place),
            Schedule::Added { mean_us, .. } => {
                if self.added <= now {
                    self.added = now + 1 + self.draw() % (2 * mean_us.max(1));
                }
                self.wake.at.as_micros().min(by_place).min(self.added)
            }
            Schedule::Every(period) => (now / period + 1) * period,
        }
    }

    /// Added times need no quality, only repeatability: xorshift.
    fn draw(&mut self) -> u64 {
        self.random ^= self.random << 13;
        self.random ^= self.random >> 7;
        self.random ^= self.random << 17;
        self.random >> 11
    }

    /// Whether the core is called now.
    pub(super) fn calls(&self, now: u64, belt: i64, contacts: Contacts, failed: Contacts, request: bool) -> bool {
        if self.first {
            return true;
        }
        let asked = now >= self.wake.at.as_micros()
            || belt >= self.wake.above.get()
            || belt <= self.wake.below.get()
            || contacts != self.contacts
            || failed != self.failed
            || request;
        match self.schedule {
            Schedule::Wake => asked,
            Schedule::Added { .. } => asked || now >= self.added,
            Schedule::Every(period) => now.is_multiple_of(period),
        }
    }

    pub(super) fn called(&mut self, _now: u64, wake: Wake, contacts: Contacts, failed: Contacts) {
        self.first = false;
        self.wake = wake;
        self.contacts = contacts;
        self.failed = failed;
    }
}
