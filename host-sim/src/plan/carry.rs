//! What a running belt does with a standing bottle: pick-up, stop, tipping, the push of a queue.
//!
//! Rigid bodies and dry friction, as in any textbook of mechanics. The lowest friction decides slip and stopping, the
//! highest decides tipping.

/// Standard gravity, mm/s² (3rd CGPM, 1901: 9.80665 m/s²).
pub const G_MM_S2: f64 = 9_806.65;

/// Belt travel that a bottle does not share when the belt picks it up from rest: v²/(2μg), mm.
#[must_use]
pub fn pick_up_slip_mm(v_mm_s: f64, mu: f64) -> f64 {
    v_mm_s * v_mm_s / (2.0 * mu * G_MM_S2)
}

/// How long the pick-up takes: v/(μg), ms.
#[must_use]
pub fn pick_up_time_ms(v_mm_s: f64, mu: f64) -> f64 {
    v_mm_s / (mu * G_MM_S2) * 1_000.0
}

/// How long a bottle takes to cover `d_mm` from rest on a running belt, ms: √(2d/(μg)) while it still slips, (d + slip)/v after.
#[must_use]
pub fn ride_ms(v_mm_s: f64, mu: f64, d_mm: f64) -> f64 {
    let slip = pick_up_slip_mm(v_mm_s, mu);
    let d = d_mm.max(0.0);
    let s = if d < slip { libm::sqrt(2.0 * d / (mu * G_MM_S2)) } else { (d + slip) / v_mm_s };
    s * 1_000.0
}

/// Slip that is still to come when the bottle has moved `d_mm` from rest, (v − √(2μgd))²/(2μg), mm: how far it falls short of a
/// position that was reckoned from its edge there.
#[must_use]
pub fn slip_remaining_mm(v_mm_s: f64, mu: f64, d_mm: f64) -> f64 {
    let reached = libm::sqrt(2.0 * mu * G_MM_S2 * d_mm.max(0.0));
    let short = (v_mm_s - reached).max(0.0);
    short * short / (2.0 * mu * G_MM_S2)
}

/// How far a riding bottle still goes after the belt is ordered to stop, v·t + v²/(2·min(a, μ_min·g)), mm. A belt that stops harder than
/// friction holds leaves the bottle sliding.
#[must_use]
pub fn stop_travel_mm(v_mm_s: f64, reaction_ms: f64, belt_accel_mm_s2: f64, mu_min: f64) -> f64 {
    let a = belt_accel_mm_s2.min(mu_min * G_MM_S2);
    v_mm_s * reaction_ms / 1_000.0 + v_mm_s * v_mm_s / (2.0 * a)
}

/// How far bottle and belt part at one belt stop or start, v²/2·(1/(μ_min·g) − 1/a) where that is positive, mm.
#[must_use]
pub fn stop_slip_mm(v_mm_s: f64, belt_accel_mm_s2: f64, mu_min: f64) -> f64 {
    let part = v_mm_s * v_mm_s / 2.0 * (1.0 / (mu_min * G_MM_S2) - 1.0 / belt_accel_mm_s2);
    part.max(0.0)
}

/// Acceleration, as a share of g, at which a body tips about its edge: w/(2h), with `cog_mm` the height of its centre of gravity.
#[must_use]
pub fn tip_limit(base_mm: f64, cog_mm: f64) -> f64 {
    base_mm / (2.0 * cog_mm)
}

/// Speed at which a body whose foot is stopped dead just tips over, mm/s.
///
/// Angular momentum about the edge is kept at the stop, then energy carries the centre of gravity over the edge:
/// v = √(2g(√(h² + r²) − h)·I/m)/h, with I/m = (3r² + H²)/12 + r² + h² (uniform cylinder about its edge).
#[must_use]
pub fn foot_stop_mm_s(base_mm: f64, height_mm: f64, cog_mm: f64) -> f64 {
    let r = base_mm / 2.0;
    let inertia = (3.0 * r * r + height_mm * height_mm) / 12.0 + r * r + cog_mm * cog_mm;
    let rise = libm::sqrt(cog_mm * cog_mm + r * r) - cog_mm;
    libm::sqrt(2.0 * G_MM_S2 * rise * inertia) / cog_mm
}

/// Speed at which a body that is stopped at `grip_mm` above the belt just tips over what stops it, mm/s; infinite when that is at or above its centre of
/// gravity, where nothing throws it forward.
///
/// [`foot_stop_mm_s`] with the edge lifted to the grip: v = √(2g(√(Δ² + r²) − Δ)·I/m)/Δ, Δ = h − h_grip, I/m = (3r² + H²)/12 + r² + Δ². Stopped dead, and
/// free to turn about the edge: the worst case, friction of jaw and support helps.
#[must_use]
pub fn catch_tip_mm_s(base_mm: f64, height_mm: f64, cog_mm: f64, grip_mm: f64) -> f64 {
    let above = cog_mm - grip_mm;
    if above <= 0.0 {
        return f64::INFINITY;
    }
    let r = base_mm / 2.0;
    let inertia = (3.0 * r * r + height_mm * height_mm) / 12.0 + r * r + above * above;
    let rise = libm::sqrt(above * above + r * r) - above;
    libm::sqrt(2.0 * G_MM_S2 * rise * inertia) / above
}

/// Travel of a bottle on a belt whose drive is cut and which coasts to rest, v²/(2·min(a, μ_min·g)), mm.
#[must_use]
pub fn coast_mm(v_mm_s: f64, coast_mm_s2: f64, mu_min: f64) -> f64 {
    v_mm_s * v_mm_s / (2.0 * coast_mm_s2.min(mu_min * G_MM_S2))
}

/// Push of `n` queued bottles on a blade: n·μ·m·g, N.
#[must_use]
pub fn queue_force_n(n: f64, mu: f64, mass_kg: f64) -> f64 {
    n * mu * mass_kg * G_MM_S2 / 1_000.0
}

/// Greatest height of a grip above the belt at which the running belt does not drag the foot out: D/(2μ_max), mm.
#[must_use]
pub fn grip_height_max_mm(base_mm: f64, mu_max: f64) -> f64 {
    base_mm / (2.0 * mu_max)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slip_that_remains_goes_from_all_to_nothing() {
        let all = pick_up_slip_mm(300.0, 0.2);
        assert!((slip_remaining_mm(300.0, 0.2, 0.0) - all).abs() < 1e-9);
        assert!((slip_remaining_mm(300.0, 0.2, all)).abs() < 1e-9);
        assert!((slip_remaining_mm(300.0, 0.2, -3.0) - all).abs() < 1e-9, "not moved yet");
    }

    #[test]
    fn a_gentle_belt_takes_its_bottle_along() {
        // 0.15 g is 1 471 mm/s²: at 1 000 mm/s² nothing slides, at 3 000 it does.
        assert_eq!(stop_slip_mm(300.0, 1_000.0, 0.15), 0.0);
        assert!(stop_slip_mm(300.0, 3_000.0, 0.15) > 15.0);
    }
}
