//! Messages: what desk and board say to each other.
//!
//! A message is a head, [`ToBoard`] or [`FromBoard`], and what its kind says follows it: inputs ([`super::near::Given`]), answers ([`Said`]), a machine and a product,
//! each in postcard's encoding, one after the other.

use serde::{Deserialize, Serialize};
use timing_core::{Event, Inputs, MachineProfile, Mode, Orders, Outputs, Product, Speed, UnitState, Wake};

use super::frame::CHECK;
use super::near::Said;

/// What a desk says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum ToBoard {
    /// Who is there?
    Hello {
        /// Version of the desk's frames and messages.
        version: u16,
    },
    /// Set a station up with the machine profile and the product that follow.
    Load {
        /// A number that no other run on this link has.
        run: u32,
    },
    /// Tick through the inputs that follow.
    Ticks {
        /// The run that they belong to.
        run: u32,
        /// Number of this batch in its run, from 0.
        batch: u32,
        /// How many inputs follow.
        count: u8,
    },
}

/// What a board says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum FromBoard {
    /// Here.
    Hello {
        /// Version of the board's frames and messages.
        version: u16,
        /// What the station is set up with; `None` before the first load.
        loaded: Option<Loaded>,
    },
    /// The station is set up.
    Loaded(Loaded),
    /// The core refuses machine or product, or they do not decode; the station is what it was.
    Refused {
        /// The run.
        run: u32,
    },
    /// The answers that follow.
    Answers {
        /// The run.
        run: u32,
        /// The batch that they answer.
        batch: u32,
        /// How many follow: as many as inputs came, unless they found no room.
        count: u8,
    },
    /// Something was lost or broken: send again from this batch on.
    Again {
        /// The run that the station is in.
        run: u32,
        /// The batch that is due.
        batch: u32,
    },
}

/// What a station is set up with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Loaded {
    /// The run.
    pub run: u32,
    /// [`hash`] of the machine profile.
    pub machine: u32,
    /// [`hash`] of the product.
    pub product: u32,
}

/// All that a core says in a tick, but for the events, of which `events` follow.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answer {
    /// Coils and drives.
    pub orders: Orders,
    /// Set-point of the belt drive.
    pub belt_speed: Speed,
    /// Set-point of the roller drive, rpm.
    pub spin_rpm: u16,
    /// State of the unit.
    pub unit: UnitState,
    /// Mode of the unit.
    pub mode: Mode,
    /// When to call again.
    pub wake: Wake,
    /// Events that found no room.
    pub events_lost: u8,
    /// How many events follow.
    pub events: u8,
}

impl Answer {
    /// Of these outputs.
    #[must_use]
    pub fn of(out: &Outputs<'_>) -> Self {
        Self {
            orders: out.orders,
            belt_speed: out.belt_speed,
            spin_rpm: out.spin_rpm,
            unit: out.unit,
            mode: out.mode,
            wake: out.wake,
            events_lost: out.events_lost,
            events: u8::try_from(out.events.len()).unwrap_or(u8::MAX),
        }
    }

    /// Whether everything but the wake is as in `other`.
    pub(super) fn differs_at_most_in_wake(&self, other: &Self) -> bool {
        // Taken apart, so that a new field is not forgotten here.
        let Self { orders, belt_speed, spin_rpm, unit, mode, wake: _, events_lost, events } = *self;
        let here = (orders, belt_speed, spin_rpm, unit, mode, events_lost, events);
        let o = other;
        here == (o.orders, o.belt_speed, o.spin_rpm, o.unit, o.mode, o.events_lost, o.events)
    }
}

/// Writes things one after the other.
#[derive(Debug)]
pub struct Pen<'a> {
    room: &'a mut [u8],
    used: usize,
}

impl<'a> Pen<'a> {
    /// From the start of `room`.
    pub fn new(room: &'a mut [u8]) -> Self {
        Self { room, used: 0 }
    }

    /// Writes `value`; `false` if it found no room, and then nothing of it is there.
    #[must_use]
    pub fn write(&mut self, value: &impl Serialize) -> bool {
        let Some(rest) = self.room.get_mut(self.used..) else { return false };
        match postcard::to_slice(value, rest) {
            Ok(bytes) => {
                self.used += bytes.len();
                true
            }
            Err(_) => false,
        }
    }

    /// Writes `answer` to `inputs` after `last`, and its `events`, or neither.
    #[must_use]
    pub fn answer(&mut self, last: Option<&Answer>, inputs: &Inputs, answer: &Answer, events: &[Event]) -> bool {
        let before = self.used;
        let said = Said::after(last, inputs, answer);
        let whole = self.write(&said) && events.iter().all(|e| self.write(e));
        if !whole {
            self.used = before;
        }
        whole
    }

    /// Bytes written.
    #[must_use]
    pub const fn used(&self) -> usize {
        self.used
    }
}

/// Reads one thing off the front of `bytes`; `None` if it is not there.
pub fn read<'de, T: Deserialize<'de>>(bytes: &mut &'de [u8]) -> Option<T> {
    let (value, rest) = postcard::take_from_bytes(bytes).ok()?;
    *bytes = rest;
    Some(value)
}

/// Reads an answer to `inputs` after `last`, and shows its events to `tell`.
pub fn read_answer(
    bytes: &mut &[u8],
    last: Option<&Answer>,
    inputs: &Inputs,
    mut tell: impl FnMut(Event),
) -> Option<Answer> {
    let said: Said = read(bytes)?;
    let answer = said.answer(last, inputs)?;
    if matches!(said, Said::Whole(_)) {
        for _ in 0..answer.events {
            tell(read(bytes)?);
        }
    }
    Some(answer)
}

/// The check of a machine profile's encoding: two machines with the same are the same but by a chance of one in four thousand million.
#[must_use]
pub fn hash(of: &impl Serialize) -> u32 {
    let mut bytes = [0; super::BODY_MAX];
    postcard::to_slice(of, &mut bytes).map_or(0, |b| CHECK.checksum(b))
}

/// Machine and product as they follow a load.
pub fn read_setup(bytes: &mut &[u8]) -> Option<(MachineProfile, Product)> {
    Some((read(bytes)?, read(bytes)?))
}
