//! Every wire of the station: its meaning, unit and polarity.
//!
//! [`Inputs`] is all that the core ever learns; [`Outputs`] is all that it ever says. Both are plain values. A
//! contact bit is `true` when the thing that it is named after *is so* (an eye is blocked, an actuator is home, the
//! chain is closed); wiring polarity is settled outside the core.

use crate::event::Event;
use crate::unit::{Mode, UnitState};
use crate::units::{Counts, Duration, Instant, Speed};

/// An actuator that the core orders.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[repr(u8)]
pub enum Actuator {
    /// The blade that holds the second bottle back. Work = open.
    EntryGate = 0,
    /// The blade that holds the first bottle in the pocket. Work = open.
    ReleaseGate = 1,
    /// The side grip with the V jaw. Work = closed on the bottle.
    Grip = 2,
    /// The hold-down plunger. Work = down on the closure.
    Plunger = 3,
    /// The carriage of the tightening rollers. Work = in on the closure.
    Rollers = 4,
    /// The diverter. Work = pass on; home (de-energised) = divert.
    Reject = 5,
}

impl Actuator {
    /// All of them, in the order of their numbers.
    pub const ALL: [Self; 6] =
        [Self::EntryGate, Self::ReleaseGate, Self::Grip, Self::Plunger, Self::Rollers, Self::Reject];

    /// The actuator's number, 0 … 5.
    #[must_use]
    pub const fn index(self) -> usize {
        self as usize
    }

    /// The set that holds this actuator alone: bit *n* = actuator number *n*.
    pub(crate) const fn bit(self) -> u8 {
        1 << self as u8
    }
}

named! {
    /// A name for people, lower case.
    Actuator::name {
        EntryGate => "entry gate",
        ReleaseGate => "release gate",
        Grip => "grip",
        Plunger => "plunger",
        Rollers => "rollers",
        Reject => "reject",
    }
}

/// Where an actuator is ordered to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Pose {
    /// No coil energised: a spring returns it, a detent keeps it, a centre-closed valve traps it.
    #[default]
    Off = 0,
    /// To its resting end: gate shut, grip open, plunger up, rollers back, reject diverting.
    Home = 1,
    /// To its working end.
    Work = 2,
}

/// One on/off input of the station.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[repr(u8)]
pub enum Contact {
    /// A bottle waits at the release gate.
    PocketEye = 0,
    /// A bottle is in the beam just downstream of the release gate; registers every released bottle.
    ReleaseEye = 1,
    /// A bottle is in the beam downstream of the head.
    DischargeEye = 2,
    /// A bottle stands on the queue within one diameter of the entry gate.
    SupplyEye = 3,
    /// Entry gate shut.
    EntryGateHome = 4,
    /// Entry gate open.
    EntryGateWork = 5,
    /// Unused; gates have no over-travel.
    EntryGateOver = 6,
    /// Release gate shut.
    ReleaseGateHome = 7,
    /// Release gate open.
    ReleaseGateWork = 8,
    /// Unused; gates have no over-travel.
    ReleaseGateOver = 9,
    /// Grip fully open.
    GripHome = 10,
    /// Grip stopped on this product.
    GripWork = 11,
    /// Grip at full stroke: nothing there.
    GripOver = 12,
    /// Plunger fully up.
    PlungerHome = 13,
    /// Plunger stopped on a closure.
    PlungerWork = 14,
    /// Plunger at full stroke: no closure.
    PlungerOver = 15,
    /// Rollers fully back.
    RollersHome = 16,
    /// Rollers on the closure.
    RollersWork = 17,
    /// Rollers at full stroke: nothing between them.
    RollersOver = 18,
    /// Reject diverting.
    RejectHome = 19,
    /// Reject passing.
    RejectWork = 20,
    /// The reject lane has no room left.
    RejectFull = 21,
    /// The hard-wired safety chain is closed.
    Chain = 22,
    /// The guard is closed.
    Guard = 23,
    /// Air pressure is sufficient.
    Air = 24,
    /// The roller and belt drives are ready.
    Drive = 25,
    /// A closure is present (at the head, or at its own position upstream).
    Cap = 26,
    /// The torque clutch has slipped.
    Torque = 27,
    /// The machine upstream offers bottles.
    UpstreamReady = 28,
    /// The machine downstream takes bottles.
    DownstreamReady = 29,
    /// A bottle is in the beam across the reject lane.
    RejectEye = 30,
    /// The line reports that its belt drive is on (where the belt is the line's own).
    LineBelt = 31,
}

impl Contact {
    /// All of them, in the order of their numbers.
    pub const ALL: [Self; 32] = {
        use Contact as C;
        [
            C::PocketEye,
            C::ReleaseEye,
            C::DischargeEye,
            C::SupplyEye,
            C::EntryGateHome,
            C::EntryGateWork,
            C::EntryGateOver,
            C::ReleaseGateHome,
            C::ReleaseGateWork,
            C::ReleaseGateOver,
            C::GripHome,
            C::GripWork,
            C::GripOver,
            C::PlungerHome,
            C::PlungerWork,
            C::PlungerOver,
            C::RollersHome,
            C::RollersWork,
            C::RollersOver,
            C::RejectHome,
            C::RejectWork,
            C::RejectFull,
            C::Chain,
            C::Guard,
            C::Air,
            C::Drive,
            C::Cap,
            C::Torque,
            C::UpstreamReady,
            C::DownstreamReady,
            C::RejectEye,
            C::LineBelt,
        ]
    };

    /// The contact's number, 0 … 31.
    #[must_use]
    pub const fn index(self) -> usize {
        self as usize
    }

    /// The set that holds this contact alone.
    #[must_use]
    pub const fn bit(self) -> Contacts {
        Contacts(1 << self as u32)
    }

    /// The contact at an actuator's resting end.
    #[must_use]
    pub const fn home_of(a: Actuator) -> Self {
        match a {
            Actuator::EntryGate => Self::EntryGateHome,
            Actuator::ReleaseGate => Self::ReleaseGateHome,
            Actuator::Grip => Self::GripHome,
            Actuator::Plunger => Self::PlungerHome,
            Actuator::Rollers => Self::RollersHome,
            Actuator::Reject => Self::RejectHome,
        }
    }

    /// The contact where an actuator stops on its work.
    #[must_use]
    pub const fn work_of(a: Actuator) -> Self {
        match a {
            Actuator::EntryGate => Self::EntryGateWork,
            Actuator::ReleaseGate => Self::ReleaseGateWork,
            Actuator::Grip => Self::GripWork,
            Actuator::Plunger => Self::PlungerWork,
            Actuator::Rollers => Self::RollersWork,
            Actuator::Reject => Self::RejectWork,
        }
    }

    /// The contact at full stroke, for the actuators that can find nothing there.
    #[must_use]
    pub const fn over_of(a: Actuator) -> Option<Self> {
        match a {
            Actuator::Grip => Some(Self::GripOver),
            Actuator::Plunger => Some(Self::PlungerOver),
            Actuator::Rollers => Some(Self::RollersOver),
            Actuator::EntryGate | Actuator::ReleaseGate | Actuator::Reject => None,
        }
    }
}

named! {
    /// A name for people, lower case, words apart.
    Contact::name {
        PocketEye => "pocket eye",
        ReleaseEye => "release eye",
        DischargeEye => "discharge eye",
        SupplyEye => "supply eye",
        EntryGateHome => "entry gate home",
        EntryGateWork => "entry gate open",
        EntryGateOver => "entry gate over",
        ReleaseGateHome => "release gate home",
        ReleaseGateWork => "release gate open",
        ReleaseGateOver => "release gate over",
        GripHome => "grip home",
        GripWork => "grip on work",
        GripOver => "grip over",
        PlungerHome => "plunger home",
        PlungerWork => "plunger on work",
        PlungerOver => "plunger over",
        RollersHome => "rollers home",
        RollersWork => "rollers on work",
        RollersOver => "rollers over",
        RejectHome => "reject diverting",
        RejectWork => "reject passing",
        RejectFull => "reject full",
        Chain => "chain",
        Guard => "guard",
        Air => "air",
        Drive => "drive",
        Cap => "cap",
        Torque => "torque",
        UpstreamReady => "upstream ready",
        DownstreamReady => "downstream ready",
        RejectEye => "reject eye",
        LineBelt => "line belt",
    }
}

/// A set of contacts, one bit each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Contacts(u32);

impl Contacts {
    /// None.
    pub const NONE: Self = Self(0);
    /// Every contact there is.
    pub(crate) const ALL: Self = Self(u32::MAX);

    /// From raw bits, bit *n* = contact number *n*.
    #[must_use]
    pub const fn from_bits(bits: u32) -> Self {
        Self(bits)
    }

    /// Raw bits, bit *n* = contact number *n*.
    #[must_use]
    pub const fn bits(self) -> u32 {
        self.0
    }

    /// Whether `c` is in the set.
    #[must_use]
    pub const fn has(self, c: Contact) -> bool {
        self.0 & c.bit().0 != 0
    }

    /// The set with `c` in it, or out of it.
    #[must_use]
    pub const fn with(self, c: Contact, on: bool) -> Self {
        if on { Self(self.0 | c.bit().0) } else { Self(self.0 & !c.bit().0) }
    }

    /// In either.
    #[must_use]
    pub const fn or(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// In both.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }

    /// In this and not in `other`.
    #[must_use]
    pub const fn without(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// In exactly one of the two.
    #[must_use]
    pub const fn differing(self, other: Self) -> Self {
        Self(self.0 ^ other.0)
    }

    /// Whether the set is empty.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The numbers of those in the set, rising.
    pub(crate) fn numbers(self) -> impl Iterator<Item = usize> {
        let mut left = self.0;
        core::iter::from_fn(move || {
            if left == 0 {
                return None;
            }
            let n = left.trailing_zeros() & 31;
            left &= left.wrapping_sub(1);
            Some(n as usize)
        })
    }

    /// Each contact in the set, by number.
    pub fn iter(self) -> impl Iterator<Item = Contact> {
        let mut left = self.0;
        core::iter::from_fn(move || {
            let c = Contact::ALL.get(left.trailing_zeros() as usize).copied()?;
            left &= left.wrapping_sub(1);
            Some(c)
        })
    }
}

/// All coils and drives, one bit each; a set bit is energised.
///
/// Bits 0 … 5 are the working coils in the order of [`Actuator`], bits 6 … 11 the homing coils (detented and
/// centre-closed valves have one; of a spring-return valve it is never set), bit 12 the belt drive, 13 the roller
/// drive, 14 the warning beacon, 15 *ready*: this station takes bottles.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Orders(u16);

impl Orders {
    /// The safe vector: nothing energised.
    pub const SAFE: Self = Self(0);
    const BELT: u16 = 1 << 12;
    const SPIN: u16 = 1 << 13;
    const BEACON: u16 = 1 << 14;
    const READY: u16 = 1 << 15;

    /// From raw bits.
    #[must_use]
    pub const fn from_bits(bits: u16) -> Self {
        Self(bits)
    }

    /// Raw bits.
    #[must_use]
    pub const fn bits(self) -> u16 {
        self.0
    }

    /// Whether the working coil of `a` is energised.
    #[must_use]
    pub const fn work(self, a: Actuator) -> bool {
        self.0 & (1 << a as u16) != 0
    }

    /// Whether the homing coil of `a` is energised.
    #[must_use]
    pub const fn home(self, a: Actuator) -> bool {
        self.0 & ((1 << 6) << a as u16) != 0
    }

    /// Whether the belt drive is on.
    #[must_use]
    pub const fn belt(self) -> bool {
        self.0 & Self::BELT != 0
    }

    /// Whether the roller drive is on.
    #[must_use]
    pub const fn spin(self) -> bool {
        self.0 & Self::SPIN != 0
    }

    /// Whether the warning beacon is on.
    #[must_use]
    pub const fn beacon(self) -> bool {
        self.0 & Self::BEACON != 0
    }

    /// Whether this station tells the line that it takes bottles.
    #[must_use]
    pub const fn ready(self) -> bool {
        self.0 & Self::READY != 0
    }

    /// With the coils of `a` set.
    #[must_use]
    pub const fn with_coils(self, a: Actuator, work: bool, home: bool) -> Self {
        let w = 1 << a as u16;
        let h = (1 << 6) << a as u16;
        let mut bits = self.0 & !(w | h);
        if work {
            bits |= w;
        }
        if home {
            bits |= h;
        }
        Self(bits)
    }

    const fn with_bit(self, bit: u16, on: bool) -> Self {
        if on { Self(self.0 | bit) } else { Self(self.0 & !bit) }
    }

    /// With the belt drive set.
    #[must_use]
    pub const fn with_belt(self, on: bool) -> Self {
        self.with_bit(Self::BELT, on)
    }

    /// With the roller drive set.
    #[must_use]
    pub const fn with_spin(self, on: bool) -> Self {
        self.with_bit(Self::SPIN, on)
    }

    /// With the beacon set.
    #[must_use]
    pub const fn with_beacon(self, on: bool) -> Self {
        self.with_bit(Self::BEACON, on)
    }

    /// With *ready* set.
    #[must_use]
    pub const fn with_ready(self, on: bool) -> Self {
        self.with_bit(Self::READY, on)
    }
}

/// What an operator (or the line) asks for; at most one a tick.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Request {
    /// A control command of ANSI/ISA-TR88.00.02.
    Command(crate::unit::Command),
    /// Change the unit mode; accepted in Stopped, Idle and Aborted.
    Mode(Mode),
    /// Deliver this many good bottles, then complete; 0 = without end. Accepted in Stopped, Idle and Completed.
    Batch(u32),
    /// Manual: order an actuator; refreshed while the button is held, and it keeps its place on release.
    Jog(Actuator, Pose),
    /// Manual, hold-to-run: spin the rollers; drops when not refreshed.
    JogSpin,
    /// Manual, hold-to-run: run the belt; drops when not refreshed.
    JogBelt,
    /// Maintenance: do the next head step over the bottle placed by hand.
    Step,
    /// Maintenance: one head cycle without a bottle.
    DryCycle,
    /// The operator declares that this many bottles of unknown whereabouts were taken out by hand (where no discharge eye can tell).
    Declare(u8),
}

/// All that the core learns in a tick.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Inputs {
    /// The time of this tick; must not go backwards.
    pub now: Instant,
    /// The belt encoder, ×4 decoded and widened; grows downstream.
    pub belt: Counts,
    /// Time of the newest count edge, where the hardware captures it; else `None`, and speed is only as good as the
    /// tick.
    pub belt_at: Option<Instant>,
    /// Contacts as read now, before filtering.
    pub contacts: Contacts,
    /// Inputs that could not be read now; their bits in `contacts` mean nothing.
    pub failed: Contacts,
    /// Belt count captured by hardware at the last edge of the release eye, if it captures.
    pub release_latch: Option<Counts>,
    /// Belt count captured by hardware at the last edge of the discharge eye, if it captures.
    pub discharge_latch: Option<Counts>,
    /// What is asked for.
    pub request: Option<Request>,
}

/// When the core must be called again: at the first of these, at any change of a contact, or with a request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Wake {
    /// Call when `now ≥ at`; always later than this tick, and never further than the sample gap.
    pub at: Instant,
    /// Call when `belt ≤ below`; always less than the belt of this tick.
    pub below: Counts,
    /// Call when `belt ≥ above`; always more than the belt of this tick.
    pub above: Counts,
}

/// All that the core says in a tick; events are borrowed from the station until its next tick.
// Laid out by hand: see `Ctl`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(C)]
pub struct Outputs<'a> {
    /// State of the unit.
    pub unit: UnitState,
    /// Mode of the unit.
    pub mode: Mode,
    /// Events of this tick that found no room.
    pub events_lost: u8,
    /// Coils and drives.
    pub orders: Orders,
    /// Set-point of the roller drive, revolutions per minute; zero when spin is not ordered.
    pub spin_rpm: u16,
    /// When to call again.
    pub wake: Wake,
    /// Set-point of the belt drive; zero when the belt is not ordered.
    pub belt_speed: Speed,
    /// What happened, oldest first, at most 8.
    pub events: &'a [Event],
}

/// Longest time between ticks that a machine may ask for.
pub(crate) const SAMPLE_GAP_MAX: Duration = Duration::from_millis(1_000);
