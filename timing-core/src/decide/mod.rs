//! What to do next: the unit's states, the head, the feed, the jogs.
//!
//! Decisions read only [`Ctl`] and the validated tables, and leave what they want in `asked`; the guard has the last
//! word. The head runs before the feed, so that a bottle is let go in the very tick in which the head becomes ready.

pub(crate) mod course;
pub(crate) mod feed;
pub(crate) mod head;
pub(crate) mod jog;
mod requests;
pub mod unit;

pub(crate) use crate::cx::Cx;
pub(crate) use requests::request;

use crate::act::Wanted;
use crate::event::{Event, Why};
use crate::fault::Fault;
use crate::guard::Facts;
use crate::io::{Actuator, Contact, Pose};
use crate::local::{Deadline, Moves, Shift, Time, shift_all};
use crate::machine::Machine;
use crate::product::CapPolicy;
use crate::sense::belt::Belt;
use crate::sense::contacts::Filter;
use crate::sense::strokes::Strokes;
use crate::track::Track;
use course::Unit;
use unit::{Command, Mode, UnitState, on_command};

/// How much a position is in doubt when nothing is known of the belt for a while: this many bodies.
const DOUBT_BODIES: i32 = 4;
/// Passes over the decisions in one tick; what is not settled then is settled in the next.
const PASSES: usize = 4;

/// Everything that decisions depend on, besides the validated tables. Times and places are armed or neutral.
///
/// Laid out by hand, here and below: the smallest processors reach bytes only within 32 of a pointer, and words within 128.
#[derive(Clone, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
#[repr(C)]
pub(crate) struct Ctl {
    /// Decisions did not settle: come back at once.
    pub(crate) again: bool,
    /// Whatever is of unknown whereabouts is waited for from this tick on, with what it was ordered last.
    pub(crate) awaits: bool,
    /// What was ordered last.
    pub(crate) was: Wanted,
    /// Orders kept back last, so that each refusal is told once.
    pub(crate) kept: u32,
    pub(crate) unit: Unit,
    pub(crate) head: head::Head,
    pub(crate) belt: Belt,
    pub(crate) feed: feed::Feed,
    pub(crate) watch: crate::watch::Watch,
    pub(crate) jog: jog::Jog,
    pub(crate) strokes: Strokes,
    pub(crate) filter: Filter,
    pub(crate) track: Track,
}

impl Ctl {
    pub(crate) fn new() -> Self {
        Self {
            filter: Filter::new(),
            belt: Belt::new(),
            strokes: Strokes::default(),
            track: Track::new(),
            unit: Unit::new(),
            head: head::Head::default(),
            feed: feed::Feed::default(),
            jog: jog::Jog::default(),
            watch: crate::watch::Watch::default(),
            was: Wanted::SAFE,
            kept: 0,
            again: false,
            awaits: false,
        }
    }

    /// Bottles inside: tracked, or of unknown whereabouts.
    pub(crate) fn inside(&self) -> u32 {
        self.track.len().saturating_add(self.unit.unknown)
    }

    /// Raises a fault: told once until it is cleared, and answered as the table says for this unit state.
    pub(crate) fn raise(&mut self, cx: &mut Cx<'_>, fault: Fault, value: i32) {
        let bit = 1u32 << (fault.code() & 31);
        if self.watch.latched & bit == 0 {
            self.watch.latched |= bit;
            cx.tell.push(Event::fault(fault, value));
        }
        if let Some(command) = fault.reaction(self.unit.state) {
            self.command(cx, command, Why::Fault);
        }
    }

    /// Follows a command through the state table, if it leads anywhere.
    pub(crate) fn command(&mut self, cx: &mut Cx<'_>, command: Command, why: Why) -> bool {
        match on_command(self.unit.state, command) {
            Some(to) => {
                course::enter(self, cx, to, why);
                true
            }
            None => false,
        }
    }

    /// Something goes forward: the bound of an acting state begins anew.
    pub(crate) fn progress(&mut self, now: Time, m: &Machine) {
        if self.unit.bound.is_armed() {
            self.unit.bound = Deadline::after(now, m.patience);
        }
    }

    /// Whether the head may open the grip on a bottle that then rides on.
    pub(crate) fn may_let_go(&self, cx: &Cx<'_>) -> bool {
        let full = self.unit.why == Why::OutfeedFull
            && matches!(self.unit.state, UnitState::Suspending | UnitState::Suspended | UnitState::Unsuspending);
        // With the belt stopped for a newcomer, what is passing the discharge eye would never go. Should it stay there with
        // the belt on again, its travel shows the outfeed full.
        let passing = self.head.stop_belt && !self.watch.discharge_full && is_downstream_ready(cx);
        !full && (passing || !outfeed_full(cx))
    }

    /// Whether the line lets us release a bottle. One that merely passes the discharge eye is no reason not to: until the
    /// newcomer is to be let go, the eye has shown whether the outfeed stands.
    pub(crate) fn may_release(&self, cx: &Cx<'_>) -> bool {
        let belt_ready = self.belt.is_moving();
        belt_ready && !self.head.stop_belt && is_downstream_ready(cx) && !self.watch.discharge_full
    }

    /// A body stands where nothing is known of its way.
    pub(crate) fn doubt(&mut self, cx: &Cx<'_>) {
        self.track.blur(cx.s.body_max.saturating_mul(DOUBT_BODIES), cx.m, cx.s);
    }

    /// Facts for the guard.
    #[inline(never)]
    pub(crate) fn facts(&mut self, cx: &Cx<'_>) -> Facts {
        let executes = self.unit.state == UnitState::Execute;
        let denied = cx.s.cap == CapPolicy::AtHead && !cx.seen.is(Contact::Cap) && !self.head.dry;
        let ready = self.feed.step == FeedStep::Releasing && !self.track.has_inbound();
        let bottle = self.track.at_head().is_some() || self.head.by_hand;
        let window = head::in_catch_window(self, cx);
        Facts::of(&self.strokes)
            .with(Facts::CHAIN, cx.seen.is(Contact::Chain))
            .with(Facts::BOTTLE, bottle)
            .with(Facts::CAP_OK, !denied)
            .with(Facts::HEAD_READY, ready)
            .with(Facts::PATH_CLEAR, self.feed.path_clear())
            .with(Facts::POCKET_SETTLED, self.feed.settled)
            .with(Facts::CATCH_WINDOW, window)
            .with(Facts::MOTION, self.unit.may_move())
            .with(Facts::MANUAL, executes && self.unit.mode == Mode::Manual)
            .with(Facts::DRY, self.head.dry)
            .with(Facts::IDLE_SPIN, executes && cx.m.idle_spin)
            .with(Facts::HAND_STEP, self.head.by_hand)
    }
}

impl Moves for Ctl {
    fn shift(&mut self, by: Shift) {
        let Self { filter, belt, strokes, track, unit, head, feed, jog, watch, .. } = self;
        shift_all(&mut [filter, belt, strokes, track, unit, head, feed, jog, watch], by);
    }
}

/// Whether a bottle let go now would meet a full outfeed.
pub(crate) fn outfeed_full(cx: &Cx<'_>) -> bool {
    !is_downstream_ready(cx) || cx.seen.is(Contact::DischargeEye)
}

/// Whether the machine downstream takes bottles, as far as it says.
pub(crate) fn is_downstream_ready(cx: &Cx<'_>) -> bool {
    !cx.m.fitted.has(Contact::DownstreamReady) || cx.seen.is(Contact::DownstreamReady)
}

/// Decides: until nothing changes any more, at most [`PASSES`] times. Returns what is asked of the actuators.
#[inline(never)]
pub(crate) fn run(ctl: &mut Ctl, cx: &mut Cx<'_>) -> Wanted {
    let mut settled = false;
    for _ in 0..PASSES {
        let mut changed = course::run(ctl, cx);
        let state = ctl.unit.state;
        if ctl.unit.runs_head() {
            changed |= head::run(ctl, cx);
        }
        if ctl.unit.runs_feed() {
            changed |= feed::run(ctl, cx);
        }
        // A fault that head or feed raised has moved the unit on, and it may have more to do there at once.
        changed |= ctl.unit.state != state;
        if !changed {
            settled = true;
            break;
        }
    }
    // What head or feed let go may already be past its next place, which is looked at in the next tick.
    ctl.again = !settled || ctl.track.due().is_due(cx.seen.belt);
    let inbound = ctl.track.has_inbound() || ctl.head.step == HeadStep::Catch;
    if !inbound {
        ctl.belt.end_sampling();
    }
    asked(ctl, cx)
}

/// What the unit, head, feed and jogs together want.
fn asked(ctl: &mut Ctl, cx: &Cx<'_>) -> Wanted {
    let mut asked = ctl.was;
    let production = ctl.unit.mode == Mode::Production;
    asked.set_beacon(ctl.unit.warns());
    asked.set_ready(production && ctl.unit.state == UnitState::Execute);
    asked.set_spin(false);
    if ctl.unit.homes() {
        course::undo(ctl, &mut asked);
    } else if ctl.unit.mode == Mode::Manual {
        if ctl.unit.state == UnitState::Execute {
            jog::poses(ctl, cx, &mut asked);
            return asked;
        }
    } else {
        if ctl.unit.runs_head() {
            head::poses(&ctl.head, &mut asked);
        }
        if ctl.unit.runs_feed() {
            feed::poses(&ctl.feed, &mut asked);
        }
    }
    asked.set_belt(cx.m.ours && production && ctl.unit.wants_belt(cx.m) && !ctl.head.stop_belt);
    // At rest the diverter stays as it is; but where the belt is the line's, bottles ride past it while the unit is held.
    let held = matches!(ctl.unit.state, UnitState::Holding | UnitState::Held);
    if ctl.unit.may_move() || (held && !cx.m.ours) {
        let pass = production && ctl.unit.passes_on() && !ctl.track.divert();
        asked.set(Actuator::Reject, if pass { Pose::Work } else { Pose::Home });
    }
    asked
}

/// What the head is doing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum HeadStep {
    /// Nothing here, nothing coming.
    #[default]
    Vacant = 0,
    /// A bottle rides towards the head.
    Incoming = 1,
    /// The grip closes.
    Catch = 2,
    /// The plunger comes down.
    Seat = 3,
    /// The rollers close.
    Engage = 4,
    /// The rollers spin.
    Tighten = 5,
    /// The rollers go back.
    Disengage = 6,
    /// The plunger goes up.
    Lift = 7,
    /// The grip opens (or waits, gripping, for a clear discharge).
    LetGo = 8,
    /// The bottle rides off.
    Leaving = 9,
}

impl HeadStep {
    /// All of them, by number.
    pub const ALL: [Self; 10] = [
        Self::Vacant,
        Self::Incoming,
        Self::Catch,
        Self::Seat,
        Self::Engage,
        Self::Tighten,
        Self::Disengage,
        Self::Lift,
        Self::LetGo,
        Self::Leaving,
    ];

    /// The step's name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Vacant => "Vacant",
            Self::Incoming => "Incoming",
            Self::Catch => "Catch",
            Self::Seat => "Seat",
            Self::Engage => "Engage",
            Self::Tighten => "Tighten",
            Self::Disengage => "Disengage",
            Self::Lift => "Lift",
            Self::LetGo => "LetGo",
            Self::Leaving => "Leaving",
        }
    }
}

/// What the escapement is doing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum FeedStep {
    /// Entry gate open, release gate shut: the pocket fills.
    #[default]
    Filling = 0,
    /// Both shut, one bottle in the pocket.
    Loaded = 1,
    /// Release gate open.
    Releasing = 2,
    /// Release gate shutting.
    Shutting = 3,
}

impl FeedStep {
    /// All of them, by number.
    pub const ALL: [Self; 4] = [Self::Filling, Self::Loaded, Self::Releasing, Self::Shutting];

    /// The step's name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Filling => "Filling",
            Self::Loaded => "Loaded",
            Self::Releasing => "Releasing",
            Self::Shutting => "Shutting",
        }
    }
}
