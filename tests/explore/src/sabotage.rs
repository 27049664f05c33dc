//! Proof that the harness can fail: a wrapper between station and world that breaks one rule on purpose.

use crate::setup::{BEAT_US, Kind};
use crate::world::Said;
use timing_core::{
    Actuator, Command, Contact, Contacts, Duration, FeedStep, HeadStep, Inputs, Instant, Orders, Request, UnitState,
};

/// A way to break the station from outside.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Sabotage {
    /// The chain's opening reaches the core one tick late.
    LateChain,
    /// Clear, Reset and Start are given by the wrapper, as soon as the chain is closed again.
    RestartAfterChain,
    /// The plunger is ordered down together with the grip.
    PlungerWithGrip,
    /// The rollers are ordered in together with the plunger.
    RollersWithPlunger,
    /// The rollers spin while they close.
    SpinWhileClosing,
    /// The grip lets go when the unit holds, rollers in or not.
    GripDropsOnHold,
    /// The entry gate opens with the release gate.
    EntryGateEarly,
    /// The release gate opens while a bottle is gripped.
    ReleaseWhileBusy,
    /// The release gate shuts as soon as the bottle is seen.
    ReleaseShutsEarly,
    /// The entry gate shuts as soon as the pocket eye sees a bottle.
    EntryShutsEarly,
    /// The grip is ordered one beat late.
    LateGrip,
    /// Strokes count as confirmed as soon as they are ordered.
    BelievesStrokes,
    /// The release eye is shown clear once it has seen the bottle.
    BlindToJam,
    /// The beacon is not waited for.
    NoWarning,
    /// A lost bottle is not counted.
    ForgetsLost,
    /// The batch is asked for one larger.
    OneMore,
    /// Holding is left out.
    SkipsHolding,
    /// The wake lies beyond the sample gap.
    SleepsTooLong,
    /// It panics when the grip finds nothing.
    PanicsOnEmptyGrip,
    /// Start does not reach the core.
    LosesStart,
    /// In Stopped it wants to be called twice a beat.
    NeverRests,
}

impl Sabotage {
    /// All of them, with the property that each breaks, as its name begins.
    pub const ALL: [(Self, &'static str); 21] = [
        (Self::LateChain, "R1"),
        (Self::RestartAfterChain, "R1"),
        (Self::PlungerWithGrip, "R2"),
        (Self::RollersWithPlunger, "R2"),
        (Self::SpinWhileClosing, "R3"),
        (Self::GripDropsOnHold, "R4"),
        (Self::EntryGateEarly, "R5"),
        (Self::ReleaseWhileBusy, "R6"),
        (Self::ReleaseShutsEarly, "R7"),
        (Self::EntryShutsEarly, "R7"),
        (Self::LateGrip, "R8"),
        (Self::BelievesStrokes, "R9"),
        (Self::BlindToJam, "R10"),
        (Self::NoWarning, "R11"),
        (Self::ForgetsLost, "R12"),
        (Self::OneMore, "R13"),
        (Self::SkipsHolding, "R14"),
        (Self::SleepsTooLong, "R15"),
        (Self::PanicsOnEmptyGrip, "R16"),
        (Self::LosesStart, "recovers"),
        (Self::NeverRests, "comes to rest"),
    ];
}

impl Sabotage {
    /// Whether only recovery or rest can show it.
    #[must_use]
    pub const fn is_about_recovery(self) -> bool {
        matches!(self, Self::LosesStart | Self::NeverRests)
    }

    /// The kind of world in which it shows.
    #[must_use]
    pub const fn kind(self) -> Kind {
        match self {
            Self::OneMore => Kind::Batch,
            _ => Kind::Line,
        }
    }
}

/// The wrapper with its little memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Meddler {
    how: Option<Sabotage>,
    chain: bool,
    grip: bool,
}

impl Meddler {
    /// One that breaks nothing, or breaks it so.
    #[must_use]
    pub const fn new(how: Option<Sabotage>) -> Self {
        Self { how, chain: true, grip: false }
    }

    /// What the core is shown instead of what is.
    #[must_use]
    pub fn spoil_inputs(&mut self, mut i: Inputs, was: &Said) -> Inputs {
        match self.how {
            Some(Sabotage::LateChain) => {
                let now = i.contacts.has(Contact::Chain);
                i.contacts = i.contacts.with(Contact::Chain, now || self.chain);
                self.chain = now;
            }
            Some(Sabotage::RestartAfterChain) => {
                if i.contacts.has(Contact::Chain) && i.request.is_none() {
                    i.request = match was.unit {
                        UnitState::Aborted => Some(Request::Command(Command::Clear)),
                        UnitState::Stopped if !self.chain => Some(Request::Command(Command::Reset)),
                        UnitState::Idle if !self.chain => Some(Request::Command(Command::Start)),
                        _ => None,
                    };
                }
                if !i.contacts.has(Contact::Chain) {
                    self.chain = false;
                }
            }
            Some(Sabotage::BelievesStrokes) => i.contacts = believed(i.contacts, was.orders),
            Some(Sabotage::BlindToJam) if was.feed != FeedStep::Releasing => {
                i.contacts = i.contacts.with(Contact::ReleaseEye, false);
            }
            Some(Sabotage::LosesStart) if i.request == Some(Request::Command(Command::Start)) => i.request = None,
            Some(Sabotage::OneMore) => {
                if let Some(Request::Batch(n)) = i.request {
                    i.request = Some(Request::Batch(n + 1));
                }
            }
            _ => {}
        }
        i
    }

    /// What reaches the world instead of what the core said.
    pub fn spoil_outputs(&mut self, is: &mut Said, contacts: Contacts, now: Instant) {
        let Some(how) = self.how else { return };
        let o = is.orders;
        let work = |o: Orders, a: Actuator, on: bool| o.with_coils(a, on, false);
        match how {
            Sabotage::PlungerWithGrip => is.orders = work(o, Actuator::Plunger, o.work(Actuator::Grip)),
            Sabotage::RollersWithPlunger => is.orders = work(o, Actuator::Rollers, o.work(Actuator::Plunger)),
            Sabotage::SpinWhileClosing => is.orders = o.with_spin(o.work(Actuator::Rollers)),
            Sabotage::GripDropsOnHold => {
                if matches!(is.unit, UnitState::Holding | UnitState::Held) {
                    is.orders = work(o, Actuator::Grip, false);
                }
            }
            Sabotage::EntryGateEarly => {
                let open = o.work(Actuator::EntryGate) || o.work(Actuator::ReleaseGate);
                is.orders = work(o, Actuator::EntryGate, open);
            }
            Sabotage::ReleaseWhileBusy => {
                if is.head == HeadStep::Seat && is.feed == FeedStep::Loaded {
                    is.orders = work(o, Actuator::ReleaseGate, true);
                }
            }
            Sabotage::ReleaseShutsEarly => {
                if contacts.has(Contact::ReleaseEye) {
                    is.orders = work(o, Actuator::ReleaseGate, false);
                }
            }
            Sabotage::EntryShutsEarly => {
                if contacts.has(Contact::PocketEye) {
                    is.orders = work(o, Actuator::EntryGate, false);
                }
            }
            Sabotage::LateGrip => {
                // Only once a beat: the ticks of one beat see the same.
                is.orders = work(o, Actuator::Grip, o.work(Actuator::Grip) && self.grip);
                self.grip = o.work(Actuator::Grip);
            }
            Sabotage::NoWarning => {
                if is.orders.beacon() {
                    is.orders = o.with_belt(true);
                }
            }
            Sabotage::ForgetsLost => is.tally.lost = 0,
            Sabotage::SkipsHolding => {
                if is.unit == UnitState::Holding {
                    is.unit = UnitState::Held;
                }
            }
            Sabotage::SleepsTooLong => {
                if is.unit == UnitState::Held {
                    is.wake.at = is.wake.at.plus(Duration::from_micros(4 * BEAT_US));
                }
            }
            Sabotage::NeverRests => {
                if is.unit == UnitState::Stopped {
                    is.wake.at = now.plus(Duration::from_micros(BEAT_US / 2));
                }
            }
            Sabotage::LosesStart
            | Sabotage::LateChain
            | Sabotage::RestartAfterChain
            | Sabotage::BelievesStrokes
            | Sabotage::BlindToJam
            | Sabotage::OneMore
            | Sabotage::PanicsOnEmptyGrip => {}
        }
    }

    /// Panics, if that is how it is broken.
    ///
    /// # Panics
    /// On purpose.
    pub fn may_panic(&self, inputs: &Inputs, was: &Said) {
        let empty = inputs.contacts.has(Contact::GripOver) && was.orders.work(Actuator::Grip);
        assert!(!(self.how == Some(Sabotage::PanicsOnEmptyGrip) && empty), "broken on purpose");
    }
}

/// Contacts as they would be if every actuator were where it was sent.
fn believed(contacts: Contacts, orders: Orders) -> Contacts {
    let mut c = contacts;
    for a in [Actuator::EntryGate, Actuator::ReleaseGate, Actuator::Grip, Actuator::Plunger, Actuator::Rollers] {
        c = c.with(Contact::home_of(a), !orders.work(a));
    }
    for a in [Actuator::Grip, Actuator::Plunger, Actuator::Rollers] {
        c = c.with(Contact::work_of(a), orders.work(a));
        if let Some(over) = Contact::over_of(a) {
            c = c.with(over, false);
        }
    }
    c
}
