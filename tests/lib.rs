//! Shared parts of the tests.

pub mod bad_input;
pub mod evidence;
pub mod figures;
pub mod fuzzed;
pub mod hazards;
pub mod in_process;
pub mod promises;
pub mod recorded;
pub mod safety_case;
pub mod synthetic;
pub mod tables;
pub mod wires;
