//! Recordings of a rehearsal in open formats.

pub mod csv;
pub mod inputs;
pub mod rec;
pub mod ring;
pub mod vcd;
