//! R2 … R9: what is judged at each order to an actuator, and what must not stand.

use timing_core::{Actuator, Contact, UnitState};

use crate::job::spec::TightenSpec;
use crate::judge::machine::{End, Sent};
use crate::judge::rules::{Rules, Seen};
use crate::judge::tracks::Catch;

/// How long after its bound a missing contact may go on without a fault, µs.
const OVERDUE_SLACK_US: u64 = 100_000;

impl Rules {
    /// Judges one actuator that was sent elsewhere in this tick.
    pub(super) fn judge_stroke(&mut self, s: &Seen<'_>, a: Actuator, from: Sent, to: Sent) {
        use Actuator as A;
        let dropped = Self::all_dropped(s);
        match (a, to) {
            (A::EntryGate, Sent::Work) => self.judge_gate_opened(s, a, A::ReleaseGate),
            (A::ReleaseGate, Sent::Work) => {
                self.judge_gate_opened(s, a, A::EntryGate);
                self.judge_release(s);
            }
            (A::EntryGate | A::ReleaseGate, Sent::Home) => self.judge_gate_shut(s, a, dropped),
            (A::Grip, Sent::Work) => self.judge_catch(s),
            (A::Plunger, Sent::Work) => {
                self.plunger_since = s.t_us;
                self.judge_forward(s, a, A::Grip);
            }
            (A::Rollers, Sent::Work) => self.judge_forward(s, a, A::Plunger),
            (A::Grip | A::Plunger, Sent::Home) => {
                // A homing of what was never sent to work is a stroke too: the rollers go first.
                if !dropped {
                    self.judge_back(s, a, from);
                }
                if a == A::Grip {
                    self.bottle_held = false;
                }
            }
            (A::Rollers, Sent::Home) => {
                let idle = self.idle_spin(s);
                if !dropped && s.orders.spin() && !idle {
                    self.tell(s, 9, "rollers sent back while they spin", "");
                }
            }
            // A trapped valve that lost its coil half way does not go anywhere by that.
            (A::Reject, _) | (_, Sent::Unknown) => {}
        }
    }

    fn idle_spin(&self, s: &Seen<'_>) -> bool {
        self.is_manual() || (self.machine.idle_spin && s.unit == UnitState::Execute)
    }

    /// R5.
    fn judge_gate_opened(&mut self, s: &Seen<'_>, a: Actuator, other: Actuator) {
        if self.is_sent(other, Sent::Work) {
            self.tell(s, 5, "both gates ordered open", a.name());
        } else if !self.watch.at(s.t_us, other, End::Home) {
            self.tell(s, 5, "gate opened before the other is confirmed shut", a.name());
        }
    }

    /// R6, R13.
    fn judge_release(&mut self, s: &Seen<'_>) {
        use UnitState as S;
        self.release_opened_edge = self.tracks.newest_edge();
        self.tracks.expected = true;
        self.unheld_at = i64::MAX;
        if !self.producing() {
            return;
        }
        if !matches!(s.unit, S::Execute | S::Unholding | S::Unsuspending) {
            self.tell(s, 6, "a bottle released in a state that admits none", "");
        }
        if !self.product.early_release {
            if !self.watch.at(s.t_us, Actuator::Grip, End::Home) {
                self.tell(s, 6, "a bottle released before the grip is confirmed open", "");
            }
            if self.eyes_true && self.tracks.incoming(self.watch.motion(Actuator::Grip).stroke(End::Work)) {
                self.tell(s, 6, "a bottle released while another is on its way to the head", "");
            }
        }
        let counted = s.counted.good.saturating_sub(self.good_from_latest) + s.counted.inside;
        if self.batch > 0 && counted >= self.batch {
            let detail = format!("good and inside {counted} of {}", self.batch);
            self.tell(s, 13, "a bottle released beyond the batch", &detail);
        }
    }

    /// R7.
    fn judge_gate_shut(&mut self, s: &Seen<'_>, a: Actuator, dropped: bool) {
        let bound = !dropped && !self.is_manual();
        // Until what was inside has been flushed, nobody knows where bottles stand: the gates are brought home with the force that a blade stalls at.
        self.gate_bound[a.index()] = bound && self.places_known && !self.flush_due;
        if !bound || !self.producing() {
            return;
        }
        if a == Actuator::ReleaseGate && !self.flush_due && self.eyes_true {
            // Shut once the shortest body that this product allows is past the blade; only a bottle registered since it opened.
            let new = self.tracks.newest_edge() != self.release_opened_edge;
            let body = self.product.diameter_mm - self.product.diameter_tol_mm;
            let needed = body - (self.machine.release_eye_mm - self.machine.release_blade_mm);
            let unheld = s.belt.saturating_sub(self.unheld_at) as f64 / self.tracks.counts(1.0);
            if let Some(travel) = self.tracks.since_newest_mm().filter(|_| new)
                && travel.max(unheld) < needed - 1.0
            {
                let detail = format!("{travel:.1} mm of {needed:.1} mm");
                self.tell(s, 7, "release gate ordered shut with the bottle under it", &detail);
            }
        } else if a == Actuator::EntryGate && s.unit == UnitState::Execute && self.eyes_true {
            let blocked = self.watch.on(s.t_us, Contact::PocketEye);
            let settle = self.tracks.counts(self.product.settle_mm - 1.0) - 2.0;
            let settled = self.pocket_since.is_some_and(|from| (s.belt - from) as f64 >= settle);
            if !blocked || !settled {
                self.tell(s, 7, "entry gate ordered shut before the pocket settled", "");
            }
        }
    }

    /// R8.
    fn judge_catch(&mut self, s: &Seen<'_>) {
        if !self.producing() {
            return;
        }
        let stroke = self.watch.motion(Actuator::Grip).stroke(End::Work);
        let catch = self.tracks.catch(stroke, self.unholds);
        self.bottle_held = catch != Catch::Nobody || !self.eyes_true;
        match catch {
            Catch::Good => {}
            Catch::Again => self.tell(s, 8, "the catch ordered twice for one bottle", ""),
            Catch::Nobody if !self.eyes_true => {}
            Catch::Nobody => self.tell(s, 8, "the catch ordered with no bottle in its window", ""),
        }
    }

    /// R2, and R9 forwards: `a` is sent to work on what `before` holds.
    fn judge_forward(&mut self, s: &Seen<'_>, a: Actuator, before: Actuator) {
        let dry = !self.producing() && !self.is_manual();
        let there = self.watch.at(s.t_us, before, End::Work);
        let over = self.watch.over(s.t_us, before);
        let surely_over = over && self.watch.steady(s.t_us, Contact::over_of(before));
        if !self.is_manual() && !self.is_sent(before, Sent::Work) {
            self.tell(s, 9, "a head step ordered out of turn", a.name());
        }
        let what = if a == Actuator::Plunger {
            "plunger ordered down before the grip is confirmed on work"
        } else {
            "rollers ordered in before the plunger is confirmed down"
        };
        if dry {
            if !there && !over {
                self.tell(s, 2, what, "");
            }
            return;
        }
        if !there {
            self.tell(s, 2, what, "");
        } else if surely_over {
            self.tell(s, 2, "ordered on, though the stroke before found nothing", a.name());
        } else if self.producing() && !self.bottle_held {
            self.tell(s, 2, "ordered with no bottle in the catch window", a.name());
        }
    }

    /// R4, and R9 backwards: rollers back before plunger up before grip open.
    fn judge_back(&mut self, s: &Seen<'_>, a: Actuator, from: Sent) {
        if !self.watch.at(s.t_us, Actuator::Rollers, End::Home) {
            self.tell(s, 4, "sent back before the rollers are confirmed back", a.name());
        }
        // The one counter-order of a catch finds the plunger up; so does every homing that begins at the top.
        if a == Actuator::Grip && !self.is_manual() && !self.watch.at(s.t_us, Actuator::Plunger, End::Home) {
            let detail = if from == Sent::Work { "from work" } else { "homing" };
            self.tell(s, 9, "grip opened before the plunger is confirmed up", detail);
        }
    }

    /// R3: when spin is ordered, and as long as it is.
    pub(super) fn judge_spin(&mut self, s: &Seen<'_>) {
        if !s.orders.spin() || self.idle_spin(s) {
            return;
        }
        if self.producing() && self.product.tighten == TightenSpec::SeatOnly {
            self.tell(s, 3, "spin ordered for a product that is only seated", "");
        }
        if !self.is_sent(Actuator::Rollers, Sent::Work) {
            self.tell(s, 3, "spin with the rollers not in", "");
            return;
        }
        if self.was.spin() {
            return;
        }
        let there = self.watch.at(s.t_us, Actuator::Rollers, End::Work);
        let dry = !self.producing() && self.watch.over(s.t_us, Actuator::Rollers);
        if !there && !dry {
            self.tell(s, 3, "spin ordered before the rollers are confirmed in", "");
        }
        if !self.producing() || !self.machine.contacts.has(Contact::Cap) {
            return;
        }
        let cap = match self.product.cap {
            timing_core::CapPolicy::Unsensed => true,
            timing_core::CapPolicy::AtHead => self.watch.on_since(self.plunger_since, Contact::Cap),
            timing_core::CapPolicy::Upstream => self.tracks.cap_seen_upstream(),
        };
        if !cap {
            self.tell(s, 3, "spin ordered on a bottle whose closure was not seen", "");
        }
    }

    /// What must not stand, whatever was ordered last: R6 with early release, R9 overdue strokes.
    pub(super) fn judge_standing(&mut self, s: &Seen<'_>) {
        let busy = self.is_sent(Actuator::Grip, Sent::Work) && self.bottle_held;
        if self.producing()
            && self.product.early_release
            && self.eyes_true
            && busy
            && s.orders.belt()
            && !self.machine.line_owns_belt
            && self.is_followed()
            && self.tracks.at_occupied_head()
        {
            self.tell(s, 6, "belt ordered on with a second bottle at the occupied head", "");
        }
        if !self.producing() || s.unit != UnitState::Execute {
            return;
        }
        for a in Actuator::ALL {
            if self.watch.overdue(s.t_us, a, OVERDUE_SLACK_US) && !self.watch.motion(a).overdue_told {
                self.watch.motion_mut(a).overdue_told = true;
                self.tell(s, 9, "stroke overdue and the unit goes on", a.name());
            }
        }
    }
}
