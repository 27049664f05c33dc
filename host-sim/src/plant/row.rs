//! The row of bottles on the belt: how each moves, given what is ahead of it.
//!
//! The first in the row is the furthest downstream. A body in contact with the one ahead moves as that one does while it would
//! otherwise be faster, and is left behind or left alone when it would not: it never pushes the one ahead along.

use super::Plant;
use super::bottle::{Due, Hold, Motion};
use super::eye::What as Mark;
use super::kin::{Arc, NEVER, SAME, reach, shut};
use crate::facts::What;

/// A body this close to what it runs against, mm, on either side, has reached it: after days an event's time is no better than that.
const REACHED: f64 = 1e-6;

impl Plant {
    /// Index of bottle `number` in the row.
    pub(super) fn index(&self, number: u32) -> Option<usize> {
        // Numbers grow upstream without gaps but for hands and diverter, so this looks at one or two.
        let first = self.row.front()?.number;
        let guess = (number.checked_sub(first)? as usize).min(self.row.len() - 1);
        (0..=guess).rev().find(|&i| self.row[i].number <= number).filter(|&i| self.row[i].number == number)
    }

    /// Motion of body `i` at `t`.
    pub(super) fn arc(&self, i: usize, t: f64) -> Arc {
        match self.row[i].motion {
            Motion::Still(x) => Arc::still(t, x),
            Motion::Ride(off) => {
                let b = self.belt.arc(t);
                Arc { x: b.x + off, ..b }
            }
            Motion::Slide(arc) => arc.from(t),
        }
    }

    /// Distance of centres of body `i` and the one ahead when they touch, mm.
    pub(super) fn pitch(&self, i: usize) -> f64 {
        self.row[i].half + self.row[i - 1].half
    }

    /// The nearest fixed thing that body `i`, at `x`, can run against: where its centre stops, and what it is.
    fn obstacle(&self, i: usize, x: f64) -> Option<(f64, Hold)> {
        let b = &self.row[i];
        let mut best: Option<(f64, Hold)> = None;
        let mut see = |at: f64, what: Hold| {
            if x <= at + REACHED && best.is_none_or(|o| at < o.0) {
                best = Some((at, what));
            }
        };
        for g in 0..2 {
            if self.gates[g].shut {
                see(self.gates[g].rest(b), Hold::Gate(g as u8));
            }
        }
        if b.hung {
            see(self.gates[1].rest(b), Hold::Hung);
        }
        if b.jams {
            see(self.wedge_x - b.half, Hold::Wedge);
        }
        if self.jaw_blocks() {
            see(-self.jaw_reach - (b.half - b.r), Hold::JawSide);
        }
        if self.outfeed_blocked {
            see(self.outfeed_x, Hold::Outfeed);
        }
        if self.row.get(i + 1).is_some_and(|n| n.linked) {
            let next = &self.row[i + 1];
            let pitch = next.half + b.half;
            if next.hold.grips() {
                see(x, Hold::Partner);
            } else if let Some((at, _)) = self.obstacle(i + 1, x - pitch) {
                see(at + pitch, Hold::Partner);
            }
        }
        best
    }

    /// Finds anew how body `i`, at `x` with speed `v` at `t`, moves from now on.
    pub(super) fn settle(&mut self, i: usize, t: f64, x: f64, v: f64) {
        let belt = self.belt.arc(t);
        let (motion, hold, contact) = self.motion_of(i, t, x, v, belt);
        let b = &mut self.row[i];
        b.motion = motion;
        b.hold = hold;
        b.contact = contact;
        if let Motion::Slide(arc) = motion
            && arc.a.abs() > self.kind.a_tip
            && !b.down
        {
            b.down = true;
            self.tell(t, i, What::Tipped);
        }
        self.plan(i, t);
        self.draw_path(i, t);
    }

    fn motion_of(&self, i: usize, t: f64, x: f64, v: f64, belt: Arc) -> (Motion, Hold, bool) {
        let b = &self.row[i];
        // One that is held is in contact only with one that stands too; else the one ahead leaves it behind.
        let stays = b.contact && (b.linked || i > 0 && matches!(self.row[i - 1].motion, Motion::Still(_)));
        if b.hold.grips() {
            return (Motion::Still(x), b.hold, stays);
        }
        if let Some((at, what)) = self.obstacle(i, x)
            && at - x <= SAME
        {
            return (Motion::Still(at), what, stays);
        }
        // What friction would do alone.
        let dv = belt.v - v;
        let rides = dv.abs() <= SAME && belt.a.abs() <= b.grip_a + SAME;
        let a = if rides {
            belt.a
        } else if dv > SAME || (dv.abs() <= SAME && belt.a > 0.0) {
            b.grip_a
        } else {
            -b.grip_a
        };
        if b.contact && i > 0 {
            let ahead = self.arc(i - 1, t);
            if b.linked || ahead.a <= a + SAME && ahead.v <= v + SAME {
                let pitch = self.pitch(i);
                let motion = match self.row[i - 1].motion {
                    Motion::Still(x) => Motion::Still(x - pitch),
                    Motion::Ride(off) => Motion::Ride(off - pitch),
                    Motion::Slide(arc) => Motion::Slide(Arc { x: arc.x - pitch, ..arc }),
                };
                return (motion, Hold::None, true);
            }
        }
        if rides {
            (Motion::Ride(x - belt.x), Hold::None, false)
        } else {
            (Motion::Slide(Arc { t, x, v, a }), Hold::None, false)
        }
    }

    /// Settles body `i` where it is, with the one it is stuck to, and all that depends on them.
    pub(super) fn resettle(&mut self, i: usize, t: f64) {
        let first = if self.row[i].linked && i > 0 { i - 1 } else { i };
        let a = self.arc(first, t);
        self.settle(first, t, a.x, a.v);
        self.chain(first, t);
    }

    /// Body `i` moves in a new way: those in contact behind it follow, the next one looks anew.
    pub(super) fn chain(&mut self, i: usize, t: f64) {
        let mut j = i + 1;
        while j < self.row.len() {
            if !self.row[j].contact {
                self.plan(j, t);
                return;
            }
            let own = self.arc(j, t);
            let ahead = self.arc(j - 1, t);
            let mut v = own.v;
            if ahead.v < own.v - SAME || self.row[j].linked {
                if !self.row[j].linked {
                    self.bump(j, t, own.v - ahead.v);
                }
                v = ahead.v;
            }
            self.settle(j, t, ahead.x - self.pitch(j), v);
            j += 1;
        }
    }

    /// All bodies look anew: the belt has changed.
    pub(super) fn resettle_all(&mut self, t: f64) {
        for i in 0..self.row.len() {
            let a = self.arc(i, t);
            let (x, mut v) = (a.x, a.v);
            if let Motion::Ride(_) = self.row[i].motion {
                v = self.belt.v(t);
            }
            self.settle(i, t, x, v);
        }
    }

    /// Looks up when and how body `i` has something to do.
    pub(super) fn plan(&mut self, i: usize, t: f64) {
        let b = &self.row[i];
        let (mut best, mut due) = (NEVER, Due::Nothing);
        if !matches!(b.motion, Motion::Still(_)) {
            let m = self.arc(i, t);
            // Of all fixed places ahead the nearest comes first, whatever the motion: one root for all of them.
            let mut at = b.mark_x;
            due = Due::Mark;
            if let Some((x, _)) = self.obstacle(i, m.x)
                && x < at
            {
                (at, due) = (x, Due::Obstacle);
            }
            for g in 0..2 {
                if self.gates[g].stalled_on == b.number && self.gates[g].past(b) < at {
                    (at, due) = (self.gates[g].past(b), Due::Unstall(g as u8));
                }
            }
            best = reach(at - m.x, m.v, m.a);
            let mut first = |s: f64, what: Due| {
                if s < best {
                    best = s;
                    due = what;
                }
            };
            if let Motion::Slide(arc) = b.motion
                && !b.contact
            {
                let (dv, da) = (self.belt.v(t) - m.v, arc.a - self.belt.a());
                if dv * arc.a <= 0.0 && da * arc.a > 0.0 {
                    first(0.0, Due::Meet); // it has just met the belt's speed, to the last bit, and another event came first
                } else if da != 0.0 && dv / da > 0.0 {
                    first(dv / da, Due::Meet);
                }
            }
            if i > 0 && !b.contact {
                let ahead = self.arc(i - 1, t);
                let s = shut(ahead.x - m.x - self.pitch(i), m.v - ahead.v, m.a - ahead.a);
                first(s, Due::Collide);
            }
        }
        let b = &mut self.row[i];
        b.te = if best == NEVER { NEVER } else { t + best * 1e6 };
        b.due = due;
        self.stale = true;
    }

    /// The body ahead of body `j` is slower by `dv`, and they meet.
    fn bump(&mut self, j: usize, t: f64, dv: f64) {
        if dv > self.bump_max {
            self.bump_max = dv;
        }
        let in_head = |h: Hold| matches!(h, Hold::Jaw | Hold::Pinned);
        let at_head = in_head(self.row[j - 1].hold) || in_head(self.row[j].hold);
        if at_head || dv >= self.kind.v_tip {
            self.tell(t, j, What::StruckByBottle { speed_mm_s: dv, at_head });
        }
        self.stop_foot(j, t, dv);
    }

    /// Body `i` loses `dv` at once.
    pub(super) fn stop_foot(&mut self, i: usize, t: f64, dv: f64) {
        if dv >= self.kind.v_tip && !self.row[i].down {
            self.row[i].down = true;
            self.tell(t, i, What::Tipped);
        }
    }

    /// Body `i` does what it had to do at `t`.
    pub(super) fn body_event(&mut self, i: usize, t: f64) {
        match self.row[i].due {
            Due::Nothing => self.plan(i, t),
            Due::Meet => {
                let x = self.arc(i, t).x;
                let v = self.belt.v(t);
                self.settle(i, t, x, v);
                self.chain(i, t);
            }
            Due::Obstacle => {
                let m = self.arc(i, t);
                match self.obstacle(i, m.x) {
                    Some((at, what)) if at - m.x < REACHED => {
                        if what == Hold::JawSide && self.jaw_holds() {
                            self.tell(t, i, What::StruckByBottle { speed_mm_s: m.v, at_head: true });
                        }
                        self.stop_foot(i, t, m.v);
                        self.settle(i, t, at, 0.0);
                        self.chain(i, t);
                    }
                    _ => self.plan(i, t), // what it would have met is gone
                }
            }
            Due::Collide => {
                let (m, ahead) = (self.arc(i, t), self.arc(i - 1, t));
                let dv = m.v - ahead.v;
                if dv > SAME {
                    self.bump(i, t, dv);
                }
                self.row[i].contact = true;
                let x = ahead.x - self.pitch(i);
                let lone = !self.row[i - 1].contact && !matches!(self.row[i - 1].motion, Motion::Still(_));
                if lone && dv > SAME {
                    // Two equal bodies that stay together share their momentum.
                    let v = 0.5 * (m.v + ahead.v);
                    self.settle(i - 1, t, ahead.x, v);
                    self.settle(i, t, x, v);
                } else {
                    self.settle(i, t, x, ahead.v.min(m.v));
                }
                self.chain(i, t);
            }
            Due::Unstall(g) => {
                self.unstall(usize::from(g), t);
                self.plan(i, t);
            }
            Due::Mark => self.pass_mark(i, t),
        }
    }

    /// Where body `i` is at its next mark, and which list it is in.
    fn next_mark(&self, i: usize) -> (f64, usize) {
        let b = &self.row[i];
        let m = &self.marks;
        let at = |list: &[(f64, Mark)], k: usize, shift: f64| {
            list.get(usize::from(b.marks[k])).map_or(NEVER, |p| p.0 + shift)
        };
        let lead = at(&m.lead, 0, -b.half);
        let trail = at(&m.trail, 1, b.half);
        let mid = at(&m.mid, 2, 0.0);
        if lead <= trail && lead <= mid {
            (lead, 0)
        } else if trail <= mid {
            (trail, 1)
        } else {
            (mid, 2)
        }
    }

    fn take_mark(&mut self, i: usize) -> Mark {
        let (_, k) = self.next_mark(i);
        let list = match k {
            0 => &self.marks.lead,
            1 => &self.marks.trail,
            _ => &self.marks.mid,
        };
        let what = list[usize::from(self.row[i].marks[k])].1;
        self.row[i].marks[k] += 1;
        self.row[i].mark_x = self.next_mark(i).0;
        what
    }

    fn pass_mark(&mut self, i: usize, t: f64) {
        let what = self.take_mark(i);
        match what {
            Mark::Beam(s, on) => self.beam(t, i, s, on),
            Mark::Cap(on) => {
                if self.row[i].cap || !on {
                    self.beam(t, i, super::CAP, on);
                }
            }
            Mark::Room => self.room(i, t),
            Mark::PastRelease => self.tell(t, i, What::PassedRelease),
            Mark::PastHead => {
                if !self.row[i].gripped {
                    self.tell(t, i, What::PassedHead);
                }
            }
            Mark::RejectFrom => {
                self.row[i].in_reject = true;
                if self.diverts(t) {
                    self.divert(i, t);
                    return;
                }
            }
            Mark::PastReject => {
                self.row[i].in_reject = false;
                self.tell(t, i, What::PassedOn);
            }
            Mark::Exit => {
                self.remove(i, t);
                return;
            }
        }
        self.plan(i, t);
    }

    /// Body `i` was set down, or shifted, at `x`: which marks lie behind it, which beams it is in. Nothing is told of it.
    pub(super) fn remark(&mut self, i: usize, t: f64, x: f64) {
        let was = self.row[i].beams;
        self.row[i].marks = [0; 3];
        let mut beams = 0_u8;
        self.row[i].mark_x = self.next_mark(i).0;
        while self.row[i].mark_x < x {
            let (s, on) = match self.take_mark(i) {
                Mark::Beam(s, on) => (s, on),
                Mark::Cap(on) => (super::CAP, on && self.row[i].cap),
                _ => continue,
            };
            beams = if on { beams | 1 << s } else { beams & !(1 << s) };
        }
        for s in 0..super::SENSORS as u8 {
            let bit = 1 << s;
            if (was ^ beams) & bit != 0 {
                self.beam(t, i, s, beams & bit != 0);
            }
        }
    }

    /// Body `i` enters or leaves the beam of sensor `s`.
    pub(super) fn beam(&mut self, t: f64, i: usize, s: u8, on: bool) {
        let bit = 1 << s;
        if (self.row[i].beams & bit != 0) == on {
            return;
        }
        self.row[i].beams ^= bit;
        let n = &mut self.shadows[usize::from(s)];
        let was = *n > 0;
        *n = if on { *n + 1 } else { n.saturating_sub(1) };
        let is = *n > 0;
        if was != is {
            let response = if is { self.eye_on } else { self.eye_off };
            self.wires.follow(t, super::CONTACT_OF[usize::from(s)], is, response);
        }
    }

    /// Body `i` is gone.
    pub(super) fn remove(&mut self, i: usize, t: f64) {
        for s in 0..super::SENSORS as u8 {
            self.beam(t, i, s, false);
        }
        self.end_path(i, t);
        let number = self.row[i].number;
        self.row.remove(i);
        self.stale = true;
        for g in 0..2 {
            if self.gates[g].stalled_on == number {
                self.unstall(g, t);
            }
        }
        self.head_loses(number, t);
        if i < self.row.len() {
            self.row[i].contact = false;
            self.row[i].linked = false;
            if i == 0 || !self.row[i].hold.grips() {
                self.resettle(i, t);
            }
        }
        if i == self.row.len() {
            self.room_at_the_end(t);
        }
        if i > 0 && i <= self.row.len() {
            self.resettle(i - 1, t); // it may have been held by the one stuck to it
        }
    }
}
