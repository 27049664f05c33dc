//! What to do next: unit, head, feed, jog.
pub mod unit;

/// What the head is doing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum HeadStep {
    /// Nothing here, nothing coming.
    #[default]
    Vacant = 0,
    /// A bottle rides towards the head.
    Incoming = 1,
    /// The grip closes.
    Catch = 2,
    /// The plunger comes down.
    Seat = 3,
    /// The rollers close.
    Engage = 4,
    /// The rollers spin.
    Tighten = 5,
    /// The rollers go back.
    Disengage = 6,
    /// The plunger goes up.
    Lift = 7,
    /// The grip opens (or waits, gripping, for a clear discharge).
    LetGo = 8,
    /// The bottle rides off.
    Leaving = 9,
}

impl HeadStep {
    /// All of them, by number.
    pub const ALL: [Self; 10] = [
        Self::Vacant,
        Self::Incoming,
        Self::Catch,
        Self::Seat,
        Self::Engage,
        Self::Tighten,
        Self::Disengage,
        Self::Lift,
        Self::LetGo,
        Self::Leaving,
    ];

    /// The step's name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Vacant => "Vacant",
            Self::Incoming => "Incoming",
            Self::Catch => "Catch",
            Self::Seat => "Seat",
            Self::Engage => "Engage",
            Self::Tighten => "Tighten",
            Self::Disengage => "Disengage",
            Self::Lift => "Lift",
            Self::LetGo => "LetGo",
            Self::Leaving => "Leaving",
        }
    }
}

/// What the escapement is doing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum FeedStep {
    /// Entry gate open, release gate shut: the pocket fills.
    #[default]
    Filling = 0,
    /// Both shut, one bottle in the pocket.
    Loaded = 1,
    /// Release gate open.
    Releasing = 2,
    /// Release gate shutting.
    Shutting = 3,
}

impl FeedStep {
    /// All of them, by number.
    pub const ALL: [Self; 4] = [Self::Filling, Self::Loaded, Self::Releasing, Self::Shutting];

    /// The step's name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Filling => "Filling",
            Self::Loaded => "Loaded",
            Self::Releasing => "Releasing",
            Self::Shutting => "Shutting",
        }
    }
}
