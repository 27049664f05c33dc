//! Tightening by four driven rollers: turns as time, the torque window, the forces that carry the torque.

/// One inch-pound-force in newton-metres, exact: 0.45359237 kg × 9.80665 m/s² × 0.0254 m.
pub const IN_LBF_NM: f64 = 0.112_984_829_027_616_7;

/// Pounds-force per square inch in one bar.
pub const PSI_IN_BAR: f64 = 1e5 * 0.0254 * 0.0254 / (0.453_592_37 * 9.806_65);

/// Speed of the closure, driven without slip: n·D_roller/D_cap, rpm.
#[must_use]
pub fn cap_rpm(roller_rpm: f64, roller_mm: f64, cap_mm: f64) -> f64 {
    roller_rpm * roller_mm / cap_mm
}

/// Time from the spin order until the closure has made `turns`, ms, with a linear ramp of `ramp_ms` to full speed: turns/n + ramp/2, or
/// √(2·ramp·turns/n) when the turns are made before full speed.
#[must_use]
pub fn turns_ms(turns: f64, cap_rpm: f64, ramp_ms: f64) -> f64 {
    let at_speed = turns.max(0.0) / cap_rpm * 60_000.0;
    if at_speed >= ramp_ms / 2.0 { at_speed + ramp_ms / 2.0 } else { libm::sqrt(2.0 * ramp_ms * at_speed) }
}

/// Turns that a torque window is opened before, and held open after, what an ideal closure needs.
pub const WINDOW_SLACK_TURNS: f64 = 0.25;

/// The window for the torque contact, in turns: from just under the turns of the thread to one full turn over, because where a thread
/// starts is random, with [`WINDOW_SLACK_TURNS`] on both sides.
#[must_use]
pub fn torque_window_turns(turns: f64) -> (f64, f64) {
    ((turns - WINDOW_SLACK_TURNS).max(0.0), turns + 1.0 + WINDOW_SLACK_TURNS)
}

/// Application torque by the half-diameter rule, N·m: as many inch-pounds as the closure has millimetres of radius. Common practice, no
/// standard; the closure's supplier knows better.
#[must_use]
pub fn half_diameter_nm(cap_mm: f64) -> f64 {
    cap_mm / 2.0 * IN_LBF_NM
}

/// Normal force of each of four rollers that carries `torque_nm`: T/(4·μ·r), N.
#[must_use]
pub fn roller_force_n(torque_nm: f64, mu: f64, cap_mm: f64) -> f64 {
    torque_nm / (4.0 * mu * cap_mm / 2_000.0)
}

/// Force of the grip at which the body just does not turn in it: T/(μ·r·(1 + 1/sin α)), N. One support and two flanks of the V share the
/// torque. Set twice this.
#[must_use]
pub fn grip_force_n(torque_nm: f64, mu: f64, d_mm: f64, half_angle_deg: f64) -> f64 {
    torque_nm / (mu * d_mm / 2_000.0 * (1.0 + 1.0 / libm::sin(half_angle_deg.to_radians())))
}

/// Torque that four rollers carry by friction, each pressed with `force_n`: 4·μ·N·r, N·m. The inverse of [`roller_force_n`].
#[must_use]
pub fn roller_torque_nm(force_n: f64, mu: f64, cap_mm: f64) -> f64 {
    4.0 * mu * force_n * cap_mm / 2_000.0
}

/// Torque at which the body begins to turn in the grip, N·m. The inverse of [`grip_force_n`].
#[must_use]
pub fn grip_torque_nm(force_n: f64, mu: f64, d_mm: f64, half_angle_deg: f64) -> f64 {
    force_n * mu * d_mm / 2_000.0 * (1.0 + 1.0 / libm::sin(half_angle_deg.to_radians()))
}

/// Force along the belt that a V jaw pressed with `force_n` holds without friction: N/tan α, N.
#[must_use]
pub fn jaw_hold_n(force_n: f64, half_angle_deg: f64) -> f64 {
    force_n / libm::tan(half_angle_deg.to_radians())
}

/// Roller speed that makes `turns` in `ms`, ramp included, rpm; `None` when the ramp alone takes too long.
#[must_use]
pub fn roller_rpm_for(turns: f64, ms: f64, ramp_ms: f64, roller_mm: f64, cap_mm: f64) -> Option<f64> {
    let at_speed = ms - ramp_ms / 2.0;
    // Below half a ramp the turns are made while still speeding up, and no full speed is reached.
    (at_speed >= ramp_ms / 2.0 && at_speed > 0.0).then(|| turns / at_speed * 60_000.0 * cap_mm / roller_mm)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_turns_end_within_the_ramp() {
        // At 600 rpm, 0.25 turn takes 25 ms at speed; with a ramp of 200 ms it is made at √(2·200·25) = 100 ms.
        assert!((turns_ms(0.25, 600.0, 200.0) - 100.0).abs() < 1e-9);
        // Where both formulas meet, they agree: 100 ms of turns, 200 ms of ramp.
        assert!((turns_ms(1.0, 600.0, 200.0) - 200.0).abs() < 1e-9);
        assert!(turns_ms(0.0, 600.0, 0.0).abs() < 1e-12);
    }
}
