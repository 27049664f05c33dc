//! Recordings of a rehearsal in open formats.
pub mod csv;
pub mod vcd;
