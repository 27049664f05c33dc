//! The catalogue: everything that can go wrong in a run, and what people do at the wrong moment.

use crate::job::spec::FaultKind;
use crate::soak::dice::Dice;
use timing_core::{Actuator, Command, Contact, Mode, Pose, Request};

/// A kind of trouble. A run switches whole rooms and single kinds off, and gives the others rates of their own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// The wheel slips: a share of the counts is lost.
    EncoderLoss,
    /// No counts.
    EncoderSilent,
    /// Many counts at once.
    EncoderJump,
    /// Counts run backwards.
    EncoderReversal,
    /// An eye sees nothing.
    EyeBlind,
    /// An eye sees something all the time.
    EyeStuck,
    /// An eye chatters.
    EyeChatter,
    /// An eye is wrong for a moment: a second edge, or a hole in a body.
    EyeDouble,
    /// No closure.
    NoCap,
    /// A crossed thread.
    Crossed,
    /// A thread that never tightens.
    LooseThread,
    /// An over-long body.
    LongBottle,
    /// Two that are stuck together.
    StuckPair,
    /// One that hangs at the release gate.
    Hung,
    /// One that wedges past the release eye.
    Jam,
    /// One that falls over where it is.
    Fallen,
    /// One that slips on the belt: less friction than the product says.
    Slippery,
    /// One that a hand takes out, or a worn spot on a rail throws off.
    Taken,
    /// Strokes take longer than their margin.
    Late,
    /// Strokes take a little longer than they did.
    Worn,
    /// An actuator does not move.
    Missing,
    /// A reed, or the closure's or clutch's contact, always says the same.
    ContactLies,
    /// A contact chatters.
    ContactChatters,
    /// An input cannot be read.
    InputFailed,
    /// The core is called later than it asked.
    LateTicks,
    /// The core is not called at all for a while.
    Gap,
    /// Somebody presses a button that is not his turn.
    Request,
    /// Somebody works in Manual or Maintenance for a while.
    OtherMode,
    /// Another product is loaded when the unit is at rest.
    Product,
    /// Power is cut; a new core starts on a machine that went on.
    PowerCut,
    /// The hard-wired chain opens.
    ChainOpen,
    /// The guard opens.
    GuardOpen,
    /// Air pressure falls.
    AirLow,
    /// A drive is not ready.
    DriveNotReady,
    /// No bottles come.
    Starved,
    /// Bottles queue up from downstream.
    OutfeedBlocked,
    /// Downstream says that it takes none.
    DownstreamNotReady,
    /// The belt stops by itself.
    BeltStop,
}

impl Kind {
    /// All of them.
    pub const ALL: [Self; 38] = [
        Self::EncoderLoss,
        Self::EncoderSilent,
        Self::EncoderJump,
        Self::EncoderReversal,
        Self::EyeBlind,
        Self::EyeStuck,
        Self::EyeChatter,
        Self::EyeDouble,
        Self::NoCap,
        Self::Crossed,
        Self::LooseThread,
        Self::LongBottle,
        Self::StuckPair,
        Self::Hung,
        Self::Jam,
        Self::Fallen,
        Self::Slippery,
        Self::Taken,
        Self::Late,
        Self::Worn,
        Self::Missing,
        Self::ContactLies,
        Self::ContactChatters,
        Self::InputFailed,
        Self::LateTicks,
        Self::Gap,
        Self::Request,
        Self::OtherMode,
        Self::Product,
        Self::PowerCut,
        Self::ChainOpen,
        Self::GuardOpen,
        Self::AirLow,
        Self::DriveNotReady,
        Self::Starved,
        Self::OutfeedBlocked,
        Self::DownstreamNotReady,
        Self::BeltStop,
    ];

    /// Its number, from 0.
    #[must_use]
    pub const fn index(self) -> usize {
        self as usize
    }

    /// A name for people, lower case.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::EncoderLoss => "encoder loses counts",
            Self::EncoderSilent => "encoder silent",
            Self::EncoderJump => "encoder jumps",
            Self::EncoderReversal => "encoder runs backwards",
            Self::EyeBlind => "eye blind",
            Self::EyeStuck => "eye stuck",
            Self::EyeChatter => "eye chatters",
            Self::EyeDouble => "eye wrong for a moment",
            Self::NoCap => "no closure",
            Self::Crossed => "crossed thread",
            Self::LooseThread => "loose thread",
            Self::LongBottle => "over-long body",
            Self::StuckPair => "stuck pair",
            Self::Hung => "hung at the gate",
            Self::Jam => "wedged",
            Self::Fallen => "fallen",
            Self::Slippery => "slippery",
            Self::Taken => "taken by hand",
            Self::Late => "actuator late",
            Self::Worn => "actuator worn",
            Self::Missing => "actuator does not move",
            Self::ContactLies => "contact lies",
            Self::ContactChatters => "contact chatters",
            Self::InputFailed => "input cannot be read",
            Self::LateTicks => "ticks late",
            Self::Gap => "no ticks",
            Self::Request => "request at a wrong moment",
            Self::OtherMode => "Manual or Maintenance",
            Self::Product => "product changed",
            Self::PowerCut => "power cut",
            Self::ChainOpen => "chain open",
            Self::GuardOpen => "guard open",
            Self::AirLow => "air low",
            Self::DriveNotReady => "drive not ready",
            Self::Starved => "starved",
            Self::OutfeedBlocked => "outfeed blocked",
            Self::DownstreamNotReady => "downstream not ready",
            Self::BeltStop => "belt stops by itself",
        }
    }

    /// The room it belongs to: whole rooms are switched off per run.
    #[must_use]
    pub const fn room(self) -> Room {
        match self {
            Self::EncoderLoss | Self::EncoderSilent | Self::EncoderJump | Self::EncoderReversal => Room::Encoder,
            Self::EyeBlind | Self::EyeStuck | Self::EyeChatter | Self::EyeDouble => Room::Eyes,
            Self::NoCap
            | Self::Crossed
            | Self::LooseThread
            | Self::LongBottle
            | Self::StuckPair
            | Self::Hung
            | Self::Jam
            | Self::Fallen
            | Self::Slippery
            | Self::Taken => Room::Bottles,
            Self::Late | Self::Worn | Self::Missing => Room::Actuators,
            Self::ContactLies | Self::ContactChatters | Self::InputFailed => Room::Contacts,
            Self::LateTicks | Self::Gap => Room::Time,
            Self::Request | Self::OtherMode | Self::Product => Room::People,
            Self::PowerCut => Room::Power,
            Self::ChainOpen | Self::GuardOpen | Self::AirLow | Self::DriveNotReady => Room::Safety,
            Self::Starved | Self::OutfeedBlocked | Self::DownstreamNotReady | Self::BeltStop => Room::Line,
        }
    }

    /// Draws one trouble of this kind. `length_mm` is the body's length, `gap_us` the machine's sample gap.
    pub fn draw(self, dice: &mut Dice, length_mm: f64, gap_us: u64) -> Trouble {
        let ahead = 1 + dice.below(3) as u32;
        let nth = dice.below(5) as u32;
        let actuator = dice.pick(&Actuator::ALL);
        let eye = dice.pick(&EYES);
        let reed = dice.pick(&REEDS);
        let plant = |kind| Trouble::Plant(kind);
        match self {
            Self::EncoderLoss => {
                let kept = dice.between(100.0, 254.0) as i64;
                Trouble::Wheel(kept)
            }
            Self::EncoderReversal => Trouble::Wheel(-(dice.between(20.0, 256.0) as i64)),
            Self::EncoderSilent => plant(FaultKind::EncoderDead),
            Self::EncoderJump => {
                let counts = dice.wild(2.0, 60_000.0) as i64;
                plant(FaultKind::EncoderJump(if dice.chance(0.5) { counts } else { -counts }))
            }
            Self::EyeBlind => plant(FaultKind::ContactStuck(eye, false)),
            Self::EyeStuck => plant(FaultKind::ContactStuck(eye, true)),
            Self::EyeChatter => Trouble::Chatter(eye, dice.wild(200.0, 60_000.0) as u64),
            Self::EyeDouble => Trouble::Wrong(eye),
            Self::NoCap => Trouble::Coming(FaultKind::NoCap(0), ahead),
            Self::Crossed => Trouble::Coming(FaultKind::Crossed(0), ahead),
            Self::LooseThread => Trouble::Coming(FaultKind::LooseThread(0), ahead),
            Self::LongBottle => Trouble::Coming(FaultKind::LongBottle(0, length_mm * dice.between(1.05, 1.7)), ahead),
            Self::StuckPair => Trouble::Coming(FaultKind::StuckPair(0), ahead),
            Self::Hung => Trouble::Coming(FaultKind::Hung(0), ahead),
            Self::Jam => Trouble::Coming(FaultKind::Jam(0), ahead),
            Self::Fallen => Trouble::Fall(nth),
            Self::Slippery => Trouble::Slip(nth, dice.between(0.1, 0.7)),
            Self::Taken => Trouble::Take(nth),
            Self::Late => plant(FaultKind::Slow(actuator, dice.wild(1.5, 12.0))),
            Self::Worn => plant(FaultKind::Slow(actuator, dice.between(1.02, 1.5))),
            Self::Missing => plant(FaultKind::Stuck(actuator)),
            Self::ContactLies => plant(FaultKind::ContactStuck(reed, dice.chance(0.5))),
            Self::ContactChatters => Trouble::Chatter(reed, dice.wild(200.0, 60_000.0) as u64),
            Self::InputFailed => plant(FaultKind::InputFailed(dice.pick(&Contact::ALL))),
            Self::LateTicks => Trouble::LateTicks(dice.wild(100.0, 30_000.0) as u64),
            Self::Gap => Trouble::Gap((dice.wild(0.5, 20.0) * gap_us as f64) as u64),
            Self::Request => Trouble::Press(any_request(dice)),
            Self::OtherMode => Trouble::Mode(dice.pick(&[Mode::Manual, Mode::Manual, Mode::Maintenance])),
            Self::Product => Trouble::Product,
            Self::PowerCut => Trouble::PowerCut,
            Self::ChainOpen => plant(FaultKind::ChainOpen),
            Self::GuardOpen => plant(FaultKind::GuardOpen),
            Self::AirLow => plant(FaultKind::AirLow),
            Self::DriveNotReady => plant(FaultKind::DriveNotReady),
            Self::Starved => plant(FaultKind::Starved),
            Self::OutfeedBlocked => plant(FaultKind::OutfeedBlocked),
            Self::DownstreamNotReady => plant(FaultKind::DownstreamNotReady),
            Self::BeltStop => plant(FaultKind::BeltStop),
        }
    }
}

/// Kinds that are switched off together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Room {
    /// The belt's encoder.
    Encoder,
    /// Photo-eyes.
    Eyes,
    /// Bottles.
    Bottles,
    /// Actuators.
    Actuators,
    /// Reeds and other contacts.
    Contacts,
    /// When the core is called.
    Time,
    /// Operators.
    People,
    /// Power.
    Power,
    /// Chain, guard, air, drive.
    Safety,
    /// What comes, and where it goes.
    Line,
}

impl Room {
    /// All of them.
    pub const ALL: [Self; 10] = [
        Self::Encoder,
        Self::Eyes,
        Self::Bottles,
        Self::Actuators,
        Self::Contacts,
        Self::Time,
        Self::People,
        Self::Power,
        Self::Safety,
        Self::Line,
    ];
}

/// Contacts that look across the belt.
const EYES: [Contact; 5] =
    [Contact::PocketEye, Contact::ReleaseEye, Contact::DischargeEye, Contact::SupplyEye, Contact::RejectEye];

/// Contacts that are no eye and belong to no safety wire: a chain that lies is the hard-wired circuit's affair.
const REEDS: [Contact; 19] = [
    Contact::EntryGateHome,
    Contact::EntryGateWork,
    Contact::ReleaseGateHome,
    Contact::ReleaseGateWork,
    Contact::GripHome,
    Contact::GripWork,
    Contact::GripOver,
    Contact::PlungerHome,
    Contact::PlungerWork,
    Contact::PlungerOver,
    Contact::RollersHome,
    Contact::RollersWork,
    Contact::RollersOver,
    Contact::RejectHome,
    Contact::RejectWork,
    Contact::RejectFull,
    Contact::Cap,
    Contact::Torque,
    Contact::LineBelt,
];

/// One trouble, with its figures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Trouble {
    /// A fault that the modelled line knows.
    Plant(FaultKind),
    /// A bottle that is still to come, so many from now on, is not as it should be.
    Coming(FaultKind, u32),
    /// The n-th bottle on the line, from downstream, falls over.
    Fall(u32),
    /// The n-th bottle on the line has only this share of its friction.
    Slip(u32, f64),
    /// The n-th bottle on the line is taken out.
    Take(u32),
    /// The encoder tells so many 256ths of the belt's counts; less than 0: backwards.
    Wheel(i64),
    /// A contact reads inverted every other so many µs.
    Chatter(Contact, u64),
    /// A contact reads inverted.
    Wrong(Contact),
    /// Every tick comes up to so many µs late.
    LateTicks(u64),
    /// No tick for so many µs.
    Gap(u64),
    /// A request.
    Press(Request),
    /// The operator works in this mode.
    Mode(Mode),
    /// The operator loads the other product.
    Product,
    /// No power.
    PowerCut,
}

/// Any request, whether or not it makes sense.
pub fn any_request(dice: &mut Dice) -> Request {
    match dice.below(16) {
        0..=6 => Request::Command(dice.pick(&Command::ALL)),
        7 => Request::Mode(dice.pick(&[Mode::Production, Mode::Maintenance, Mode::Manual])),
        8 => Request::Batch(dice.below(6) as u32),
        9 | 10 => Request::Jog(dice.pick(&Actuator::ALL), dice.pick(&[Pose::Work, Pose::Home])),
        11 => Request::JogSpin,
        12 => Request::JogBelt,
        13 => Request::Step,
        14 => Request::DryCycle,
        _ => Request::Declare(dice.below(4) as u8),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_stand_at_their_numbers_and_every_room_has_one() {
        for (i, k) in Kind::ALL.into_iter().enumerate() {
            assert_eq!(k.index(), i, "{}", k.name());
        }
        for r in Room::ALL {
            assert!(Kind::ALL.into_iter().any(|k| k.room() == r), "{r:?}");
        }
    }
}
