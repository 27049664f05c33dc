//! What is told outside, and why: eight bytes an event.

use crate::fault::Fault;
use crate::io::{Actuator, Contact, Pose};
use crate::unit::{Command, Mode, UnitState};

/// Something that happened in a tick.
///
/// `kind` says what, `why` says for what reason; what `value` and `detail` carry is said at each kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Event {
    /// What happened.
    pub kind: EventKind,
    /// Why.
    pub why: Why,
    /// A small number that belongs to the kind: an actuator, contact, state or step number.
    pub detail: u16,
    /// A quantity that belongs to the kind: counts, microseconds or a number of bottles.
    pub value: i32,
}

const _: () = assert!(core::mem::size_of::<Event>() == 8);

/// What an [`Event`] is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum EventKind {
    /// The unit changed state: `detail` = new state's number, `value` = old state's number.
    State = 0,
    /// The mode changed: `detail` = its number.
    Mode = 1,
    /// The head entered a step: `detail` = its number ([`crate::HeadStep`]).
    Head = 2,
    /// The feed entered a step: `detail` = its number ([`crate::FeedStep`]).
    Feed = 3,
    /// A bottle was registered: `value` = serial number of the bottle.
    Registered = 4,
    /// A bottle ended: `why` says how, `value` = serial number, 0 where it never had one. With [`Why::Found`] `value` = how many were found, and
    /// `detail` = 1.
    Counted = 5,
    /// A bottle was flagged for reject: `why` says for what, `value` = serial number.
    Flagged = 6,
    /// The catch was ordered: `value` = counts past its computed place (0 when woken by place).
    CatchOrdered = 7,
    /// The jaw met the bottle (contact or time): `value` = predicted error of the centre, counts, positive = late.
    Caught = 8,
    /// A fault was raised: `detail` = [`Fault::code`], `value` = place or number that belongs to it.
    Fault = 9,
    /// A request was refused: `why` says for what, `detail` = number of the request.
    Refused = 10,
    /// The interlocks kept an order back: `detail` = rule number, `value` = order number.
    Guarded = 11,
    /// Turns or torque are done: `value` = microseconds of spin.
    Tightened = 12,
    /// A stroke takes longer than it did: `detail` = actuator, plus 256 when it is the stroke to work (else the one home);
    /// `value` = microseconds over its profile. [`Event::drifted`] takes it apart.
    Drift = 13,
    /// What cannot be detected because no contact is fitted for it: `detail` = contact number.
    Blind = 14,
    /// A tick came later than the last wake asked for: `value` = microseconds late.
    Late = 15,
    /// The length of a released body: `value` = counts.
    Length = 16,
}

impl EventKind {
    /// All of them, by number.
    pub const ALL: [Self; 17] = [
        Self::State,
        Self::Mode,
        Self::Head,
        Self::Feed,
        Self::Registered,
        Self::Counted,
        Self::Flagged,
        Self::CatchOrdered,
        Self::Caught,
        Self::Fault,
        Self::Refused,
        Self::Guarded,
        Self::Tightened,
        Self::Drift,
        Self::Blind,
        Self::Late,
        Self::Length,
    ];
}

/// The reason that goes with an [`Event`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[repr(u8)]
pub enum Why {
    /// Nothing more to say.
    Plain = 0,
    /// The operator or the line asked.
    Asked = 1,
    /// The state was complete.
    Complete = 2,
    /// A fault; see the Fault event of the same tick.
    Fault = 3,
    /// No bottles come.
    Starved = 4,
    /// The outfeed is full.
    OutfeedFull = 5,
    /// The line's own belt stands.
    LineStopped = 6,
    /// The cause outside has been gone for its clear time.
    CauseGone = 7,
    /// Good, past the diverter.
    Good = 8,
    /// Diverted.
    Rejected = 9,
    /// Taken out by hand, by the operator's word or the guard's.
    Removed = 10,
    /// Gone without a trace.
    Lost = 11,
    /// Seen, though nobody knew of it.
    Found = 12,
    /// No closure on it.
    NoCap = 13,
    /// The grip closed on nothing.
    GripEmpty = 14,
    /// The catch place was missed.
    Missed = 15,
    /// Longer than the longest bottle.
    OverLong = 16,
    /// Its position is too uncertain to catch it.
    Uncertain = 17,
    /// Torque came before the window: crossed thread.
    TorqueEarly = 18,
    /// Torque did not come within the window: loose, or slipping rollers.
    TorqueLate = 19,
    /// A fault, stop or hold broke its cycle off.
    Interrupted = 20,
    /// In the machine when the guard or chain opened.
    Unknown = 21,
    /// Not in this unit state.
    WrongState = 22,
    /// Not in this unit mode.
    WrongMode = 23,
    /// The cause lasts.
    CauseLasts = 24,
    /// Something is inside.
    NotEmpty = 25,
    /// Not fitted on this machine, or not asked for by this product.
    NotFitted = 26,
    /// An interlock rule.
    Interlock = 27,
    /// The batch is delivered.
    BatchDone = 28,
    /// A body without a release, or at the discharge without a bottle.
    Stray = 29,
}

impl Why {
    /// All of them, by number.
    pub const ALL: [Self; 30] = [
        Self::Plain,
        Self::Asked,
        Self::Complete,
        Self::Fault,
        Self::Starved,
        Self::OutfeedFull,
        Self::LineStopped,
        Self::CauseGone,
        Self::Good,
        Self::Rejected,
        Self::Removed,
        Self::Lost,
        Self::Found,
        Self::NoCap,
        Self::GripEmpty,
        Self::Missed,
        Self::OverLong,
        Self::Uncertain,
        Self::TorqueEarly,
        Self::TorqueLate,
        Self::Interrupted,
        Self::Unknown,
        Self::WrongState,
        Self::WrongMode,
        Self::CauseLasts,
        Self::NotEmpty,
        Self::NotFitted,
        Self::Interlock,
        Self::BatchDone,
        Self::Stray,
    ];
}

named! {
    /// The reason in plain words, lower case.
    Why::words {
        Plain => "",
        Asked => "asked for",
        Complete => "state complete",
        Fault => "fault",
        Starved => "no bottles come",
        OutfeedFull => "outfeed full",
        LineStopped => "line belt stands",
        CauseGone => "cause gone",
        Good => "good",
        Rejected => "rejected",
        Removed => "taken out by hand",
        Lost => "lost",
        Found => "found",
        NoCap => "no closure",
        GripEmpty => "grip closed on nothing",
        Missed => "catch place missed",
        OverLong => "over-long body",
        Uncertain => "position too uncertain",
        TorqueEarly => "torque too early",
        TorqueLate => "torque too late",
        Interrupted => "cycle broken off",
        Unknown => "inside when guard or chain opened",
        WrongState => "not in this state",
        WrongMode => "not in this mode",
        CauseLasts => "cause lasts",
        NotEmpty => "something is inside",
        NotFitted => "not fitted",
        Interlock => "interlock",
        BatchDone => "batch delivered",
        Stray => "stray body",
    }
}

impl Event {
    pub(crate) const fn new(kind: EventKind, why: Why, detail: u16, value: i32) -> Self {
        Self { kind, why, detail, value }
    }

    /// The canonical little-endian bytes: kind, why, detail, value.
    #[must_use]
    pub const fn to_bytes(self) -> [u8; 8] {
        let d = self.detail.to_le_bytes();
        let v = self.value.to_le_bytes();
        [self.kind as u8, self.why as u8, d[0], d[1], v[0], v[1], v[2], v[3]]
    }

    pub(crate) const fn state(to: UnitState, from: UnitState, why: Why) -> Self {
        Self::new(EventKind::State, why, to as u16, from as i32)
    }

    pub(crate) const fn mode(to: Mode) -> Self {
        Self::new(EventKind::Mode, Why::Asked, to as u16, 0)
    }

    pub(crate) const fn fault(fault: Fault, value: i32) -> Self {
        Self::new(EventKind::Fault, Why::Fault, fault.code(), value)
    }

    pub(crate) const fn refused(request: u16, why: Why) -> Self {
        Self::new(EventKind::Refused, why, request, 0)
    }

    pub(crate) const fn blind(contact: Contact) -> Self {
        Self::new(EventKind::Blind, Why::NotFitted, contact as u16, 0)
    }

    pub(crate) const fn drift(actuator: Actuator, to: Pose, over_us: i32) -> Self {
        let side = matches!(to, Pose::Work) as u16;
        Self::new(EventKind::Drift, Why::Plain, actuator as u16 | side << 8, over_us)
    }

    /// Of a [`EventKind::Drift`]: the actuator, and the end to which its stroke takes longer. `None` of every other kind.
    #[must_use]
    pub fn drifted(self) -> Option<(Actuator, Pose)> {
        let [actuator, side] = self.detail.to_le_bytes();
        let to = match side {
            0 => Pose::Home,
            1 => Pose::Work,
            _ => return None,
        };
        let actuator = Actuator::ALL.get(usize::from(actuator))?;
        (self.kind == EventKind::Drift).then_some((*actuator, to))
    }
}

/// The number by which a refused [`crate::Request`] is named in an event: commands 1 … 9, then mode 10, batch 11, jog 12,
/// spin 13, belt 14, step 15, dry cycle 16, declare 17.
#[must_use]
pub const fn request_number(request: crate::io::Request) -> u16 {
    use crate::io::Request as R;
    match request {
        R::Command(c) => c as Command as u16,
        R::Mode(_) => 10,
        R::Batch(_) => 11,
        R::Jog(..) => 12,
        R::JogSpin => 13,
        R::JogBelt => 14,
        R::Step => 15,
        R::DryCycle => 16,
        R::Declare(_) => 17,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drift_tells_its_actuator_and_its_direction() {
        for a in Actuator::ALL {
            for to in [Pose::Home, Pose::Work] {
                assert_eq!(Event::drift(a, to, -7).drifted(), Some((a, to)));
            }
        }
        let of = |kind, detail| Event::new(kind, Why::Plain, detail, 0).drifted();
        assert_eq!([of(EventKind::Late, 0), of(EventKind::Drift, 6), of(EventKind::Drift, 512)], [None; 3]);
    }
}
