//! When the core is called: as it asks, more often, on a beat of its own, late, or not at all.

use crate::soak::dice::Dice;
use crate::soak::draws::Beat;
use timing_core::{Contacts, Counts, Instant, Wake};

/// When the core is called.
#[derive(Clone, Debug)]
pub(super) struct Clock {
    beat: Beat,
    dice: Dice,
    wake: Wake,
    contacts: Contacts,
    failed: Contacts,
    first: bool,
    call_at: Option<u64>,
    added: u64,
    late_us: u64,
    gap_until: u64,
}

impl Clock {
    pub(super) fn new(beat: Beat, seed: u64) -> Self {
        Self {
            beat,
            dice: Dice::new(seed),
            wake: Wake { at: Instant::ZERO, below: Counts::new(i64::MIN), above: Counts::new(i64::MAX) },
            contacts: Contacts::NONE,
            failed: Contacts::NONE,
            first: true,
            call_at: None,
            added: 0,
            late_us: 0,
            gap_until: 0,
        }
    }

    /// A new core has begun: it is called at once.
    pub(super) const fn restart(&mut self) {
        self.first = true;
        self.call_at = None;
    }

    pub(super) const fn wake(&self) -> Wake {
        self.wake
    }

    /// From now on every call comes up to so many µs late; 0 = in time.
    pub(super) const fn be_late(&mut self, us: u64) {
        self.late_us = us;
    }

    /// No call before `until`.
    pub(super) const fn pause(&mut self, until: u64) {
        self.gap_until = until;
    }

    /// Back to calls in time.
    pub(super) const fn behave(&mut self, now: u64) {
        self.late_us = 0;
        self.gap_until = if self.gap_until > now { now } else { self.gap_until };
    }

    /// Whether the core is called now.
    pub(super) fn calls(&mut self, now: u64, belt: i64, contacts: Contacts, failed: Contacts, request: bool) -> bool {
        if now < self.gap_until {
            return false;
        }
        if self.first {
            return true;
        }
        if self.call_at.is_none() {
            let asked = now >= self.wake.at.as_micros()
                || belt >= self.wake.above.get()
                || belt <= self.wake.below.get()
                || contacts != self.contacts
                || failed != self.failed
                || request
                || (matches!(self.beat, Beat::Added(_)) && now >= self.added);
            if asked {
                let late = if self.late_us > 0 { self.dice.below(self.late_us + 1) } else { 0 };
                self.call_at = Some(now + late);
            }
        }
        self.call_at.is_some_and(|t| now >= t)
    }

    /// The next time at which the core may have to be called, given when the belt reaches one of its places.
    pub(super) fn next(&self, by_place: u64) -> u64 {
        let t = match (self.call_at, self.beat) {
            (Some(t), _) => t,
            (None, Beat::Added(_)) => self.wake.at.as_micros().min(by_place).min(self.added),
            (None, Beat::Wake | Beat::Every(..)) => self.wake.at.as_micros().min(by_place),
        };
        t.max(self.gap_until)
    }

    pub(super) fn called(&mut self, now: u64, wake: Wake, contacts: Contacts, failed: Contacts) {
        self.first = false;
        self.wake = wake;
        self.contacts = contacts;
        self.failed = failed;
        self.call_at = match self.beat {
            Beat::Every(period, jitter) => {
                let late = if self.late_us > 0 { self.dice.below(self.late_us + 1) } else { 0 };
                Some((now / period + 1) * period + self.dice.below(jitter + 1) + late)
            }
            Beat::Added(mean) => {
                if self.added <= now {
                    self.added = now + 1 + self.dice.below(2 * mean.max(1));
                }
                None
            }
            Beat::Wake => None,
        };
    }
}
