//! The head, from catch to let-go: Vacant → Incoming → Catch → Seat → Engage → Tighten → Disengage → Lift → LetGo →
//! Leaving → Vacant.
//!
//! Everything special to catching a bottle on the fly is here. Each step begins when the last is confirmed; what a step
//! wants of the actuators is [`poses`], whether it may have it is the guard's.

use crate::act::Wanted;
use crate::decide::{Ctl, Cx, HeadStep};
use crate::event::{EventKind, Why};
use crate::fault::Fault;
use crate::io::{Actuator, Contact};
use crate::lead;
use crate::local::{Deadline, Moves, Place, Shift, Span, Spot, shift_all};
use crate::product::{CapPolicy, Tightening};
use crate::sense::belt::News;
use crate::sense::strokes::At;
use crate::track::{Cap, Track};
use crate::unit::Mode;
use crate::units::Rate;

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
#[repr(C)]
pub(crate) struct Head {
    pub(crate) step: HeadStep,
    /// Second half of a step: its pause, or its return stroke.
    second: bool,
    /// The bottle was gripped, not just missed.
    gripped: bool,
    early_now: bool,
    /// The belt is stopped for that.
    pub(crate) stop_belt: bool,
    /// A head step was already repeated for this bottle.
    pub(crate) retried: bool,
    /// Failed bottles in a row.
    misses: u8,
    /// Maintenance: a dry cycle runs.
    pub(crate) dry: bool,
    /// Maintenance: the bottle was placed by hand; steps come one by one.
    pub(crate) by_hand: bool,
    /// Maintenance: the next step is asked for.
    pub(crate) step_asked: bool,
    /// End of a pause, of the spin, or of the torque window.
    pub(crate) dwell: Deadline,
    /// Incoming: where the catch is to be ordered.
    pub(crate) order: Place,
    /// Catch: when contact is predicted.
    pub(crate) contact_at: Deadline,
    /// Tighten: when spin was ordered.
    spin_from: Deadline,
    /// LetGo: belt position at which the opening jaw frees the bottle.
    freed: Place,
    /// Leaving: where the bottle has left.
    pub(crate) leave: Place,
    /// Early release: when the next may be let go, and whether that has come.
    pub(crate) early: Deadline,
    /// Early release: where a newcomer must be stopped while the head is busy.
    pub(crate) last_stop: Place,
}

impl Head {
    /// Nothing is known of the head any more.
    pub(crate) fn forget(&mut self) {
        let misses = self.misses;
        *self = Self { misses, ..Self::default() };
    }

    pub(crate) const fn is_busy(&self) -> bool {
        !matches!(self.step, HeadStep::Vacant | HeadStep::Incoming | HeadStep::Leaving)
    }

    /// At rest: nothing moves until somebody outside does something.
    pub(crate) const fn is_at_rest(&self) -> bool {
        matches!(self.step, HeadStep::Vacant) || self.is_waiting_to_let_go()
    }

    pub(crate) const fn is_waiting_to_let_go(&self) -> bool {
        matches!(self.step, HeadStep::LetGo) && !self.second
    }
}

impl Moves for Head {
    fn shift(&mut self, by: Shift) {
        let Self { dwell, contact_at, spin_from, early, order, freed, leave, last_stop, .. } = self;
        shift_all(&mut [dwell, contact_at, spin_from, early, order, freed, leave, last_stop], by);
    }
}

/// What each step wants of the head's actuators.
pub(crate) const fn poses(head: &Head, asked: &mut Wanted) {
    use HeadStep as S;
    const GRIP: u8 = Actuator::Grip.bit();
    const PLUNGER: u8 = GRIP | Actuator::Plunger.bit();
    const ROLLERS: u8 = PLUNGER | Actuator::Rollers.bit();
    let work = match head.step {
        S::Vacant | S::Incoming | S::Leaving => 0,
        S::Catch | S::Lift => GRIP,
        S::Seat => PLUNGER,
        S::Engage | S::Tighten => ROLLERS,
        S::Disengage if head.second => PLUNGER,
        S::Disengage => ROLLERS,
        S::LetGo if head.second => 0,
        S::LetGo => GRIP,
    };
    asked.set_all(ROLLERS, work);
    asked.set_spin(matches!(head.step, S::Tighten));
}

/// Whether the head can take a bottle that is let go now (R6).
pub(crate) fn is_ready(ctl: &Ctl) -> bool {
    let free = match ctl.head.step {
        HeadStep::Vacant | HeadStep::Leaving => ctl.strokes.is_home(Actuator::Grip),
        HeadStep::Incoming => false,
        _ => ctl.head.early_now,
    };
    free && !ctl.track.has_inbound()
}

/// Whether ordering the grip now would bring its contact within the capture (R8).
pub(crate) fn in_catch_window(ctl: &mut Ctl, cx: &Cx<'_>) -> bool {
    if ctl.head.step != HeadStep::Catch {
        return false;
    }
    let rate = rate(ctl, cx);
    let belt = cx.seen.belt;
    match ctl.track.at_head() {
        Some(b) => {
            let off = belt.ahead(lead::lead(rate, cx.m, Actuator::Grip)).minus(b.mark);
            captures(off, b.u, cx.s.capture)
        }
        None => false,
    }
}

const fn captures(off: i32, u: i32, capture: i32) -> bool {
    off.saturating_abs().saturating_add(u) <= capture
}

/// One pass; `true` if the step changed.
#[inline(never)]
pub(crate) fn run(ctl: &mut Ctl, cx: &mut Cx<'_>) -> bool {
    watch_last_stop(ctl, cx);
    if ctl.head.early.fire(cx.seen.now) {
        ctl.head.early_now = true;
    }
    let before = (ctl.head.step, ctl.head.second);
    match ctl.head.step {
        HeadStep::Vacant => vacant(ctl, cx),
        HeadStep::Incoming => incoming(ctl, cx),
        HeadStep::Catch => catch(ctl, cx),
        HeadStep::Seat => seat(ctl, cx),
        HeadStep::Engage => engage(ctl, cx),
        HeadStep::Tighten => tighten(ctl, cx),
        HeadStep::Disengage => disengage(ctl, cx),
        HeadStep::Lift => {
            if ctl.strokes.is_home(Actuator::Plunger) && step_granted(ctl) {
                enter(ctl, cx, HeadStep::LetGo);
            }
        }
        HeadStep::LetGo => let_go(ctl, cx),
        HeadStep::Leaving => {
            if ctl.head.leave.fire(cx.seen.belt) {
                enter(ctl, cx, HeadStep::Vacant);
            }
        }
    }
    before != (ctl.head.step, ctl.head.second)
}

fn enter(ctl: &mut Ctl, cx: &mut Cx<'_>, step: HeadStep) {
    ctl.head.step = step;
    ctl.head.second = false;
    ctl.head.dwell = Deadline::NEVER;
    ctl.head.order = Place::NOWHERE;
    ctl.head.contact_at = Deadline::NEVER;
    ctl.head.spin_from = Deadline::NEVER;
    ctl.head.freed = Place::NOWHERE;
    if matches!(step, HeadStep::Leaving | HeadStep::Vacant) {
        ctl.head.early = Deadline::NEVER;
        ctl.head.early_now = false;
        ctl.head.retried = false;
        ctl.head.stop_belt = false;
        ctl.head.last_stop = Place::NOWHERE;
    }
    ctl.progress(cx.seen.now, cx.m);
    cx.tell.say(EventKind::Head, Why::Plain, step as u16, 0);
}

/// Maintenance: whether the step asked for by hand may be taken. Otherwise always.
fn step_granted(ctl: &mut Ctl) -> bool {
    if !ctl.head.by_hand {
        return true;
    }
    core::mem::take(&mut ctl.head.step_asked)
}

#[inline(never)]
fn flag(ctl: &mut Ctl, cx: &mut Cx<'_>, why: Why) {
    if let Some(b) = ctl.track.at_head() {
        Track::flag(b, why, &mut cx.tell);
    }
}

fn vacant(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    if ctl.unit.mode == Mode::Maintenance {
        let asked = core::mem::take(&mut ctl.head.step_asked);
        if ctl.head.dry || asked {
            ctl.head.by_hand = !ctl.head.dry;
            enter(ctl, cx, HeadStep::Catch);
        }
    } else if ctl.track.has_inbound() {
        enter(ctl, cx, HeadStep::Incoming);
    }
}

/// Speed for a lead: as sampled, and as it changes; as set, until the first sample after the belt starts; nothing while it
/// stands.
fn rate(ctl: &Ctl, cx: &Cx<'_>) -> Rate {
    let sampled = ctl.belt.rate_ahead(cx.s.windows_ahead);
    if sampled == Rate::ZERO && ctl.belt.is_moving() { cx.s.rate } else { sampled }
}

fn incoming(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    let Some(b) = ctl.track.inbound() else {
        enter(ctl, cx, HeadStep::Vacant);
        return;
    };
    if !ctl.belt.is_moving() {
        // On a belt that stands nothing comes due; where it will be at the contact is not known before it runs.
        ctl.head.order = Place::NOWHERE;
        return;
    }
    let (mark, u, flagged, cap) = (b.mark, b.u, b.flag != Why::Plain, b.cap);
    let lead = lead::lead(rate(ctl, cx), cx.m, Actuator::Grip);
    let place = mark.ahead(cx.s.catch_early.saturating_add(lead).saturating_neg());
    ctl.head.order = Place::at(place);
    if !ctl.head.order.fire(cx.seen.belt) {
        return;
    }
    let off = cx.seen.belt.ahead(lead).minus(mark);
    let why = if flagged {
        None
    } else if cap == Cap::Absent {
        Some(Why::NoCap)
    } else if u > cx.s.capture {
        Some(Why::Uncertain)
    } else if !captures(off, u, cx.s.capture) {
        Some(Why::Missed)
    } else {
        order_catch(ctl, cx, place);
        return;
    };
    if let (Some(why), Some(b)) = (why, ctl.track.inbound_mut()) {
        Track::flag(b, why, &mut cx.tell);
    }
    let misses = matches!(why, Some(Why::Missed | Why::NoCap));
    pass(ctl, cx, mark, misses);
}

fn order_catch(ctl: &mut Ctl, cx: &mut Cx<'_>, place: Spot) {
    ctl.track.catch();
    let late = cx.seen.belt.minus(place);
    cx.book.order_late_max = cx.book.order_late_max.max(late);
    enter(ctl, cx, HeadStep::Catch);
    let stroke = Span::from_micros(cx.m.stroke(Actuator::Grip).out());
    ctl.head.contact_at = Deadline::after(cx.seen.now, stroke);
    cx.tell.say(EventKind::CatchOrdered, Why::Plain, 0, late);
}

/// The bottle coming (or not caught) rides on, to be rejected.
fn pass(ctl: &mut Ctl, cx: &mut Cx<'_>, mark: Spot, miss: bool) {
    ctl.track.pass(cx.m, cx.s);
    enter(ctl, cx, HeadStep::Leaving);
    ctl.head.leave = Place::at(mark.ahead(cx.s.leave));
    if miss {
        count_miss(ctl, cx);
    }
}

fn count_miss(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    ctl.head.misses = ctl.head.misses.saturating_add(1);
    if ctl.head.misses >= cx.s.misses_to_hold {
        let n = i32::from(ctl.head.misses);
        ctl.head.misses = 0;
        ctl.raise(cx, Fault::MissesInARow, n);
    }
}

fn catch(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    match ctl.strokes.at(Actuator::Grip) {
        At::Work => {
            caught(ctl, cx);
            return;
        }
        At::Over if ctl.head.dry => {
            if step_granted(ctl) {
                enter(ctl, cx, HeadStep::Seat);
            }
            return;
        }
        At::Over => {
            flag(ctl, cx, Why::GripEmpty);
            enter(ctl, cx, HeadStep::LetGo);
            return;
        }
        At::Unknown | At::Home | At::ToHome | At::ToWork => {}
    }
    if ctl.head.contact_at.fire(cx.seen.now) || !ctl.head.contact_at.is_armed() {
        return;
    }
    if cx.seen.belt_news.has(News::SAMPLED.or(News::STOPPED)) || cx.seen.falling(Contact::ReleaseEye) {
        recheck(ctl, cx);
    }
}

/// Between order and contact: where will the bottle be? Outside the capture, the grip goes back.
fn recheck(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    let left = ctl.head.contact_at.time().since(cx.seen.now).as_micros();
    let ahead = rate(ctl, cx).travel(left);
    let Some(b) = ctl.track.at_head() else { return };
    let off = cx.seen.belt.ahead(ahead).minus(b.mark);
    let why = if b.flag != Why::Plain {
        b.flag
    } else if !captures(off, b.u, cx.s.capture) {
        Why::Missed
    } else {
        return;
    };
    flag(ctl, cx, why);
    enter(ctl, cx, HeadStep::LetGo);
    ctl.head.second = true;
}

fn caught(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    if !step_granted(ctl) {
        return;
    }
    // How long ago it closed: its contact's filter, or the margin that was waited out where none is wired.
    let fitted = cx.m.fitted.has(Contact::GripWork);
    let waited = cx.m.stroke(Actuator::Grip).margin;
    let ago = if fitted { cx.m.contact_filter.as_micros() } else { waited };
    let belt = cx.seen.belt.ahead(rate(ctl, cx).travel(ago).saturating_neg());
    let mut error = 0;
    if let Some(b) = ctl.track.at_head() {
        let off = belt.minus(b.mark);
        if !captures(off, b.u, cx.s.capture) {
            // It closed late, after a fault: what it holds is not where a bottle is held.
            Track::flag(b, Why::Missed, &mut cx.tell);
            enter(ctl, cx, HeadStep::LetGo);
            return;
        }
        error = off;
        b.u = 0;
    }
    ctl.head.gripped = true;
    enter(ctl, cx, HeadStep::Seat);
    if let Some(after) = cx.s.early {
        ctl.head.early = Deadline::after(cx.seen.now, after);
    }
    cx.tell.say(EventKind::Caught, Why::Plain, 0, error);
}

fn seat(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    if ctl.head.second {
        let over = ctl.head.dwell.fire(cx.seen.now) || !ctl.head.dwell.is_armed();
        if over && step_granted(ctl) {
            enter(ctl, cx, HeadStep::Engage);
        }
        return;
    }
    if ctl.strokes.at(Actuator::Grip) == At::Over && !ctl.head.dry {
        flag(ctl, cx, Why::GripEmpty);
        enter(ctl, cx, HeadStep::Lift);
        return;
    }
    let there = match ctl.strokes.at(Actuator::Plunger) {
        At::Work => true,
        At::Over if ctl.head.dry => true,
        At::Over => {
            flag(ctl, cx, Why::NoCap);
            enter(ctl, cx, HeadStep::Lift);
            return;
        }
        At::Unknown | At::Home | At::ToHome | At::ToWork => false,
    };
    if !there {
        return;
    }
    let denied = cx.s.cap == CapPolicy::AtHead && !cx.seen.is(Contact::Cap) && !ctl.head.dry;
    if denied {
        flag(ctl, cx, Why::NoCap);
        enter(ctl, cx, HeadStep::Lift);
        return;
    }
    ctl.head.second = true;
    ctl.head.dwell = Deadline::after(cx.seen.now, cx.s.seat_dwell);
}

fn engage(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    if ctl.head.second {
        if ctl.head.dwell.fire(cx.seen.now) || !ctl.head.dwell.is_armed() {
            let spins = !matches!(cx.s.tighten, Tightening::SeatOnly(_));
            if step_granted(ctl) {
                if spins {
                    begin_spin(ctl, cx);
                } else {
                    enter(ctl, cx, HeadStep::Disengage);
                }
            }
        }
        return;
    }
    if ctl.strokes.at(Actuator::Plunger) == At::Over && !ctl.head.dry {
        // The closure went from under it: the interlock keeps the rollers back, and no stroke would ever end this step.
        flag(ctl, cx, Why::NoCap);
        enter(ctl, cx, HeadStep::Disengage);
        return;
    }
    match ctl.strokes.at(Actuator::Rollers) {
        At::Work => {}
        At::Over if ctl.head.dry => {}
        At::Over => {
            flag(ctl, cx, Why::NoCap);
            enter(ctl, cx, HeadStep::Disengage);
            return;
        }
        At::Unknown | At::Home | At::ToHome | At::ToWork => return,
    }
    let pause = match cx.s.tighten {
        Tightening::SeatOnly(hold) => hold,
        Tightening::Turns(_) | Tightening::Torque { .. } => cx.s.engage_dwell,
    };
    ctl.head.second = true;
    ctl.head.dwell = Deadline::after(cx.seen.now, pause);
}

fn begin_spin(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    let limit = match cx.s.tighten {
        Tightening::Turns(time) => time,
        Tightening::Torque { latest, .. } => latest,
        Tightening::SeatOnly(_) => Span::ZERO,
    };
    enter(ctl, cx, HeadStep::Tighten);
    ctl.head.spin_from = Deadline::at(cx.seen.now);
    ctl.head.dwell = Deadline::after(cx.seen.now, limit);
}

fn tighten(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    let spun = cx.seen.now.since(ctl.head.spin_from.time());
    let over = ctl.head.dwell.fire(cx.seen.now);
    let why =
        match cx.s.tighten {
            Tightening::Torque { earliest, .. } if cx.seen.rising(Contact::Torque) && !ctl.head.dry => {
                if spun < earliest { Why::TorqueEarly } else { Why::Plain }
            }
            Tightening::Torque { .. } if over && !ctl.head.dry => Why::TorqueLate,
            Tightening::Torque { .. } | Tightening::Turns(_) | Tightening::SeatOnly(_) if over => Why::Plain,
            Tightening::Torque { .. } | Tightening::Turns(_) | Tightening::SeatOnly(_) => return,
        };
    let us = i32::try_from(spun.as_micros()).unwrap_or(i32::MAX);
    cx.tell.say(EventKind::Tightened, why, 0, us);
    if why != Why::Plain {
        flag(ctl, cx, why);
    }
    enter(ctl, cx, HeadStep::Disengage);
}

fn disengage(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    if !ctl.head.second {
        if !ctl.head.dwell.is_armed() {
            ctl.head.dwell = Deadline::after(cx.seen.now, cx.s.disengage_dwell);
        }
        if ctl.head.dwell.fire(cx.seen.now) {
            ctl.head.second = true;
        }
        return;
    }
    if ctl.strokes.is_home(Actuator::Rollers) && step_granted(ctl) {
        enter(ctl, cx, HeadStep::Lift);
    }
}

fn let_go(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    if !ctl.head.second {
        if ctl.may_let_go(cx) && step_granted(ctl) {
            ctl.head.second = true;
            let latency = cx.m.stroke(Actuator::Grip).latency;
            let rate = if ctl.belt.is_moving() { cx.s.rate } else { Rate::ZERO };
            ctl.head.freed = Place::at(cx.seen.belt.ahead(rate.travel(latency)));
        }
        return;
    }
    if !ctl.strokes.is_home(Actuator::Grip) {
        return;
    }
    if ctl.head.dry || ctl.head.by_hand {
        ctl.head.dry = false;
        ctl.head.by_hand = false;
        ctl.head.gripped = false;
        enter(ctl, cx, HeadStep::Vacant);
        return;
    }
    let stopped = ctl.head.stop_belt;
    if stopped {
        ctl.track.blur(cx.s.slip_u, cx.m, cx.s);
    }
    let flag = ctl.track.at_head().map(|b| b.flag);
    let miss = matches!(flag, Some(Why::NoCap | Why::GripEmpty | Why::Missed | Why::TorqueEarly | Why::TorqueLate));
    if core::mem::take(&mut ctl.head.gripped) {
        // A belt that stops for a newcomer while the jaw opens has carried it on until then.
        let at = if ctl.head.freed.is_due(cx.seen.belt) { ctl.head.freed.spot() } else { cx.seen.belt };
        let mark = at.ahead(cx.s.slip);
        ctl.track.let_go(mark, cx.m, cx.s);
        enter(ctl, cx, HeadStep::Leaving);
        ctl.head.leave = Place::at(mark.ahead(cx.s.leave));
        if miss {
            count_miss(ctl, cx);
        } else {
            ctl.head.misses = 0;
        }
    } else {
        let mark = ctl.track.at_head().map_or(cx.seen.belt, |b| b.mark);
        pass(ctl, cx, mark, miss);
    }
}

/// Early release: while the head is busy, a newcomer is watched against its last-stop mark.
fn watch_last_stop(ctl: &mut Ctl, cx: &Cx<'_>) {
    if !ctl.head.is_busy() {
        return;
    }
    let Some(b) = ctl.track.inbound() else { return };
    if ctl.head.stop_belt {
        return;
    }
    let x = lead::last_stop(cx.s.stop, b.u, cx.m).saturating_sub(cx.s.body_max / 2);
    ctl.head.last_stop = Place::at(b.mark.ahead(x));
    if ctl.head.last_stop.fire(cx.seen.belt) {
        ctl.head.stop_belt = true;
    }
}

/// Unhold: a head step that was broken off is awaited once more; else the head retreats, and the bottle is rejected.
pub(crate) fn resume(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    use HeadStep as S;
    let again = match ctl.head.step {
        S::Catch | S::Seat | S::Engage => !ctl.head.retried,
        S::Tighten => false,
        S::Vacant | S::Incoming | S::Disengage | S::Lift | S::LetGo | S::Leaving => true,
    };
    if !again {
        flag(ctl, cx, Why::Interrupted);
        ctl.head.early = Deadline::NEVER;
        let to = match ctl.head.step {
            S::Catch => S::LetGo,
            S::Seat => S::Lift,
            _ => S::Disengage,
        };
        enter(ctl, cx, to);
    } else if matches!(ctl.head.step, S::Catch | S::Seat | S::Engage) {
        ctl.head.retried = true;
    }
    ctl.strokes.ordered(ctl.strokes.unknown(), ctl.was, &cx.seen, cx.m);
}
