//! The plan's physics against published formulas and worked examples.
//!
//! Each expected number stands with where it comes from. "Worked here" means: computed outside this repository from the formula
//! named beside it; rigid-body and friction formulas are those of any textbook of engineering mechanics.

use crate::plan_example::{example, near, planned};
use host_sim::plan::{air, carry, catch, escapement, tighten};
use timing_core::Tighten;

/// Textbook friction: t = v/(μg), s = v²/(2μg); worked here with g = 9.80665 m/s².
#[test]
fn pick_up_from_rest() {
    for (v, mu, s, t) in
        [(300.0, 0.20, 22.943_615, 152.957), (500.0, 0.25, 50.985_811, 203.943), (1_000.0, 0.25, 203.943_243, 407.886)]
    {
        near(carry::pick_up_slip_mm(v, mu), s, 1e-6 * s);
        near(carry::pick_up_time_ms(v, mu), t, 1e-3);
    }
    // An edge seen 5 mm after rest at 300 mm/s: 4.2 mm short at μ 0.25, 10.9 at 0.15 (worked here).
    near(carry::slip_remaining_mm(300.0, 0.25, 5.0), 4.2, 0.05);
    near(carry::slip_remaining_mm(300.0, 0.15, 5.0), 10.9, 0.05);
}

/// Textbook rigid body: tips at a/g = w/(2h); foot stopped dead, cylinder r 32.5, H 180, h 90 mm: I/m = 0.0121203125 m², 0.408584 m/s.
#[test]
fn tipping_and_the_stopped_foot() {
    near(carry::tip_limit(65.0, 90.0), 0.361_111, 1e-6);
    near(carry::tip_limit(65.0, 90.0) * carry::G_MM_S2, 3_541.290, 1e-3);
    near(carry::foot_stop_mm_s(65.0, 180.0, 90.0), 408.584, 1e-3);
    near(carry::grip_height_max_mm(65.0, 0.25), 130.0, 1e-9);
}

/// Textbook friction: n·μ·m·g; 12 bottles of 0.55 kg at μ 0.20 push 12.944778 N.
#[test]
fn push_of_a_queue() {
    near(carry::queue_force_n(12.0, 0.20, 0.55), 12.944_778, 1e-6);
    near(carry::queue_force_n(1.0, 0.20, 0.55), 1.078_731_5, 1e-7);
}

/// Uniform deceleration: 300 mm/s, 50 ms, 1 m/s²: 15 + 45 mm. With less friction than the belt's deceleration needs, friction decides.
#[test]
fn stopping() {
    near(carry::stop_travel_mm(300.0, 50.0, 1_000.0, 0.15), 60.0, 1e-9);
    near(carry::stop_travel_mm(300.0, 50.0, 5_000.0, 0.15), 15.0 + carry::pick_up_slip_mm(300.0, 0.15), 1e-9);
}

/// Chord geometry of two touching circles, r 32.5, y 20, blade 3 mm (worked here): free width 13.77, ±5.38 for the blade, touching point 58.1 (not 65),
/// 2.27 mm per mm of radius.
#[test]
fn escapement_of_touching_bottles() {
    near(escapement::free_width_mm(32.5, 20.0), 13.77, 0.005);
    near(escapement::touching_mm(32.5, 20.0), 58.1, 0.05);
    near(escapement::sensitivity(32.5, 20.0), 2.27, 0.005);
    let (low, high) = escapement::entry_window_mm(0.0, 3.0, 20.0, 32.5, 32.5);
    near((high - low) / 2.0, 5.38, 0.005);
    near((high + low) / 2.0 + 1.5, -58.117, 0.001);
    // The stated sensitivity is the slope of the stated place.
    let slope = (escapement::touching_mm(32.51, 20.0) - escapement::touching_mm(32.49, 20.0)) / 0.02;
    near(slope, escapement::sensitivity(32.5, 20.0), 1e-4);
}

/// 0.94 s at 6 m/min is 94 mm: the trade's common practice of a delay in seconds (no source), and D/2 − x_eye for D 65, eye at −61.5.
#[test]
fn a_delay_is_a_distance() {
    near(catch::catch_travel_mm(65.0, -61.5), 94.0, 1e-9);
    let p = planned(&example());
    near(p.worked.travel_ms(94.0), 940.0, 1e-9);
    near(p.worked.v_mm_s * 60.0 / 1_000.0, 6.0, 1e-12);
    // Ten per cent off is 9.4 mm off; the sheet says both.
    let line = p.text().lines().find(|l| l.contains("catch travel from the release eye")).map(str::to_owned);
    let line = line.unwrap_or_default();
    assert!(line.contains("94.00 mm") && line.contains("0.940 s") && line.contains("±9.4 mm"), "{line}");
}

/// Worked here from x_rest −94, μ 0.15, margins 2 mm, t 180 ms.
#[test]
fn windows_of_the_release_eye() {
    let window = |v: f64| catch::eye_window_mm(-94.0, carry::pick_up_slip_mm(v, 0.15), 2.0, 65.0, 2.0, v, 180.0);
    for (v, low, high) in [(100.0, -88.6, -52.5), (200.0, -78.4, -70.5)] {
        near(window(v).0, low, 0.05);
        near(window(v).1, high, 0.05);
    }
    let (low, high) = window(300.0);
    assert!(low > high, "at 300 mm/s no place is left");
}

/// V jaw: half mouth 40, half angle 60°, r 32.5: 40 − 32.5·cos 60° = 23.75; self-centring limit tan((90° − α)/2) = 0.268 at 60°, 0.414 at 45°.
#[test]
fn v_jaw() {
    near(catch::capture_mm(40.0, 32.5, 60.0), 23.75, 1e-9);
    near(catch::centring_friction(60.0), 0.267_949, 1e-6);
    near(catch::centring_friction(45.0), 0.414_214, 1e-6);
}

/// ½·a·t²: ±20 % over 2 s (sine) at 300 mm/s, 120 ms: about 1.35 mm (worked here: 1.357).
#[test]
fn a_wandering_belt_moves_the_catch() {
    let a = catch::wander_accel_mm_s2(300.0, 0.2, 2.0);
    near(catch::speed_change_mm(a, 120.0), 1.35, 0.01);
    near(catch::lead_mm(300.0, 20.0, 100.0), 36.0, 1e-9);
}

/// Rolling without slip: n_cap = n·D_roller/D_cap: 300 rpm, 50 mm on 28 mm → 535.7143 rpm; 1.5 turns take 168.000 ms; a linear ramp of 100 ms adds half.
#[test]
fn roller_kinematics() {
    near(tighten::cap_rpm(300.0, 50.0, 28.0), 535.714_3, 1e-4);
    near(tighten::turns_ms(1.5, tighten::cap_rpm(300.0, 50.0, 28.0), 0.0), 168.0, 1e-9);
    near(tighten::turns_ms(1.5, tighten::cap_rpm(300.0, 50.0, 28.0), 100.0), 218.0, 1e-9);
    assert_eq!(planned(&example()).product.tighten, Tighten::Turns(timing_core::Duration::from_micros(218_000)));
}

/// Half-diameter rule: common practice, no standard: 28 mm → 14 in·lbf = 1.581788 N·m, 38 mm → 2.146712 N·m. The inch-pound is exact by
/// definition of inch, pound and standard gravity.
#[test]
fn torque_and_the_forces_that_carry_it() {
    near(tighten::IN_LBF_NM, 0.453_592_37 * 9.806_65 * 0.025_4, 1e-16);
    near(tighten::half_diameter_nm(28.0), 1.581_788, 1e-6);
    near(tighten::half_diameter_nm(38.0), 2.146_712, 1e-6);
    // Coulomb friction, worked here: 1.58 N·m, μ 0.6, four rollers on 28 mm: 47 N; V grip μ 0.3, 60°, D 65: 75 N.
    near(tighten::roller_force_n(1.58, 0.6, 28.0), 47.0, 0.05);
    near(tighten::grip_force_n(1.58, 0.3, 65.0, 60.0), 75.2, 0.05);
    // 14 in·lbf at r 14 mm: 112.985 N tangential, 28.246 N on each of four rollers (statics).
    near(tighten::roller_force_n(tighten::half_diameter_nm(28.0), 1.0, 28.0), 28.246, 1e-3);
}

/// Theoretical force p·A at 6 bar for the bores and rods of ISO 15552:2004 (sizes from memory of the standard; areas exact).
#[test]
fn cylinder_forces() {
    for (bore, rod, push, pull) in [
        (32.0, 12.0, 482.549, 414.690),
        (40.0, 16.0, 753.982, 633.345),
        (50.0, 20.0, 1_178.097, 989.602),
        (80.0, 25.0, 3_015.929, 2_721.405),
        (100.0, 25.0, 4_712.389, 4_417.865),
    ] {
        near(air::cylinder_force_n(6.0, bore, 0.0), push, 5e-4);
        near(air::cylinder_force_n(6.0, bore, rod), pull, 5e-4);
        near(air::least_bore_mm(push, 6.0), bore, 1e-4);
    }
}

/// From rest to a place: under the slip's length the bottle still accelerates, √(2d/(μg)); beyond, (d + slip)/v; both meet at v/(μg).
#[test]
fn riding_from_rest() {
    near(carry::ride_ms(300.0, 0.25, 5.0), 1_000.0 * (10.0f64 / 2_451.662_5).sqrt(), 1e-9);
    let slip = carry::pick_up_slip_mm(300.0, 0.2);
    near(carry::ride_ms(300.0, 0.2, slip), carry::pick_up_time_ms(300.0, 0.2), 1e-9);
    near(carry::ride_ms(300.0, 0.2, 100.0), (100.0 + slip) / 0.3, 1e-9);
}
