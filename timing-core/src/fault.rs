//! Every fault: its cause, what it does to the unit in each state, and who may clear it. One table.

use crate::io::{Actuator, Contact};
use crate::unit::{Command, UnitState};

/// What went wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Fault {
    /// The hard-wired safety chain opened.
    ChainOpen,
    /// The guard opened.
    GuardOpen,
    /// Air pressure fell.
    AirLow,
    /// A roller or belt drive is not ready.
    DriveNotReady,
    /// An input could not be read.
    InputFailed(Contact),
    /// An actuator was not confirmed in time.
    StrokeOverdue(Actuator),
    /// An actuator left its confirmed end without an order.
    StrokeLost(Actuator),
    /// A bottle was let go and did not come.
    Misfeed,
    /// A body stands in the release eye.
    Jam,
    /// A body came past the release eye without a release.
    StrayRelease,
    /// A body came past the discharge eye without a tracked bottle.
    StrayDischarge,
    /// A bottle let go by the head did not reach the discharge eye.
    Overstay,
    /// The belt is ordered, the encoder silent.
    BeltSilent,
    /// The belt moved upstream.
    BeltReversed,
    /// The encoder moved further than any belt.
    EncoderJump,
    /// Time went backwards, or no tick came for longer than the sample gap, while moving.
    SampleGap,
    /// A diverted bottle was not seen in the reject lane.
    RejectUnverified,
    /// The reject lane is full.
    RejectFull,
    /// So many bottles in a row were missed or failed.
    MissesInARow,
    /// More bottles inside than can be tracked.
    TrackerFull,
    /// An acting state took longer than its bound.
    StateOverdue,
    /// The core met a state of its own that cannot be.
    Inner,
}

/// What a fault does to the unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Severity {
    /// All off at once.
    Critical,
    /// Trouble inside: Hold, Stop or Abort, by the state it meets.
    Inside,
}

/// Who takes a fault back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Cure {
    /// Clear, once the cause is gone; then Reset and Start.
    Clear,
    /// Unhold by the operator, once the cause is gone.
    Unhold,
}

/// One row of the table: the fault, what it does, who cures it, and what a person should look at.
#[derive(Clone, Copy, Debug)]
pub struct FaultRow {
    /// The fault, with its first actuator or contact where it carries one.
    pub fault: Fault,
    /// A name for people.
    pub name: &'static str,
    /// What it does.
    pub severity: Severity,
    /// Who takes it back.
    pub cure: Cure,
    /// What to look at, after lock-out.
    pub look: &'static str,
}

/// The table of all faults, by code.
pub const FAULTS: [FaultRow; 22] = {
    use Cure::{Clear, Unhold};
    use Severity::{Critical, Inside};
    const fn row(fault: Fault, name: &'static str, severity: Severity, cure: Cure, look: &'static str) -> FaultRow {
        FaultRow { fault, name, severity, cure, look }
    }
    [
        row(
            Fault::ChainOpen,
            "safety chain open",
            Critical,
            Clear,
            "the hard-wired chain: which device opened, and why",
        ),
        row(Fault::GuardOpen, "guard open", Critical, Clear, "who opened the guard; what was taken out"),
        row(
            Fault::AirLow,
            "air low",
            Critical,
            Clear,
            "supply, regulator and dump valve; cylinders may move when air returns",
        ),
        row(
            Fault::DriveNotReady,
            "drive not ready",
            Inside,
            Unhold,
            "the drive's own fault display; overload, phase loss",
        ),
        row(Fault::InputFailed(Contact::PocketEye), "input failed", Inside, Unhold, "the input card or its supply"),
        row(
            Fault::StrokeOverdue(Actuator::EntryGate),
            "stroke overdue",
            Inside,
            Unhold,
            "the actuator: air, valve, binding, its contact",
        ),
        row(
            Fault::StrokeLost(Actuator::EntryGate),
            "stroke lost",
            Inside,
            Unhold,
            "the actuator: pushed off its end, or a loose contact",
        ),
        row(
            Fault::Misfeed,
            "misfeed",
            Inside,
            Unhold,
            "a bottle hung at the release gate, a stuck pair, rails too close",
        ),
        row(Fault::Jam, "jam at the release eye", Inside, Unhold, "a fallen or wedged bottle; a dirty or misaimed eye"),
        row(
            Fault::StrayRelease,
            "stray at the release eye",
            Inside,
            Unhold,
            "a bottle that slipped the gate; the gate's stroke and reach",
        ),
        row(
            Fault::StrayDischarge,
            "stray at the discharge eye",
            Inside,
            Unhold,
            "a bottle put in by hand, or one that fell behind",
        ),
        row(
            Fault::Overstay,
            "bottle did not leave the head",
            Inside,
            Unhold,
            "a bottle stuck to plunger, jaw or rollers; or taken by hand",
        ),
        row(Fault::BeltSilent, "belt silent", Inside, Unhold, "belt drive, slipping wheel, encoder cable"),
        row(Fault::BeltReversed, "belt reversed", Inside, Unhold, "encoder phases swapped; belt pushed by hand"),
        row(Fault::EncoderJump, "encoder jump", Inside, Unhold, "interference on the encoder cable; counter width"),
        row(Fault::SampleGap, "sample gap", Inside, Unhold, "the controller's load; a blocked loop"),
        row(
            Fault::RejectUnverified,
            "reject not verified",
            Inside,
            Unhold,
            "the diverter; a bad bottle may have gone on: find it",
        ),
        row(Fault::RejectFull, "reject lane full", Inside, Unhold, "empty the reject lane"),
        row(
            Fault::MissesInARow,
            "misses in a row",
            Inside,
            Unhold,
            "catch mark, cap supply, torque: whatever the flags say",
        ),
        row(Fault::TrackerFull, "too many bottles inside", Inside, Unhold, "the way to the diverter; the outfeed"),
        row(
            Fault::StateOverdue,
            "state overdue",
            Inside,
            Unhold,
            "what the state was waiting for; see the events before",
        ),
        row(Fault::Inner, "inner fault", Critical, Clear, "report it, with the recording"),
    ]
};

impl Fault {
    /// The fault's number in [`FAULTS`], plus 32 × the actuator's or contact's number where it carries one.
    #[must_use]
    pub const fn code(self) -> u16 {
        match self {
            Self::ChainOpen => 0,
            Self::GuardOpen => 1,
            Self::AirLow => 2,
            Self::DriveNotReady => 3,
            Self::InputFailed(c) => 4 | (c as u16) << 5,
            Self::StrokeOverdue(a) => 5 | (a as u16) << 5,
            Self::StrokeLost(a) => 6 | (a as u16) << 5,
            Self::Misfeed => 7,
            Self::Jam => 8,
            Self::StrayRelease => 9,
            Self::StrayDischarge => 10,
            Self::Overstay => 11,
            Self::BeltSilent => 12,
            Self::BeltReversed => 13,
            Self::EncoderJump => 14,
            Self::SampleGap => 15,
            Self::RejectUnverified => 16,
            Self::RejectFull => 17,
            Self::MissesInARow => 18,
            Self::TrackerFull => 19,
            Self::StateOverdue => 20,
            Self::Inner => 21,
        }
    }

    /// The fault's name and, where it carries one, the number of the actuator or contact, from [`Fault::code`].
    #[must_use]
    pub fn row_of(code: u16) -> Option<(&'static FaultRow, usize)> {
        FAULTS.get((code & 31) as usize).map(|row| (row, (code >> 5) as usize))
    }

    /// The fault's row in the table.
    #[must_use]
    pub const fn severity(self) -> Severity {
        match self {
            Self::ChainOpen | Self::GuardOpen | Self::AirLow | Self::Inner => Severity::Critical,
            _ => Severity::Inside,
        }
    }

    /// The command that the fault gives in a unit state; `None`: it is told, and changes nothing.
    #[must_use]
    pub const fn reaction(self, state: UnitState) -> Option<Command> {
        use UnitState as S;
        match self.severity() {
            Severity::Critical => match state {
                S::Aborting | S::Aborted => None,
                _ => Some(Command::Abort),
            },
            Severity::Inside => match state {
                S::Starting | S::Execute | S::Suspending | S::Suspended | S::Unsuspending | S::Unholding => {
                    Some(Command::Hold)
                }
                S::Idle | S::Resetting | S::Completing | S::Completed | S::Holding | S::Held => Some(Command::Stop),
                S::Stopping | S::Clearing => Some(Command::Abort),
                S::Stopped | S::Aborting | S::Aborted => None,
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_in_the_order_of_its_codes_and_agrees_with_severity() {
        for (i, row) in FAULTS.iter().enumerate() {
            assert_eq!(usize::from(row.fault.code()) & 31, i, "{}", row.name);
            assert_eq!(row.fault.severity(), row.severity, "{}", row.name);
        }
    }
}
