//! R9, R10, Manual's buttons: what must not last.

use crate::monitor::{Monitor, Tell};
use crate::plant::Plant;
use crate::setup::{JAM_CELLS, Kind};
use crate::world::Said;
use timing_core::{Actuator, Contact, Mode, UnitState as S};

/// Beats after which a stroke is overdue: one for the stroke, one of margin.
const STROKE_BEATS: u8 = 2;
/// Confirmed at full stroke: the core does not watch that contact any longer.
pub(crate) const AT_FULL_STROKE: u8 = 9;
/// Cells that a body may stand in the discharge eye: its length, a quarter, and the way of one beat.
const DISCHARGE_CELLS: u8 = 4;
/// Beats within which an ordered belt must have counted.
const BELT_BEATS: u8 = 4;

pub(crate) fn end_beat(m: &mut Monitor, plant: &Plant, said: &Said, counts: i64, tell: &mut Tell<'_>) {
    let on = |c: Contact| plant.contacts.has(c);
    let runs = matches!(said.unit, S::Execute | S::Suspending | S::Suspended) && said.mode != Mode::Manual;
    strokes(m, said, runs, on, tell);
    let executes = said.unit == S::Execute && said.mode == Mode::Production;
    let cells = u8::from(counts > 0);
    let count = |n: u8, yes: bool| if yes && executes { (n + cells).min(9) } else { 0 };
    m.in_release = count(m.in_release, on(Contact::ReleaseEye));
    m.in_discharge = count(m.in_discharge, on(Contact::DischargeEye));
    tell.when(m.in_release > JAM_CELLS + 1, 10, "a body stands in the release eye, unnoticed");
    tell.when(m.in_discharge > DISCHARGE_CELLS + 1, 10, "a body stands in the discharge eye, unnoticed");
    m.silent = if executes && said.orders.belt() && counts == 0 { (m.silent + 1).min(9) } else { 0 };
    tell.when(m.silent > BELT_BEATS, 10, "the belt is ordered and silent, unnoticed");
    m.in_pocket = match (on(Contact::PocketEye), m.in_pocket) {
        (false, _) => 0,
        (true, 0) => 1,
        (true, n) => (n + cells).min(2),
    };
    tell.when(said.mode == Mode::Manual && said.orders.belt() && m.held[1] > 3, 11, "the belt outlives its button");
}

/// R9: a stroke that is not confirmed is not passed over.
fn strokes(m: &mut Monitor, said: &Said, runs: bool, on: impl Fn(Contact) -> bool, tell: &mut Tell<'_>) {
    let fitted = Kind::Line.fitted();
    for a in Actuator::ALL {
        let (end, over) =
            if said.orders.work(a) { (Contact::work_of(a), Contact::over_of(a)) } else { (Contact::home_of(a), None) };
        let n = &mut m.unconfirmed[a.index()];
        *n = if over.is_some_and(&on) || *n == AT_FULL_STROKE {
            AT_FULL_STROKE
        } else if on(end) || !fitted.has(end) {
            0
        } else if runs {
            (*n + 1).min(STROKE_BEATS + 1)
        } else {
            0
        };
        tell.when(*n == STROKE_BEATS + 1, 9, "a stroke not confirmed, and the unit goes on");
    }
}
