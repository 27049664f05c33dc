//! Shared parts of the tests.

pub mod wires;
