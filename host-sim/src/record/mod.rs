//! Recordings of a rehearsal in open formats.
pub mod inputs;
