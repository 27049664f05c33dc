//! Manual: one actuator at a time, which keeps its place on release; spin and belt are hold-to-run.

use crate::act::Wanted;
use crate::decide::{Ctl, Cx};
use crate::io::{Actuator, Pose};
use crate::local::{Deadline, Moves, Shift, Span, Time, shift_all};

/// A hold-to-run order that is not refreshed for so long drops.
pub(crate) const HOLD: Span = Span::from_micros(250_000);

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
pub(crate) struct Jog {
    /// Asked for in this tick only.
    asked: Option<(Actuator, Pose)>,
    pub(crate) spin: Deadline,
    pub(crate) belt: Deadline,
}

impl Jog {
    pub(crate) fn forget(&mut self) {
        *self = Self::default();
    }

    pub(crate) fn order(&mut self, a: Actuator, pose: Pose) {
        self.asked = Some((a, pose));
    }

    pub(crate) fn spin(&mut self, now: Time) {
        self.spin = Deadline::after(now, HOLD);
    }

    pub(crate) fn belt(&mut self, now: Time) {
        self.belt = Deadline::after(now, HOLD);
    }
}

impl Moves for Jog {
    fn shift(&mut self, by: Shift) {
        shift_all(&mut [&mut self.spin, &mut self.belt], by);
    }
}

/// What Manual wants: everything as it was, but for what is jogged.
pub(crate) fn poses(ctl: &mut Ctl, cx: &Cx<'_>, asked: &mut Wanted) {
    if let Some((a, pose)) = ctl.jog.asked.take() {
        asked.set(a, pose);
    }
    ctl.jog.spin.fire(cx.seen.now);
    ctl.jog.belt.fire(cx.seen.now);
    asked.set_spin(ctl.jog.spin.is_armed());
    asked.set_belt(ctl.jog.belt.is_armed() && cx.m.ours);
}
