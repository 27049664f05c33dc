//! Watchdogs: strokes, jam, misfeed, belt, inputs, sample gap. Faults are raised before anything is decided, so that
//! Held is never a tick late.

use crate::decide::{Ctl, Cx};
use crate::event::Why;
use crate::fault::Fault;
use crate::io::{Actuator, Contact};
use crate::local::{Deadline, Moves, Place, Shift, shift_all};
use crate::sense::belt::News;
use crate::sense::contacts::SAFETY;
use crate::sense::strokes;
use crate::track;
use crate::unit::UnitState;

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
#[repr(C)]
pub(crate) struct Watch {
    /// The line's belt stands, and the line says so (or cannot say).
    pub(crate) line_stopped: bool,
    pub(crate) discharge_full: bool,
    /// Faults told since they were last cleared, one bit per row of the fault table.
    pub(crate) latched: u32,
    /// By when an ordered belt must have moved.
    pub(crate) grace: Deadline,
    /// Where a body still in the discharge eye means that the outfeed is full.
    pub(crate) discharge: Place,
}

impl Watch {
    pub(crate) const fn is_latched(&self, fault: Fault) -> bool {
        self.latched & (1 << (fault.code() & 31)) != 0
    }
}

impl Moves for Watch {
    fn shift(&mut self, by: Shift) {
        let Self { grace, discharge, .. } = self;
        shift_all(&mut [grace, discharge], by);
    }
}

/// What the stages before found.
#[derive(Clone, Copy, Default)]
pub(crate) struct Found {
    pub(crate) strokes: strokes::News,
    pub(crate) track: track::News,
}

#[inline(never)]
pub(crate) fn run(ctl: &mut Ctl, cx: &mut Cx<'_>, found: &Found) {
    safety(ctl, cx);
    for c in cx.seen.failed.iter() {
        if ctl.unit.state != UnitState::Stopped {
            ctl.raise(cx, Fault::InputFailed(c), 0);
        }
    }
    strokes_in_time(ctl, cx, &found.strokes);
    belt(ctl, cx);
    eyes(ctl, cx);
    bottles(ctl, cx, &found.track);
    if cx.seen.gap && ctl.unit.may_move() {
        ctl.raise(cx, Fault::SampleGap, 0);
    }
    let lane = cx.m.fitted.has(Contact::RejectFull) && cx.seen.is(Contact::RejectFull);
    if lane && ctl.unit.runs_head() {
        ctl.raise(cx, Fault::RejectFull, 0);
    }
}

/// Chain, guard, air, drive: lost unfiltered.
fn safety(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    let lost = cx.m.fitted.and(SAFETY).without(cx.seen.on);
    if lost.is_empty() {
        return;
    }
    if lost.has(Contact::Guard) || lost.has(Contact::Chain) {
        // Hands may have been inside.
        let inside = ctl.inside() > 0;
        ctl.unit.hands |= inside;
        if ctl.unit.state == UnitState::Stopped {
            ctl.unit.known = false;
        }
    }
    if lost.has(Contact::Chain) && !ctl.watch.is_latched(Fault::ChainOpen) {
        ctl.raise(cx, Fault::ChainOpen, 0);
    }
    // The guard may open while nothing can move; else it is as good as the chain.
    for (contact, fault) in [(Contact::Guard, Fault::GuardOpen), (Contact::Air, Fault::AirLow)] {
        let matters = contact == Contact::Air || ctl.unit.state != UnitState::Stopped;
        if lost.has(contact) && matters && fault.reaction(ctl.unit.state).is_some() {
            ctl.raise(cx, fault, 0);
        }
    }
    if lost.has(Contact::Drive) && ctl.unit.may_move() {
        ctl.raise(cx, Fault::DriveNotReady, 0);
    }
}

fn strokes_in_time(ctl: &mut Ctl, cx: &mut Cx<'_>, news: &strokes::News) {
    if news.overdue | news.lost == 0 {
        return;
    }
    for a in Actuator::ALL {
        let bit = a.bit();
        if news.overdue & bit != 0 {
            ctl.unit.failed |= bit;
            ctl.raise(cx, Fault::StrokeOverdue(a), ctl.was.pose(a) as i32);
        }
        if news.lost & bit != 0 {
            ctl.unit.failed |= bit;
            ctl.raise(cx, Fault::StrokeLost(a), ctl.was.pose(a) as i32);
        }
    }
}

fn belt(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    let news = cx.seen.belt_news;
    let matters = ctl.unit.may_move() || ctl.inside() > 0;
    if news.has(News::STARTED.or(News::STOPPED)) {
        ctl.track.blur(cx.s.slip_u, cx.m, cx.s);
    }
    if news.has(News::REVERSED) && matters {
        ctl.doubt(cx);
        ctl.raise(cx, Fault::BeltReversed, 0);
    }
    if news.has(News::JUMPED) && matters {
        ctl.doubt(cx);
        ctl.raise(cx, Fault::EncoderJump, 0);
    }
    let driven =
        if cx.m.ours { ctl.was.belt() } else { cx.m.fitted.has(Contact::LineBelt) && cx.seen.is(Contact::LineBelt) };
    if !cx.m.ours {
        if cx.seen.rising(Contact::LineBelt) {
            ctl.watch.grace = Deadline::after(cx.seen.now, cx.m.ramp.plus(cx.m.still));
        }
        ctl.watch.line_stopped = !ctl.belt.is_moving() && !driven;
    }
    let late = ctl.watch.grace.fire(cx.seen.now);
    let silent = driven && !ctl.belt.is_moving() && (late || news.has(News::STOPPED)) && !ctl.watch.grace.is_armed();
    if silent && matters {
        ctl.doubt(cx);
        ctl.raise(cx, Fault::BeltSilent, 0);
    }
}

/// Belt travel in the discharge eye that no bottle explains.
const fn discharge_travel(cx: &Cx<'_>) -> i32 {
    cx.s.body_max.saturating_add(cx.s.u_base).saturating_add(cx.s.body / 4)
}

/// The belt runs again: what stood in the discharge eye is given its travel to leave it.
pub(crate) fn look_again(ctl: &mut Ctl, cx: &Cx<'_>) {
    if core::mem::take(&mut ctl.watch.discharge_full) {
        ctl.watch.discharge = Place::at(cx.seen.belt.ahead(discharge_travel(cx)));
    }
}

/// Bodies that stand in an eye for longer than any bottle explains.
fn eyes(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    let in_eye = cx.seen.is(Contact::ReleaseEye);
    if !in_eye {
        ctl.feed.long = Place::NOWHERE;
        ctl.feed.jam = Place::NOWHERE;
    }
    // What came into the eye before the head ran was not registered; it is given the travel of any body to leave.
    let watched = ctl.feed.jam.is_armed() || ctl.feed.stray.is_armed();
    if in_eye && !watched && ctl.unit.runs_feed() {
        ctl.feed.jam = Place::at(cx.seen.belt.ahead(cx.s.jam));
    }
    if ctl.feed.long.fire(cx.seen.belt) {
        if let Some(b) = ctl.track.newest_inbound() {
            track::Track::flag(b, Why::OverLong, &mut cx.tell);
        } else if let Some(b) = ctl.track.at_head() {
            track::Track::flag(b, Why::OverLong, &mut cx.tell);
        }
    }
    if ctl.feed.jam.fire(cx.seen.belt) {
        ctl.doubt(cx);
        ctl.raise(cx, Fault::Jam, 0);
    }
    if cx.seen.rising(Contact::DischargeEye) {
        ctl.watch.discharge = Place::at(cx.seen.at.discharge.spot().ahead(discharge_travel(cx)));
    }
    if !cx.seen.is(Contact::DischargeEye) {
        ctl.watch.discharge = Place::NOWHERE;
        ctl.watch.discharge_full = false;
    }
    if ctl.watch.discharge.fire(cx.seen.belt) {
        ctl.watch.discharge_full = true;
    }
}

fn bottles(ctl: &mut Ctl, cx: &mut Cx<'_>, news: &track::News) {
    if !ctl.unit.runs_head() {
        return;
    }
    if news.overstay {
        ctl.raise(cx, Fault::Overstay, 0);
    }
    if news.stray_discharge {
        ctl.raise(cx, Fault::StrayDischarge, 0);
    }
    if news.unverified {
        ctl.raise(cx, Fault::RejectUnverified, 0);
    }
}
