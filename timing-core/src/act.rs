//! The only place that builds [`Orders`]. The safe vector lives here.

use crate::io::{Actuator, Orders, Pose};
use crate::machine::{Machine, ValveKind};

/// What is wanted of every actuator and drive, before valves are thought of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub(crate) struct Wanted {
    poses: [Pose; 6],
    pub(crate) belt: bool,
    pub(crate) spin: bool,
    pub(crate) beacon: bool,
    pub(crate) ready: bool,
}

impl Wanted {
    /// Everything off.
    pub(crate) const SAFE: Self = Self { poses: [Pose::Off; 6], belt: false, spin: false, beacon: false, ready: false };

    pub(crate) fn pose(&self, a: Actuator) -> Pose {
        self.poses.get(a.index()).copied().unwrap_or(Pose::Off)
    }

    pub(crate) fn set(&mut self, a: Actuator, pose: Pose) {
        if let Some(p) = self.poses.get_mut(a.index()) {
            *p = pose;
        }
    }
}

/// Coils and drives for what leaves.
pub(crate) fn orders(leaves: &Wanted, m: &Machine) -> Orders {
    let mut o =
        Orders::SAFE.with_belt(leaves.belt).with_spin(leaves.spin).with_beacon(leaves.beacon).with_ready(leaves.ready);
    for a in Actuator::ALL {
        let spring = m.strokes.get(a.index()).is_none_or(|s| matches!(s.valve, ValveKind::SpringReturn));
        let (work, home) = match leaves.pose(a) {
            Pose::Off => (false, false),
            Pose::Home => (false, !spring),
            Pose::Work => (true, false),
        };
        o = o.with_coils(a, work, home);
    }
    o
}
