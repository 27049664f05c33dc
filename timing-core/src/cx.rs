//! What every stage of a tick is given.

use crate::machine::Machine;
use crate::product::Setpoints;
use crate::sense::Seen;
use crate::tally::{Book, Tell};

/// What was sensed, the validated tables, and where to write to.
pub(crate) struct Cx<'a, 't> {
    pub(crate) seen: &'a Seen,
    pub(crate) m: &'a Machine,
    pub(crate) s: &'a Setpoints,
    pub(crate) book: &'a mut Book,
    pub(crate) tell: &'a mut Tell<'t>,
}
