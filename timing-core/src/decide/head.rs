//! The head, from catch to let-go: Vacant → Incoming → Catch → Seat → Engage → Tighten → Disengage → Lift → LetGo →
//! Leaving → Vacant.
//!
//! Everything special to catching a bottle on the fly is here. Each step begins when the last is confirmed; what a step
//! wants of the actuators is [`poses`], whether it may have it is the guard's.

use crate::act::Wanted;
use crate::decide::{Ctl, Cx, HeadStep};
use crate::event::{EventKind, Why};
use crate::fault::Fault;
use crate::io::{Actuator, Contact, Pose};
use crate::lead;
use crate::product::{CapPolicy, Tighten};
use crate::sense::strokes::At;
use crate::track::{Cap, Stage, Track};
use crate::unit::Mode;
use crate::units::{Counts, Deadline, Duration, Place, Rate};

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub(crate) struct Head {
    pub(crate) step: HeadStep,
    /// Second half of a step: its pause, or its return stroke.
    second: bool,
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
    /// The bottle was gripped, not just missed.
    gripped: bool,
    /// Early release: when the next may be let go, and whether that has come.
    pub(crate) early: Deadline,
    early_now: bool,
    /// Early release: where a newcomer must be stopped while the head is busy.
    pub(crate) last_stop: Place,
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

    pub(crate) fn rebase(&mut self, dt: i64, dp: i64) {
        for d in [&mut self.dwell, &mut self.contact_at, &mut self.spin_from, &mut self.early] {
            *d = d.rebased(dt);
        }
        for p in [&mut self.order, &mut self.freed, &mut self.leave, &mut self.last_stop] {
            *p = p.rebased(dp);
        }
    }
}

/// What each step wants of the head's actuators.
pub(crate) fn poses(head: &Head, asked: &mut Wanted) {
    use HeadStep as S;
    let (grip, plunger, rollers) = match head.step {
        S::Vacant | S::Incoming | S::Leaving => (false, false, false),
        S::Catch => (true, false, false),
        S::Seat => (true, true, false),
        S::Engage | S::Tighten => (true, true, true),
        S::Disengage => (true, true, !head.second),
        S::Lift => (true, false, false),
        S::LetGo => (!head.second, false, false),
    };
    for (a, work) in [(Actuator::Grip, grip), (Actuator::Plunger, plunger), (Actuator::Rollers, rollers)] {
        asked.set(a, if work { Pose::Work } else { Pose::Home });
    }
    asked.spin = matches!(head.step, S::Tighten);
}

/// Whether the head can take a bottle that is let go now (R6).
pub(crate) fn is_ready(ctl: &Ctl) -> bool {
    let free = match ctl.head.step {
        HeadStep::Vacant | HeadStep::Leaving => ctl.strokes.is(Actuator::Grip, At::Home),
        HeadStep::Incoming => false,
        _ => ctl.head.early_now,
    };
    free && ctl.track.inbound().is_none()
}

/// Whether ordering the grip now would bring its contact within the capture (R8).
pub(crate) fn in_catch_window(ctl: &mut Ctl, cx: &Cx<'_, '_>) -> bool {
    if ctl.head.step != HeadStep::Catch {
        return false;
    }
    let rate = rate(ctl, cx);
    let belt = cx.seen.belt;
    match ctl.track.at_head() {
        Some(b) => {
            let off = belt.ahead(lead::lead(rate, cx.m, Actuator::Grip)).minus(b.mark).get();
            captures(off, b.u, cx.s.capture)
        }
        None => false,
    }
}

fn captures(off: i64, u: i32, capture: i32) -> bool {
    off.saturating_abs().saturating_add(i64::from(u)) <= i64::from(capture)
}

/// One pass; `true` if the step changed.
pub(crate) fn run(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) -> bool {
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
            if ctl.strokes.is(Actuator::Plunger, At::Home) && step_granted(ctl) {
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

fn enter(ctl: &mut Ctl, cx: &mut Cx<'_, '_>, step: HeadStep) {
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

fn flag(ctl: &mut Ctl, cx: &mut Cx<'_, '_>, why: Why) {
    if let Some(b) = ctl.track.at_head() {
        Track::flag(b, why, cx.tell);
    }
}

fn vacant(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    if ctl.unit.mode == Mode::Maintenance {
        let asked = core::mem::take(&mut ctl.head.step_asked);
        if ctl.head.dry || asked {
            ctl.head.by_hand = !ctl.head.dry;
            enter(ctl, cx, HeadStep::Catch);
        }
    } else if ctl.track.inbound().is_some() {
        enter(ctl, cx, HeadStep::Incoming);
    }
}

/// Speed for a lead: as sampled, and as it changes; nothing while the belt stands.
fn rate(ctl: &Ctl, cx: &Cx<'_, '_>) -> Rate {
    ctl.belt.rate_ahead(cx.s.windows_ahead)
}

fn incoming(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    let Some(b) = ctl.track.inbound() else {
        enter(ctl, cx, HeadStep::Vacant);
        return;
    };
    let (mark, u, flagged, cap) = (b.mark, b.u, b.flag != Why::Plain, b.cap);
    let lead = lead::lead(rate(ctl, cx), cx.m, Actuator::Grip);
    let place = mark.ahead(cx.s.catch_early.saturating_add(lead).saturating_neg());
    ctl.head.order = Place::at(place);
    if !ctl.head.order.fire(cx.seen.belt) {
        return;
    }
    let off = cx.seen.belt.ahead(lead).minus(mark).get();
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
        Track::flag(b, why, cx.tell);
    }
    let misses = matches!(why, Some(Why::Missed | Why::NoCap));
    pass(ctl, cx, mark, misses);
}

fn order_catch(ctl: &mut Ctl, cx: &mut Cx<'_, '_>, place: Counts) {
    if let Some(b) = ctl.track.inbound_mut() {
        b.stage = Stage::AtHead;
    }
    let late = i32::try_from(cx.seen.belt.minus(place).get()).unwrap_or(i32::MAX);
    cx.book.order_late_max = cx.book.order_late_max.max(late);
    enter(ctl, cx, HeadStep::Catch);
    let row = cx.m.strokes.get(Actuator::Grip.index());
    let stroke = row.map_or(0, |r| r.latency.saturating_add(r.to_work));
    ctl.head.contact_at = Deadline::after(cx.seen.now, Duration::from_micros(u64::from(stroke)));
    cx.tell.say(EventKind::CatchOrdered, Why::Plain, 0, late);
}

/// The bottle coming (or not caught) rides on, to be rejected.
fn pass(ctl: &mut Ctl, cx: &mut Cx<'_, '_>, mark: Counts, miss: bool) {
    ctl.track.pass(cx.m, cx.s);
    enter(ctl, cx, HeadStep::Leaving);
    ctl.head.leave = Place::at(mark.ahead(cx.s.leave));
    if miss {
        count_miss(ctl, cx);
    }
}

fn count_miss(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    ctl.head.misses = ctl.head.misses.saturating_add(1);
    if ctl.head.misses >= cx.s.misses_to_hold {
        let n = i32::from(ctl.head.misses);
        ctl.head.misses = 0;
        ctl.raise(cx, Fault::MissesInARow, n);
    }
}

fn catch(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
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
    if cx.seen.belt_news.sampled || cx.seen.belt_news.stopped || cx.seen.falling(Contact::ReleaseEye) {
        recheck(ctl, cx);
    }
}

/// Between order and contact: where will the bottle be? Outside the capture, the grip goes back.
fn recheck(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    let left = ctl.head.contact_at.instant().since(cx.seen.now).as_micros_u32();
    let ahead = rate(ctl, cx).travel(left);
    let Some(b) = ctl.track.at_head() else { return };
    let off = cx.seen.belt.ahead(ahead).minus(b.mark).get();
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

fn caught(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    if !step_granted(ctl) {
        return;
    }
    // How long ago it closed: its contact's filter, or the margin that was waited out where none is wired.
    let fitted = cx.m.fitted.has(Contact::GripWork);
    let waited = cx.m.strokes.get(Actuator::Grip.index()).map_or(0, |r| r.margin);
    let ago = if fitted { cx.m.contact_filter.as_micros_u32() } else { waited };
    let belt = cx.seen.belt.ahead(rate(ctl, cx).travel(ago).saturating_neg());
    let mut error = 0;
    if let Some(b) = ctl.track.at_head() {
        let off = belt.minus(b.mark).get();
        if !captures(off, b.u, cx.s.capture) {
            // It closed late, after a fault: what it holds is not where a bottle is held.
            Track::flag(b, Why::Missed, cx.tell);
            enter(ctl, cx, HeadStep::LetGo);
            return;
        }
        error = i32::try_from(off).unwrap_or(i32::MAX);
        b.u = 0;
    }
    ctl.head.gripped = true;
    enter(ctl, cx, HeadStep::Seat);
    if let Some(after) = cx.s.early {
        ctl.head.early = Deadline::after(cx.seen.now, after);
    }
    cx.tell.say(EventKind::Caught, Why::Plain, 0, error);
}

fn seat(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    if ctl.head.second {
        let over = ctl.head.dwell.fire(cx.seen.now) || !ctl.head.dwell.is_armed();
        if over && step_granted(ctl) {
            enter(ctl, cx, HeadStep::Engage);
        }
        return;
    }
    if ctl.strokes.is(Actuator::Grip, At::Over) && !ctl.head.dry {
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

fn engage(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    if ctl.head.second {
        if ctl.head.dwell.fire(cx.seen.now) || !ctl.head.dwell.is_armed() {
            let spins = !matches!(cx.s.tighten, Tighten::SeatOnly(_));
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
    if ctl.strokes.is(Actuator::Plunger, At::Over) && !ctl.head.dry {
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
        Tighten::SeatOnly(hold) => hold,
        Tighten::Turns(_) | Tighten::Torque { .. } => cx.s.engage_dwell,
    };
    ctl.head.second = true;
    ctl.head.dwell = Deadline::after(cx.seen.now, pause);
}

fn begin_spin(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    let limit = match cx.s.tighten {
        Tighten::Turns(time) => time,
        Tighten::Torque { latest, .. } => latest,
        Tighten::SeatOnly(_) => Duration::ZERO,
    };
    enter(ctl, cx, HeadStep::Tighten);
    ctl.head.spin_from = Deadline::at(cx.seen.now);
    ctl.head.dwell = Deadline::after(cx.seen.now, limit);
}

fn tighten(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    let spun = cx.seen.now.since(ctl.head.spin_from.instant());
    let over = ctl.head.dwell.fire(cx.seen.now);
    let why = match cx.s.tighten {
        Tighten::Torque { earliest, .. } if cx.seen.rising(Contact::Torque) && !ctl.head.dry => {
            if spun < earliest {
                Why::TorqueEarly
            } else {
                Why::Plain
            }
        }
        Tighten::Torque { .. } if over && !ctl.head.dry => Why::TorqueLate,
        Tighten::Torque { .. } | Tighten::Turns(_) | Tighten::SeatOnly(_) if over => Why::Plain,
        Tighten::Torque { .. } | Tighten::Turns(_) | Tighten::SeatOnly(_) => return,
    };
    let us = i32::try_from(spun.as_micros()).unwrap_or(i32::MAX);
    cx.tell.say(EventKind::Tightened, why, 0, us);
    if why != Why::Plain {
        flag(ctl, cx, why);
    }
    enter(ctl, cx, HeadStep::Disengage);
}

fn disengage(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    if !ctl.head.second {
        if !ctl.head.dwell.is_armed() {
            ctl.head.dwell = Deadline::after(cx.seen.now, cx.s.disengage_dwell);
        }
        if ctl.head.dwell.fire(cx.seen.now) {
            ctl.head.second = true;
        }
        return;
    }
    if ctl.strokes.is(Actuator::Rollers, At::Home) && step_granted(ctl) {
        enter(ctl, cx, HeadStep::Lift);
    }
}

fn let_go(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    if !ctl.head.second {
        if ctl.may_let_go(cx) && step_granted(ctl) {
            ctl.head.second = true;
            let latency = cx.m.strokes.get(Actuator::Grip.index()).map_or(0, |r| r.latency);
            let rate = if ctl.belt.is_moving() { cx.s.rate } else { Rate::ZERO };
            ctl.head.freed = Place::at(cx.seen.belt.ahead(rate.travel(latency)));
        }
        return;
    }
    if !ctl.strokes.is(Actuator::Grip, At::Home) {
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
        let at = if ctl.head.freed.is_due(cx.seen.belt) && !stopped { ctl.head.freed.counts() } else { cx.seen.belt };
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
fn watch_last_stop(ctl: &mut Ctl, cx: &Cx<'_, '_>) {
    if !ctl.head.is_busy() {
        return;
    }
    let Some(b) = ctl.track.inbound() else { return };
    if ctl.head.stop_belt {
        return;
    }
    let x = lead::last_stop(cx.s.stop, b.u, cx.m).saturating_sub(i64::from(cx.s.body_max / 2));
    ctl.head.last_stop = Place::at(b.mark.plus(Counts::new(x)));
    if ctl.head.last_stop.fire(cx.seen.belt) {
        ctl.head.stop_belt = true;
    }
}

/// Unhold: a head step that was broken off is awaited once more; else the head retreats, and the bottle is rejected.
pub(crate) fn resume(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
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
    for a in Actuator::ALL {
        let pose = ctl.was.pose(a);
        ctl.strokes.await_again(a, pose, cx.seen.now, cx.seen.on, cx.m);
    }
}
