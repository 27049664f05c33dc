//! The pocket's eye and its patience: what clear glass shows it, and how long it may stay empty.

use super::carry;
use super::chart::freed_ms;
use super::checks::Check;
use super::worked::Worked;
use crate::job::spec::Job;
use timing_core::Actuator;

/// Thickness of glass, along the belt, at a body's front and back in which an eye sees it, mm; at most 15 % of the body. Assumed;
/// try it with a bottle in the hand.
const WALL_MM: f64 = 6.0;

/// Checks of the pocket.
pub(super) fn checks(job: &Job, w: &Worked) -> Vec<Check> {
    let (m, p) = (&job.machine, &job.product);
    let mut all = Vec::new();
    if p.transparent {
        // The noses of all bodies within the tolerance rest within a fraction of a millimetre of each other.
        let wall = WALL_MM.min(0.15 * p.diameter_mm);
        all.push(Check::at_least(
            "pocket eye on the front wall of clear glass",
            m.pocket_eye_mm,
            w.rest_mm - wall + m.eye_beam_mm / 2.0,
            "mm",
            || format!(
                "set the pocket eye between {:.1} and {:.1} mm, or use one that sees clear glass (transparent = false)",
                w.rest_mm - wall + m.eye_beam_mm / 2.0,
                w.rest_mm - m.eye_beam_mm / 2.0
            ),
        ));
    }
    // The slowest refill: least friction, and an eye that switches at the far side of its beam.
    let way = carry::ride_ms(w.v_mm_s, p.mu_min, m.pocket_eye_mm + m.eye_beam_mm / 2.0 - w.second_mm);
    let refill = freed_ms(job, Actuator::EntryGate) + way + m.eye_on_ms + m.contact_bounce_ms + m.eye_filter_ms;
    all.push(
        Check::at_most("pocket refilled before it counts as starved", refill, m.starve_ms, "ms", || {
            format!("set starve above {refill:.0} ms")
        })
        .of_speed(),
    );
    all
}
