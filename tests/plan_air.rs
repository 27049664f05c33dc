//! Air in the plan, against ISO 6358 and ISO 8778 worked out outside this repository, and against slow integration.
//!
//! Values marked "worked" come from the formula named beside them, computed with numpy and mpmath; ρ0 = 1.185 kg/m³, T0 = 293.15 K, p0 = 100 kPa of ISO
//! 8778 and the flow formula of ISO 6358-1:2013 are from memory of the standards, the formula also from the reference pages of two simulation tools.

use crate::plan_example::{near, planned};
use crate::random_job::shipped;
use host_sim::plan::{Check, air, demand, forces, tighten};
use timing_core::Actuator;

/// C = 2 dm³/(s·bar), b = 0.3: worked.
#[test]
fn flow_through_a_valve() {
    near(air::mass_flow_g_s(2.0, 0.3, 7.0, 1.0, 293.15), 16.59, 1e-9);
    near(air::mass_flow_g_s(2.0, 0.3, 7.0, 2.1, 293.15), 16.59, 1e-9);
    near(air::mass_flow_g_s(2.0, 0.3, 7.0, 6.0, 293.15), 10.043_652, 1e-6);
    near(air::mass_flow_g_s(2.0, 0.3, 7.0, 6.0, 313.15), 9.717_631, 1e-6);
    // As free air: mass over density.
    near(air::mass_flow_g_s(2.0, 0.3, 7.0, 6.0, 293.15) / air::DENSITY_KG_M3 * 60.0, 508.539_3, 1e-4);
    for (b, share) in
        [(0.2, 0.570_311_4), (0.3, 0.605_404_0), (0.4, 0.647_689_1), (0.5, 0.699_854_2), (0.528, 0.716_743_8)]
    {
        near(air::flow_share(6.0 / 7.0, b), share, 1e-7);
    }
    assert_eq!(air::flow_share(1.2, 0.3), 0.0, "nothing flows uphill");
}

/// 1 L through C = 2 dm³/(s·bar), b = 0.3, at 20 °C: worked in closed form.
#[test]
fn filling_and_emptying_a_litre() {
    let a = air::rate_per_s(2.0, 1_000.0);
    near(a, 1.994_324_37, 1e-8);
    near(air::fill_s(a, 0.3, 1.0 / 7.0, 0.3), 0.078_795_0, 1e-7);
    near(air::fill_s(a, 0.3, 1.0 / 7.0, 0.9), 0.440_214_6, 1e-7);
    near(air::fill_s(a, 0.3, 1.0 / 7.0, 0.95), 0.496_671_7, 1e-7);
    near(air::fill_s(a, 0.3, 1.0 / 7.0, 1.0), 0.630_138_4, 1e-7);
    near(air::vent_s(a, 0.3, 7.0, 10.0 / 3.0, 1.0), 0.372_024_4, 1e-7);
}

/// The same equations, integrated in small steps: dp/dt = a·p1·φ while filling, −a·p·φ while emptying.
#[test]
fn filling_and_emptying_against_stepping() {
    for (c, volume, b, bar) in [(1.0, 50.0, 0.2, 5.0), (2.0, 1_000.0, 0.3, 6.0), (0.5, 20.0, 0.5, 3.0)] {
        let a = air::rate_per_s(c, volume);
        let full = bar + 1.0;
        let h = 1e-5 / a;
        let (mut p, mut t) = (1.0, 0.0);
        while p < 0.9 * full {
            // Midpoint rule.
            let half = p + h / 2.0 * a * full * air::flow_share(p / full, b);
            p += h * a * full * air::flow_share(half / full, b);
            t += h;
        }
        near(air::fill_s(a, b, 1.0 / full, 0.9), t, 1e-4 * t);
        let (mut p, mut t) = (full, 0.0);
        while p > 1.0 + 0.1 * bar {
            let half = p - h / 2.0 * a * p * air::flow_share(1.0 / p, b);
            p -= h * a * half * air::flow_share(1.0 / half, b);
            t += h;
        }
        near(air::vent_s(a, b, full, 1.0 + 0.1 * bar, 1.0), t, 1e-4 * t);
    }
}

/// (V_out + V_in)·(p + p_atm)/p_atm, worked; the two atmospheres are 1.1 % apart, so which is meant is said.
#[test]
fn free_air_of_a_double_stroke() {
    near(air::double_stroke_l(32.0, 12.0, 100.0, 6.0, air::ATMOSPHERE_BAR), 1.046_779, 1e-6);
    near(air::double_stroke_l(32.0, 12.0, 100.0, 6.0, 1.013_25), 1.035_046, 1e-6);
    near(30.0 * air::double_stroke_l(32.0, 12.0, 100.0, 6.0, 1.0), 31.403_4, 1e-4);
    near(air::double_stroke_l(63.0, 20.0, 50.0, 6.0, 1.0), 2.072_116, 1e-6);
    near(air::volume_cm3(32.0, 0.0, 100.0), 80.424_77, 1e-5);
    near(air::volume_cm3(32.0, 12.0, 100.0), 69.115_04, 1e-5);
    // A tube holds its own atmosphere when it is empty: 1 m of 4 mm at 5 bar takes five times its volume, not six.
    near(air::tube_l(4.0, 1_000.0, 5.0, 1.0), 5.0 * 0.012_566_37, 1e-7);
}

/// 1 bar = 14.503773773 psi (exact: 1e5 Pa over pound, gravity and inch). 70 psi are 4.826 bar, not 5; common practice calls both the same.
#[test]
fn psi_and_bar_are_kept_apart() {
    near(tighten::PSI_IN_BAR, 14.503_773_773, 1e-9);
    let p = planned(&shipped("steady-day"));
    let told = |name: &str| p.setpoints.iter().find(|f| f.name == name).map_or(f64::NAN, |f| f.value);
    near(told("air pressure at the regulator"), 4.826, 5e-4);
    near(told("the same in psi"), 70.0, 1e-9);
    // 32 mm at 70 psi, not at 5 bar: 388 N, not 402.
    near(told("force of the plunger"), 4.826_330_1 * 0.1 * core::f64::consts::PI * 256.0, 1e-3);
}

/// The sum of a whole machine, added up here by hand: each cylinder of the shipped machine, two tubes of 1.5 m by 4 mm each.
#[test]
fn demand_of_the_shipped_machine() {
    let job = shipped("steady-day");
    let full = job.machine.air_bar + 1.0;
    let area = |d: f64| core::f64::consts::PI * d * d / 4.0;
    let cylinder = |bore: f64, rod: f64, s: f64| (2.0 * area(bore) - area(rod)) * s * 1e-6 * full;
    let cylinders = 2.0 * cylinder(16.0, 6.0, 30.0)
        + cylinder(32.0, 12.0, 30.0)
        + cylinder(32.0, 12.0, 25.0)
        + cylinder(20.0, 8.0, 10.0)
        + cylinder(25.0, 10.0, 60.0);
    let tubes = 12.0 * area(4.0) * 1_500.0 * 1e-6 * job.machine.air_bar;
    let d = demand::demand(&job);
    near(d.cylinders_l, cylinders, 1e-12);
    near(d.tubes_l, tubes, 1e-12);
    assert_eq!(d.counted, 6);
    let p = planned(&job);
    let check = p.checks.iter().find(|c| c.name.starts_with("air demand"));
    near(check.map_or(f64::NAN, |c| c.value), (cylinders + tubes) * p.rate_per_min, 1e-9);

    // A compressor that is too small fails the plan, by how much it is short.
    let mut small = job.clone();
    small.machine.set.air_supply_l_min = Some(40.0);
    let p = planned(&small);
    let check = p.checks.iter().find(|c| !c.ok);
    assert!(check.is_some_and(|c| c.name.starts_with("air demand") && c.mend.contains("tubes")), "{check:?}");

    // What is not known is not counted, and that is said.
    let mut unknown = job;
    unknown.machine.actuators[Actuator::Grip.index()].drive.bore_mm = None;
    assert_eq!(demand::uncounted(&unknown), ["grip"]);
    assert!(planned(&unknown).cautions.iter().any(|c| c.contains("air is not counted: grip")));
}

/// A measured stroke that no valve could have passed, and a grip that is not yet pressed when the rollers turn: each fails by what it is off. By
/// hand: 32 mm bore by 30 mm are 24.127 cm³; through C = 1 dm³/(s·bar) at 4.826 bar gauge the piston sweeps them in 24.127 × 1 / 5.826 ms.
#[test]
fn strokes_against_what_their_valves_pass() {
    let job = shipped("steady-day");
    let failed =
        |job: &host_sim::job::Job| -> Vec<Check> { planned(job).checks.into_iter().filter(|c| !c.ok).collect() };
    assert!(failed(&job).is_empty());
    let find = |job: &host_sim::job::Job, name: &str| planned(job).checks.into_iter().find(|c| c.name == name);
    let sweep = find(&job, "stroke of the grip no faster than its valve passes air").expect("it is checked");
    near(sweep.limit, 24.127_43 / 5.826_33, 1e-4);
    near(sweep.value, 96.0, 1e-9);

    let mut quick = job.clone();
    let grip = &mut quick.machine.actuators[Actuator::Grip.index()];
    (grip.to_work_ms, grip.spread_ms) = (4.0, 0.0);
    let checks = failed(&quick);
    assert!(checks.iter().any(|c| c.name == sweep.name && c.mend.contains("contradict each other")), "{checks:?}");

    // A valve so small that nine tenths of the pressure take longer than plunger and rollers need to close.
    let mut small = job.clone();
    small.machine.actuators[Actuator::Grip.index()].drive.conductance = Some(0.05);
    let checks = failed(&small);
    let [check] = checks.as_slice() else { panic!("{checks:?}") };
    assert_eq!(check.name, "nine tenths of the pressure of the grip before its force is needed");
    let (fill, _) = demand::fill_and_vent_ms(&small, Actuator::Grip).expect("its valve is known");
    near(check.value, fill, 1e-9);
    // Grip, plunger and rollers: 100 ms of travel each, 20 ms of latency for the later two, 11.33 ms of filter and mean bounce three times.
    near(check.limit, 3.0 * (100.0 + 10.0 + 4.0 / 3.0) + 2.0 * 20.0, 1e-6);
    // What is told to mend it does.
    small.machine.actuators[Actuator::Grip.index()].drive.conductance =
        Some(0.05 * check.value / check.limit * (1.0 + 1e-9));
    assert!(failed(&small).is_empty());
}

/// A force and its inverse: what is told to mend a force does mend it.
#[test]
fn the_pressure_that_is_told_gives_the_target() {
    near(tighten::roller_torque_nm(tighten::roller_force_n(1.58, 0.6, 28.0), 0.6, 28.0), 1.58, 1e-12);
    near(tighten::grip_torque_nm(tighten::grip_force_n(1.58, 0.3, 65.0, 60.0), 0.3, 65.0, 60.0), 1.58, 1e-12);
    // Two flanks at 45° hold as much along the belt as they are pressed with.
    near(tighten::jaw_hold_n(100.0, 45.0), 100.0, 1e-9);
    let mut job = shipped("steady-day");
    let told = |job: &host_sim::job::Job| {
        let p = planned(job);
        p.setpoints
            .iter()
            .find(|f| f.name == "pressure of the rollers for the target torque")
            .map_or(f64::NAN, |f| f.value)
    };
    let bar = told(&job);
    job.machine.actuators[Actuator::Rollers.index()].drive.bar = Some(bar);
    let (least, likely, most) = forces::torque_estimate_nm(&job).unwrap_or_default();
    near(likely, job.product.torque_nm, 1e-9);
    assert!(least < likely && likely < most);
    near(told(&job), bar, 1e-9);
    // A little less air, and the check fails and names the pressure.
    job.machine.actuators[Actuator::Rollers.index()].drive.bar = Some(0.9 * bar);
    let p = planned(&job);
    let failed = p.checks.iter().find(|c| !c.ok);
    let due = format!("{bar:.2} bar");
    assert!(failed.is_some_and(|c| c.name.starts_with("rollers carry") && c.mend.contains(&due)), "{failed:?}, {due}");
}

/// The speed that is told makes the turns in the time: inverse of the time that is planned.
#[test]
fn roller_speed_for_a_time() {
    for (turns, ms, ramp) in [(1.5, 218.0, 100.0), (2.25, 400.0, 0.0), (1.0, 300.0, 250.0)] {
        let rpm = tighten::roller_rpm_for(turns, ms, ramp, 50.0, 28.0).unwrap_or(f64::NAN);
        near(tighten::turns_ms(turns, tighten::cap_rpm(rpm, 50.0, 28.0), ramp), ms, 1e-9);
    }
    assert_eq!(tighten::roller_rpm_for(1.0, 100.0, 150.0, 50.0, 28.0), None, "all of it would be ramp");
}
