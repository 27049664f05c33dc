//! Shared parts of the tests.

pub mod synthetic;
pub mod wires;
