//! The book: counts, rate, stroke drift, lateness. Nothing is decided from it but the batch.

use crate::event::{Event, EventKind, Why};
use crate::io::{Actuator, Pose};
use crate::local::Span;
use crate::machine::Machine;
use crate::units::{Duration, Instant};

/// Room for events in one tick.
pub(crate) const EVENTS: usize = 8;

/// Where events go; overflow is counted, not lost silently.
pub(crate) struct Tell<'a> {
    pub(crate) events: &'a mut heapless::Vec<Event, EVENTS>,
    pub(crate) lost: &'a mut u8,
}

impl Tell<'_> {
    #[inline(never)]
    pub(crate) fn push(&mut self, e: Event) {
        if self.events.push(e).is_err() {
            *self.lost = self.lost.saturating_add(1);
        }
    }

    #[inline(never)]
    pub(crate) fn say(&mut self, kind: EventKind, why: Why, detail: u16, value: i32) {
        self.push(Event::new(kind, why, detail, value));
    }
}

/// What was counted since power-up.
///
/// At every tick: registered + found = good + rejected + removed + lost + inside.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Tally {
    /// Bottles registered at the release eye.
    pub registered: u32,
    /// Bottles seen that nobody knew of.
    pub found: u32,
    /// Delivered: closed, and past the diverter.
    pub good: u32,
    /// Diverted, or without a diverter let pass and told.
    pub rejected: u32,
    /// Taken out by hand.
    pub removed: u32,
    /// Gone without a trace.
    pub lost: u32,
}

/// The book kept beside the decisions.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
pub struct Book {
    /// Counts since power-up.
    pub tally: Tally,
    /// Good bottles of this batch.
    pub batch_good: u32,
    /// Good bottles asked for, 0 = without end.
    pub batch: u32,
    /// Time between the last two good bottles.
    pub last_cycle: Duration,
    /// When the last good bottle was counted.
    pub last_good: Instant,
    /// Mean excess of each stroke over its profile (exponentially weighted, λ = 1/8), µs: of each actuator first home, then to work.
    pub drift: [[i32; 2]; 6],
    /// Whether drift was told, one bit per actuator and direction.
    pub(crate) drift_told: u16,
    /// Longest delay of a tick past the wake that was asked for.
    pub late_max: Duration,
    /// Largest delay of a catch order past its place, counts.
    pub order_late_max: i32,
}

impl Book {
    /// Whether one more bottle may be released while `inside` are on their way.
    pub(crate) fn wants(&self, inside: u32) -> bool {
        self.batch == 0 || self.batch_good.saturating_add(inside) < self.batch
    }

    pub(crate) fn batch_is_done(&self) -> bool {
        self.batch != 0 && self.batch_good >= self.batch
    }

    /// One bottle ends.
    pub(crate) fn count(&mut self, why: Why, serial: u32, now: Instant, tell: &mut Tell<'_>) {
        let slot = match why {
            Why::Good => {
                self.batch_good = self.batch_good.saturating_add(1);
                self.last_cycle = now.since(self.last_good);
                self.last_good = now;
                &mut self.tally.good
            }
            Why::Removed => &mut self.tally.removed,
            Why::Lost => &mut self.tally.lost,
            _ => &mut self.tally.rejected,
        };
        *slot = slot.saturating_add(1);
        tell.say(EventKind::Counted, why, 0, i32::try_from(serial).unwrap_or(i32::MAX));
    }

    /// A stroke arrived by its contact after `took`; warns once when its mean has used half its margin.
    pub(crate) fn stroke(&mut self, a: Actuator, pose: Pose, took: Span, m: &Machine, tell: &mut Tell<'_>) {
        let row = m.stroke(a);
        let side = usize::from(pose == Pose::Work);
        let travel = if side == 1 { row.to_work } else { row.to_home };
        let filter = m.contact_filter.as_micros();
        let nominal = row.latency.saturating_add(travel).saturating_add(filter);
        let excess = signed(took.as_micros()).saturating_sub(signed(nominal));
        let Some(mean) = self.drift.get_mut(a.index()).and_then(|d| d.get_mut(side)) else { return };
        *mean = mean.saturating_add(excess.saturating_sub(*mean) / 8);
        let bit = (1u16 << side) << (a as u8).saturating_mul(2);
        let limit = i32::try_from(row.margin / 2).unwrap_or(i32::MAX);
        if *mean > limit && self.drift_told & bit == 0 {
            self.drift_told |= bit;
            tell.push(Event::drift(a, pose, *mean));
        }
    }

    /// This tick came `late` after the wake that was asked for.
    pub(crate) fn lateness(&mut self, late: Span, tell: &mut Tell<'_>) {
        let late = Duration::from_micros(u64::from(late.as_micros()));
        if late > self.late_max {
            // Told at each doubling, so that it is told seldom.
            if late.as_micros() >= self.late_max.as_micros().saturating_mul(2) {
                let us = i32::try_from(late.as_micros()).unwrap_or(i32::MAX);
                tell.say(EventKind::Late, Why::Plain, 0, us);
            }
            self.late_max = late;
        }
    }
}

fn signed(us: u32) -> i32 {
    i32::try_from(us).unwrap_or(i32::MAX)
}
