//! Compressed air: what a cylinder pushes, how fast a volume fills and empties through a valve, how much free air a stroke takes.
//!
//! Forces are theoretical: no friction, no back pressure, full gauge pressure. Flow is by ISO 6358-1 with the exponent ½; filling and emptying are
//! isothermal, which is slower than what happens in the first moments and right for slow ones. Free air is at the reference atmosphere of ISO
//! 8778: 100 kPa, 20 °C (from memory of the standards).

use core::f64::consts::PI;

/// Reference atmosphere, bar (ISO 8778: 100 kPa).
pub const ATMOSPHERE_BAR: f64 = 1.0;
/// Density of free air at the reference atmosphere, kg/m³ (ISO 8778, 65 % humidity).
pub const DENSITY_KG_M3: f64 = 1.185;
/// Temperature of the reference atmosphere, K.
pub const REFERENCE_K: f64 = 293.15;
/// Gas constant of air, J/(kg·K).
pub const GAS_J_KG_K: f64 = 287.05;
/// Ratio of pressures below which flow is choked, where a valve's own is not known. Assumed; read it off the valve's data sheet.
pub const CRITICAL_RATIO: f64 = 0.3;

/// Theoretical force of a cylinder, N: p·π·(D² − d²)/4, with `rod_mm` 0 on the piston's side.
#[must_use]
pub fn cylinder_force_n(bar: f64, bore_mm: f64, rod_mm: f64) -> f64 {
    bar * 0.1 * PI * (bore_mm * bore_mm - rod_mm * rod_mm) / 4.0
}

/// Least bore that pushes `force_n`: √(4F/(πp)), mm. Take the next larger standard bore.
#[must_use]
pub fn least_bore_mm(force_n: f64, bar: f64) -> f64 {
    libm::sqrt(4.0 * force_n / (PI * bar * 0.1))
}

/// Volume of a round bore, cm³.
#[must_use]
pub fn volume_cm3(bore_mm: f64, rod_mm: f64, length_mm: f64) -> f64 {
    PI * (bore_mm * bore_mm - rod_mm * rod_mm) / 4.0 * length_mm / 1_000.0
}

/// Free air of one double stroke, litres: (V_out + V_in)·(p + p_atm)/p_atm.
#[must_use]
pub fn double_stroke_l(bore_mm: f64, rod_mm: f64, stroke_mm: f64, bar: f64, atmosphere_bar: f64) -> f64 {
    let both = volume_cm3(bore_mm, 0.0, stroke_mm) + volume_cm3(bore_mm, rod_mm, stroke_mm);
    both / 1_000.0 * (bar + atmosphere_bar) / atmosphere_bar
}

/// Free air that one tube takes each time it goes from the atmosphere's pressure to `bar` gauge, litres: V·p/p_atm. What it held at atmospheric
/// pressure stays in it, which is why this is not the cylinder's formula.
#[must_use]
pub fn tube_l(bore_mm: f64, length_mm: f64, bar: f64, atmosphere_bar: f64) -> f64 {
    volume_cm3(bore_mm, 0.0, length_mm) / 1_000.0 * bar / atmosphere_bar
}

/// ISO 6358's φ: 1 where flow is choked (p2/p1 ≤ b), else √(1 − ((p2/p1 − b)/(1 − b))²); 0 against a higher pressure.
#[must_use]
pub fn flow_share(ratio: f64, b: f64) -> f64 {
    if ratio <= b {
        return 1.0;
    }
    let u = (ratio - b) / (1.0 - b);
    libm::sqrt((1.0 - u * u).max(0.0))
}

/// Mass flow by ISO 6358, g/s: C·ρ0·p1·√(T0/T1)·φ, with C in dm³/(s·bar) and absolute pressures in bar.
#[must_use]
pub fn mass_flow_g_s(c: f64, b: f64, p1_bar: f64, p2_bar: f64, t1_k: f64) -> f64 {
    // dm³/(s·bar) × bar × kg/m³ = g/s.
    c * DENSITY_KG_M3 * p1_bar * libm::sqrt(REFERENCE_K / t1_k) * flow_share(p2_bar / p1_bar, b)
}

/// The rate a = C·ρ0·R·T/V of ISO 6358 flow into or out of a volume at 20 °C, 1/s, with C in dm³/(s·bar).
#[must_use]
pub fn rate_per_s(c: f64, volume_cm3: f64) -> f64 {
    // C in m³/(s·Pa) is c·1e-8, V in m³ is volume·1e-6.
    c * 1e-8 * DENSITY_KG_M3 * GAS_J_KG_K * REFERENCE_K / (volume_cm3 * 1e-6)
}

/// Time to fill a volume from `from` to `to`, both as shares of the absolute supply pressure, s: linear while choked, then r = b + (1 − b)·sin(a·t/(1 −
/// b)). At a share of 1 it ends in finite time.
#[must_use]
pub fn fill_s(rate_per_s: f64, b: f64, from: f64, to: f64) -> f64 {
    let after = |r: f64| {
        if r <= b {
            return (r - b) / rate_per_s;
        }
        (1.0 - b) / rate_per_s * libm::asin(((r - b) / (1.0 - b)).min(1.0))
    };
    (after(to.min(1.0)) - after(from)).max(0.0)
}

/// Slices of the sum in [`vent_s`].
const SLICES: u32 = 200;

/// Time to empty a volume from `from_bar` to `to_bar`, absolute, into the atmosphere, s: exponential with τ = 1/a while choked; below p_atm/b the sum
/// of dt = ds/(a·s·φ(s)), s = p_atm/p, by Simpson's rule over the angle whose sine is (s − b)/(1 − b).
#[must_use]
pub fn vent_s(rate_per_s: f64, b: f64, from_bar: f64, to_bar: f64, atmosphere_bar: f64) -> f64 {
    let after = |p: f64| {
        let s = (atmosphere_bar / p).min(1.0);
        // Counted from the end of choked flow, s = b.
        if s <= b {
            return libm::log(s / b) / rate_per_s;
        }
        let end = libm::asin((s - b) / (1.0 - b));
        let h = end / f64::from(SLICES);
        let slope = |n: u32| (1.0 - b) / (b + (1.0 - b) * libm::sin(h * f64::from(n)));
        let inner: f64 = (1..SLICES).map(|n| slope(n) * if n % 2 == 1 { 4.0 } else { 2.0 }).sum();
        (slope(0) + inner + slope(SLICES)) * h / 3.0 / rate_per_s
    };
    (after(to_bar) - after(from_bar)).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn filling_and_emptying_add_up_over_the_choked_limit() {
        let a = rate_per_s(2.0, 1_000.0);
        let whole = fill_s(a, 0.3, 1.0 / 7.0, 0.95);
        let parts = fill_s(a, 0.3, 1.0 / 7.0, 0.3) + fill_s(a, 0.3, 0.3, 0.95);
        assert!((whole - parts).abs() < 1e-12);
        let whole = vent_s(a, 0.3, 7.0, 1.1, 1.0);
        let parts = vent_s(a, 0.3, 7.0, 2.0, 1.0) + vent_s(a, 0.3, 2.0, 1.1, 1.0);
        assert!((whole - parts).abs() < 1e-9);
        assert_eq!(vent_s(a, 0.3, 2.0, 3.0, 1.0), 0.0, "nothing to let out");
    }
}
