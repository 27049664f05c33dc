//! From the worked-out figures to the core's two tables, in its fixed point.

use super::PlanError;
use super::chart::fitted;
use super::scale::{counts_per_mm, duration, millimetres, speed};
use super::worked::{BELT_REACTION_MS, Worked, stroke};
use crate::job::spec::{Job, TightenSpec};
use timing_core::{Actuator, ActuatorProfile, BeltOwner, Duration, MachineProfile, Millimetres, Product, Tighten};

/// Least tolerance for a belt that creeps back, mm.
const REVERSE_MM: f64 = 2.0;

fn some(name: &'static str, mm: Option<f64>) -> Result<Option<Millimetres>, PlanError> {
    mm.map(|x| millimetres(name, x)).transpose()
}

/// The machine's table.
///
/// # Errors
/// [`PlanError::Value`] for what does not fit the core's fixed point.
pub(super) fn profile(job: &Job, w: &Worked) -> Result<MachineProfile, PlanError> {
    let m = &job.machine;
    let mut actuators = [ActuatorProfile::spring(0, 0, 0); 6];
    for (slot, a) in actuators.iter_mut().zip(Actuator::ALL) {
        let s = stroke(job, a);
        *slot = ActuatorProfile {
            valve: s.valve,
            latency: duration("latency", s.latency_ms)?,
            to_work: duration("to_work", s.to_work_ms)?,
            to_home: duration("to_home", s.to_home_ms)?,
            margin: duration("margin", s.margin_ms)?,
        };
    }
    let ramp_ms = m.belt_speed_max_mm_s / m.belt_accel_mm_s2 * 1_000.0 + BELT_REACTION_MS;
    Ok(MachineProfile {
        counts_per_mm: counts_per_mm(m.encoder_counts_per_rev, m.wheel_mm)?,
        belt_owner: if m.line_owns_belt { BeltOwner::Line } else { BeltOwner::Ours },
        belt_speed_max: speed("belt_speed_max", m.belt_speed_max_mm_s)?,
        belt_ramp: duration("belt_speed_max / belt_acceleration", ramp_ms)?,
        suspend_stops_belt: m.suspend_stops_belt,
        release_blade: millimetres("release_blade", m.release_blade_mm)?,
        release_eye: millimetres("release_eye", m.release_eye_mm)?,
        discharge_eye: some("discharge_eye", m.discharge_eye_mm)?,
        cap_eye: some("cap_eye", m.cap_eye_mm)?,
        reject: some("reject", m.reject_mm)?,
        reject_length: millimetres("reject_length", m.reject_length_mm)?,
        head_clear: millimetres("head clear line", w.head_clear_mm)?,
        actuators,
        fitted: fitted(job),
        eye_on: duration("eye_on", m.eye_on_ms)?,
        eye_filter: duration("eye_filter", m.eye_filter_ms)?,
        contact_filter: duration("contact_filter", m.contact_filter_ms)?,
        safety_filter: duration("safety_filter", m.safety_filter_ms)?,
        belt_still: duration("belt_still", m.belt_still_ms)?,
        // Two counts are the core's least; a third keeps rounding out of it.
        reverse_tolerance: millimetres("reverse tolerance", REVERSE_MM.max(3.0 / w.counts_per_mm))?,
        sample_gap: duration("sample_gap", m.sample_gap_ms)?,
        warn: duration("warn", m.warn_ms)?,
        clear: duration("clear", m.clear_ms)?,
        starve: duration("starve", m.starve_ms)?,
        patience: duration("patience", m.patience_ms)?,
        idle_spin: m.idle_spin,
    })
}

/// By how much the tail of the longest body may be accepted later, mm, than the core allows for by itself before it takes a body that is still in
/// the eye for over-long: a quarter more than the eye's answer to a nose, and the base uncertainty. An eye that is slow to clear, or whose
/// contact bounces long, takes more.
fn late_tail_mm(job: &Job, w: &Worked) -> f64 {
    let m = &job.machine;
    let takes_ms = m.eye_off_ms + m.contact_bounce_ms + m.eye_filter_ms;
    let allowed_ms = 1.25 * (m.eye_on_ms + m.eye_filter_ms);
    (w.way_mm(takes_ms - allowed_ms) - w.centring.position_mm() + 2.0 * w.centring.count_mm).max(0.0)
}

/// The product's table. `early_ms` as proven by [`super::overlap`].
///
/// # Errors
/// [`PlanError::Value`] for what does not fit the core's fixed point.
pub(super) fn product(job: &Job, w: &Worked, early_ms: Option<f64>) -> Result<Product, PlanError> {
    let p = &job.product;
    let tighten = match p.tighten {
        TightenSpec::Turns => Tighten::Turns(duration("spin time", w.spin_ms)?),
        TightenSpec::Torque => Tighten::Torque {
            earliest: duration("torque window, earliest", w.torque_window_ms.0)?,
            latest: duration("torque window, latest", w.torque_window_ms.1)?,
        },
        TightenSpec::SeatOnly => Tighten::SeatOnly(duration("seat-only time", w.spin_ms)?),
    };
    let early: Option<Duration> = early_ms.map(|ms| duration("early release", ms)).transpose()?;
    Ok(Product {
        speed: speed("belt_speed", w.v_mm_s)?,
        body_min: millimetres("shortest body", w.d_min_mm)?,
        body: millimetres("body", w.d_mm)?,
        body_max: millimetres("longest body", w.d_max_mm + late_tail_mm(job, w))?,
        catch_travel: millimetres("catch travel", w.catch_mm)?,
        catch_early: millimetres("aim_early", p.aim_early_mm)?,
        capture: millimetres("capture", w.capture_mm)?,
        u_base: millimetres("uncertainty at registration", w.centring.position_mm())?,
        gate_shut_travel: millimetres("gate shut travel", w.gate_shut_mm)?,
        settle_travel: millimetres("settle", w.settle_mm)?,
        misfeed_travel: millimetres("misfeed travel", w.misfeed_mm)?,
        jam_travel: millimetres("jam travel", w.jam_mm)?,
        leave_travel: millimetres("leave travel", w.leave_core_mm())?,
        slip: millimetres("pick-up slip", w.slip_mm())?,
        slip_u: millimetres("uncertainty of slip", w.slip_u_mm())?,
        stop_travel: millimetres("stop travel", w.stop_mm)?,
        seat_dwell: duration("seat_dwell", p.seat_dwell_ms)?,
        engage_dwell: duration("engage_dwell", p.engage_dwell_ms)?,
        disengage_dwell: duration("disengage_dwell", p.disengage_dwell_ms)?,
        tighten,
        spin_rpm: w.rpm,
        cap: p.cap,
        misses_to_hold: p.misses_to_hold,
        early,
        speed_window: millimetres("speed_window", p.speed_window_mm)?,
    })
}
