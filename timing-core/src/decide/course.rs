//! The unit's course: what each acting state does, when it is complete, and what makes Execute suspend.

use crate::act::Wanted;
use crate::decide::{Ctl, Cx, FeedStep, HeadStep, feed, head, is_downstream_ready, outfeed_full};
use crate::event::{Event, Why};
use crate::fault::Fault;
use crate::io::{Actuator, Contact};
use crate::local::{Deadline, Moves, Place, Shift, shift_all};
use crate::machine::Machine;
use crate::unit::{Mode, UnitState, on_complete};
use crate::watch;

/// What an acting state is at.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
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
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
#[repr(C)]
pub(crate) struct Unit {
    pub(crate) state: UnitState,
    pub(crate) mode: Mode,
    /// Why it is suspended, or why it left Execute.
    pub(crate) why: Why,
    pub(crate) phase: Phase,
    /// Every actuator was brought home since energy was lost.
    pub(crate) homed: bool,
    /// Whatever was inside has been flushed since the history was lost.
    pub(crate) known: bool,
    /// The guard was open since bottles became unknown.
    pub(crate) hands: bool,
    /// Stopping: registered bottles are finished first.
    finishes: bool,
    /// Stopping from rest: nothing moves, not even home.
    stays: bool,
    /// Started or unheld, and the warning was not over since.
    unwarned: bool,
    /// Actuators that failed since the last Reset, one bit each.
    pub(crate) failed: u8,
    pub(crate) warn: Deadline,
    /// Bound of an acting state.
    pub(crate) bound: Deadline,
    /// Suspended: when the cause will have been gone for its clear time.
    pub(crate) clear: Deadline,
    pub(crate) flush: Place,
    /// Bodies seen at the discharge eye while flushing.
    pub(crate) flush_seen: u32,
    /// Bottles inside whose whereabouts are unknown.
    pub(crate) unknown: u32,
    /// Taken out by hand, by the operator's word.
    pub(crate) declared: u32,
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
            stays: false,
            unwarned: false,
            failed: 0,
        }
    }

    /// What goes on in this state and phase.
    fn does(&self) -> u8 {
        // Both are in the table: it is made from all of them.
        DOES.get(self.state as usize).and_then(|row| row.get(self.phase as usize)).copied().unwrap_or(0)
    }

    fn is(&self, what: u8) -> bool {
        self.does() & what != 0
    }

    /// Whether the state allows motion (R11).
    pub(crate) fn may_move(&self) -> bool {
        self.is(MOVES) && !self.stays
    }

    /// Whether the safe vector is all that may leave.
    pub(crate) const fn is_safe(&self) -> bool {
        matches!(self.state, UnitState::Aborting | UnitState::Aborted | UnitState::Clearing)
    }

    pub(crate) fn runs_head(&self) -> bool {
        let does = self.does();
        does & FINISHES != 0 || does & RUNS != 0 && !matches!(self.mode, Mode::Manual)
    }

    /// Whether the run was only broken off: what the belt brings now was on its way, or is brought by hand, and is inside from then on.
    pub(crate) const fn is_broken_off(&self) -> bool {
        matches!(self.state, UnitState::Holding | UnitState::Held | UnitState::Unholding)
            && matches!(self.mode, Mode::Production)
    }

    pub(crate) fn runs_feed(&self) -> bool {
        self.is(RUNS | FINISHES) && matches!(self.mode, Mode::Production)
    }

    /// Whether the actuators are being brought home.
    pub(crate) fn homes(&self) -> bool {
        self.is(HOMES) && !self.stays
    }

    pub(crate) const fn warns(&self) -> bool {
        matches!(self.phase, Phase::Warn)
    }

    pub(crate) fn wants_belt(&self, m: &Machine) -> bool {
        let kept = matches!(self.state, UnitState::Suspended) && m.suspend_stops_belt;
        self.is(BELT) && !(kept && matches!(self.why, Why::OutfeedFull))
    }

    /// Whether the diverter passes on what is not flagged.
    pub(crate) fn passes_on(&self) -> bool {
        // The line's belt carries bottles past the diverter while this station is held.
        self.is(RUNS | FINISHES) || self.known && self.is(KEEPS)
    }
}

/// The state allows motion.
const MOVES: u8 = 1;
/// Head and feed run, but for Manual.
const RUNS: u8 = 2;
/// Head and feed finish what is inside.
const FINISHES: u8 = 4;
/// The actuators are being brought home.
const HOMES: u8 = 8;
/// Our belt runs.
const BELT: u8 = 16;
/// What is inside, if it is known, stays where it is.
const KEEPS: u8 = 32;

const PHASES: [Phase; 7] =
    [Phase::Begin, Phase::Warn, Phase::Home, Phase::Flush, Phase::Finish, Phase::Rest, Phase::Done];

/// What goes on, by state and phase; computed once, by the compiler.
#[expect(clippy::indexing_slicing, reason = "a mistake would not compile")]
static DOES: [[u8; PHASES.len()]; 18] = {
    let mut table = [[0; PHASES.len()]; 18];
    let mut s = 0;
    while s < UnitState::ALL.len() {
        let state = UnitState::ALL[s];
        let mut p = 0;
        while p < PHASES.len() {
            table[state as usize][PHASES[p] as usize] = goes_on(state, PHASES[p]);
            p += 1;
        }
        s += 1;
    }
    table
};

const fn goes_on(state: UnitState, phase: Phase) -> u8 {
    use Phase as P;
    use UnitState as S;
    let homes = matches!(phase, P::Home);
    let late = matches!(phase, P::Flush | P::Rest);
    let (does, homing) = match state {
        S::Starting => match phase {
            P::Begin | P::Warn => (0, false),
            P::Flush => (MOVES | BELT, late),
            P::Home | P::Finish | P::Rest | P::Done => (MOVES, late),
        },
        S::Unholding => match phase {
            P::Begin | P::Warn => (KEEPS, false),
            P::Flush | P::Done => (KEEPS | MOVES | BELT, late),
            // While everything is brought home, so is the diverter: else it never would be.
            P::Home => (MOVES, late),
            P::Finish | P::Rest => (KEEPS | MOVES, late),
        },
        S::Unsuspending => match phase {
            P::Begin => (RUNS | BELT, false),
            P::Warn => (RUNS, false),
            P::Home | P::Flush | P::Finish | P::Rest | P::Done => (RUNS | MOVES | BELT, false),
        },
        S::Execute | S::Suspending | S::Suspended => (RUNS | MOVES | BELT, false),
        S::Stopping | S::Completing => match phase {
            P::Warn => (0, false),
            P::Finish => (FINISHES | MOVES | BELT, false),
            P::Begin | P::Home | P::Flush | P::Rest | P::Done => (MOVES, late),
        },
        S::Holding | S::Held => (KEEPS, false),
        S::Clearing | S::Stopped | S::Idle | S::Aborting | S::Aborted | S::Resetting | S::Completed => (0, false),
    };
    does | if homes || homing { HOMES } else { 0 }
}

impl Moves for Unit {
    fn shift(&mut self, by: Shift) {
        let Self { warn, bound, clear, flush, .. } = self;
        shift_all(&mut [warn, bound, clear, flush], by);
    }
}

/// Enters a state, from the table or at power-up.
pub(crate) fn enter(ctl: &mut Ctl, cx: &mut Cx<'_>, to: UnitState, why: Why) {
    use UnitState as S;
    let from = ctl.unit.state;
    cx.tell.push(Event::state(to, from, why));
    let unit = &mut ctl.unit;
    unit.state = to;
    unit.phase = if to.is_acting() { Phase::Begin } else { Phase::Done };
    unit.warn = Deadline::NEVER;
    unit.clear = Deadline::NEVER;
    unit.flush = Place::NOWHERE;
    unit.stays = false;
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
        S::Starting => ctl.unit.unwarned = true,
        S::Clearing | S::Resetting => ctl.watch.latched = 0,
        S::Unholding => {
            ctl.watch.latched = 0;
            ctl.unit.unwarned = true;
        }
        S::Stopping => {
            ctl.unit.finishes = matches!(from, S::Execute | S::Suspending | S::Suspended | S::Unsuspending)
                && ctl.unit.mode == Mode::Production;
            // Nobody asked for motion: a fault found the unit waiting, or it was not even started; or the warning was not over.
            ctl.unit.stays = matches!(from, S::Idle | S::Resetting | S::Completed)
                || (from == S::Held && why == Why::Fault)
                || (matches!(from, S::Starting | S::Unholding | S::Holding | S::Held) && ctl.unit.unwarned);
            // A belt that stood for a cause outside is not started unwarned, be it to finish what is inside.
            let stood = cx.m.ours && !ctl.was.belt() && matches!(from, S::Suspended | S::Unsuspending);
            ctl.unit.unwarned |= ctl.unit.finishes && stood;
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
        if from == S::Completed {
            // The same batch once more, unless another is asked for.
            cx.book.batch_good = 0;
        }
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

fn complete(ctl: &mut Ctl, cx: &mut Cx<'_>, why: Why) {
    match on_complete(ctl.unit.state) {
        Some(to) => enter(ctl, cx, to, why),
        None => ctl.raise(cx, Fault::Inner, 1),
    }
}

/// One pass over the unit's state; `true` if state or phase changed.
pub(crate) fn run(ctl: &mut Ctl, cx: &mut Cx<'_>) -> bool {
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
fn overdue(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    // Unless it runs back by counts, slowly enough to be no reversal: then the place would never come.
    let forward = ctl.unit.flush.spot().minus(cx.seen.belt) <= flush_way(cx);
    let carrying = ctl.unit.phase == Phase::Flush && ctl.belt.is_moving() && forward;
    let rests = matches!(ctl.unit.state, UnitState::Aborting | UnitState::Suspending);
    if carrying || rests {
        ctl.unit.bound = Deadline::after(cx.seen.now, cx.m.patience);
    }
    if !carrying && ctl.unit.state != UnitState::Suspending {
        ctl.raise(cx, Fault::StateOverdue, ctl.unit.state as i32);
    }
}

/// Begins to warn; the motion comes after.
fn warn(ctl: &mut Ctl, cx: &Cx<'_>) {
    ctl.unit.unwarned = true;
    ctl.unit.phase = Phase::Warn;
    ctl.unit.warn = Deadline::after(cx.seen.now, cx.m.warn);
}

/// After the warning: home what is not home, flush what is not known, then done. `true` when done.
fn prepare(ctl: &mut Ctl, cx: &mut Cx<'_>) -> bool {
    match ctl.unit.phase {
        Phase::Begin => warn(ctl, cx),
        Phase::Warn => {
            if ctl.unit.warn.fire(cx.seen.now) {
                ctl.unit.unwarned = false;
                ctl.unit.bound = Deadline::after(cx.seen.now, cx.m.patience);
                let skips = ctl.unit.homed || ctl.unit.mode == Mode::Manual;
                ctl.unit.phase = if skips { after_homing(ctl, cx) } else { Phase::Home };
                // What was overdue before is waited for once more.
                ctl.awaits = !skips;
                if !skips {
                    // What had begun to settle before is not there any more.
                    ctl.feed.settle = Place::NOWHERE;
                    feed::finish(ctl, cx);
                }
            }
        }
        Phase::Home => {
            // An entry gate that was left open is given the pocket's time, too.
            feed::time_is_up(ctl, cx);
            if is_home(ctl) {
                ctl.unit.homed = true;
                ctl.feed.settle_limit = Deadline::NEVER;
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

/// Belt travel that carries off whatever is between release gate and diverter.
fn flush_way(cx: &Cx<'_>) -> i32 {
    let end = match (cx.m.reject, cx.m.discharge_eye) {
        (Some(x), _) => x.saturating_add(cx.m.reject_length),
        (None, Some(x)) => x,
        (None, None) => cx.s.leave,
    };
    end.saturating_sub(cx.m.release_blade).saturating_add(cx.s.body_max).saturating_add(cx.s.slip)
}

fn after_homing(ctl: &mut Ctl, cx: &Cx<'_>) -> Phase {
    if ctl.unit.known || ctl.unit.mode != Mode::Production {
        return Phase::Done;
    }
    ctl.unit.flush = Place::at(cx.seen.belt.ahead(flush_way(cx)));
    ctl.unit.flush_seen = u32::from(cx.seen.is(Contact::DischargeEye));
    Phase::Flush
}

/// The flush has carried off whatever was there: unknown bottles are resolved.
fn flushed(ctl: &mut Ctl, cx: &mut Cx<'_>) {
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
        cx.count(Why::Rejected, 0);
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
        cx.count(why, 0);
    }
    ctl.unit.unknown = gone.saturating_sub(64);
    ctl.unit.declared = 0;
    ctl.unit.hands = false;
    ctl.unit.known = true;
}

const HEAD: u8 = Actuator::Grip.bit() | Actuator::Plunger.bit() | Actuator::Rollers.bit();
const EVERY: u8 = 0x3f;

/// Brings everything home in safe order: rollers, plunger, grip; gates when nothing speaks against it.
pub(crate) const fn undo(ctl: &Ctl, asked: &mut Wanted) {
    use Actuator as A;
    asked.set_spin(false);
    let mut home = EVERY & !ctl.unit.failed;
    if feed::stays_open(ctl) {
        home &= !A::EntryGate.bit();
    }
    if !ctl.strokes.is_home(A::Rollers) {
        home &= !(A::Plunger.bit() | A::Grip.bit());
    } else if !ctl.strokes.is_home(A::Plunger) {
        home &= !A::Grip.bit();
    }
    asked.set_all(home, 0);
}

/// Whether everything is home, so that the next Start need not see to it.
const fn is_all_home(ctl: &Ctl) -> bool {
    ctl.strokes.home() == EVERY
}

/// Whether everything that has not failed is home, but for an entry gate that stands open over a pocket.
const fn is_home(ctl: &Ctl) -> bool {
    (ctl.strokes.home() | ctl.unit.failed | open(ctl) & ctl.strokes.work()) & EVERY == EVERY
}

/// The entry gate, where it has been given its time and stays open all the same.
const fn open(ctl: &Ctl) -> u8 {
    if feed::stays_open(ctl) && !ctl.feed.settle_limit.is_armed() { Actuator::EntryGate.bit() } else { 0 }
}

/// Whether nothing more can be brought home: what is not, waits for something that failed.
const fn is_home_as_far_as_it_goes(ctl: &Ctl) -> bool {
    let stuck = if ctl.unit.failed & HEAD != 0 { HEAD & !ctl.strokes.moving() } else { 0 };
    (ctl.strokes.home() | ctl.unit.failed | stuck | open(ctl)) & EVERY == EVERY
}

fn starting(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    if prepare(ctl, cx) {
        ctl.unit.bound = Deadline::NEVER;
        complete(ctl, cx, Why::Complete);
    }
}

fn unholding(ctl: &mut Ctl, cx: &mut Cx<'_>) {
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

fn unsuspending(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    match ctl.unit.phase {
        Phase::Begin => {
            // Only where it starts motion: our belt stood.
            if cx.m.ours && !ctl.was.belt() {
                warn(ctl, cx);
            } else {
                complete(ctl, cx, Why::Complete);
            }
        }
        Phase::Warn => {
            if ctl.unit.warn.fire(cx.seen.now) {
                ctl.unit.unwarned = false;
                ctl.unit.phase = Phase::Done;
            }
        }
        Phase::Home | Phase::Flush | Phase::Finish | Phase::Rest | Phase::Done => {
            complete(ctl, cx, Why::Complete);
        }
    }
}

fn execute(ctl: &mut Ctl, cx: &mut Cx<'_>) {
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
fn outside_cause(ctl: &Ctl, cx: &Cx<'_>) -> Option<Why> {
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
fn cause_lasts(ctl: &Ctl, cx: &Cx<'_>) -> bool {
    if cx.book.batch_is_done() && ctl.inside() == 0 {
        // Nothing is waited for any more: back to Execute, which completes.
        return false;
    }
    match ctl.unit.why {
        // With our belt stopped for it, what stands in the discharge eye cannot go: only downstream can tell. Whether the eye
        // clears is seen once the belt runs again.
        Why::OutfeedFull if cx.m.ours && !ctl.was.belt() => !is_downstream_ready(cx),
        Why::OutfeedFull => outfeed_full(cx),
        Why::LineStopped => ctl.watch.line_stopped,
        Why::Starved => !cx.seen.is(Contact::PocketEye) && ctl.feed.step == FeedStep::Filling,
        // Asked for by the operator, who also ends it.
        _ => true,
    }
}

fn suspended(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    if cause_lasts(ctl, cx) {
        ctl.unit.clear = Deadline::NEVER;
    } else if !ctl.unit.clear.is_armed() {
        ctl.unit.clear = Deadline::after(cx.seen.now, cx.m.clear);
    }
    if ctl.unit.clear.fire(cx.seen.now) {
        enter(ctl, cx, UnitState::Unsuspending, Why::CauseGone);
    }
}

fn stopping(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    match ctl.unit.phase {
        Phase::Begin => {
            if ctl.unit.stays {
                ctl.unit.homed = is_all_home(ctl);
                ctl.unit.phase = Phase::Rest;
            } else if ctl.unit.finishes && ctl.unit.unwarned {
                // The pocket is given its time once the belt runs.
                ctl.feed.settle_limit = Deadline::NEVER;
                warn(ctl, cx);
            } else {
                ctl.unit.phase = if ctl.unit.finishes { Phase::Finish } else { Phase::Home };
            }
        }
        Phase::Warn => {
            if ctl.unit.warn.fire(cx.seen.now) {
                ctl.unit.unwarned = false;
                ctl.unit.bound = Deadline::after(cx.seen.now, cx.m.patience);
                ctl.unit.phase = Phase::Finish;
                feed::finish(ctl, cx);
            }
        }
        Phase::Finish => {
            let head_done = matches!(ctl.head.step, HeadStep::Vacant | HeadStep::Leaving);
            let feed_done = matches!(ctl.feed.step, FeedStep::Loaded);
            if ctl.track.is_empty() && head_done && feed_done {
                ctl.unit.phase = Phase::Home;
            }
        }
        Phase::Home => {
            feed::time_is_up(ctl, cx);
            if is_home_as_far_as_it_goes(ctl) {
                ctl.unit.homed = is_all_home(ctl);
                ctl.unit.phase = Phase::Rest;
                ctl.feed.settle_limit = Deadline::NEVER;
            }
        }
        Phase::Rest => {
            if !cx.m.ours || !ctl.belt.is_moving() {
                // A release that was broken off and never seen: where that bottle is, nobody knows.
                let releasing = ctl.feed.step == FeedStep::Releasing;
                if !ctl.track.is_empty() || ctl.head.step != HeadStep::Vacant || releasing {
                    forget_inside(ctl);
                }
                complete(ctl, cx, Why::Complete);
            }
        }
        Phase::Flush | Phase::Done => ctl.raise(cx, Fault::Inner, 2),
    }
}

fn completing(ctl: &mut Ctl, cx: &mut Cx<'_>) {
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
            if ctl.inside() > 0 {
                // Something came past an eye after the last bottle had left: that is not what was ordered.
                ctl.raise(cx, Fault::StrayDischarge, 0);
            } else if !cx.m.ours || !ctl.belt.is_moving() {
                complete(ctl, cx, Why::Complete);
            }
        }
        Phase::Warn | Phase::Flush | Phase::Done => ctl.raise(cx, Fault::Inner, 3),
    }
}
