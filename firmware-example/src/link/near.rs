//! Ticks told by what is new in them. Most ticks differ from the one before by some milliseconds, some counts and a contact; told whole, a tick is
//! thirty bytes of mostly known things, and a small board spends more on reading them than on the tick.
//!
//! Whatever does not fit is told whole, so that every tick can be told and none is changed by it.

use super::message::Answer;
use serde::{Deserialize, Serialize};
use timing_core::{Contacts, Counts, Duration, Inputs, Instant, Wake};

/// Inputs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Given {
    /// All of them.
    Whole(Inputs),
    /// What is new since the tick before of the same batch: no request, no failed input but those of before, the same latches.
    Near {
        /// Later by, µs.
        now: u32,
        /// Belt further by, counts.
        belt: i32,
        /// The newest count edge came so long ago, µs, plus 1; 0 when its time is not known.
        edge: u32,
        /// Contacts that are not what they were.
        changed: u32,
    },
}

impl Given {
    /// `inputs`, after those of `last`; the first of a batch is told whole.
    #[must_use]
    pub fn after(last: Option<&Inputs>, inputs: &Inputs) -> Self {
        last.and_then(|last| near(last, inputs)).unwrap_or(Self::Whole(*inputs))
    }

    /// The inputs, told after those of `last`; `None` if the first of a batch is not whole.
    #[must_use]
    pub fn inputs(self, last: Option<&Inputs>) -> Option<Inputs> {
        let mut it = last.copied();
        self.follow(&mut it).copied()
    }

    /// Makes `last` what it is told to become, in its place: a small board copies nothing that is not new. `None` as above.
    pub fn follow(self, last: &mut Option<Inputs>) -> Option<&Inputs> {
        match self {
            Self::Whole(inputs) => Some(last.insert(inputs)),
            Self::Near { now, belt, edge, changed } => {
                let it = last.as_mut()?;
                it.now = it.now.plus(Duration::from_micros(now.into()));
                it.belt = it.belt.ahead(belt);
                it.belt_at =
                    edge.checked_sub(1).map(|ago| Instant::from_micros(it.now.as_micros().saturating_sub(ago.into())));
                it.contacts = Contacts::from_bits(it.contacts.bits() ^ changed);
                it.request = None;
                Some(it)
            }
        }
    }
}

fn near(last: &Inputs, inputs: &Inputs) -> Option<Given> {
    let now = u32::try_from(inputs.now.as_micros().checked_sub(last.now.as_micros())?).ok()?;
    let belt = i32::try_from(inputs.belt.get().checked_sub(last.belt.get())?).ok()?;
    let edge = match inputs.belt_at {
        None => 0,
        Some(at) => u32::try_from(inputs.now.as_micros().checked_sub(at.as_micros())?).ok()?.checked_add(1)?,
    };
    let given = Given::Near { now, belt, edge, changed: last.contacts.bits() ^ inputs.contacts.bits() };
    // What else may be new, and what saturates at the ends of time and belt, shows in what comes out of it.
    (given.inputs(Some(last)) == Some(*inputs)).then_some(given)
}

/// An answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Said {
    /// All of it; its events follow.
    Whole(Answer),
    /// Nothing is new but when to call again: no event, everything as in the answer before of the same batch.
    Near {
        /// Call after so long, µs.
        at: u32,
        /// Or when the belt is back by so many counts; 0 for never.
        below: u32,
        /// Or when it is further by so many; 0 for never.
        above: u32,
    },
}

impl Said {
    /// `answer` to `inputs`, after `last`; the first of a batch is told whole.
    #[must_use]
    #[inline]
    pub fn after(last: Option<&Answer>, inputs: &Inputs, answer: &Answer) -> Self {
        last.and_then(|last| next(last, inputs, answer)).unwrap_or(Self::Whole(*answer))
    }

    /// The answer to `inputs`, told after `last`; `None` if the first of a batch is not whole.
    #[must_use]
    pub fn answer(self, last: Option<&Answer>, inputs: &Inputs) -> Option<Answer> {
        match self {
            Self::Whole(answer) => Some(answer),
            Self::Near { at, below, above } => {
                let at = inputs.now.plus(Duration::from_micros(at.into()));
                let place = |by: u32, never: i64, sign: i64| {
                    if by == 0 { never } else { inputs.belt.get().saturating_add(sign * i64::from(by)) }
                };
                let (below, above) = (place(below, i64::MIN, -1), place(above, i64::MAX, 1));
                let wake = Wake { at, below: Counts::new(below), above: Counts::new(above) };
                Some(Answer { wake, ..*last? })
            }
        }
    }
}

fn next(last: &Answer, inputs: &Inputs, answer: &Answer) -> Option<Said> {
    if answer.events != 0 || last.events != 0 || !answer.differs_at_most_in_wake(last) {
        return None;
    }
    // A distance of 0 is no wake, and is told whole as everything is that does not fit.
    let by = |is_never: bool, from: i64, to: i64| match is_never {
        true => Some(0),
        false => u32::try_from(to.checked_sub(from)?).ok().filter(|&by| by > 0),
    };
    let (belt, below, above) = (inputs.belt.get(), answer.wake.below.get(), answer.wake.above.get());
    Some(Said::Near {
        at: u32::try_from(answer.wake.at.as_micros().checked_sub(inputs.now.as_micros())?).ok()?,
        below: by(below == i64::MIN, below, belt)?,
        above: by(above == i64::MAX, belt, above)?,
    })
}
