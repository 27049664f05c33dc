//! The release eye: registers every released bottle, measures its length, notices what nobody released.

use crate::decide::{Ctl, Cx, FeedStep};
use crate::event::{EventKind, Why};
use crate::fault::Fault;
use crate::io::Contact;
use crate::local::{Place, Spot};
use crate::sense::belt::Belt;
use crate::track::{Stage, Track};
use crate::units::Rate;

/// Speed for an eye's response: as sampled, else as set; nothing while the belt stands.
pub(crate) fn response_rate(belt: &Belt, set: Rate) -> Rate {
    if !belt.is_moving() {
        Rate::ZERO
    } else if belt.rate() == Rate::ZERO {
        set
    } else {
        belt.rate()
    }
}

/// Takes this tick's edges of the release eye.
pub(crate) fn run(ctl: &mut Ctl, cx: &mut Cx<'_>) {
    if cx.seen.edges().has(Contact::ReleaseEye) {
        let response = response_rate(&ctl.belt, cx.s.rate).travel(cx.m.eye_on);
        let place = cx.seen.at.release.spot().ahead(response.saturating_neg());
        if cx.seen.is(Contact::ReleaseEye) {
            came(ctl, cx, place);
        } else {
            went(ctl, cx, place);
        }
    }
    if !cx.seen.is(Contact::ReleaseEye) {
        ctl.feed.stray = Place::NOWHERE;
    } else if ctl.feed.stray.is_due(cx.seen.belt) {
        let edge = ctl.feed.stray.spot().ahead(stray_body(cx).saturating_neg());
        ctl.feed.stray = Place::NOWHERE;
        if takes_strays(ctl) {
            register(ctl, cx, edge, false);
        }
    }
}

/// How long a body must be that nobody released, before it counts: less is a worn switch, whose last edges may come long after
/// the bottle has left, or a hand.
const fn stray_body(cx: &Cx<'_>) -> i32 {
    cx.s.body_min / 4
}

/// Whether a body that nobody released is one more inside. A bottle that touched the one before may come into the eye while the belt
/// coasts to a Hold: it counts as soon as the belt has carried it far enough, be it after Unhold.
fn takes_strays(ctl: &Ctl) -> bool {
    ctl.unit.runs_head() || ctl.unit.is_broken_off()
}

#[inline(never)]
fn came(ctl: &mut Ctl, cx: &mut Cx<'_>, edge: Spot) {
    if ctl.track.is_same_body() {
        // The far wall of clear glass, or a worn switch.
        watch_length(ctl, cx, ctl.feed.edge.spot());
        return;
    }
    if matches!(ctl.feed.step, FeedStep::Releasing | FeedStep::Shutting) && !ctl.feed.registered {
        register(ctl, cx, edge, true);
    } else if takes_strays(ctl) {
        ctl.feed.stray = Place::at(edge.ahead(stray_body(cx)));
    }
}

fn register(ctl: &mut Ctl, cx: &mut Cx<'_>, edge: Spot, expected: bool) {
    let flag = if expected { Why::Plain } else { Why::Stray };
    let Some(serial) = ctl.track.register(edge, flag, cx.m, cx.s) else {
        ctl.raise(cx, Fault::TrackerFull, 0);
        return;
    };
    let number = i32::try_from(serial).unwrap_or(i32::MAX);
    if expected {
        ctl.feed.registered = true;
        // In Shutting the gate is on its way already, and a place that nothing looks at would wake at every count.
        if ctl.feed.step == FeedStep::Releasing {
            ctl.feed.shut = Place::at(edge.ahead(cx.s.gate_shut));
        }
        cx.book.tally.registered = cx.book.tally.registered.saturating_add(1);
        cx.tell.say(EventKind::Registered, Why::Plain, 0, number);
    } else {
        cx.book.tally.found = cx.book.tally.found.saturating_add(1);
        cx.tell.say(EventKind::Registered, Why::Stray, 0, number);
    }
    ctl.feed.edge = Place::at(edge);
    watch_length(ctl, cx, edge);
    ctl.belt.begin_sampling(cx.seen.belt, cx.from.edge_at(cx.seen.now), cx.s.window, cx.s.rate);
    if !ctl.unit.runs_head() {
        // Pushed there by hand, or by a belt that coasts: where it will stop is anyone's guess.
        ctl.doubt(cx);
    }
    if !expected {
        ctl.raise(cx, Fault::StrayRelease, number);
    }
}

/// Arms the places at which a body still in the eye is over-long, and a jam.
fn watch_length(ctl: &mut Ctl, cx: &Cx<'_>, edge: Spot) {
    let longest = cx.s.body_max.saturating_add(cx.s.u_base).saturating_add(cx.s.eye_lag);
    ctl.feed.long = Place::at(edge.ahead(longest));
    ctl.feed.jam = Place::at(edge.ahead(cx.s.jam));
}

#[inline(never)]
fn went(ctl: &mut Ctl, cx: &mut Cx<'_>, edge: Spot) {
    let lead = ctl.feed.edge.spot();
    let length = edge.minus(lead);
    if length < cx.s.body_min.saturating_sub(cx.s.u_base) {
        return;
    }
    let Some(b) = ctl.track.newest_inbound() else { return };
    cx.tell.say(EventKind::Length, Why::Plain, 0, length);
    if length > cx.s.body_max.saturating_add(cx.s.u_base) {
        Track::flag(b, Why::OverLong, &mut cx.tell);
    } else if b.stage == Stage::Inbound && b.flag == Why::Plain {
        // Both edges are known: the centre is their mean, whatever the diameter.
        // Half the length, so that rounding does not depend on where the belt is counted from.
        let centre = lead.ahead(length / 2);
        b.mark = centre.ahead(cx.m.release_eye.saturating_neg());
    }
    ctl.feed.edge = Place::NOWHERE;
    ctl.track.refresh(cx.m, cx.s);
}
