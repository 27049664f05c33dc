//! Bottles between release gate and diverter, as belt positions with uncertainty. Fixed capacity, conserved.
//!
//! A bottle's `mark` is the belt count at which its centre is (or was) on the head centre, so its coordinate is always
//! belt − mark. `u` is how wrong that may be, either way.

use crate::cx::Cx;
use crate::event::{EventKind, Why};
use crate::io::Contact;
use crate::local::{Moves, Place, Shift, Spot, shift_all};
use crate::machine::Machine;
use crate::product::Setpoints;
use crate::tally::{Book, Tell};
use crate::units::Rate;

/// Bottles that can be inside at once.
pub(crate) const CAPACITY: usize = 12;
/// More than that makes no difference: further than any station reaches.
const DOUBT_MAX: i32 = 1 << 28;

/// Where a bottle is on its way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
pub(crate) enum Stage {
    /// Between release eye and head.
    Inbound,
    /// Caught, or being caught.
    AtHead,
    /// Past the head, before the discharge eye.
    Outbound,
    /// Before the diverter.
    ToReject,
    /// In the diverter's reach.
    InReject,
}

/// What is known of a bottle's closure from the upstream cap position.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
pub(crate) enum Cap {
    NotSensed,
    Awaited,
    Present,
    Absent,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
pub(crate) struct Bottle {
    pub(crate) serial: u32,
    pub(crate) mark: Spot,
    /// At most [`DOUBT_MAX`].
    pub(crate) u: i32,
    pub(crate) stage: Stage,
    /// Why it is to be rejected; `Plain` = not.
    pub(crate) flag: Why,
    pub(crate) cap: Cap,
    /// Gripped by the head and let go: if it does not turn up, it is still there.
    pub(crate) through_head: bool,
}

/// What one tick brought.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct News {
    /// A bottle that the head let go did not reach the discharge eye.
    pub(crate) overstay: bool,
    pub(crate) stray_discharge: bool,
    pub(crate) unverified: bool,
}

#[derive(Clone, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
#[repr(C)]
pub(crate) struct Track {
    /// How many are on the way to the head, and how many in the diverter's reach.
    inbound: u8,
    in_reject: u8,
    /// Bottles seen in the reject lane and not yet accounted for.
    lane_seen: u8,
    verify_owed: u8,
    next_serial: u32,
    next: Place,
    /// Until here, further release edges belong to the bottle that was registered.
    release_guard: Place,
    /// Until here, further discharge edges belong to the bottle that was seen.
    discharge_guard: Place,
    /// Where a diverted bottle must have been seen in the lane.
    verify: Place,
    bottles: heapless::Vec<Bottle, CAPACITY>,
}

impl Track {
    pub(crate) const fn new() -> Self {
        Self {
            bottles: heapless::Vec::new(),
            next_serial: 1,
            release_guard: Place::NOWHERE,
            discharge_guard: Place::NOWHERE,
            lane_seen: 0,
            verify: Place::NOWHERE,
            verify_owed: 0,
            next: Place::NOWHERE,
            inbound: 0,
            in_reject: 0,
        }
    }

    /// Whether one is on the way to the head.
    pub(crate) const fn has_inbound(&self) -> bool {
        self.inbound != 0
    }

    /// The next to reach the head is being caught.
    pub(crate) fn catch(&mut self) {
        if let Some(b) = self.inbound_mut() {
            b.stage = Stage::AtHead;
            self.inbound = self.inbound.saturating_sub(1);
        }
    }

    pub(crate) fn len(&self) -> u32 {
        u32::try_from(self.bottles.len()).unwrap_or(u32::MAX)
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.bottles.is_empty()
    }

    /// The next bottle to reach the head.
    pub(crate) fn inbound(&self) -> Option<&Bottle> {
        if self.inbound == 0 {
            return None;
        }
        self.bottles.iter().find(|b| b.stage == Stage::Inbound)
    }

    pub(crate) fn inbound_mut(&mut self) -> Option<&mut Bottle> {
        self.bottles.iter_mut().find(|b| b.stage == Stage::Inbound)
    }

    pub(crate) fn newest_inbound(&mut self) -> Option<&mut Bottle> {
        self.bottles.iter_mut().rev().find(|b| b.stage == Stage::Inbound)
    }

    pub(crate) fn at_head(&mut self) -> Option<&mut Bottle> {
        self.bottles.iter_mut().find(|b| b.stage == Stage::AtHead)
    }

    pub(crate) fn has_room(&self) -> bool {
        !self.bottles.is_full()
    }

    /// Whether a release edge at `place` still belongs to the bottle registered before.
    pub(crate) const fn is_same_body(&self) -> bool {
        self.release_guard.is_armed()
    }

    /// A bottle is registered with its leading edge at the release eye when the belt was at `edge`. `None`: no room.
    pub(crate) fn register(&mut self, edge: Spot, flag: Why, m: &Machine, s: &Setpoints) -> Option<u32> {
        let serial = self.next_serial;
        let sensed = matches!(s.cap, crate::product::CapPolicy::Upstream);
        let bottle = Bottle {
            serial,
            mark: edge.ahead(s.catch_travel),
            u: s.u_base,
            stage: Stage::Inbound,
            flag,
            cap: if sensed { Cap::Awaited } else { Cap::NotSensed },
            through_head: false,
        };
        self.bottles.push(bottle).ok()?;
        self.next_serial = serial.wrapping_add(1);
        self.release_guard = Place::at(edge.ahead(s.body_min.saturating_sub(s.u_base)));
        self.refresh(m, s);
        Some(serial)
    }

    /// A bottle that nobody registered was seen with its leading edge at the discharge eye. `false`: no room to follow it.
    fn find(&mut self, edge: Spot, x: i32, m: &Machine, s: &Setpoints) -> bool {
        let serial = self.next_serial;
        let bottle = Bottle {
            serial,
            mark: edge.ahead(s.body / 2).ahead(x.saturating_neg()),
            u: s.u_base,
            stage: Stage::ToReject,
            flag: Why::Stray,
            cap: Cap::NotSensed,
            through_head: false,
        };
        let room = self.bottles.push(bottle).is_ok();
        if room {
            self.next_serial = serial.wrapping_add(1);
        }
        self.refresh(m, s);
        room
    }

    /// The head lets the bottle at it go: it is at the head centre when the belt is at `mark`.
    pub(crate) fn let_go(&mut self, mark: Spot, m: &Machine, s: &Setpoints) {
        if let Some(b) = self.at_head() {
            b.mark = mark;
            b.u = s.u_base.saturating_add(s.slip_u);
            b.through_head = true;
            b.stage = Self::after_head(m);
        }
        self.refresh(m, s);
    }

    /// The bottle at the head, or the one coming, rides on without having been caught.
    pub(crate) fn pass(&mut self, m: &Machine, s: &Setpoints) {
        let stage = Self::after_head(m);
        let i = self.bottles.iter().position(|b| matches!(b.stage, Stage::AtHead | Stage::Inbound));
        if let Some(b) = i.and_then(|i| self.bottles.get_mut(i)) {
            b.stage = stage;
        }
        self.refresh(m, s);
    }

    const fn after_head(m: &Machine) -> Stage {
        if m.discharge_eye.is_some() { Stage::Outbound } else { Stage::ToReject }
    }

    /// Flags a bottle for reject, once.
    pub(crate) fn flag(b: &mut Bottle, why: Why, tell: &mut Tell<'_>) {
        if b.flag == Why::Plain {
            b.flag = why;
            tell.say(EventKind::Flagged, why, 0, i32::try_from(b.serial).unwrap_or(i32::MAX));
        }
    }

    /// Positions of all that ride on the belt have become uncertain by `by` counts.
    pub(crate) fn blur(&mut self, by: i32, m: &Machine, s: &Setpoints) {
        for b in &mut self.bottles {
            if b.stage != Stage::AtHead {
                b.u = b.u.saturating_add(by).min(DOUBT_MAX);
            }
        }
        self.refresh(m, s);
    }

    /// Everything inside becomes unknown; says how many.
    pub(crate) fn forget(&mut self) -> u32 {
        let n = self.len();
        self.bottles.clear();
        self.release_guard = Place::NOWHERE;
        self.discharge_guard = Place::NOWHERE;
        self.lane_seen = 0;
        self.verify = Place::NOWHERE;
        self.verify_owed = 0;
        self.next = Place::NOWHERE;
        self.inbound = 0;
        self.in_reject = 0;
        n
    }

    /// Whether the diverter must divert now: a bottle to be rejected is in its reach.
    pub(crate) fn divert(&self) -> bool {
        self.in_reject != 0 && self.bottles.iter().any(|b| b.stage == Stage::InReject && b.flag != Why::Plain)
    }

    /// The diverter is (or may be) diverting while these are in its reach: none of them is delivered.
    pub(crate) fn diverted_all(&mut self, tell: &mut Tell<'_>) {
        for b in &mut self.bottles {
            if b.stage == Stage::InReject {
                Self::flag(b, Why::Interrupted, tell);
            }
        }
    }

    /// Follows every bottle past its places. Called with each tick's edges.
    pub(crate) fn tick(&mut self, cx: &mut Cx<'_>, rate: impl Fn() -> Rate, flushing: Option<&mut u32>) -> News {
        let (m, s) = (cx.m, cx.s);
        let mut news = News::default();
        let seen = &cx.seen;
        self.release_guard.fire(seen.belt);
        self.discharge_guard.fire(seen.belt);
        if seen.rising(Contact::RejectEye) {
            self.lane_seen = self.lane_seen.saturating_add(1);
        }
        if seen.rising(Contact::DischargeEye) && !self.discharge_guard.is_armed() {
            let edge = seen.at.discharge.spot().ahead(rate().travel(m.eye_on).saturating_neg());
            match flushing {
                Some(seen) => {
                    self.discharge_guard = Place::at(edge.ahead(s.body_min.saturating_sub(s.u_base)));
                    *seen = seen.saturating_add(1);
                }
                None => news.stray_discharge = !self.at_discharge(edge, m, s, cx.book),
            }
        }
        if self.next.is_due(cx.seen.belt) {
            self.advance(cx, &mut news);
        }
        news
    }

    /// A leading edge at the discharge eye: whose? `false`: nobody's.
    fn at_discharge(&mut self, edge: Spot, m: &Machine, s: &Setpoints, book: &mut Book) -> bool {
        let Some(x) = m.discharge_eye else { return true };
        self.discharge_guard = Place::at(edge.ahead(s.body_min.saturating_sub(s.u_base)));
        let mark = edge.ahead(s.body / 2).ahead(x.saturating_neg());
        let tolerance = s.body / 4;
        let known = self.bottles.iter_mut().find(|b| b.stage == Stage::Outbound).is_some_and(|b| {
            let off = mark.minus(b.mark).saturating_abs();
            let ours = off <= b.u.saturating_add(tolerance);
            if ours {
                b.mark = mark;
                b.u = s.u_base;
                b.stage = Stage::ToReject;
            }
            ours
        });
        if !known {
            book.tally.found = book.tally.found.saturating_add(1);
            if !self.find(edge, x, m, s) {
                // Seen, and not to be followed: what becomes of it nobody knows.
                book.tally.lost = book.tally.lost.saturating_add(1);
            }
        }
        self.refresh(m, s);
        known
    }

    /// Takes bottle `i` out; those behind it move up. (`Vec::remove` links a panic, whatever is known of `i`.)
    fn take_out(&mut self, i: usize) {
        let behind = self.bottles.len().saturating_sub(i).saturating_sub(1);
        let Some(mut last) = self.bottles.pop() else { return };
        // Handed on from the last to the first of those behind it. A loop of moves would be made a call that links much more.
        for slot in self.bottles.iter_mut().rev().take(behind) {
            core::mem::swap(slot, &mut last);
        }
    }

    /// Moves every bottle that has reached its place to its next stage.
    fn advance(&mut self, cx: &mut Cx<'_>, news: &mut News) {
        let (m, s) = (cx.m, cx.s);
        let mut i = 0;
        // A bottle goes through at most four stages in one tick; the bound only makes sure that no tick is endless.
        for _ in 0..CAPACITY.saturating_mul(5) {
            let Some(b) = self.bottles.get_mut(i) else { break };
            if !next_place(b, m, s).is_due(cx.seen.belt) {
                i = i.saturating_add(1);
                continue;
            }
            match b.stage {
                Stage::Inbound => {
                    // The upstream cap position.
                    b.cap = if cx.seen.is(Contact::Cap) { Cap::Present } else { Cap::Absent };
                }
                Stage::AtHead => i = i.saturating_add(1),
                Stage::Outbound => {
                    news.overstay |= b.through_head;
                    let serial = b.serial;
                    self.take_out(i);
                    cx.count(Why::Lost, serial);
                }
                Stage::ToReject if m.reject.is_some() => b.stage = Stage::InReject,
                Stage::ToReject | Stage::InReject => {
                    let (serial, flag) = (b.serial, b.flag);
                    self.take_out(i);
                    if flag == Why::Plain {
                        cx.count(Why::Good, serial);
                    } else {
                        cx.count(Why::Rejected, serial);
                        if m.reject.is_some() && m.fitted.has(Contact::RejectEye) {
                            self.verify_owed = self.verify_owed.saturating_add(1);
                            self.verify = Place::at(cx.seen.belt.ahead(s.body_max.saturating_mul(2)));
                        }
                    }
                }
            }
        }
        if self.verify.fire(cx.seen.belt) {
            news.unverified = self.lane_seen < self.verify_owed;
            self.lane_seen = 0;
            self.verify_owed = 0;
        }
        self.refresh(m, s);
    }

    /// Counts, and computes the nearest place at which something is due.
    pub(crate) fn refresh(&mut self, m: &Machine, s: &Setpoints) {
        let mut next = self.verify;
        self.inbound = 0;
        self.in_reject = 0;
        for b in &self.bottles {
            match b.stage {
                Stage::Inbound => self.inbound = self.inbound.saturating_add(1),
                Stage::InReject => self.in_reject = self.in_reject.saturating_add(1),
                Stage::AtHead | Stage::Outbound | Stage::ToReject => {}
            }
            next = next.nearer(next_place(b, m, s));
        }
        self.next = next;
    }

    /// The nearest place at which something is due.
    pub(crate) const fn due(&self) -> Place {
        self.next.nearer(self.release_guard).nearer(self.discharge_guard)
    }
}

impl Moves for Track {
    fn shift(&mut self, by: Shift) {
        for b in &mut self.bottles {
            b.mark.shift(by);
        }
        let Self { release_guard, discharge_guard, verify, next, .. } = self;
        shift_all(&mut [release_guard, discharge_guard, verify, next], by);
    }
}

/// The belt position at which something is due for a bottle in its stage.
fn next_place(b: &Bottle, m: &Machine, s: &Setpoints) -> Place {
    let half = s.body_max / 2;
    let x = match b.stage {
        Stage::Inbound => match (b.cap, m.cap_eye) {
            (Cap::Awaited, Some(x)) => x,
            _ => return Place::NOWHERE,
        },
        Stage::AtHead => return Place::NOWHERE,
        Stage::Outbound => match m.discharge_eye {
            // Its leading edge must have been seen by here.
            Some(x) => x.saturating_sub(s.body / 4).saturating_add(b.u).saturating_add(s.eye_lag),
            None => 0,
        },
        Stage::ToReject => match m.reject {
            Some(x) => x.saturating_sub(half).saturating_sub(b.u).saturating_sub(s.reject_lead),
            None => s.leave.saturating_add(b.u),
        },
        Stage::InReject => match m.reject {
            Some(x) => x.saturating_add(m.reject_length).saturating_add(half).saturating_add(b.u),
            None => s.leave,
        },
    };
    Place::at(b.mark.ahead(x))
}
