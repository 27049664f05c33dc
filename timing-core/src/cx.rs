//! What every stage of a tick is given.

use crate::event::Why;
use crate::machine::Machine;
use crate::product::Setpoints;
use crate::sense::{From, Seen};
use crate::tally::{Book, Tell};

/// What was sensed, the validated tables, and where to write to.
pub(crate) struct Cx<'a> {
    pub(crate) seen: Seen,
    pub(crate) m: &'a Machine,
    pub(crate) s: &'a Setpoints,
    pub(crate) book: &'a mut Book,
    pub(crate) tell: Tell<'a>,
    pub(crate) from: From<'a>,
}

impl Cx<'_> {
    /// One bottle ends.
    pub(crate) fn count(&mut self, why: Why, serial: u32) {
        self.book.count(why, serial, self.from.origin.instant(self.seen.now), &mut self.tell);
    }
}
