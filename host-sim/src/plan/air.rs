//! Compressed air: what a cylinder pushes. Theoretical force, no friction, full gauge pressure.

/// Theoretical force of a cylinder, N: p·π·(D² − d²)/4, with `rod_mm` 0 on the piston's side.
#[must_use]
pub fn cylinder_force_n(bar: f64, bore_mm: f64, rod_mm: f64) -> f64 {
    bar * 0.1 * core::f64::consts::PI * (bore_mm * bore_mm - rod_mm * rod_mm) / 4.0
}

/// Least bore that pushes `force_n`: √(4F/(πp)), mm. Take the next larger standard bore.
#[must_use]
pub fn least_bore_mm(force_n: f64, bar: f64) -> f64 {
    libm::sqrt(4.0 * force_n / (core::f64::consts::PI * bar * 0.1))
}
