//! Motion with constant acceleration, and the rounding of its times.
//!
//! Inside the modelled line a time is an `f64` of microseconds since power-up (exact to 10 ps after eight hours); what
//! leaves it is a whole microsecond, rounded up, so that a thing is never told before it has happened.

/// Never.
pub(super) const NEVER: f64 = f64::INFINITY;
/// Standard acceleration of gravity, mm/s² (ISO 80000-3; 3rd CGPM, 1901).
pub(super) const G: f64 = 9806.65;
/// Two places closer than this, mm, are one.
pub(super) const SAME: f64 = 1e-9;

/// The first whole microsecond not before `t`.
pub(super) fn ceil_us(t: f64) -> u64 {
    if t >= 1.8e19 {
        return u64::MAX;
    }
    let i = t as u64;
    if (i as f64) < t { i + 1 } else { i }
}

/// The largest whole number not above `x`. Exact; `f64::floor` is a call on targets without the instruction.
pub(super) fn floor(x: f64) -> i64 {
    let i = x as i64;
    if (i as f64) > x { i - 1 } else { i }
}

/// Motion x + v·τ + a·τ²/2 with τ = time since `t`, in seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Arc {
    /// Origin of time, µs.
    pub(super) t: f64,
    /// Place at `t`, mm.
    pub(super) x: f64,
    /// Speed at `t`, mm/s.
    pub(super) v: f64,
    /// Acceleration, mm/s².
    pub(super) a: f64,
}

impl Arc {
    /// Standing at `x`.
    pub(super) const fn still(t: f64, x: f64) -> Self {
        Self { t, x, v: 0.0, a: 0.0 }
    }

    /// The same motion with its origin at `t`.
    pub(super) fn from(&self, t: f64) -> Self {
        let s = (t - self.t) * 1e-6;
        Self { t, x: self.x + (self.v + 0.5 * self.a * s) * s, v: self.v + self.a * s, a: self.a }
    }
}

/// Seconds until a motion with speed `v` and acceleration `a` has gone `d` ≥ 0 forward for the first time; [`NEVER`] if it does not.
pub(super) fn reach(d: f64, v: f64, a: f64) -> f64 {
    if d <= 0.0 {
        return 0.0;
    }
    if a == 0.0 {
        return if v > 0.0 { d / v } else { NEVER };
    }
    let disc = v * v + 2.0 * a * d;
    if disc < 0.0 {
        return NEVER;
    }
    // The form without cancellation; for a < 0 it gives the first of the two crossings.
    let den = v + libm::sqrt(disc);
    if den > 0.0 { 2.0 * d / den } else { NEVER }
}

/// Seconds until a gap `g` that closes with speed `c` and acceleration `ca` is shut; [`NEVER`] if it stays open.
pub(super) fn shut(g: f64, c: f64, ca: f64) -> f64 {
    if g > SAME {
        return reach(g, c, ca);
    }
    if c > SAME || (c >= -SAME && ca > SAME) {
        0.0
    } else if c < -SAME && ca > 0.0 {
        -2.0 * c / ca
    } else {
        NEVER
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_is_up_for_times_and_down_for_counts() {
        assert_eq!(ceil_us(4.0), 4);
        assert_eq!(ceil_us(4.000_001), 5);
        assert_eq!(ceil_us(NEVER), u64::MAX);
        assert_eq!(floor(-0.25), -1);
        assert_eq!(floor(3.75), 3);
    }

    #[test]
    fn a_braking_body_reaches_only_what_its_speed_carries_it_to() {
        // v²/2a = 100²/(2·1000) = 5 mm
        assert!((reach(5.0, 100.0, -1000.0) - 0.1).abs() < 1e-9);
        assert_eq!(reach(5.001, 100.0, -1000.0), NEVER);
        assert_eq!(reach(1.0, 0.0, 0.0), NEVER);
        assert_eq!(shut(0.0, 0.0, -1.0), NEVER);
        assert_eq!(shut(0.0, 0.0, 1.0), 0.0);
    }
}
