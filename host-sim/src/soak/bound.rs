//! How long a unit may need, after the last trouble, until it closes bottles again.

use crate::job::Job;
use crate::job::spec::SupplySpec;
use crate::plan::Plan;
use timing_core::Actuator;

/// Courses through Abort, Clear, Reset, Start and flush that the declared script may need: one because of what stood, one
/// because of what it left, one to spare.
const COURSES: f64 = 3.0;
/// Presses of the script in one course, half a second each, and as many filters of the safety wires.
const PRESSES: f64 = 6.0;
/// Bottles that may be rejected, missed or flushed before so many good ones are through.
const BOTTLES: f64 = 12.0;

/// The bound, µs.
pub(super) fn quiet_bound_us(job: &Job, plan: &Plan) -> u64 {
    let (m, p) = (&job.machine, &job.product);
    let slowest = p.speed_mm_s * (1.0 - job.run.wander);
    let strokes_ms: f64 = Actuator::ALL
        .into_iter()
        .map(|a| {
            let s = &m.actuators[a.index()];
            2.0 * s.latency_ms + s.to_work_ms + s.to_over_ms + s.to_home_ms + 2.0 * (s.spread_ms + s.margin_ms)
        })
        .sum();
    let end_mm = m.reject_mm.or(m.discharge_eye_mm).unwrap_or(300.0) + m.reject_length_mm;
    let way_s = (end_mm - m.release_blade_mm + 4.0 * p.diameter_mm) / slowest;
    let course_s = (m.patience_ms + 2.0 * m.warn_ms + m.clear_ms + strokes_ms) * 1e-3
        + PRESSES * (0.5 + m.safety_filter_ms * 1e-3)
        + 2.0 * way_s;
    let pitch_mm = match job.run.supply {
        SupplySpec::Touching => p.diameter_mm,
        // Exponential gaps: so many in a row are longer than three times their mean less often than once in 10⁷.
        SupplySpec::Pitch(mm) => mm,
        SupplySpec::Random(mm) => 3.0 * mm,
    };
    let cycle_s = plan.cycle_ms * 1e-3 + way_s + pitch_mm / slowest;
    ((COURSES * course_s + BOTTLES * cycle_s + m.starve_ms * 1e-3) * 1e6) as u64
}
