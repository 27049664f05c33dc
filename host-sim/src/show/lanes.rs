//! The on/off signals of a [`Moment`] in groups, with names: what the timing chart and the VCD file are made of.

use crate::trace::Moment;
use timing_core::{Actuator, Contact};

/// A group of signals.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Group {
    /// Photo-eyes, cap and torque.
    Eyes,
    /// Coils and drives.
    Orders,
    /// Contacts of the actuators.
    Reeds,
    /// Chain, guard, air and drives: what must be on before anything may move.
    Safety,
    /// What the line says.
    Line,
}

impl Group {
    /// All of them, in the order in which they are shown.
    pub const ALL: [Self; 5] = [Self::Eyes, Self::Orders, Self::Reeds, Self::Safety, Self::Line];

    /// A heading for people.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Eyes => "Eyes and senses",
            Self::Orders => "Orders",
            Self::Reeds => "Reeds",
            Self::Safety => "Safety",
            Self::Line => "Line",
        }
    }
}

/// One on/off signal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Signal {
    /// A contact as the core was given it.
    Contact(Contact),
    /// An order: the bit of [`timing_core::Orders`], 0 … 15.
    Order(u8),
}

impl Signal {
    /// All of them: contacts, then orders, in the order of their numbers.
    pub fn all() -> impl Iterator<Item = Self> {
        Contact::ALL.into_iter().map(Self::Contact).chain((0..16).map(Self::Order))
    }

    /// Its level at `m`.
    #[must_use]
    pub fn level(self, m: &Moment) -> bool {
        match self {
            Self::Contact(c) => m.contacts.has(c),
            Self::Order(bit) => m.orders.bits() >> bit & 1 == 1,
        }
    }

    /// Its group.
    #[must_use]
    pub fn group(self) -> Group {
        use Contact as C;
        match self {
            Self::Order(_) => Group::Orders,
            Self::Contact(c) => match c {
                C::PocketEye | C::ReleaseEye | C::DischargeEye | C::SupplyEye | C::RejectEye | C::Cap | C::Torque => {
                    Group::Eyes
                }
                C::Chain | C::Guard | C::Air | C::Drive => Group::Safety,
                C::UpstreamReady | C::DownstreamReady | C::RejectFull | C::LineBelt => Group::Line,
                C::EntryGateHome
                | C::EntryGateWork
                | C::EntryGateOver
                | C::ReleaseGateHome
                | C::ReleaseGateWork
                | C::ReleaseGateOver
                | C::GripHome
                | C::GripWork
                | C::GripOver
                | C::PlungerHome
                | C::PlungerWork
                | C::PlungerOver
                | C::RollersHome
                | C::RollersWork
                | C::RollersOver
                | C::RejectHome
                | C::RejectWork => Group::Reeds,
            },
        }
    }

    /// A name for people.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Contact(c) => c.name(),
            Self::Order(bit) => super::words::order(bit),
        }
    }

    /// A name without spaces, as VCD viewers want it: an order is named by its coil.
    #[must_use]
    pub fn identifier(self) -> String {
        match self {
            Self::Contact(c) => c.name().replace(' ', "_"),
            Self::Order(bit @ 0..=5) => coil(bit, "work"),
            Self::Order(bit @ 6..=11) => coil(bit - 6, "home"),
            Self::Order(12) => "belt".to_owned(),
            Self::Order(13) => "spin".to_owned(),
            Self::Order(14) => "beacon".to_owned(),
            Self::Order(_) => "ready".to_owned(),
        }
    }
}

fn coil(actuator: u8, end: &str) -> String {
    let name = Actuator::ALL.get(usize::from(actuator)).map_or("actuator", |a| a.name());
    format!("{}_{end}", name.replace(' ', "_"))
}
