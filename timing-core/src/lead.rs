//! From a mark on the belt to the place where an order must leave: mark − speed × (latency + travel).
//!
//! A leaf without state, used by the set-points, by the decisions and by the host's plan.

use crate::io::Actuator;
use crate::machine::Machine;
use crate::units::{Counts, Rate};

/// Belt travel, in counts, between ordering `a` to work and its contact, at `rate`; to the nearest count.
///
/// lead = speed × (valve latency + travel to contact). 300 mm/s × (20 + 100) ms = 36 mm.
#[must_use]
pub fn lead(rate: Rate, machine: &Machine, a: Actuator) -> i32 {
    rate.travel(machine.stroke(a).out())
}

/// Belt travel, in counts, between ordering `a` home and its arrival, at `rate`; to the nearest count.
pub(crate) fn home_lead(rate: Rate, machine: &Machine, a: Actuator) -> i32 {
    let row = machine.stroke(a);
    rate.travel(row.latency.saturating_add(row.to_home))
}

/// The belt position at which `a` must be ordered so that its contact falls on `mark`.
#[must_use]
pub fn order_place(mark: Counts, rate: Rate, machine: &Machine, a: Actuator) -> Counts {
    mark.ahead(lead(rate, machine, a).saturating_neg())
}

/// Coordinate (counts from the head centre) of a newcomer's leading edge at which a belt stop must be ordered so that it
/// halts short of the head's clear line.
#[must_use]
pub(crate) fn last_stop(stop_travel: i32, u: i32, machine: &Machine) -> i32 {
    machine.head_clear.saturating_add(stop_travel).saturating_add(u).saturating_neg()
}
