//! Random machines and products: variations of the built-in job within what such a machine can be.
//!
//! Everything is drawn around the built-in job, whose geometry is recomputed for the drawn body and belt. Fixed: the jaw, the
//! rollers, the air pressure, the height and mass of the bottle.

use crate::job::Job;
use crate::job::measured::DriveSpec;
use crate::job::spec::{ActuatorSpec, TightenSpec};
use crate::plan::{carry, escapement};
use crate::soak::dice::Dice;
use timing_core::{Actuator, CapPolicy, Contact, Contacts, ValveKind};

/// Draws a product: body, closure, dwells, speed.
pub fn product(dice: &mut Dice, job: &mut Job) {
    let p = &mut job.product;
    p.speed_mm_s = dice.between(30.0, 220.0);
    p.diameter_mm = dice.between(50.0, 80.0);
    p.diameter_tol_mm = dice.between(0.0, 0.8);
    p.mu_min = dice.between(0.12, 0.22);
    p.mu_max = p.mu_min + dice.between(0.0, 0.12);
    p.transparent = dice.chance(0.2);
    p.tighten = dice.pick(&[TightenSpec::Turns, TightenSpec::Torque, TightenSpec::SeatOnly]);
    p.turns = if p.tighten == TightenSpec::SeatOnly { 0.0 } else { dice.between(1.0, 2.5) };
    p.roller_rpm = if p.tighten == TightenSpec::SeatOnly { 0.0 } else { dice.between(200.0, 500.0) };
    p.seat_dwell_ms = dice.between(0.0, 100.0);
    p.engage_dwell_ms = dice.between(1.0, 250.0);
    p.disengage_dwell_ms = dice.between(0.0, 80.0);
    p.settle_mm = dice.between(5.0, 30.0);
    p.aim_early_mm = dice.between(0.0, 1.5);
    p.cap = dice.pick(&[CapPolicy::Unsensed, CapPolicy::AtHead, CapPolicy::Upstream]);
    p.misses_to_hold = 1 + dice.below(4) as u8;
    p.early_release = dice.chance(0.4);
    p.speed_window_mm = dice.between(1.0, 8.0);
}

/// Draws an actuator.
#[must_use]
pub fn actuator(dice: &mut Dice, a: Actuator) -> ActuatorSpec {
    let can_be_over = matches!(a, Actuator::Grip | Actuator::Plunger | Actuator::Rollers);
    ActuatorSpec {
        valve: dice.pick(&[
            ValveKind::SpringReturn,
            ValveKind::SpringReturn,
            ValveKind::Detented,
            ValveKind::CentreClosed,
        ]),
        latency_ms: dice.between(5.0, 30.0),
        to_work_ms: dice.between(40.0, 130.0),
        to_over_ms: dice.between(20.0, 60.0),
        to_home_ms: dice.between(40.0, 130.0),
        spread_ms: dice.between(0.0, 6.0),
        margin_ms: dice.between(80.0, 250.0),
        home: dice.chance(0.8),
        work: dice.chance(0.8),
        over: can_be_over && dice.chance(0.6),
        drive: DriveSpec::default(),
    }
}

/// Draws the machine around `job.product` and its actuators: blades at the touching point, eyes inside their windows.
pub fn machine(dice: &mut Dice, job: &mut Job) {
    let p = &job.product;
    let m = &mut job.machine;
    let (d, tip, v) = (p.diameter_mm, m.blade_tip_mm, p.speed_mm_s);
    m.encoder_counts_per_rev = dice.between(600.0, 12_000.0).round();
    m.line_owns_belt = dice.chance(0.25);
    m.suspend_stops_belt = dice.chance(0.3);
    m.belt_accel_mm_s2 = dice.between(500.0, 1_500.0);
    m.eye_on_ms = dice.between(0.1, 1.5);
    m.eye_off_ms = dice.between(0.1, 1.5);
    m.eye_beam_mm = dice.between(0.0, 3.0);
    m.contact_bounce_ms = dice.between(0.0, 2.0);
    m.eye_filter_ms = m.contact_bounce_ms + dice.between(0.1, 3.0);
    m.contact_filter_ms = m.contact_bounce_ms + dice.between(0.1, 12.0);
    m.safety_filter_ms = dice.between(20.0, 200.0);
    m.sample_gap_ms = dice.between(10.0, 150.0);
    m.belt_still_ms = m.sample_gap_ms + dice.between(20.0, 200.0);
    m.warn_ms = dice.between(500.0, 2_500.0);
    m.clear_ms = dice.between(0.0, 1_500.0);
    m.starve_ms = dice.between(500.0, 6_000.0);
    m.patience_ms = dice.between(6_000.0, 15_000.0);
    m.idle_spin = dice.chance(0.2);
    // The release eye is upstream enough for the lead, the blade upstream enough for the pick-up.
    let grip = m.actuators[Actuator::Grip.index()];
    let lead_mm = v * (grip.latency_ms + grip.to_work_ms + grip.spread_ms + m.eye_off_ms + m.eye_filter_ms) / 1_000.0;
    let short_of_lead = if dice.chance(0.2) { dice.between(-20.0, 0.0) } else { dice.between(2.5, 25.0) };
    m.release_eye_mm = -(d / 2.0) - p.aim_early_mm - lead_mm - short_of_lead;
    let rest = m.release_eye_mm - carry::pick_up_slip_mm(v, p.mu_min) - dice.between(2.0, 15.0);
    m.release_blade_mm = rest - escapement::nose_mm(d / 2.0, tip);
    m.entry_blade_mm = m.release_blade_mm - escapement::touching_mm(d / 2.0, tip);
    m.pocket_eye_mm = rest - dice.between(10.0, 30.0);
    m.set.rail_start_mm = Some(d + p.diameter_tol_mm + 2.5);
    m.set.rail_mm = Some(d + p.diameter_tol_mm + 1.0);
    m.set.support_mm = Some(d / 2.0);
    m.supply_eye_mm = dice.chance(0.7).then(|| m.entry_blade_mm - d / 2.0);
    m.discharge_eye_mm = dice.chance(0.8).then(|| 1.5 * d + dice.between(8.0, 30.0));
    m.cap_eye_mm = (p.cap == CapPolicy::Upstream).then(|| m.release_eye_mm + dice.between(3.0, 15.0));
    m.reject_mm = dice.chance(0.85).then(|| 2.0 * d + dice.between(150.0, 300.0));
    m.reject_length_mm = if m.reject_mm.is_some() { dice.between(60.0, 120.0) } else { 0.0 };
    let mut fitted = Contacts::NONE.with(Contact::Guard, true);
    for c in [Contact::Air, Contact::Drive, Contact::DownstreamReady, Contact::UpstreamReady] {
        fitted = fitted.with(c, dice.chance(0.7));
    }
    fitted = fitted.with(Contact::Cap, p.cap != CapPolicy::Unsensed);
    fitted = fitted.with(Contact::Torque, p.tighten == TightenSpec::Torque || dice.chance(0.5));
    fitted = fitted.with(Contact::LineBelt, m.line_owns_belt && dice.chance(0.8));
    m.contacts = fitted;
}
