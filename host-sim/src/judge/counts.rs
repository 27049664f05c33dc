//! R12, R13 and R15: counts, batch, and when the core wants to be called.

use timing_core::{Actuator, UnitState};

use crate::judge::machine::{End, us};
use crate::judge::rules::{Rules, Seen};
use crate::verdict::Counted;

/// How long everything must have been quiet before an early wake in a state at rest is a breach, µs.
const QUIET_US: u64 = 10_000_000;

impl Rules {
    /// R12 and R13.
    pub(super) fn judge_counts(&mut self, s: &Seen<'_>) {
        let c = s.counted;
        let came = u64::from(c.registered) + u64::from(c.found);
        let went = [c.good, c.rejected, c.removed, c.lost, c.inside];
        let went: u64 = went.into_iter().map(u64::from).sum();
        if came != went {
            let detail = format!("{came} came, {went} accounted for");
            self.tell(s, 12, "counts do not balance", &detail);
        }
        let parts = |c: Counted| [c.registered, c.found, c.good, c.rejected, c.removed, c.lost];
        if parts(c).into_iter().zip(parts(self.counted)).any(|(now, was)| now < was) {
            self.tell(s, 12, "a count shrank", "");
        }
        if self.batch == 0 {
            return;
        }
        let newest = c.good.saturating_sub(self.good_from_latest);
        if newest > self.batch {
            let detail = format!("{newest} of {}", self.batch);
            self.tell(s, 13, "more good bottles than the batch", &detail);
        }
        let all = c.good.saturating_sub(self.good_from_earliest);
        // What comes past an eye afterwards belongs to no batch.
        let completes = s.unit == UnitState::Completed && self.entered == s.t_us;
        if completes && (all < self.batch || c.inside > 0) {
            let detail = format!("{all} of {} good, {} inside", self.batch, c.inside);
            self.tell(s, 13, "completed before the batch was delivered", &detail);
        }
    }

    /// R15.
    pub(super) fn judge_wake(&mut self, s: &Seen<'_>) {
        let gap = us(self.machine.sample_gap_ms);
        let at = s.wake.at.as_micros();
        if at <= s.t_us {
            self.tell(s, 15, "wake does not lie ahead in time", "");
        } else if at - s.t_us > gap {
            self.tell(s, 15, "wake lies further than the sample gap", "");
        }
        if s.wake.below.get() >= s.belt || s.wake.above.get() <= s.belt {
            self.tell(s, 15, "wake does not lie ahead on the belt", "");
        }
        let acting = s.unit.is_acting() && s.unit != UnitState::Execute;
        let lasted = s.t_us.saturating_sub(self.entered);
        if acting && lasted > self.longest_acting() {
            self.tell(s, 15, "acting state without end", "");
        }
        let quiet = s.request.is_none()
            && s.orders == self.was
            && s.belt == self.quiet_belt
            && s.contacts == self.quiet_contacts
            && s.failed == self.quiet_failed
            && self.entered != s.t_us;
        if !quiet {
            self.quiet_since = s.t_us;
            self.quiet_belt = s.belt;
            self.quiet_contacts = s.contacts;
            self.quiet_failed = s.failed;
        }
        let rests = !s.unit.is_acting() && s.unit != UnitState::Suspended;
        if rests && !self.ticks_added && s.t_us - self.quiet_since > QUIET_US && at.saturating_sub(s.t_us) < gap {
            self.tell(s, 15, "a state at rest does not rest", "");
        }
    }

    /// A bound on every acting state: patience, warning, both strokes of every actuator with their margins, and twice the flush
    /// travel at the product's speed with the belt's ramps.
    fn longest_acting(&self) -> u64 {
        let (m, p) = (&self.machine, &self.product);
        let strokes: u64 = Actuator::ALL
            .into_iter()
            .map(|a| self.watch.motion(a).bound(End::Home) + self.watch.motion(a).bound(End::Work))
            .sum();
        let end = m.reject_mm.or(m.discharge_eye_mm).unwrap_or(0.0) + m.reject_length_mm;
        let travel = end - m.release_blade_mm + 2.0 * p.diameter_mm;
        let run_s = 2.0 * travel / p.speed_mm_s + 2.0 * m.belt_speed_max_mm_s / m.belt_accel_mm_s2;
        let dwells = p.seat_dwell_ms + p.engage_dwell_ms + p.disengage_dwell_ms + 10_000.0;
        us(m.patience_ms + m.warn_ms + dwells + run_s * 1e3) + 2 * strokes
    }
}
