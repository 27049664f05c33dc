//! Early release: the next bottle let go while the head is still busy, so that it arrives with the planned gap.
//!
//! It is proven from both ends: the slowest head against the fastest newcomer. When the grip is confirmed open, the newcomer's nose must not have
//! passed the last-stop mark, must keep its distance from a bottle that is only just being picked up, and must be far enough
//! away that the head is free again when its own catch is ordered.

use super::carry;
use super::chart::{busy_ms, discharge_wait_ms, freed_ms};
use super::checks::Check;
use super::worked::{CLEARANCE_MM, Worked, stroke};
use crate::job::spec::{Job, TightenSpec};
use timing_core::Actuator;

/// What came of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Overlap {
    /// How long after the grip is confirmed the next bottle may be let go, ms; `None` = only when the head has let go.
    pub delay_ms: Option<f64>,
    /// What was checked; empty where early release was not asked for.
    pub checks: Vec<Check>,
}

/// Tries to prove early release.
#[must_use]
pub fn overlap(job: &Job, w: &Worked) -> Overlap {
    if !job.product.early_release {
        return Overlap { delay_ms: None, checks: Vec::new() };
    }
    let m = &job.machine;
    let mut checks = Vec::new();
    let owner = f64::from(u8::from(m.line_owns_belt));
    checks.push(Check::at_most(
        "early release: belt owned by the line",
        owner,
        0.0,
        "",
        "early release must be able to stop the belt; set early_release = false where the line owns it",
    ));
    // The newcomer must be registered before it can be stopped for.
    let known_mm = m.release_eye_mm + CLEARANCE_MM + w.way_mm(m.eye_on_ms + m.contact_bounce_ms + m.eye_filter_ms);
    checks.push(
        Check::at_least(
            "early release: last-stop mark past the release eye",
            w.last_stop_mm,
            known_mm,
            "mm",
            || format!(
                "move gates and release eye {:.1} mm upstream, slow the belt, stop it harder, or set early_release = false",
                known_mm - w.last_stop_mm
            ),
        )
        .of_speed(),
    );
    let furthest = furthest_mm(job, w);
    checks.push(
        Check::at_least(
            "early release: gain over the resting place",
            furthest,
            w.rest_mm,
            "mm",
            "the gates stand too close to the head for any overlap; set early_release = false",
        )
        .of_speed(),
    );
    if checks.iter().any(|c| !c.ok) {
        return Overlap { delay_ms: None, checks };
    }
    // The fastest newcomer, free at the valve's latency, with the least slip; the slowest head.
    let reach_ms =
        freed_ms(job, Actuator::ReleaseGate) + carry::ride_ms(w.v_mm_s, job.product.mu_max, furthest - w.rest_mm);
    let delay = (busy_ms(job, w) + late_ms(job, w) - reach_ms).max(discharge_wait_ms(job, w));
    Overlap { delay_ms: Some(delay), checks }
}

/// How much later than on the mean the head may let go although nothing is wrong with it, ms: strokes late by their spread, the longest
/// bounce, the thread that starts last.
fn late_ms(job: &Job, w: &Worked) -> f64 {
    let spread = |a: Actuator| stroke(job, a).spread_ms;
    let strokes = spread(Actuator::Grip) + 2.0 * (spread(Actuator::Plunger) + spread(Actuator::Rollers));
    // Five ends of stroke; a third of the longest bounce is not in their mean.
    let bounce = 5.0 / 3.0 * job.machine.contact_bounce_ms;
    let thread = match job.product.tighten {
        TightenSpec::Torque => (w.torque_window_ms.1 - w.spin_ms).max(0.0),
        TightenSpec::Turns | TightenSpec::SeatOnly => 0.0,
    };
    strokes + bounce + thread
}

/// The furthest downstream that a newcomer's nose may be when the head has let go, mm.
fn furthest_mm(job: &Job, w: &Worked) -> f64 {
    // The last-stop mark also keeps the newcomer off a bottle that is only just being picked up: its stopping travel is never less than
    // the pick-up slip by which the leaving bottle lags.
    // The newcomer's catch is ordered when its centre is a lead away; by then the head must be free.
    let free = w.d_min_mm / 2.0 - job.product.aim_early_mm - w.lead_mm - w.leave_mm;
    w.last_stop_mm.min(free)
}
