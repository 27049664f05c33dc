//! What physically happened on the modelled line: said by the plant, read by the judge and by the rehearsal's faults.

/// One thing that happened, with its time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fact {
    /// Time, µs.
    pub t_us: u64,
    /// The bottle's number on the line, 1 = first.
    pub bottle: u32,
    /// What.
    pub what: What,
}

/// What happened to a bottle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum What {
    /// It entered the modelled stretch of belt.
    Entered,
    /// Its leading face passed the release blade with the gate open.
    PassedRelease,
    /// The jaw met it; its centre was this far downstream of the head centre, mm (negative: early).
    JawMet {
        /// Offset of the centre, mm.
        off_mm: f64,
        /// Whether the jaw captured it.
        captured: bool,
    },
    /// The jaw closed with nothing in reach; `bottle` is 0.
    JawEmpty,
    /// It is pressed against the support, centred.
    Gripped,
    /// The plunger seated its closure.
    Seated,
    /// The plunger came down and found no closure.
    NoClosure,
    /// The plunger came down with no bottle under it (`bottle` is 0), or on one that was not gripped.
    PlungerLoose,
    /// The rollers spun its closure for so many turns in all; `torque` says whether the clutch slipped.
    Spun {
        /// Turns of the closure.
        turns: f64,
        /// Whether the application torque was reached.
        torque: bool,
        /// Whether the thread is crossed.
        crossed: bool,
    },
    /// It turned in the grip while the closure was tightened.
    TurnedInGrip,
    /// The rollers touched it (or its closure) while it was not held by the plunger.
    RollersLoose,
    /// The grip let it go.
    LetGo,
    /// A gate's blade met it from the side with this closing: 0 = entry, 1 = release gate.
    StruckByGate(u8),
    /// It ran into another bottle at more than the tip speed, or at the head.
    StruckByBottle {
        /// Relative speed, mm/s.
        speed_mm_s: f64,
        /// Whether one of the two was in the head.
        at_head: bool,
    },
    /// It tipped.
    Tipped,
    /// It passed the head without being caught.
    PassedHead,
    /// It passed the diverter position and went on.
    PassedOn,
    /// The diverter took it out.
    Diverted,
    /// A hand took it out.
    Taken,
}
