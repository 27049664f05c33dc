//! Fixed delays in seconds, for comparison only: the core is given a belt that runs by the clock, at exactly the set speed,
//! whatever the real belt does. Every place then is a time.

use timing_core::Rate;

/// A belt made of time.
#[derive(Clone, Copy, Debug)]
pub(super) struct Clockwork {
    rate: u128,
    /// µs run before the present run.
    before_us: u64,
    since: Option<u64>,
}

impl Clockwork {
    pub(super) fn new(rate: Rate, line_runs: bool) -> Self {
        Self { rate: u128::from(rate.to_bits().max(1)), before_us: 0, since: line_runs.then_some(0) }
    }

    fn run_us(&self, now: u64) -> u64 {
        self.before_us + self.since.map_or(0, |s| now - s)
    }

    pub(super) fn obey(&mut self, now: u64, run: bool) {
        match (self.since, run) {
            (None, true) => self.since = Some(now),
            (Some(_), false) => {
                self.before_us = self.run_us(now);
                self.since = None;
            }
            (None, false) | (Some(_), true) => {}
        }
    }

    /// Count, and the time of its edge, µs.
    pub(super) fn read(&self, now: u64) -> (i64, u64) {
        let run = self.run_us(now);
        let count = (u128::from(run) * self.rate) >> Rate::FRACTION_BITS;
        let edge = (count << Rate::FRACTION_BITS).div_ceil(self.rate) as u64;
        (count as i64, now - (run - edge.min(run)))
    }

    /// When the count will be at least `above`; `u64::MAX` if it does not run.
    pub(super) fn reaches(&self, above: i64, now: u64) -> u64 {
        if self.since.is_none() || above == i64::MAX {
            return u64::MAX;
        }
        let need = ((above.max(0) as u128) << Rate::FRACTION_BITS).div_ceil(self.rate) as u64;
        now + need.saturating_sub(self.run_us(now)).max(1)
    }
}
