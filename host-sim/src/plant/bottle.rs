//! A bottle: a body on the belt with friction, a closure, and something that may hold it.

use super::kin::{Arc, G};
use crate::job::spec::ProductSpec;

/// How a body moves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Motion {
    /// It stands at this place.
    Still(f64),
    /// It rides: belt travel plus this.
    Ride(f64),
    /// It slides on the belt, or is kept with a body that does.
    Slide(Arc),
}

/// What holds a body that stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Hold {
    /// Nothing.
    None,
    /// It rests against a shut gate: 0 = entry, 1 = release.
    Gate(u8),
    /// A gate's blade has come down on it.
    Blade(u8),
    /// It hangs at the release gate.
    Hung,
    /// It is wedged.
    Wedge,
    /// The jaw grips it.
    Jaw,
    /// The jaw has pinned it off centre.
    Pinned,
    /// It stands against the closed jaw from outside.
    JawSide,
    /// Bottles ahead, outside the model, stand.
    Outfeed,
    /// The one stuck to it is held.
    Partner,
}

impl Hold {
    /// Whether the body is held where it is, not by a place that it has run against.
    pub(super) const fn grips(self) -> bool {
        matches!(self, Self::Blade(_) | Self::Jaw | Self::Pinned)
    }
}

/// What a body does next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Due {
    /// Nothing by itself.
    Nothing,
    /// It has taken up the belt's speed.
    Meet,
    /// Its next mark.
    Mark,
    /// It runs against something fixed.
    Obstacle,
    /// It runs against the body ahead.
    Collide,
    /// It has come out from under a stalled blade.
    Unstall(u8),
}

/// A bottle.
#[derive(Clone, Debug)]
pub(super) struct Body {
    /// Number on the line, 1 = first.
    pub(super) number: u32,
    /// Half its length along the belt, mm.
    pub(super) half: f64,
    /// Radius of its ends, mm.
    pub(super) r: f64,
    /// How far from its end's centre a shut gate's blade meets it, along the belt, mm.
    pub(super) chord: f64,
    /// Friction times gravity, mm/s².
    pub(super) grip_a: f64,
    /// Carries a closure.
    pub(super) cap: bool,
    /// Where its thread starts, turns.
    pub(super) thread: f64,
    /// Its thread is crossed.
    pub(super) crossed: bool,
    /// Its thread never tightens.
    pub(super) loose: bool,
    /// Motion now.
    pub(super) motion: Motion,
    /// What holds it.
    pub(super) hold: Hold,
    /// It is pressed against the one ahead, or moves as one with it.
    pub(super) contact: bool,
    /// It is stuck to the one ahead.
    pub(super) linked: bool,
    /// It hangs when it comes to the release gate.
    pub(super) hung: bool,
    /// It wedges past the release eye.
    pub(super) jams: bool,
    /// It has fallen.
    pub(super) down: bool,
    /// It has been gripped.
    pub(super) gripped: bool,
    /// Its closure has been seated.
    pub(super) seated: bool,
    /// It is in the diverter's reach.
    pub(super) in_reject: bool,
    /// Next of its marks: leading edge, trailing edge, centre; and where its centre is then.
    pub(super) marks: [u8; 3],
    /// Where its centre is at the next mark, mm.
    pub(super) mark_x: f64,
    /// Beams it is in, one bit per sensor.
    pub(super) beams: u8,
    /// When it does something, µs, and what.
    pub(super) te: f64,
    /// What it does at `te`.
    pub(super) due: Due,
}

/// What all bottles of a product share.
#[derive(Clone, Copy, Debug)]
pub(super) struct Kind {
    /// Nominal radius, mm.
    pub(super) r: f64,
    /// Speed of the foot, mm/s, at which a sudden stop tips it.
    pub(super) v_tip: f64,
    /// Acceleration, mm/s², at which it tips.
    pub(super) a_tip: f64,
    /// Half the closure's diameter, mm.
    pub(super) cap_r: f64,
}

impl Kind {
    /// From the product.
    pub(super) fn new(p: &ProductSpec) -> Self {
        let r = 0.5 * p.diameter_mm;
        Self {
            r,
            v_tip: foot_stop_speed(r, p.height_mm, p.cog_mm),
            a_tip: if p.cog_mm > 0.0 { G * r / p.cog_mm } else { f64::INFINITY },
            cap_r: 0.5 * p.cap_diameter_mm,
        }
    }
}

/// Speed, mm/s, at which a solid cylinder of radius `r` and height `height`, centre of gravity at `h` (all mm), tips over its foot
/// when the foot stops at once: all that turns it about the edge must lift the centre of gravity over the edge.
///
/// ½·I·ω² = m·g·(√(h² + r²) − h) with ω = m·h·v/I about the edge (rigid-body textbook).
#[must_use]
pub fn foot_stop_speed(r: f64, height: f64, h: f64) -> f64 {
    if h <= 0.0 {
        return f64::INFINITY;
    }
    let i_per_m = (3.0 * r * r + height * height) / 12.0 + h * h + r * r;
    libm::sqrt(2.0 * G * (libm::sqrt(h * h + r * r) - h) * i_per_m) / h
}

/// Force, N, of `n` bottles of `mass_kg` that stand in a touching row on a running belt, on what holds the first of them.
#[must_use]
pub fn queue_force(n: u32, mu: f64, mass_kg: f64) -> f64 {
    f64::from(n) * mu * mass_kg * G * 1e-3
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn foot_stop_and_queue_force_have_the_textbook_values() {
        // Rigid-body textbook, g = 9.80665 m/s²: r 32.5, H 180 mm: 0.408584 m/s; 12 bottles of 0.55 kg at 0.20: 12.944778 N.
        assert!((foot_stop_speed(32.5, 180.0, 90.0) - 408.584).abs() < 1e-3);
        assert!((queue_force(12, 0.20, 0.55) - 12.944_778).abs() < 1e-6);
    }
}
