//! The invented job that the tests of the plan share.

use host_sim::job::spec::*;
use host_sim::plan::{self, escapement};
use timing_core::{CapPolicy, Contact, Contacts, ValveKind};

fn actuator(latency_ms: f64, to_work_ms: f64) -> ActuatorSpec {
    ActuatorSpec {
        valve: ValveKind::SpringReturn,
        latency_ms,
        to_work_ms,
        to_over_ms: 20.0,
        to_home_ms: to_work_ms,
        spread_ms: 5.0,
        margin_ms: 100.0,
        home: true,
        work: true,
        over: false,
        drive: host_sim::job::measured::DriveSpec::default(),
    }
}

/// An invented machine and bottle: D 65, belt 100 mm/s, friction 0.15 … 0.25, valve 20 ms + 100 ms, blade tip 20 mm from the centre line, a
/// bottle at rest with its nose at −94 mm.
pub(crate) fn example() -> Job {
    let nose = escapement::nose_mm(32.5, 20.0);
    let release_blade_mm = -94.0 - nose;
    Job {
        name: "example".into(),
        title: "invented bottle on an invented machine".into(),
        machine: MachineSpec {
            encoder_counts_per_rev: 4_096.0,
            wheel_mm: 200.0,
            line_owns_belt: false,
            belt_speed_max_mm_s: 400.0,
            belt_accel_mm_s2: 1_000.0,
            suspend_stops_belt: false,
            entry_blade_mm: release_blade_mm - escapement::touching_mm(32.5, 20.0) - 1.5,
            release_blade_mm,
            blade_mm: 3.0,
            blade_tip_mm: 20.0,
            pocket_eye_mm: -110.0,
            release_eye_mm: -61.5,
            discharge_eye_mm: Some(120.0),
            supply_eye_mm: Some(-260.0),
            cap_eye_mm: None,
            reject_mm: Some(300.0),
            reject_length_mm: 40.0,
            jaw_half_mouth_mm: 40.0,
            jaw_half_angle_deg: 60.0,
            jaw_mu: 0.2,
            actuators: [actuator(20.0, 100.0); 6],
            contacts: Contacts::NONE.with(Contact::Air, true).with(Contact::Drive, true),
            eye_on_ms: 1.0,
            eye_off_ms: 1.0,
            eye_beam_mm: 2.0,
            eye_filter_ms: 10.0,
            contact_filter_ms: 10.0,
            contact_bounce_ms: 2.0,
            safety_filter_ms: 100.0,
            sample_gap_ms: 20.0,
            belt_still_ms: 200.0,
            warn_ms: 2_000.0,
            clear_ms: 1_000.0,
            starve_ms: 5_000.0,
            patience_ms: 10_000.0,
            roller_diameter_mm: 50.0,
            roller_ramp_ms: 100.0,
            idle_spin: false,
            air_bar: 5.0,
            set: host_sim::job::measured::SetSpec::default(),
        },
        product: ProductSpec {
            diameter_mm: 65.0,
            diameter_tol_mm: 0.5,
            height_mm: 180.0,
            cog_mm: 90.0,
            mass_kg: 0.55,
            mu_min: 0.15,
            mu_max: 0.25,
            transparent: false,
            cap_diameter_mm: 28.0,
            turns: 1.5,
            tighten: TightenSpec::Turns,
            torque_nm: 0.0,
            roller_rpm: 300.0,
            speed_mm_s: 100.0,
            seat_dwell_ms: 50.0,
            engage_dwell_ms: 50.0,
            disengage_dwell_ms: 50.0,
            settle_mm: 40.0,
            aim_early_mm: 1.0,
            cap: CapPolicy::Unsensed,
            misses_to_hold: 3,
            early_release: false,
            speed_window_mm: 3.0,
            body: host_sim::job::measured::BodySpec::default(),
        },
        run: RunSpec {
            seed: 1,
            duration_s: 60.0,
            bottles: 10,
            batch: 0,
            supply: SupplySpec::Touching,
            wander: 0.0,
            wander_period_s: 0.0,
            spread: true,
            fixed_delays: false,
            encoder_slip: 0.0,
            initial: Vec::new(),
            script: Vec::new(),
            faults: Vec::new(),
        },
        expect: ExpectSpec::default(),
    }
}

#[track_caller]
pub(crate) fn near(got: f64, want: f64, within: f64) {
    assert!((got - want).abs() <= within, "{got} is not within {within} of {want}");
}

#[track_caller]
pub(crate) fn planned(job: &Job) -> plan::Plan {
    match plan::plan(job) {
        Ok(p) => p,
        Err(e) => panic!("{e}"),
    }
}
