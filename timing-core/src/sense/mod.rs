//! From raw inputs to facts: clean edges, belt position and speed, where each actuator is.
//!
//! Nothing here decides. Every part changes only when something of its own is due (an edge, a deadline, a place), so
//! that ticks added in between change nothing.

pub(crate) mod belt;
pub(crate) mod contacts;
pub(crate) mod strokes;

use crate::io::{Contact, Contacts};
use crate::units::{Counts, Instant};
use contacts::Latches;

/// What this tick is about: the same for every stage, and never changed after sensing.
#[derive(Clone, Copy)]
pub(crate) struct Seen {
    pub(crate) now: Instant,
    pub(crate) belt: Counts,
    /// Time of the newest count edge (or of this tick, where that is not captured).
    pub(crate) edge_at: Instant,
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
    pub(crate) const fn is(&self, c: Contact) -> bool {
        self.on.has(c)
    }

    pub(crate) const fn rising(&self, c: Contact) -> bool {
        self.rose.has(c)
    }

    pub(crate) const fn falling(&self, c: Contact) -> bool {
        self.fell.has(c)
    }
}
