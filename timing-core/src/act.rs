//! The only place that builds [`Orders`]. The safe vector lives here.

use crate::io::{Actuator, Orders, Pose};
use crate::machine::Machine;

/// What is wanted of every actuator and drive, before valves are thought of.
///
/// The bits lie as in [`Orders`], so that what leaves is one mask away: 0 … 5 on work, 6 … 11 home, 12 … 15 drives and
/// lamps. Neither of the first two: off. No actuator has both.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
pub(crate) struct Wanted(u16);

impl Wanted {
    /// Everything off.
    pub(crate) const SAFE: Self = Self(0);
    const POSES: u16 = 0x3f;

    pub(crate) const fn pose(self, a: Actuator) -> Pose {
        let orders = Orders::from_bits(self.0);
        if orders.work(a) {
            Pose::Work
        } else if orders.home(a) {
            Pose::Home
        } else {
            Pose::Off
        }
    }

    /// The actuators wanted on work, one bit each.
    pub(crate) const fn work(self) -> u8 {
        (self.0 & Self::POSES) as u8
    }

    /// The actuators wanted home, one bit each.
    pub(crate) const fn home(self) -> u8 {
        (self.0 >> 6 & Self::POSES) as u8
    }

    /// The actuators whose pose differs from `other`'s, one bit each.
    pub(crate) const fn moved(self, other: Self) -> u8 {
        let differing = self.0 ^ other.0;
        ((differing | differing >> 6) & Self::POSES) as u8
    }

    pub(crate) const fn set(&mut self, a: Actuator, pose: Pose) {
        self.0 = Orders::from_bits(self.0).with_coils(a, matches!(pose, Pose::Work), matches!(pose, Pose::Home)).bits();
    }

    /// Of the actuators in `which` those in `work` on work, the others home.
    pub(crate) const fn set_all(&mut self, which: u8, work: u8) {
        let both = spread(which);
        self.0 = self.0 & !both | (which & work) as u16 | ((which & !work) as u16) << 6;
    }

    /// Of the actuators in `which` the poses in `other`.
    pub(crate) const fn restore(&mut self, which: u8, other: Self) {
        let both = spread(which);
        self.0 = self.0 & !both | other.0 & both;
    }

    pub(crate) const fn belt(self) -> bool {
        Orders::from_bits(self.0).belt()
    }

    pub(crate) const fn spin(self) -> bool {
        Orders::from_bits(self.0).spin()
    }

    pub(crate) const fn set_belt(&mut self, on: bool) {
        self.0 = Orders::from_bits(self.0).with_belt(on).bits();
    }

    pub(crate) const fn set_spin(&mut self, on: bool) {
        self.0 = Orders::from_bits(self.0).with_spin(on).bits();
    }

    pub(crate) const fn set_beacon(&mut self, on: bool) {
        self.0 = Orders::from_bits(self.0).with_beacon(on).bits();
    }

    pub(crate) const fn set_ready(&mut self, on: bool) {
        self.0 = Orders::from_bits(self.0).with_ready(on).bits();
    }
}

/// Both bits of each pose.
const fn spread(which: u8) -> u16 {
    which as u16 | (which as u16) << 6
}

/// Coils and drives for what leaves: a valve that springs back has no coil for home.
pub(crate) const fn orders(leaves: Wanted, m: &Machine) -> Orders {
    Orders::from_bits(leaves.0 & !((m.spring as u16) << 6))
}
