//! Measurements that no plan can be made from, named before anything is computed with them.
//!
//! The ranges are those inside which the formulas mean something, and wide enough for any bench or machine; the core checks its own,
//! narrower ones afterwards.

use super::PlanError;
use crate::job::measured::ShapeSpec;
use crate::job::spec::{Job, TightenSpec};

/// Checks every number of machine, product and the belt's wander that the plan uses.
///
/// # Errors
/// [`PlanError::Value`] for the first number that is missing, not finite or out of its range.
pub fn check(job: &Job) -> Result<(), PlanError> {
    let (m, p) = (&job.machine, &job.product);
    // Without spin a closure needs no turns; with spin, none at all is a slip of the pen.
    let least_turns = if p.tighten == TightenSpec::SeatOnly { 0.0 } else { 0.05 };
    // A torque that is absent reads as 0 or as not a number: the half-diameter rule takes its place.
    let rows = [
        ("encoder_counts_per_rev", m.encoder_counts_per_rev, "counts", 1.0, 1e6),
        ("encoder_wheel", m.wheel_mm, "mm", 1.0, 1e5),
        ("belt_speed_max", m.belt_speed_max_mm_s, "mm/s", 1.0, 3_000.0),
        ("belt_acceleration", m.belt_accel_mm_s2, "mm/s²", 1.0, 1e5),
        ("entry_blade", m.entry_blade_mm, "mm", -10_000.0, 0.0),
        ("release_blade", m.release_blade_mm, "mm", -10_000.0, 0.0),
        ("blade_thickness", m.blade_mm, "mm", 0.0, 100.0),
        ("blade_tip", m.blade_tip_mm, "mm", 0.0, 500.0),
        ("pocket_eye", m.pocket_eye_mm, "mm", -10_000.0, 10_000.0),
        ("release_eye", m.release_eye_mm, "mm", -10_000.0, 10_000.0),
        ("jaw_half_mouth", m.jaw_half_mouth_mm, "mm", 1.0, 1_000.0),
        ("jaw_half_angle", m.jaw_half_angle_deg, "°", 1.0, 89.0),
        ("jaw_friction", m.jaw_mu, "", 0.01, 2.0),
        ("eye_on", m.eye_on_ms, "ms", 0.0, 50.0),
        ("eye_off", m.eye_off_ms, "ms", 0.0, 50.0),
        ("eye_beam", m.eye_beam_mm, "mm", 0.0, 100.0),
        ("eye_filter", m.eye_filter_ms, "ms", 0.0, 200.0),
        ("contact_filter", m.contact_filter_ms, "ms", 0.0, 200.0),
        ("reject_length", m.reject_length_mm, "mm", 0.0, 10_000.0),
        ("roller_diameter", m.roller_diameter_mm, "mm", 1.0, 1_000.0),
        ("roller_ramp", m.roller_ramp_ms, "ms", 0.0, 10_000.0),
        ("air_pressure", m.air_bar, "bar", 0.1, 20.0),
        ("diameter", p.diameter_mm, "mm", 5.0, 500.0),
        ("diameter_tolerance", p.diameter_tol_mm, "mm", 0.0, 0.5 * p.diameter_mm),
        ("height", p.height_mm, "mm", 1.0, 5_000.0),
        ("centre_of_gravity", p.cog_mm, "mm", 0.1, p.height_mm),
        ("mass", p.mass_kg, "kg", 0.001, 100.0),
        ("friction_min", p.mu_min, "", 0.01, 2.0),
        ("friction_max", p.mu_max, "", p.mu_min, 2.0),
        ("cap_diameter", p.cap_diameter_mm, "mm", 1.0, 500.0),
        ("turns", p.turns, "turns", least_turns, 20.0),
        ("roller_speed", p.roller_rpm, "rpm", 0.0, 6_000.0),
        ("belt_speed", p.speed_mm_s, "mm/s", 0.1, 3_000.0),
        ("seat_dwell", p.seat_dwell_ms, "ms", 0.0, 5_000.0),
        ("engage_dwell", p.engage_dwell_ms, "ms", 0.0, 5_000.0),
        ("disengage_dwell", p.disengage_dwell_ms, "ms", 0.0, 5_000.0),
        ("settle", p.settle_mm, "mm", 0.0, 10_000.0),
        ("aim_early", p.aim_early_mm, "mm", 0.0, 500.0),
        ("torque", if p.torque_nm.is_nan() { 0.0 } else { p.torque_nm }, "N·m", 0.0, 1_000.0),
        ("belt_wander", job.run.wander, "", 0.0, 0.99),
        ("wander_period", job.run.wander_period_s, "s", 0.0, 1e9),
    ];
    for (name, value, unit, low, high) in rows {
        within(name, value, unit, low, high)?;
    }
    measured(job)?;
    for (i, a) in m.actuators.iter().enumerate() {
        let name = |what: [&'static str; 6]| what.get(i).copied().unwrap_or("actuator");
        let latency = name(LATENCY);
        let stroke = name(STROKE);
        within(latency, a.latency_ms, "ms", 0.0, 500.0)?;
        for t in [a.to_work_ms, a.to_over_ms, a.to_home_ms, a.spread_ms, a.margin_ms] {
            within(stroke, t, "ms", 0.0, 5_000.0)?;
        }
    }
    // A blade that does not reach a bottle holds none.
    let across_mm =
        if p.body.shape == ShapeSpec::Round { p.diameter_mm } else { p.body.width_mm.unwrap_or(p.diameter_mm) };
    let r_min = (across_mm - p.diameter_tol_mm) / 2.0;
    within("blade_tip (must reach past the flank of the smallest bottle)", m.blade_tip_mm, "mm", 0.0, 0.99 * r_min)?;
    within(
        "entry_blade (must lie upstream of the release blade)",
        m.entry_blade_mm,
        "mm",
        -10_000.0,
        m.release_blade_mm,
    )
}

/// What is given of the measurements that only the sheet uses.
fn measured(job: &Job) -> Result<(), PlanError> {
    let (s, b) = (&job.machine.set, &job.product.body);
    let rows = [
        ("rail_width", s.rail_mm, "mm", 1e4),
        ("rail_width_start", s.rail_start_mm, "mm", 1e4),
        ("blade_height", s.blade_height_mm, "mm", 1e4),
        ("eye_height", s.eye_height_mm, "mm", 1e4),
        ("grip_height", s.grip_height_mm, "mm", 1e4),
        ("support_face", s.support_mm, "mm", 1e4),
        ("plunger_height", s.plunger_height_mm, "mm", 1e4),
        ("roller_height", s.roller_height_mm, "mm", 1e4),
        ("roller_width", s.roller_width_mm, "mm", 1e4),
        ("roller_gap", s.roller_gap_mm, "mm", 1e4),
        ("roller_gap_open", s.roller_gap_open_mm, "mm", 1e4),
        ("roller_friction", s.roller_mu, "", 2.0),
        ("belt_coast", s.belt_coast_mm_s2, "mm/s²", 1e6),
        ("queue_bottles", s.queue_bottles, "bottles", 1e5),
        ("air_supply", s.air_supply_l_min, "L/min", 1e6),
        ("width", b.width_mm, "mm", 1e3),
        ("wall_from", b.wall_from_mm.map(|x| x + 1.0), "mm", 1e4),
        ("wall_to", b.wall_to_mm, "mm", 1e4),
        ("closed_height", b.closed_mm, "mm", 1e4),
        ("lip_height", b.lip_mm, "mm", 1e4),
        ("skirt_height", b.skirt_mm, "mm", 1e3),
        ("thread_pitch", b.pitch_mm, "mm", 100.0),
        ("seat_force", b.seat_n, "N", 1e6),
        ("top_load", b.top_load_n, "N", 1e6),
        ("side_load", b.side_load_n, "N", 1e6),
    ];
    given(&rows)?;
    within("corner_radius", b.corner_mm, "mm", 0.0, 0.5 * job.product.diameter_mm.min(b.width_mm.unwrap_or(1e9)))?;
    for a in &job.machine.actuators {
        let d = &a.drive;
        within("rod", d.rod_mm, "mm", 0.0, d.bore_mm.map_or(1e3, |bore| 0.95 * bore))?;
        given(&[
            ("bore", d.bore_mm, "mm", 1e3),
            ("stroke_length", d.stroke_mm, "mm", 1e4),
            ("pressure", d.bar, "bar", 20.0),
            ("lever", d.lever, "", 1e3),
            ("tube_length", d.tube_mm.map(|x| x + 1.0), "mm", 1e6),
            ("tube_bore", d.tube_bore_mm, "mm", 1e3),
            ("sonic_conductance", d.conductance, "dm³/(s·bar)", 1e3),
            ("critical_ratio", d.critical_ratio, "", 0.99),
        ])?;
    }
    Ok(())
}

/// Each of these that is given is more than nothing, and at most its last figure: key, value, unit, most.
fn given(rows: &[(&'static str, Option<f64>, &'static str, f64)]) -> Result<(), PlanError> {
    for &(name, value, unit, high) in rows {
        if let Some(x) = value {
            within(name, x, unit, 1e-3, high)?;
        }
    }
    Ok(())
}

const LATENCY: [&str; 6] = [
    "entry_gate.latency",
    "release_gate.latency",
    "grip.latency",
    "plunger.latency",
    "rollers.latency",
    "reject.latency",
];
const STROKE: [&str; 6] = [
    "a time of entry_gate",
    "a time of release_gate",
    "a time of grip",
    "a time of plunger",
    "a time of rollers",
    "a time of reject",
];

fn within(name: &'static str, value: f64, unit: &'static str, low: f64, high: f64) -> Result<(), PlanError> {
    // Written so that "not a number" is out of range too.
    if value >= low && value <= high { Ok(()) } else { Err(PlanError::Value { name, value, unit, low, high }) }
}
