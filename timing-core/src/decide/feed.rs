//! The escapement: Filling → Loaded → Releasing → Shutting → Filling. It holds exactly one bottle, and lets one go when the
//! head is ready.

use crate::act::Wanted;
use crate::decide::{Ctl, Cx, FeedStep, head};
use crate::event::{EventKind, Why};
use crate::fault::Fault;
use crate::io::{Actuator, Contact};
use crate::local::{Deadline, Moves, Place, Shift, Span, shift_all};
use crate::unit::{Mode, UnitState};

/// How long the pocket is let settle when the unit stops while it fills.
const SETTLE_TIME: Span = Span::from_micros(1_500_000);

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
#[repr(C)]
pub(crate) struct Feed {
    pub(crate) step: FeedStep,
    /// The pocket has settled, or was given its time.
    pub(crate) settled: bool,
    /// The pocket eye was seen clear since the last release (or nothing was released yet).
    seen_clear: bool,
    released_before: bool,
    /// Releasing: the bottle was registered.
    pub(crate) registered: bool,
    /// Releasing: it has travelled past the blade.
    past_blade: bool,
    /// Filling: where the pocket has settled.
    pub(crate) settle: Place,
    /// Bound on settling when the unit stops.
    pub(crate) settle_limit: Deadline,
    /// Releasing: where the bottle must have been seen.
    pub(crate) misfeed: Place,
    /// Releasing: where the release gate shuts.
    pub(crate) shut: Place,
    /// Where a body still in the release eye is over-long, and where it is a jam.
    pub(crate) long: Place,
    pub(crate) jam: Place,
    /// Where a body in the release eye that nobody released is long enough to be one.
    pub(crate) stray: Place,
    /// Leading edge of the body in the release eye, until its trailing edge.
    pub(crate) edge: Place,
    /// Filling: since when the pocket is empty, as the instant when that is starved.
    pub(crate) starve: Deadline,
}

impl Feed {
    pub(crate) fn forget(&mut self) {
        *self = Self::default();
    }

    /// Whether a bottle may be under the release blade (R7).
    pub(crate) const fn path_clear(&self) -> bool {
        !matches!(self.step, FeedStep::Releasing)
    }
}

impl Moves for Feed {
    fn shift(&mut self, by: Shift) {
        let Self { settle, settle_limit, misfeed, shut, long, jam, stray, edge, starve, .. } = self;
        shift_all(&mut [settle, settle_limit, misfeed, shut, long, jam, stray, edge, starve], by);
    }
}

/// What each step wants of the gates.
pub(crate) const fn poses(feed: &Feed, asked: &mut Wanted) {
    let (entry, release) = (Actuator::EntryGate.bit(), Actuator::ReleaseGate.bit());
    let open = match feed.step {
        FeedStep::Filling => entry,
        FeedStep::Releasing => release,
        FeedStep::Loaded | FeedStep::Shutting => 0,
    };
    asked.set_all(entry | release, open);
}

fn enter(ctl: &mut Ctl, cx: &mut Cx<'_>, step: FeedStep) {
    ctl.feed.step = step;
    ctl.feed.settle = Place::NOWHERE;
    ctl.feed.shut = Place::NOWHERE;
    ctl.feed.starve = Deadline::NEVER;
    cx.tell.say(EventKind::Feed, Why::Plain, step as u16, 0);
}

/// The unit stops taking bottles: the pocket is given a bounded time to settle.
pub(crate) fn finish(ctl: &mut Ctl, cx: &Cx<'_>) {
    if ctl.feed.step == FeedStep::Filling {
        ctl.feed.settle_limit = Deadline::after(cx.seen.now, SETTLE_TIME);
    }
}

/// While everything is brought home: the pocket was given its time. On a belt that stands no time settles it: what the entry blade
/// would come down on stays there, and only the next run can show.
pub(crate) fn time_is_up(ctl: &mut Ctl, cx: &Cx<'_>) {
    if ctl.feed.settle_limit.fire(cx.seen.now) {
        ctl.feed.settled = ctl.belt.is_moving() || ctl.unit.mode != Mode::Production;
    }
}

/// Whether the entry gate stands open over a pocket that has not settled: it is not brought home then (R7).
pub(crate) const fn stays_open(ctl: &Ctl) -> bool {
    let open = ctl.was.work() & Actuator::EntryGate.bit() != 0;
    open && matches!(ctl.feed.step, FeedStep::Filling) && !ctl.feed.settled && matches!(ctl.unit.mode, Mode::Production)
}

/// One pass; `true` if the step changed.
pub(crate) fn run(ctl: &mut Ctl, cx: &mut Cx<'_>) -> bool {
    let before = ctl.feed.step;
    match before {
        FeedStep::Filling => filling(ctl, cx),
        FeedStep::Loaded => loaded(ctl, cx),
        FeedStep::Releasing => releasing(ctl, cx),
        FeedStep::Shutting => {
            if ctl.strokes.is_home(Actuator::ReleaseGate) {
                ctl.feed.settled = false;
                enter(ctl, cx, FeedStep::Filling);
            }
        }
    }
    before != ctl.feed.step
}

fn filling(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    let shut = ctl.strokes.is_home(Actuator::EntryGate);
    let wants = cx.book.wants(ctl.inside());
    let moves = ctl.belt.is_moving();
    let feed = &mut ctl.feed;
    let blocked = cx.seen.is(Contact::PocketEye);
    if !blocked {
        feed.seen_clear = true;
        feed.settle = Place::NOWHERE;
        if !wants {
            feed.starve = Deadline::NEVER;
        } else if !feed.starve.is_armed() && !feed.settled {
            feed.starve = Deadline::after(cx.seen.now, cx.m.starve);
        }
    } else {
        feed.starve = Deadline::NEVER;
        // A pocket that was full before anything was released is not opened behind.
        feed.settled |= !feed.released_before && shut;
        if (feed.seen_clear || !feed.released_before) && !feed.settled && !feed.settle.is_armed() {
            let from = if cx.seen.rising(Contact::PocketEye) { cx.seen.at.pocket.spot() } else { cx.seen.belt };
            feed.settle = Place::at(from.ahead(cx.s.settle));
        }
        if feed.settle.fire(cx.seen.belt) {
            feed.settled = true;
        }
    }
    if feed.settle_limit.fire(cx.seen.now) {
        if feed.settle.is_armed() && moves {
            // One has just come: its way to where it settles is known, and ends this.
            feed.settle_limit = Deadline::after(cx.seen.now, SETTLE_TIME);
        } else {
            feed.settled = true;
        }
    }
    if ctl.feed.settled {
        ctl.feed.settle_limit = Deadline::NEVER;
        enter(ctl, cx, FeedStep::Loaded);
    }
}

fn loaded(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    let executes = ctl.unit.state == UnitState::Execute && ctl.unit.mode == Mode::Production;
    if !cx.seen.is(Contact::PocketEye) {
        if executes && ctl.strokes.is_home(Actuator::EntryGate) {
            // Taken out, or never came: fill again.
            ctl.feed.settled = false;
            ctl.feed.seen_clear = true;
            enter(ctl, cx, FeedStep::Filling);
        }
        return;
    }
    let inside = ctl.inside();
    let go = executes
        && !cx.seen.is(Contact::ReleaseEye)
        && ctl.strokes.is_home(Actuator::EntryGate)
        && ctl.strokes.is_home(Actuator::ReleaseGate)
        && head::is_ready(ctl)
        && ctl.may_release(cx)
        && ctl.track.has_room()
        && cx.book.wants(inside);
    if go {
        ctl.feed.registered = false;
        ctl.feed.past_blade = false;
        ctl.feed.released_before = true;
        ctl.feed.seen_clear = false;
        ctl.feed.misfeed = Place::at(cx.seen.belt.ahead(cx.s.misfeed));
        enter(ctl, cx, FeedStep::Releasing);
    }
}

fn releasing(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    let blocked = cx.seen.is(Contact::PocketEye);
    if !blocked {
        ctl.feed.seen_clear = true;
    }
    if ctl.feed.misfeed.is_due(cx.seen.belt) {
        ctl.feed.misfeed = Place::NOWHERE;
        if !ctl.feed.registered || blocked {
            misfeed(ctl, cx, 0);
            return;
        }
    }
    // By belt travel, and by what the eye shows: a body still in it may have stopped under the blade.
    ctl.feed.past_blade |= ctl.feed.shut.fire(cx.seen.belt);
    if ctl.feed.registered && ctl.feed.past_blade && !cx.seen.is(Contact::ReleaseEye) {
        ctl.feed.misfeed = Place::NOWHERE;
        if blocked {
            misfeed(ctl, cx, 1);
        } else {
            enter(ctl, cx, FeedStep::Shutting);
        }
    }
}

/// The bottle may stand under the release blade: the gate is left as it is, and not used again before Reset or Unhold.
fn misfeed(ctl: &mut Ctl, cx: &mut Cx<'_>, how: i32) {
    ctl.unit.failed |= Actuator::ReleaseGate.bit();
    ctl.raise(cx, Fault::Misfeed, how);
}

/// Unhold: a release that was broken off is awaited once more; a pocket that was emptied by hand is filled again.
pub(crate) fn resume(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    // While it was held nobody looked at the pocket, and hands may have changed what stands in it: it settles anew.
    ctl.feed.settle = Place::NOWHERE;
    if cx.seen.is(Contact::ReleaseEye) {
        // Whether what stands there is free now, only its going can show.
        ctl.feed.jam = Place::at(cx.seen.belt.ahead(cx.s.jam));
    }
    if ctl.feed.step != FeedStep::Releasing {
        return;
    }
    if ctl.feed.registered {
        // The rest of its way past the blade is not known any more; shut once the longest is past from here.
        ctl.feed.past_blade = false;
        ctl.feed.shut = Place::at(cx.seen.belt.ahead(cx.s.gate_shut));
    } else if !cx.seen.is(Contact::PocketEye) && !cx.seen.is(Contact::ReleaseEye) {
        ctl.feed.misfeed = Place::NOWHERE;
        ctl.feed.seen_clear = true;
        enter(ctl, cx, FeedStep::Shutting);
    } else {
        ctl.feed.misfeed = Place::at(cx.seen.belt.ahead(cx.s.misfeed));
    }
}
