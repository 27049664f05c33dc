//! The unit's course: what each acting state does, when it is complete, and what makes Execute suspend.

use crate::act::Wanted;
use crate::decide::{Ctl, Cx, FeedStep, HeadStep, feed, head, is_downstream_ready, outfeed_full};
use crate::event::{Event, Why};
use crate::fault::Fault;
use crate::io::{Actuator, Contact, Pose};
use crate::machine::Machine;
use crate::sense::strokes::At;
use crate::unit::{Mode, UnitState, on_complete};
use crate::units::{Deadline, Place};
use crate::watch;

/// What an acting state is at.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub(crate) enum Phase {
    /// Not begun.
    #[default]
    Begin,
    /// The beacon warns.
    Warn,
    /// Actuators go home in safe order.
    Home,
    /// The belt carries off whatever is between release gate and diverter.
    Flush,
    /// Bottles inside are finished.
    Finish,
    /// The belt comes to rest.
    Rest,
    /// Nothing more to do.
    Done,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub(crate) struct Unit {
    pub(crate) state: UnitState,
    pub(crate) mode: Mode,
    /// Why it is suspended, or why it left Execute.
    pub(crate) why: Why,
    pub(crate) phase: Phase,
    pub(crate) warn: Deadline,
    /// Bound of an acting state.
    pub(crate) bound: Deadline,
    /// Suspended: when the cause will have been gone for its clear time.
    pub(crate) clear: Deadline,
    /// Every actuator was brought home since energy was lost.
    pub(crate) homed: bool,
    /// Whatever was inside has been flushed since the history was lost.
    pub(crate) known: bool,
    pub(crate) flush: Place,
    /// Bodies seen at the discharge eye while flushing.
    pub(crate) flush_seen: u32,
    /// Bottles inside whose whereabouts are unknown.
    pub(crate) unknown: u32,
    /// Taken out by hand, by the operator's word.
    pub(crate) declared: u32,
    /// The guard was open since bottles became unknown.
    pub(crate) hands: bool,
    /// Stopping: registered bottles are finished first.
    finishes: bool,
    /// Actuators that failed since the last Reset, one bit each.
    pub(crate) failed: u8,
}

impl Unit {
    pub(crate) const fn new() -> Self {
        Self {
            state: UnitState::Stopped,
            mode: Mode::Production,
            why: Why::Plain,
            phase: Phase::Done,
            warn: Deadline::NEVER,
            bound: Deadline::NEVER,
            clear: Deadline::NEVER,
            homed: false,
            known: false,
            flush: Place::NOWHERE,
            flush_seen: 0,
            unknown: 0,
            declared: 0,
            hands: false,
            finishes: false,
            failed: 0,
        }
    }

    /// Whether the state allows motion (R11).
    pub(crate) const fn may_move(&self) -> bool {
        use UnitState as S;
        match self.state {
            S::Starting | S::Unholding | S::Unsuspending => !matches!(self.phase, Phase::Begin | Phase::Warn),
            S::Execute | S::Suspending | S::Suspended | S::Stopping | S::Completing => true,
            S::Clearing
            | S::Stopped
            | S::Idle
            | S::Aborting
            | S::Aborted
            | S::Holding
            | S::Held
            | S::Resetting
            | S::Completed => false,
        }
    }

    /// Whether the safe vector is all that may leave.
    pub(crate) const fn is_safe(&self) -> bool {
        matches!(self.state, UnitState::Aborting | UnitState::Aborted | UnitState::Clearing)
    }

    pub(crate) const fn runs_head(&self) -> bool {
        use UnitState as S;
        match self.state {
            S::Execute | S::Suspending | S::Suspended | S::Unsuspending => !matches!(self.mode, Mode::Manual),
            S::Stopping | S::Completing => matches!(self.phase, Phase::Finish),
            _ => false,
        }
    }

    pub(crate) const fn runs_feed(&self) -> bool {
        self.runs_head() && matches!(self.mode, Mode::Production)
    }

    /// Whether the actuators are being brought home.
    pub(crate) const fn homes(&self) -> bool {
        matches!(self.phase, Phase::Home)
            || (matches!(self.phase, Phase::Flush | Phase::Rest)
                && matches!(
                    self.state,
                    UnitState::Starting | UnitState::Unholding | UnitState::Stopping | UnitState::Completing
                ))
    }

    pub(crate) const fn warns(&self) -> bool {
        matches!(self.phase, Phase::Warn)
    }

    pub(crate) fn wants_belt(&self, m: &Machine) -> bool {
        use UnitState as S;
        match self.state {
            S::Starting => self.phase == Phase::Flush,
            S::Unholding => matches!(self.phase, Phase::Flush | Phase::Done),
            S::Execute | S::Suspending => true,
            S::Suspended => !(m.suspend_stops_belt && self.why == Why::OutfeedFull),
            S::Unsuspending => self.phase != Phase::Warn,
            S::Stopping | S::Completing => self.phase == Phase::Finish,
            _ => false,
        }
    }

    /// Whether the diverter passes on what is not flagged.
    pub(crate) const fn passes_on(&self) -> bool {
        use UnitState as S;
        match self.state {
            S::Execute | S::Suspending | S::Suspended | S::Unsuspending => true,
            // The line's belt carries bottles past the diverter while this station is held.
            S::Holding | S::Held => self.known,
            // While everything is brought home, so is the diverter: else it never would be.
            S::Unholding => self.known && !matches!(self.phase, Phase::Home),
            S::Stopping | S::Completing => matches!(self.phase, Phase::Finish),
            _ => false,
        }
    }

    pub(crate) fn rebase(&mut self, dt: i64, dp: i64) {
        for d in [&mut self.warn, &mut self.bound, &mut self.clear] {
            *d = d.rebased(dt);
        }
        self.flush = self.flush.rebased(dp);
    }
}

/// Enters a state, from the table or at power-up.
pub(crate) fn enter(ctl: &mut Ctl, cx: &mut Cx<'_, '_>, to: UnitState, why: Why) {
    use UnitState as S;
    let from = ctl.unit.state;
    cx.tell.push(Event::state(to, from, why));
    let unit = &mut ctl.unit;
    unit.state = to;
    unit.phase = if to.is_acting() { Phase::Begin } else { Phase::Done };
    unit.warn = Deadline::NEVER;
    unit.clear = Deadline::NEVER;
    unit.flush = Place::NOWHERE;
    ctl.feed.settle_limit = Deadline::NEVER;
    // A button held in another state is let go: its time would be over there unseen, and waked for ever.
    ctl.jog.forget();
    unit.bound = if to.is_acting() && !matches!(to, S::Execute) {
        Deadline::after(cx.seen.now, cx.m.patience)
    } else {
        Deadline::NEVER
    };
    match to {
        S::Aborting => {
            forget_inside(ctl);
            ctl.strokes.forget();
            ctl.unit.homed = false;
        }
        S::Clearing | S::Resetting | S::Unholding => ctl.watch.latched = 0,
        S::Stopping => {
            ctl.unit.finishes = matches!(from, S::Execute | S::Suspending | S::Suspended | S::Unsuspending)
                && ctl.unit.mode == Mode::Production;
            feed::finish(ctl, cx);
        }
        S::Completing => feed::finish(ctl, cx),
        S::Suspending => ctl.unit.why = why,
        S::Execute => {
            ctl.unit.why = Why::Plain;
            watch::look_again(ctl, cx);
        }
        _ => {}
    }
    if to == S::Resetting {
        // What failed was let be when the rest went home: it is brought home, and confirmed, with the next Start.
        ctl.unit.homed &= ctl.unit.failed == 0;
        ctl.unit.failed = 0;
    }
}

/// Nothing inside is known any more: it stays inside, as unknown, until a flush or the operator resolves it.
pub(crate) fn forget_inside(ctl: &mut Ctl) {
    let n = ctl.track.forget();
    ctl.unit.unknown = ctl.unit.unknown.saturating_add(n);
    ctl.unit.known = false;
    ctl.head.forget();
    ctl.feed.forget();
    ctl.jog.forget();
}

fn complete(ctl: &mut Ctl, cx: &mut Cx<'_, '_>, why: Why) {
    match on_complete(ctl.unit.state) {
        Some(to) => enter(ctl, cx, to, why),
        None => ctl.raise(cx, Fault::Inner, 1),
    }
}

/// One pass over the unit's state; `true` if state or phase changed.
pub(crate) fn run(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) -> bool {
    use UnitState as S;
    let before = (ctl.unit.state, ctl.unit.phase);
    if ctl.unit.bound.fire(cx.seen.now) {
        overdue(ctl, cx);
        return true;
    }
    match ctl.unit.state {
        S::Clearing | S::Resetting => complete(ctl, cx, Why::Complete),
        S::Starting => starting(ctl, cx),
        S::Unholding => unholding(ctl, cx),
        S::Unsuspending => unsuspending(ctl, cx),
        S::Execute => execute(ctl, cx),
        S::Suspending => {
            let waits_for_belt = !ctl.belt.is_moving();
            let idle = matches!(ctl.head.step, HeadStep::Incoming | HeadStep::Leaving) && waits_for_belt;
            let fed = ctl.feed.step != FeedStep::Releasing || waits_for_belt;
            if (ctl.head.is_at_rest() || idle) && fed {
                complete(ctl, cx, Why::Complete);
            }
        }
        S::Suspended => suspended(ctl, cx),
        S::Stopping => stopping(ctl, cx),
        S::Completing => completing(ctl, cx),
        S::Holding => {
            if !cx.m.ours || !ctl.belt.is_moving() {
                complete(ctl, cx, Why::Complete);
            }
        }
        S::Aborting => {
            if !cx.m.ours || !ctl.belt.is_moving() {
                complete(ctl, cx, Why::Complete);
            }
        }
        S::Stopped | S::Idle | S::Aborted | S::Held | S::Completed => {}
    }
    before != (ctl.unit.state, ctl.unit.phase)
}

/// An acting state has used up its bound. While the belt carries something off, that is going forward.
fn overdue(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    let carrying = ctl.unit.phase == Phase::Flush && ctl.belt.is_moving();
    let rests = matches!(ctl.unit.state, UnitState::Aborting | UnitState::Suspending);
    if carrying || rests {
        ctl.unit.bound = Deadline::after(cx.seen.now, cx.m.patience);
    }
    if !carrying && ctl.unit.state != UnitState::Suspending {
        ctl.raise(cx, Fault::StateOverdue, ctl.unit.state as i32);
    }
}

/// Begins to warn; the motion comes after.
fn warn(ctl: &mut Ctl, cx: &Cx<'_, '_>) {
    ctl.unit.phase = Phase::Warn;
    ctl.unit.warn = Deadline::after(cx.seen.now, cx.m.warn);
}

/// After the warning: home what is not home, flush what is not known, then done. `true` when done.
fn prepare(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) -> bool {
    match ctl.unit.phase {
        Phase::Begin => warn(ctl, cx),
        Phase::Warn => {
            if ctl.unit.warn.fire(cx.seen.now) {
                ctl.unit.bound = Deadline::after(cx.seen.now, cx.m.patience);
                let skips = ctl.unit.homed || ctl.unit.mode == Mode::Manual;
                ctl.unit.phase = if skips { after_homing(ctl, cx) } else { Phase::Home };
                if !skips {
                    await_all(ctl, cx);
                }
            }
        }
        Phase::Home => {
            if is_home(ctl) {
                ctl.unit.homed = true;
                ctl.unit.phase = after_homing(ctl, cx);
            }
        }
        Phase::Flush => {
            if ctl.unit.flush.fire(cx.seen.belt) {
                flushed(ctl, cx);
                ctl.unit.phase = Phase::Done;
            }
        }
        Phase::Finish | Phase::Rest | Phase::Done => return true,
    }
    ctl.unit.phase == Phase::Done
}

/// What was overdue before is waited for once more.
fn await_all(ctl: &mut Ctl, cx: &Cx<'_, '_>) {
    for a in Actuator::ALL {
        let pose = ctl.was.pose(a);
        ctl.strokes.await_again(a, pose, cx.seen.now, cx.seen.on, cx.m);
    }
}

fn after_homing(ctl: &mut Ctl, cx: &Cx<'_, '_>) -> Phase {
    if ctl.unit.known || ctl.unit.mode != Mode::Production {
        return Phase::Done;
    }
    let end = match (cx.m.reject, cx.m.discharge_eye) {
        (Some(x), _) => x.saturating_add(cx.m.reject_length),
        (None, Some(x)) => x,
        (None, None) => cx.s.leave,
    };
    let way = end.saturating_sub(cx.m.release_blade).saturating_add(cx.s.body_max).saturating_add(cx.s.slip);
    ctl.unit.flush = Place::at(cx.seen.belt.ahead(way));
    ctl.unit.flush_seen = u32::from(cx.seen.is(Contact::DischargeEye));
    Phase::Flush
}

/// The flush has carried off whatever was there: unknown bottles are resolved.
fn flushed(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    let unknown = ctl.unit.unknown;
    let declared = ctl.unit.declared.min(unknown);
    let seen = if cx.m.discharge_eye.is_some() {
        ctl.unit.flush_seen
    } else {
        // Nothing can see them: what the operator did not take out was carried off.
        unknown.saturating_sub(declared)
    };
    let matched = seen.min(unknown);
    for _ in 0..matched.min(64) {
        cx.book.count(Why::Rejected, 0, cx.seen.now, cx.tell);
    }
    let tally = &mut cx.book.tally;
    tally.rejected = tally.rejected.saturating_add(matched.saturating_sub(64));
    let extra = seen.saturating_sub(unknown);
    if extra > 0 {
        tally.found = tally.found.saturating_add(extra);
        tally.rejected = tally.rejected.saturating_add(extra);
        let n = i32::try_from(extra).unwrap_or(i32::MAX);
        cx.tell.say(crate::event::EventKind::Counted, Why::Found, 1, n);
    }
    let gone = unknown.saturating_sub(seen);
    let why = if ctl.unit.hands || declared > 0 { Why::Removed } else { Why::Lost };
    for _ in 0..gone.min(64) {
        cx.book.count(why, 0, cx.seen.now, cx.tell);
    }
    ctl.unit.unknown = gone.saturating_sub(64);
    ctl.unit.declared = 0;
    ctl.unit.hands = false;
    ctl.unit.known = true;
}

/// Brings everything home in safe order: rollers, plunger, grip; gates when nothing speaks against it.
pub(crate) fn undo(ctl: &Ctl, asked: &mut Wanted) {
    use Actuator as A;
    asked.spin = false;
    let usable = |a: A| ctl.unit.failed & (1 << a.index()) == 0;
    let mut home = |a: A, when: bool| {
        if when && usable(a) {
            asked.set(a, Pose::Home);
        }
    };
    home(A::Rollers, true);
    home(A::Plunger, ctl.strokes.is(A::Rollers, At::Home));
    home(A::Grip, ctl.strokes.is(A::Rollers, At::Home) && ctl.strokes.is(A::Plunger, At::Home));
    home(A::ReleaseGate, true);
    home(A::EntryGate, true);
    home(A::Reject, true);
}

/// Whether everything that has not failed is home.
fn is_home(ctl: &Ctl) -> bool {
    Actuator::ALL.into_iter().all(|a| ctl.strokes.is(a, At::Home) || ctl.unit.failed & (1 << a.index()) != 0)
}

/// Whether nothing more can be brought home: what is not, waits for something that failed.
fn is_home_as_far_as_it_goes(ctl: &Ctl) -> bool {
    let failed = |a: Actuator| ctl.unit.failed & (1 << a.index()) != 0;
    let stuck_head = [Actuator::Rollers, Actuator::Plunger, Actuator::Grip].into_iter().any(failed);
    Actuator::ALL.into_iter().all(|a| {
        let head = matches!(a, Actuator::Rollers | Actuator::Plunger | Actuator::Grip);
        ctl.strokes.is(a, At::Home) || failed(a) || (head && stuck_head && !is_under_way(ctl, a))
    })
}

fn is_under_way(ctl: &Ctl, a: Actuator) -> bool {
    matches!(ctl.strokes.at(a), At::ToHome | At::ToWork)
}

fn starting(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    if prepare(ctl, cx) {
        ctl.unit.bound = Deadline::NEVER;
        complete(ctl, cx, Why::Complete);
    }
}

fn unholding(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    let first = matches!(ctl.unit.phase, Phase::Warn) && ctl.unit.warn.is_due(cx.seen.now);
    if first {
        ctl.unit.failed = 0;
        head::resume(ctl, cx);
        feed::resume(ctl, cx);
    }
    if prepare(ctl, cx) {
        complete(ctl, cx, Why::Complete);
    }
}

fn unsuspending(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    match ctl.unit.phase {
        Phase::Begin => {
            // Only where it starts motion: our belt stood.
            if cx.m.ours && !ctl.was.belt {
                warn(ctl, cx);
            } else {
                complete(ctl, cx, Why::Complete);
            }
        }
        Phase::Warn => {
            if ctl.unit.warn.fire(cx.seen.now) {
                ctl.unit.phase = Phase::Done;
            }
        }
        Phase::Home | Phase::Flush | Phase::Finish | Phase::Rest | Phase::Done => {
            complete(ctl, cx, Why::Complete);
        }
    }
}

fn execute(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    if ctl.unit.mode != Mode::Production {
        return;
    }
    if cx.book.batch_is_done() && ctl.inside() == 0 && ctl.feed.step != FeedStep::Releasing {
        complete(ctl, cx, Why::BatchDone);
        return;
    }
    if let Some(why) = outside_cause(ctl, cx) {
        enter(ctl, cx, UnitState::Suspending, why);
    }
}

/// Trouble outside the unit, if any.
fn outside_cause(ctl: &Ctl, cx: &Cx<'_, '_>) -> Option<Why> {
    if !is_downstream_ready(cx) || ctl.watch.discharge_full {
        Some(Why::OutfeedFull)
    } else if !cx.m.ours && ctl.watch.line_stopped {
        Some(Why::LineStopped)
    } else if ctl.feed.starve.is_due(cx.seen.now) {
        Some(Why::Starved)
    } else {
        None
    }
}

/// Whether the cause for which the unit is suspended lasts.
fn cause_lasts(ctl: &Ctl, cx: &Cx<'_, '_>) -> bool {
    if cx.book.batch_is_done() && ctl.inside() == 0 {
        // Nothing is waited for any more: back to Execute, which completes.
        return false;
    }
    match ctl.unit.why {
        // With our belt stopped for it, what stands in the discharge eye cannot go: only downstream can tell. Whether the eye
        // clears is seen once the belt runs again.
        Why::OutfeedFull if cx.m.ours && !ctl.was.belt => !is_downstream_ready(cx),
        Why::OutfeedFull => outfeed_full(cx),
        Why::LineStopped => ctl.watch.line_stopped,
        Why::Starved => !cx.seen.is(Contact::PocketEye) && ctl.feed.step == FeedStep::Filling,
        // Asked for by the operator, who also ends it.
        _ => true,
    }
}

fn suspended(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    if cause_lasts(ctl, cx) {
        ctl.unit.clear = Deadline::NEVER;
    } else if !ctl.unit.clear.is_armed() {
        ctl.unit.clear = Deadline::after(cx.seen.now, cx.m.clear);
    }
    if ctl.unit.clear.fire(cx.seen.now) {
        enter(ctl, cx, UnitState::Unsuspending, Why::CauseGone);
    }
}

fn stopping(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    match ctl.unit.phase {
        Phase::Begin => {
            ctl.unit.phase = if ctl.unit.finishes { Phase::Finish } else { Phase::Home };
        }
        Phase::Finish => {
            let head_done = matches!(ctl.head.step, HeadStep::Vacant | HeadStep::Leaving);
            let feed_done = matches!(ctl.feed.step, FeedStep::Loaded);
            if ctl.track.is_empty() && head_done && feed_done {
                ctl.unit.phase = Phase::Home;
            }
        }
        Phase::Home => {
            if ctl.feed.settle_limit.fire(cx.seen.now) {
                ctl.feed.settled = true;
            }
            if is_home_as_far_as_it_goes(ctl) {
                ctl.unit.homed = is_home(ctl);
                ctl.unit.phase = Phase::Rest;
                ctl.feed.settle_limit = Deadline::NEVER;
            }
        }
        Phase::Rest => {
            if !cx.m.ours || !ctl.belt.is_moving() {
                // A release that was broken off leaves it open whether a bottle stands under the blade.
                let released = ctl.feed.step == FeedStep::Releasing;
                if !ctl.track.is_empty() || ctl.head.step != HeadStep::Vacant || released {
                    forget_inside(ctl);
                }
                complete(ctl, cx, Why::Complete);
            }
        }
        Phase::Warn | Phase::Flush | Phase::Done => ctl.raise(cx, Fault::Inner, 2),
    }
}

fn completing(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) {
    match ctl.unit.phase {
        // The pocket is let settle, so that the entry blade comes down on no bottle.
        Phase::Begin => ctl.unit.phase = Phase::Finish,
        Phase::Finish => {
            if ctl.feed.step == FeedStep::Loaded {
                ctl.unit.phase = Phase::Home;
            }
        }
        Phase::Home => {
            if is_home(ctl) {
                ctl.unit.phase = Phase::Rest;
            }
        }
        Phase::Rest => {
            if !cx.m.ours || !ctl.belt.is_moving() {
                complete(ctl, cx, Why::Complete);
            }
        }
        Phase::Warn | Phase::Flush | Phase::Done => ctl.raise(cx, Fault::Inner, 3),
    }
}
