//! Fixed delays in seconds, for comparison only: the core is given a belt that runs by the clock, at exactly the set speed,
//! whatever the real belt does. Every place then is a time.

use timing_core::{Millimetres, Product, Rate};

/// A belt made of time.
#[derive(Clone, Copy, Debug)]
pub(super) struct Clockwork {
    rate: u128,
    /// µs run before the present run.
    before_us: u64,
    since: Option<u64>,
    /// When it stopped last.
    stopped_at: u64,
}

impl Clockwork {
    pub(super) fn new(rate: Rate, line_runs: bool) -> Self {
        Self { rate: u128::from(rate.to_bits().max(1)), before_us: 0, since: line_runs.then_some(0), stopped_at: 0 }
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
                self.stopped_at = now;
            }
            (None, false) | (Some(_), true) => {}
        }
    }

    /// Count, and the time of its edge, µs.
    pub(super) fn read(&self, now: u64) -> (i64, u64) {
        let run = self.run_us(now);
        let count = (u128::from(run) * self.rate) >> Rate::FRACTION_BITS;
        let edge = (count << Rate::FRACTION_BITS).div_ceil(self.rate) as u64;
        let until = if self.since.is_some() { now } else { self.stopped_at };
        (count as i64, until.saturating_sub(run - edge.min(run)))
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

/// By the clock no length can be measured: the leading edge alone starts every delay, and no body is called over-long.
pub(super) fn measure_no_length(product: &mut Product) {
    let half_more = Millimetres::from_bits(product.body_max.to_bits() / 2);
    product.body_max = product.body_max.plus(half_more);
    product.body_min = product.body_max;
    product.body = product.body_max;
    product.gate_shut_travel = product.gate_shut_travel.plus(half_more);
    product.jam_travel = product.jam_travel.plus(half_more);
    product.misses_to_hold = 100;
    // Nor where a bottle let go will be: whatever comes past the discharge eye is taken for it.
    product.slip_u = half_more;
}
