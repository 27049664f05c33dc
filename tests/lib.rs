//! Shared parts of the tests.

pub mod synthetic;
pub mod tables;
pub mod wires;
