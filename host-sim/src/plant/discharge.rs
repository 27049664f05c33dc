//! Downstream of the head: the diverter, the reject lane, and the way out.

use super::Plant;
use super::actuator::Stroke;
use super::kin::NEVER;
use crate::facts::What;
use timing_core::{Actuator, Contact};

/// From the diverter to the reject lane's eye, µs.
const TO_REJECT_EYE_US: f64 = 100e3;

/// Bottles on their way past the reject lane's eye: when it is covered, when it is clear again.
#[derive(Clone, Debug, Default)]
pub(super) struct Lane {
    edges: Vec<(f64, bool)>,
    covered: u32,
}

impl Lane {
    /// When the next edge passes the eye, µs.
    pub(super) fn due(&self) -> f64 {
        self.edges.iter().fold(NEVER, |m, e| if e.0 < m { e.0 } else { m })
    }
}

impl Plant {
    /// Whether the diverter would take a bottle out at `t`.
    pub(super) fn diverts(&self, t: f64) -> bool {
        self.acts[Actuator::Reject.index()].at(t) < 0.5
    }

    /// Body `i` is taken out by the diverter.
    pub(super) fn divert(&mut self, i: usize, t: f64) {
        self.tell(t, i, What::Diverted);
        // It keeps the belt's speed into the lane; one that is pushed out of a standing belt takes as if it crept.
        let v = self.belt.v(t).max(20.0);
        let length = 2.0 * self.row[i].half;
        self.lane.edges.push((t + TO_REJECT_EYE_US, true));
        self.lane.edges.push((t + TO_REJECT_EYE_US + length / v * 1e6, false));
        self.remove(i, t);
    }

    /// What the diverter's cylinder did.
    pub(super) fn reject_stroke(&mut self, t: f64, stroke: Stroke) {
        if stroke == Stroke::Home {
            while let Some(i) = (0..self.row.len()).find(|&i| self.row[i].in_reject) {
                self.divert(i, t);
            }
        }
    }

    /// An edge passes the reject lane's eye.
    pub(super) fn lane_event(&mut self, t: f64) {
        if let Some(k) = self.lane.edges.iter().position(|e| e.0 <= t) {
            let (_, on) = self.lane.edges.swap_remove(k);
            let was = self.lane.covered > 0;
            self.lane.covered = if on { self.lane.covered + 1 } else { self.lane.covered.saturating_sub(1) };
            let is = self.lane.covered > 0;
            if was != is {
                self.wires.follow(t, Contact::RejectEye, is, if is { self.eye_on } else { self.eye_off });
            }
        }
        self.stale = true;
    }
}
