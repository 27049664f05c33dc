//! The head: the jaw that catches, the plunger that seats, the rollers that turn.
//!
//! What a cylinder meets is decided when it comes to its place of work; when it begins to move back it has let go.

use super::Plant;
use super::actuator::{Goal, Stroke};
use super::bottle::Hold;
use super::kin::NEVER;
use crate::facts::What;
use timing_core::{Actuator, Contact};

/// Off centre by no more than this a body touches both flanks, mm: nothing needs to slide, and the jaw comes to its place of work. An assumption
/// of the model.
const BOTH_FLANKS_MM: f64 = 0.5;
/// A crossed thread takes up the torque within this many turns.
const CROSSED_TURNS: f64 = 0.1;

/// The jaw.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Jaw {
    /// Bodies may pass.
    Open,
    /// Closed on nothing.
    Empty,
    /// Closed on this bottle, which it holds.
    Holds(u32),
    /// Stalled on this bottle, out of its capture.
    Pins(u32),
}

/// The roller drive: speed set-point, ramp, turns so far.
#[derive(Clone, Debug)]
pub(super) struct Drive {
    t: f64,
    rpm: f64,
    /// rpm per second.
    slope: f64,
    target: f64,
    until: f64,
    turns: f64,
    ramp_s: f64,
    /// Fastest set-point so far: the ramp takes its time from rest to there, and as long back.
    full: f64,
}

impl Drive {
    /// At rest.
    pub(super) const fn new(ramp_ms: f64) -> Self {
        Self { t: 0.0, rpm: 0.0, slope: 0.0, target: 0.0, until: NEVER, turns: 0.0, ramp_s: ramp_ms * 1e-3, full: 0.0 }
    }

    /// Speed at `t`, rpm.
    pub(super) fn rpm(&self, t: f64) -> f64 {
        if self.slope == 0.0 { self.rpm } else { self.rpm + self.slope * (t - self.t) * 1e-6 }
    }

    /// Turns since power-up at `t`.
    pub(super) fn turns(&self, t: f64) -> f64 {
        let s = (t - self.t) * 1e-6;
        self.turns + (self.rpm + 0.5 * self.slope * s) * s / 60.0
    }

    /// Drives towards `rpm` from `t` on.
    pub(super) fn drive(&mut self, t: f64, rpm: f64) {
        if rpm == self.target {
            return;
        }
        (self.turns, self.rpm, self.t) = (self.turns(t), self.rpm(t), t);
        self.target = rpm;
        if rpm > 0.0 {
            self.full = rpm;
        }
        let short = rpm - self.rpm;
        if self.ramp_s <= 0.0 || short == 0.0 || self.full <= 0.0 {
            (self.rpm, self.slope, self.until) = (rpm, 0.0, NEVER);
        } else {
            let rate = self.full / self.ramp_s;
            self.slope = if short > 0.0 { rate } else { -rate };
            self.until = t + short / self.slope * 1e6;
        }
    }

    /// The ramp is over.
    fn level(&mut self) {
        let t = self.until;
        (self.turns, self.t) = (self.turns(t), t);
        (self.rpm, self.slope, self.until) = (self.target, 0.0, NEVER);
    }

    /// When it will have made `turns` in all, µs, within the present ramp or level.
    fn when(&self, turns: f64, now: f64) -> f64 {
        let left = turns - self.turns(now);
        let s = super::kin::reach(left, self.rpm(now) / 60.0, self.slope / 60.0);
        now + s * 1e6
    }
}

/// A closure between the rollers.
#[derive(Clone, Copy, Debug)]
pub(super) struct Engaged {
    number: u32,
    /// Roller turns when they closed on it.
    from: f64,
    /// Closure turns at which the clutch slips.
    tight: f64,
    slipped: bool,
    told_turning: bool,
}

impl Plant {
    /// Whether the closed jaw stands in the way of bodies that come.
    pub(super) fn jaw_blocks(&self) -> bool {
        self.jaw != Jaw::Open
    }

    /// Whether there is a bottle in the jaw.
    pub(super) fn jaw_holds(&self) -> bool {
        matches!(self.jaw, Jaw::Holds(_) | Jaw::Pins(_))
    }

    /// What the grip, plunger or roller carriage did.
    pub(super) fn head_stroke(&mut self, a: Actuator, t: f64, stroke: Stroke) {
        match (a, stroke) {
            (Actuator::Grip, Stroke::Work) => self.jaw_meets(t),
            (Actuator::Grip, Stroke::Back) => self.jaw_opens(t),
            (Actuator::Plunger, Stroke::Work) => self.plunger_meets(t),
            (Actuator::Plunger, Stroke::Back) => self.plunger_down = false,
            (Actuator::Rollers, Stroke::Work) => self.rollers_meet(t),
            (Actuator::Rollers, Stroke::Back) => self.rollers_leave(t),
            _ => {}
        }
    }

    /// The body whose centre is nearest to the head centre, and its offset, if the jaw's tips can touch it.
    fn nearest(&self, t: f64) -> Option<(usize, f64)> {
        let mut best: Option<(usize, f64)> = None;
        for i in 0..self.row.len() {
            let x = self.arc(i, t).x;
            if x.abs() < self.jaw_reach + self.row[i].half - self.row[i].r && best.is_none_or(|b| x.abs() < b.1.abs()) {
                best = Some((i, x));
            }
        }
        best
    }

    fn jaw_meets(&mut self, t: f64) {
        let Some((i, x)) = self.nearest(t) else {
            self.jaw = Jaw::Empty;
            self.tell_none(t, What::JawEmpty);
            self.acts[Actuator::Grip.index()].go_on(t);
            self.look_upstream_of(-self.jaw_reach, t);
            return;
        };
        let (number, v, r, down) = {
            let b = &self.row[i];
            (b.number, self.arc(i, t).v, b.r, b.down)
        };
        // A flank that friction locks pushes nothing along: the jaw stalls on a body that it meets off centre.
        let slides = self.jaw_centres || x.abs() <= BOTH_FLANKS_MM;
        let captured = !down && slides && x.abs() <= self.jaw_capture(r) + 1e-9;
        self.tell(t, i, What::JawMet { off_mm: x, captured });
        self.stop_foot(i, t, v);
        self.row[i].gripped = true;
        let x1 = if captured { 0.0 } else { x };
        if captured {
            self.jaw = Jaw::Holds(number);
            self.tell(t, i, What::Gripped);
        } else {
            self.jaw = Jaw::Pins(number);
            // The tips stand on the body: short of the place of work.
            self.acts[Actuator::Grip.index()].stall(t, 0.95);
        }
        self.row[i].hold = if captured { Hold::Jaw } else { Hold::Pinned };
        self.shift(i, t, x1);
    }

    /// Half-width of what the jaw captures of a body of radius `r`, mm.
    pub(super) fn jaw_capture(&self, r: f64) -> f64 {
        self.jaw_half_mouth - r * self.jaw_cos
    }

    /// Sets held body `i` to `x`; one behind that is in the way is pushed back.
    fn shift(&mut self, i: usize, t: f64, x: f64) {
        let from = self.arc(i, t).x;
        self.row[i].contact = false;
        self.settle(i, t, x, 0.0);
        if x != from {
            self.remark(i, t, x);
        }
        let j = i + 1;
        if j < self.row.len() {
            let most = x - self.pitch(j);
            let m = self.arc(j, t);
            if m.x > most + 1e-9 {
                self.tell(t, j, What::StruckByBottle { speed_mm_s: m.v, at_head: true });
                self.row[j].contact = true;
                self.settle(j, t, most, 0.0);
                self.remark(j, t, most);
            } else if m.x < most - 1e-9 {
                self.row[j].contact = false;
                self.settle(j, t, m.x, m.v);
            }
        }
        self.chain(i, t);
        self.look_upstream_of(-self.jaw_reach, t);
    }

    fn jaw_opens(&mut self, t: f64) {
        let was = self.jaw;
        self.jaw = Jaw::Open;
        if let Jaw::Holds(number) | Jaw::Pins(number) = was
            && let Some(i) = self.index(number)
        {
            if let Jaw::Holds(_) = was {
                self.tell(t, i, What::LetGo);
            }
            if let Some(e) = self.engaged
                && e.number == number
            {
                self.slips_in_grip(t);
            }
            self.row[i].hold = Hold::None;
            self.resettle(i, t);
        }
        for i in 0..self.row.len() {
            if self.row[i].hold == Hold::JawSide {
                self.resettle(i, t);
            }
        }
        self.look_upstream_of(-self.jaw_reach, t);
    }

    /// Bottle `number` has been taken away: what held or worked on it closes on nothing.
    pub(super) fn head_loses(&mut self, number: u32, t: f64) {
        if self.jaw == Jaw::Holds(number) || self.jaw == Jaw::Pins(number) {
            self.jaw = Jaw::Empty;
            if self.acts[Actuator::Grip.index()].goal() == Goal::Work {
                self.acts[Actuator::Grip.index()].go_on(t);
                self.reed(t, Actuator::Grip.index());
            }
            if self.plunger_down {
                self.plunger_down = false;
                self.acts[Actuator::Plunger.index()].go_on(t);
                self.reed(t, Actuator::Plunger.index());
            }
        }
        if self.engaged.is_some_and(|e| e.number == number) {
            self.engaged = None;
            self.wires.set(Contact::Torque, false);
            self.acts[Actuator::Rollers.index()].go_on(t);
            self.reed(t, Actuator::Rollers.index());
        }
        self.plan_head(t);
    }

    /// The body under the head that is not held, if any.
    fn loose_at_head(&self, t: f64) -> u32 {
        match self.jaw {
            Jaw::Holds(n) | Jaw::Pins(n) => n,
            Jaw::Open | Jaw::Empty => {
                let under = |i: &usize| self.arc(*i, t).x.abs() < self.row[*i].r;
                (0..self.row.len()).find(under).map_or(0, |i| self.row[i].number)
            }
        }
    }

    fn plunger_meets(&mut self, t: f64) {
        let grip = self.acts[Actuator::Plunger.index()].goal();
        debug_assert_eq!(grip, Goal::Work);
        if let Jaw::Holds(n) = self.jaw
            && let Some(i) = self.index(n)
        {
            if self.row[i].cap {
                self.row[i].seated = true;
                self.plunger_down = true;
                self.tell(t, i, What::Seated);
                return;
            }
            self.tell(t, i, What::NoClosure);
        } else {
            let n = self.loose_at_head(t);
            self.tell_of(t, n, What::PlungerLoose);
        }
        self.acts[Actuator::Plunger.index()].go_on(t);
    }

    fn rollers_meet(&mut self, t: f64) {
        let n = self.loose_at_head(t);
        let Some(i) = self.index(n).filter(|&i| self.row[i].cap && self.arc(i, t).x.abs() < self.kind.cap_r) else {
            if n != 0 && !self.plunger_down && self.jaw != Jaw::Holds(n) {
                self.tell_of(t, n, What::RollersLoose);
            }
            self.acts[Actuator::Rollers.index()].go_on(t);
            return;
        };
        if !self.plunger_down {
            self.tell(t, i, What::RollersLoose);
        }
        let b = &self.row[i];
        let tight = if b.crossed {
            CROSSED_TURNS
        } else if b.loose {
            NEVER
        } else {
            self.turns_needed + b.thread
        };
        self.engaged =
            Some(Engaged { number: n, from: self.drive.turns(t), tight, slipped: false, told_turning: false });
        self.spin_changed(t);
    }

    fn rollers_leave(&mut self, t: f64) {
        if let Some(e) = self.engaged.take() {
            let turned = (self.drive.turns(t) - e.from) * self.roller_ratio;
            if turned > 1e-9
                && let Some(i) = self.index(e.number)
            {
                let crossed = self.row[i].crossed;
                let turns = if turned < e.tight { turned } else { e.tight };
                self.tell(t, i, What::Spun { turns, torque: e.slipped, crossed });
            }
        }
        self.wires.set(Contact::Torque, false);
        self.plan_head(t);
    }

    /// The roller drive has been given another speed, or its ramp is over.
    pub(super) fn spin_changed(&mut self, t: f64) {
        if self.drive.rpm(t) > 0.0 || self.drive.target > 0.0 {
            self.slips_in_grip(t);
        }
        if let Some(e) = self.engaged {
            let turning = self.drive.rpm(t) > 0.0 || self.drive.target > 0.0;
            self.wires.set(Contact::Torque, e.slipped && turning);
        }
        self.plan_head(t);
    }

    /// A closure that is being turned on a bottle that nothing holds turns the bottle.
    fn slips_in_grip(&mut self, t: f64) {
        let turning = self.drive.rpm(t) > 0.0 || self.drive.target > 0.0;
        if let Some(e) = &mut self.engaged
            && turning
            && self.jaw != Jaw::Holds(e.number)
            && !e.told_turning
        {
            e.told_turning = true;
            let n = e.number;
            self.tell_of(t, n, What::TurnedInGrip);
        }
    }

    /// Looks up the drive's and the clutch's next event.
    pub(super) fn plan_head(&mut self, t: f64) {
        let mut te = self.drive.until;
        if let Some(e) = self.engaged
            && !e.slipped
            && e.tight < NEVER
        {
            let when = self.drive.when(e.from + e.tight / self.roller_ratio, t);
            if when < te {
                te = when;
            }
        }
        self.head_te = te;
        self.stale = true;
    }

    /// The drive's ramp is over, or the clutch slips.
    pub(super) fn head_event(&mut self, t: f64) {
        if self.drive.until <= t {
            self.drive.level();
        } else if let Some(e) = &mut self.engaged {
            e.slipped = true;
        }
        self.spin_changed(t);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn roller_kinematics() {
        // No slip: 300 rpm, 50 mm on 28 mm: 535.7143 rpm; 1.5 turns take 168.000 ms.
        let mut d = Drive::new(0.0);
        d.drive(0.0, 300.0);
        let ratio = 50.0 / 28.0;
        assert!((d.rpm(1.0) * ratio - 535.714_3).abs() < 1e-4);
        assert!((d.when(1.5 / ratio, 0.0) - 168_000.0).abs() < 1e-6);
    }

    #[test]
    fn a_ramp_costs_half_its_time() {
        let mut d = Drive::new(100.0);
        d.drive(0.0, 300.0);
        assert_eq!(d.until, 100_000.0);
        d.level();
        assert!((d.when(1.5 * 28.0 / 50.0, 100_000.0) - 218_000.0).abs() < 1e-6);
    }
}
