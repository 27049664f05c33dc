//! The escapement's two gates: blades that come in from the side and hold round bodies back.
//!
//! The tip of a shut blade stops `tip` from the centre line, so it meets a round body of radius r where that is still
//! √(r² − tip²) from its centre: the body's nose stands beyond the blade's face. Two bodies that touch leave a gap for the blade
//! there.
//!
//! A blade that begins to open lets its body go at once: it recedes along the body's flank faster than friction can start
//! the body. What a closing blade meets is judged when its stroke would end.

use super::Plant;
use super::actuator::Stroke;
use super::bottle::{Body, Hold, Motion};
use crate::facts::What;

/// A closing blade pushes a body back by up to this much, mm, without harm.
const NUDGE: f64 = 1.0;

/// Distance along the belt from a round body's centre to where a blade with its tip `tip` off the centre line meets it, mm.
#[must_use]
pub fn chord(r: f64, tip: f64) -> f64 {
    let q = r * r - tip * tip;
    if q > 0.0 { libm::sqrt(q) } else { 0.0 }
}

/// Width, mm, along the belt that two touching round bodies leave free for a blade with its tip `tip` off the centre line.
#[must_use]
pub fn free_width(r: f64, tip: f64) -> f64 {
    2.0 * (r - chord(r, tip))
}

/// One gate.
#[derive(Clone, Debug)]
pub(super) struct Gate {
    /// Upstream face, mm.
    face: f64,
    thick: f64,
    tip: f64,
    /// Distance of the tip from the centre line when open.
    open_tip: f64,
    /// Whether it is shut.
    pub(super) shut: bool,
    /// Number of the body that it has stalled on; 0 = none.
    pub(super) stalled_on: u32,
}

impl Gate {
    /// A shut gate. Open, its tip is 5 mm clear of a body of radius `r_max`.
    pub(super) const fn new(face: f64, thick: f64, tip: f64, r_max: f64) -> Self {
        Self { face, thick, tip, open_tip: r_max + 5.0, shut: true, stalled_on: 0 }
    }

    /// Where the centre of `b` rests against the shut blade.
    pub(super) fn rest(&self, b: &Body) -> f64 {
        self.face - (b.half - b.r) - b.chord
    }

    /// Where the centre of `b` has just left the blade behind.
    pub(super) fn past(&self, b: &Body) -> f64 {
        self.face + self.thick + (b.half - b.r) + b.chord
    }

    /// Share of the opening stroke at which the tip touches a body of radius `r` whose round end's centre is `d` away along the belt.
    fn stall_at(&self, r: f64, d: f64) -> f64 {
        let y = chord(r, d);
        ((y - self.tip) / (self.open_tip - self.tip)).clamp(0.02, 0.98)
    }
}

impl Plant {
    /// What a gate's cylinder did.
    pub(super) fn gate_stroke(&mut self, g: usize, t: f64, stroke: Stroke) {
        match stroke {
            Stroke::Forth => self.gate_opens(g, t),
            Stroke::Home => self.gate_shuts(g, t),
            Stroke::Quiet | Stroke::Back | Stroke::Work | Stroke::Over => {}
        }
    }

    fn gate_opens(&mut self, g: usize, t: f64) {
        self.gates[g].shut = false;
        self.gates[g].stalled_on = 0;
        let held = |h: Hold| h == Hold::Gate(g as u8) || h == Hold::Blade(g as u8) || h == Hold::Partner;
        for i in 0..self.row.len() {
            if held(self.row[i].hold) {
                self.row[i].hold = Hold::None;
                self.resettle(i, t);
            }
        }
        self.look_upstream_of(self.gates[g].face, t);
    }

    fn gate_shuts(&mut self, g: usize, t: f64) {
        let mut worst: Option<(usize, f64, bool)> = None;
        for i in 0..self.row.len() {
            let x = self.arc(i, t).x;
            let b = &self.row[i];
            let (front, rear) = (x - self.gates[g].rest(b), self.gates[g].past(b) - x);
            if front <= 0.0 || rear <= 0.05 {
                continue;
            }
            if front <= NUDGE && !matches!(b.hold, Hold::Jaw | Hold::Pinned) {
                self.nudge(i, t, x - front);
                continue;
            }
            let depth = front.min(rear);
            if worst.is_none_or(|w| depth > w.1) {
                worst = Some((i, depth, front < rear));
            }
        }
        let Some((i, _, from_front)) = worst else {
            self.gates[g].shut = true;
            self.look_upstream_of(self.gates[g].face, t);
            return;
        };
        let x = self.arc(i, t).x;
        let gate = &self.gates[g];
        let b = &self.row[i];
        // Distance from the nearer round end's centre to the blade.
        let d = if from_front { gate.face - (x + b.half - b.r) } else { x - (b.half - b.r) - gate.face - gate.thick };
        let p = gate.stall_at(b.r, d.max(0.0));
        let (number, fast) = (b.number, b.hold.grips());
        self.acts[g].stall(t, p);
        self.reed(t, g);
        self.gates[g].stalled_on = number;
        self.tell(t, i, What::StruckByGate(g as u8));
        if from_front && !fast {
            // Pressed on its front flank it can neither pass nor, with the queue behind it, go back.
            self.row[i].motion = Motion::Still(x);
            self.row[i].hold = Hold::Blade(g as u8);
        }
        self.resettle(i, t);
    }

    /// Pushes body `i` back to `x`, and what it touches with it.
    fn nudge(&mut self, i: usize, t: f64, x: f64) {
        let m = self.arc(i, t);
        self.row[i].contact = false;
        self.settle(i, t, x, m.v);
        let mut j = i + 1;
        while j < self.row.len() {
            let (own, most) = (self.arc(j, t), self.arc(j - 1, t).x - self.pitch(j));
            if own.x < most {
                break;
            }
            let ahead = self.arc(j - 1, t).v;
            self.row[j].contact = true;
            self.settle(j, t, most, own.v.min(ahead));
            j += 1;
        }
        if j < self.row.len() {
            self.plan(j, t);
        }
    }

    /// The body that a blade had stalled on has gone: the blade goes on.
    pub(super) fn unstall(&mut self, g: usize, t: f64) {
        self.gates[g].stalled_on = 0;
        let _ = self.acts[g].go(t);
    }

    /// The first body upstream of `x` looks anew: something in its way has come or gone.
    pub(super) fn look_upstream_of(&mut self, x: f64, t: f64) {
        for i in 0..self.row.len() {
            if self.arc(i, t).x <= x {
                self.resettle(i, t);
                return;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_escapements_geometry() {
        // Own geometry, by hand: √(32.5² − 20²) = 25.617.
        assert!((free_width(32.5, 20.0) - 13.77).abs() < 5e-3);
        assert!((0.5 * (free_width(32.5, 20.0) - 3.0) - 5.38).abs() < 5e-3);
        // Touching point upstream of the release gate's holding face.
        assert!((32.5 + chord(32.5, 20.0) - 58.1).abs() < 0.05);
        assert_eq!(chord(32.5, 40.0), 0.0);
    }
}
