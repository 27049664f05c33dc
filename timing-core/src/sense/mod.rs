//! From raw inputs to facts: clean edges, belt position and speed, where each actuator is.
//!
//! Nothing here decides. Every part changes only when something of its own is due (an edge, a deadline, a place), so
//! that ticks added in between change nothing.

pub(crate) mod belt;
pub(crate) mod contacts;
pub(crate) mod strokes;

use crate::io::{Contact, Contacts, Inputs};
use crate::local::{Origin, Spot, Time};
use contacts::Latches;

/// What this tick is about: the same for every stage, and never changed after sensing.
pub(crate) struct Seen {
    pub(crate) now: Time,
    pub(crate) belt: Spot,
    /// Time of the newest count edge (or of this tick, where that is not captured).
    pub(crate) edge_at: Time,
    /// Whether count edges are timed.
    pub(crate) edges_timed: bool,
    /// Filtered contacts.
    pub(crate) on: Contacts,
    pub(crate) rose: Contacts,
    pub(crate) fell: Contacts,
    /// Inputs that have been unreadable for longer than their patience.
    pub(crate) failed: Contacts,
    pub(crate) belt_news: belt::News,
    /// Where the eyes' edges of this tick were first seen raw.
    pub(crate) at: Latches,
}

impl Seen {
    /// Time and belt of these inputs; contacts and news are yet to be sensed.
    pub(crate) fn new(inputs: &Inputs, now: Time, belt: Spot, origin: &Origin) -> Self {
        Self {
            now,
            belt,
            edge_at: inputs.belt_at.map_or(now, |t| origin.time(t).min(now)),
            edges_timed: inputs.belt_at.is_some(),
            on: Contacts::NONE,
            rose: Contacts::NONE,
            fell: Contacts::NONE,
            failed: Contacts::NONE,
            belt_news: belt::News::NONE,
            at: Latches::NONE,
        }
    }

    pub(crate) const fn is(&self, c: Contact) -> bool {
        self.on.has(c)
    }

    pub(crate) const fn rising(&self, c: Contact) -> bool {
        self.rose.has(c)
    }

    pub(crate) const fn falling(&self, c: Contact) -> bool {
        self.fell.has(c)
    }

    /// Contacts with an edge in this tick.
    pub(crate) const fn edges(&self) -> Contacts {
        self.rose.or(self.fell)
    }
}
