//! From raw inputs to facts: clean edges, belt position and speed, where each actuator is.
//!
//! Nothing here decides. Every part changes only when something of its own is due (an edge, a deadline, a place), so
//! that ticks added in between change nothing.

pub(crate) mod belt;
pub(crate) mod contacts;
pub(crate) mod strokes;

use crate::io::{Contact, Contacts, Inputs};
use crate::local::{Origin, Span, Spot, Time};
use crate::machine::Machine;
use contacts::Latches;

/// What is sensed from.
#[derive(Clone, Copy)]
pub(crate) struct From<'a> {
    pub(crate) inputs: &'a Inputs,
    pub(crate) origin: &'a Origin,
    pub(crate) m: &'a Machine,
}

impl From<'_> {
    /// Time of the newest count edge, or of this tick, where that is not captured.
    pub(crate) fn edge_at(&self, now: Time) -> Time {
        self.inputs.belt_at.map_or(now, |t| self.origin.time(t).min(now))
    }

    /// Whether count edges are timed.
    pub(crate) const fn edges_are_timed(&self) -> bool {
        self.inputs.belt_at.is_some()
    }
}

/// What this tick is about: the same for every stage, and never changed after sensing.
// What begins as nothing lies apart, or a call would be made to clear it.
#[repr(C)]
pub(crate) struct Seen {
    pub(crate) belt_news: belt::News,
    /// More than the sample gap allows has passed since the last tick, or time went backwards.
    pub(crate) gap: bool,
    pub(crate) now: Time,
    pub(crate) rose: Contacts,
    pub(crate) belt: Spot,
    pub(crate) fell: Contacts,
    /// How long after the wake that was asked for.
    pub(crate) late: Span,
    /// Inputs that have been unreadable for longer than their patience.
    pub(crate) failed: Contacts,
    /// Filtered contacts.
    pub(crate) on: Contacts,
    /// Where the eyes' edges of this tick were first seen raw.
    pub(crate) at: Latches,
}

impl Seen {
    /// No edges and no news yet, and contacts as they were.
    pub(crate) const fn new(now: Time, belt: Spot, late: Span, gap: bool, on: Contacts) -> Self {
        Self {
            belt_news: belt::News::NONE,
            gap,
            now,
            rose: Contacts::NONE,
            belt,
            fell: Contacts::NONE,
            late,
            failed: Contacts::NONE,
            on,
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
