//! From measurements (`f64`) to the core's fixed point: to the nearest step, halves away from zero, range-checked.
//!
//! A product or quotient in `f64` is itself rounded, which matters only next to a tie. [`libm::fma`] gives the part that was
//! rounded away, so that the step chosen here is the nearest to the *exact* product or quotient.

use super::PlanError;
use timing_core::{CountsPerMm, Duration, Millimetres, Speed};

/// Steps per unit of the core's fixed-point types (16 fraction bits).
const STEPS: f64 = 65_536.0;
/// Beyond this, neighbouring `f64` are further apart than the ties that [`settle`] looks at.
const EXACT: f64 = 4_503_599_627_370_496.0; // 2^52

/// Nearest integer to `p + e`, where `e` is what rounding took from `p` (at most half its last place).
fn settle(p: f64, e: f64) -> Option<i64> {
    if !p.is_finite() || libm::fabs(p) >= EXACT {
        return None;
    }
    let n = libm::round(p);
    let off = p - n;
    let n = if off >= 0.5 && e > 0.0 {
        n + 1.0
    } else if off <= -0.5 && e < 0.0 {
        n - 1.0
    } else {
        n
    };
    Some(n as i64)
}

/// Nearest integer to the exact product `x · k`.
fn times(x: f64, k: f64) -> Option<i64> {
    let p = x * k;
    settle(p, libm::fma(x, k, -p))
}

/// Nearest integer to the exact quotient `x / y`, `y` > 0.
fn over(x: f64, y: f64) -> Option<i64> {
    let q = x / y;
    settle(q, libm::fma(-q, y, x))
}

fn bad(name: &'static str, value: f64, unit: &'static str, low: f64, high: f64) -> PlanError {
    PlanError::Value { name, value, unit, low, high }
}

/// A length or coordinate, to the nearest 1/65 536 mm.
///
/// # Errors
/// [`PlanError::Value`] beyond ±32 767 mm, or not a number.
pub fn millimetres(name: &'static str, mm: f64) -> Result<Millimetres, PlanError> {
    times(mm, STEPS)
        .and_then(|n| i32::try_from(n).ok())
        .map(Millimetres::from_bits)
        .ok_or_else(|| bad(name, mm, "mm", -32_767.0, 32_767.0))
}

/// A speed, to the nearest 1/65 536 mm/s.
///
/// # Errors
/// [`PlanError::Value`] beyond 0 … 32 767 mm/s, or not a number.
pub fn speed(name: &'static str, mm_s: f64) -> Result<Speed, PlanError> {
    times(mm_s, STEPS)
        .and_then(|n| i32::try_from(n).ok())
        .filter(|n| *n >= 0)
        .map(Speed::from_bits)
        .ok_or_else(|| bad(name, mm_s, "mm/s", 0.0, 32_767.0))
}

/// A time, to the nearest microsecond.
///
/// # Errors
/// [`PlanError::Value`] beyond 0 … 4 294 967 ms (the core's 32-bit spans), or not a number.
pub fn duration(name: &'static str, ms: f64) -> Result<Duration, PlanError> {
    times(ms, 1_000.0)
        .and_then(|n| u32::try_from(n).ok())
        .map(|us| Duration::from_micros(u64::from(us)))
        .ok_or_else(|| bad(name, ms, "ms", 0.0, 4_294_967.0))
}

/// The encoder scale, counts a turn over belt travel a turn, to the nearest 1/65 536 count/mm.
///
/// # Errors
/// [`PlanError::Value`] when the wheel is not positive, or the scale beyond 65 535 counts/mm.
pub fn counts_per_mm(counts_per_rev: f64, wheel_mm: f64) -> Result<CountsPerMm, PlanError> {
    let name = "encoder_counts_per_rev / encoder_wheel";
    let err = || bad(name, counts_per_rev / wheel_mm, "counts/mm", 0.5, 1_000.0);
    if wheel_mm.is_nan() || wheel_mm <= 0.0 {
        return Err(err());
    }
    over(counts_per_rev * STEPS, wheel_mm)
        .and_then(|n| u32::try_from(n).ok())
        .map(CountsPerMm::from_bits)
        .ok_or_else(err)
}

/// A rotational speed, to the nearest whole revolution per minute.
///
/// # Errors
/// [`PlanError::Value`] beyond 0 … 6 000 rpm, or not a number.
pub fn rpm(name: &'static str, rpm: f64) -> Result<u16, PlanError> {
    times(rpm, 1.0)
        .and_then(|n| u16::try_from(n).ok())
        .filter(|n| *n <= 6_000)
        .ok_or_else(|| bad(name, rpm, "rpm", 0.0, 6_000.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounds_to_the_nearest_step_and_refuses_what_does_not_fit() {
        assert_eq!(millimetres("x", 94.0).map(Millimetres::to_bits), Ok(94 << 16));
        assert_eq!(millimetres("x", 0.5 / STEPS).map(Millimetres::to_bits), Ok(1));
        assert_eq!(millimetres("x", -0.5 / STEPS).map(Millimetres::to_bits), Ok(-1));
        assert!(millimetres("x", 40_000.0).is_err());
        assert!(millimetres("x", f64::NAN).is_err());
        assert!(speed("v", -1.0).is_err());
        assert_eq!(duration("t", 0.0004).map(Duration::as_micros), Ok(0));
        assert_eq!(duration("t", 218.0).map(Duration::as_micros), Ok(218_000));
        assert!(duration("t", f64::INFINITY).is_err());
        // 4096 counts over 200 mm are 20.48 counts/mm, 1 342 177.28 steps.
        assert_eq!(counts_per_mm(4_096.0, 200.0).map(CountsPerMm::to_bits), Ok(1_342_177));
        assert!(counts_per_mm(4_096.0, 0.0).is_err());
        assert!(rpm("n", 6_000.6).is_err());
    }
}
