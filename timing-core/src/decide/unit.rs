//! The unit's states and modes, and the one table of what may follow what.
//!
//! The model is ANSI/ISA-TR88.00.02 (PackML), 2015 core with the optional holds: 17 states, 51 transitions. State and
//! command numbers are the standard's; the table agrees with OPC 30050 §6.3.6–6.3.8.

/// State of the unit; the number is the standard's.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum UnitState {
    /// Acting: what led to Aborted is being cleared.
    Clearing = 1,
    /// Waiting: at rest, for Reset.
    #[default]
    Stopped = 2,
    /// Acting: warns, homes, flushes.
    Starting = 3,
    /// Waiting: checked, for Start.
    Idle = 4,
    /// Waiting: a cause outside the unit.
    Suspended = 5,
    /// Acting: closing bottles.
    Execute = 6,
    /// Acting: finishes what is inside.
    Stopping = 7,
    /// Acting: all off, until the belt is still.
    Aborting = 8,
    /// Waiting: for Clear.
    Aborted = 9,
    /// Acting: comes to rest for trouble inside.
    Holding = 10,
    /// Waiting: trouble inside, for the operator.
    Held = 11,
    /// Acting: warns and takes up where Held left off.
    Unholding = 12,
    /// Acting: the head finishes, nothing is released.
    Suspending = 13,
    /// Acting: takes up where Suspended left off.
    Unsuspending = 14,
    /// Acting: causes are cleared, contacts checked; nothing moves.
    Resetting = 15,
    /// Acting: the batch is done, the unit empties.
    Completing = 16,
    /// Waiting: the batch is delivered.
    Completed = 17,
}

impl UnitState {
    /// All of them, by number.
    pub const ALL: [Self; 17] = [
        Self::Clearing,
        Self::Stopped,
        Self::Starting,
        Self::Idle,
        Self::Suspended,
        Self::Execute,
        Self::Stopping,
        Self::Aborting,
        Self::Aborted,
        Self::Holding,
        Self::Held,
        Self::Unholding,
        Self::Suspending,
        Self::Unsuspending,
        Self::Resetting,
        Self::Completing,
        Self::Completed,
    ];

    /// Whether the state ends by itself.
    #[must_use]
    pub const fn is_acting(self) -> bool {
        !matches!(self, Self::Stopped | Self::Idle | Self::Suspended | Self::Aborted | Self::Held | Self::Completed)
    }

    /// The standard's name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Clearing => "Clearing",
            Self::Stopped => "Stopped",
            Self::Starting => "Starting",
            Self::Idle => "Idle",
            Self::Suspended => "Suspended",
            Self::Execute => "Execute",
            Self::Stopping => "Stopping",
            Self::Aborting => "Aborting",
            Self::Aborted => "Aborted",
            Self::Holding => "Holding",
            Self::Held => "Held",
            Self::Unholding => "Unholding",
            Self::Suspending => "Suspending",
            Self::Unsuspending => "Unsuspending",
            Self::Resetting => "Resetting",
            Self::Completing => "Completing",
            Self::Completed => "Completed",
        }
    }
}

/// Mode of the unit; the number is the standard's.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Mode {
    /// Closing bottles.
    #[default]
    Production = 1,
    /// Dry cycle, and single step over a bottle placed by hand.
    Maintenance = 2,
    /// Each actuator by itself, hold-to-run drives.
    Manual = 3,
}

impl Mode {
    /// The standard's name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Production => "Production",
            Self::Maintenance => "Maintenance",
            Self::Manual => "Manual",
        }
    }
}

/// A control command; the number is the standard's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Command {
    /// Stopped or Completed → Resetting.
    Reset = 1,
    /// Idle → Starting.
    Start = 2,
    /// To Stopping.
    Stop = 3,
    /// To Holding.
    Hold = 4,
    /// Held → Unholding.
    Unhold = 5,
    /// Execute → Suspending.
    Suspend = 6,
    /// Suspended → Unsuspending.
    Unsuspend = 7,
    /// To Aborting.
    Abort = 8,
    /// Aborted → Clearing.
    Clear = 9,
}

impl Command {
    /// All of them, by number.
    pub const ALL: [Self; 9] = [
        Self::Reset,
        Self::Start,
        Self::Stop,
        Self::Hold,
        Self::Unhold,
        Self::Suspend,
        Self::Unsuspend,
        Self::Abort,
        Self::Clear,
    ];

    /// The standard's name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Reset => "Reset",
            Self::Start => "Start",
            Self::Stop => "Stop",
            Self::Hold => "Hold",
            Self::Unhold => "Unhold",
            Self::Suspend => "Suspend",
            Self::Unsuspend => "Unsuspend",
            Self::Abort => "Abort",
            Self::Clear => "Clear",
        }
    }
}

/// Where a command leads from a state; `None`: refused there.
#[must_use]
pub const fn on_command(from: UnitState, command: Command) -> Option<UnitState> {
    use UnitState as S;
    match command {
        Command::Reset => match from {
            S::Stopped | S::Completed => Some(S::Resetting),
            _ => None,
        },
        Command::Start => match from {
            S::Idle => Some(S::Starting),
            _ => None,
        },
        Command::Stop => match from {
            S::Starting
            | S::Idle
            | S::Suspended
            | S::Execute
            | S::Holding
            | S::Held
            | S::Unholding
            | S::Suspending
            | S::Unsuspending
            | S::Resetting
            | S::Completing
            | S::Completed => Some(S::Stopping),
            S::Clearing | S::Stopped | S::Stopping | S::Aborting | S::Aborted => None,
        },
        Command::Hold => match from {
            S::Execute | S::Starting | S::Suspended | S::Unholding | S::Suspending | S::Unsuspending => {
                Some(S::Holding)
            }
            _ => None,
        },
        Command::Unhold => match from {
            S::Held => Some(S::Unholding),
            _ => None,
        },
        Command::Suspend => match from {
            S::Execute => Some(S::Suspending),
            _ => None,
        },
        Command::Unsuspend => match from {
            S::Suspended => Some(S::Unsuspending),
            _ => None,
        },
        Command::Abort => match from {
            S::Aborting | S::Aborted => None,
            _ => Some(S::Aborting),
        },
        Command::Clear => match from {
            S::Aborted => Some(S::Clearing),
            _ => None,
        },
    }
}

/// Where an acting state leads when it is complete; `None` for a waiting state.
#[must_use]
pub const fn on_complete(from: UnitState) -> Option<UnitState> {
    use UnitState as S;
    match from {
        S::Clearing | S::Stopping => Some(S::Stopped),
        S::Starting | S::Unholding | S::Unsuspending => Some(S::Execute),
        S::Execute => Some(S::Completing),
        S::Aborting => Some(S::Aborted),
        S::Holding => Some(S::Held),
        S::Suspending => Some(S::Suspended),
        S::Resetting => Some(S::Idle),
        S::Completing => Some(S::Completed),
        S::Stopped | S::Idle | S::Suspended | S::Aborted | S::Held | S::Completed => None,
    }
}
