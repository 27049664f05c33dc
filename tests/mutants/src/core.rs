//! The tests of `tests/` that need nothing but the core: what tells a mutant that recorded inputs do not.
#![allow(dead_code, reason = "parts of a test bench that only other tests use")]

// The modules know what they share by the name of the package that they live in.
extern crate mutants as tests;

#[path = "../../bench.rs"]
mod bench;
#[path = "../../cases.rs"]
mod cases;
#[path = "../../filter.rs"]
mod filter;
#[path = "../../hal_pins.rs"]
mod hal_pins;
#[path = "../../io_bits.rs"]
mod io_bits;
#[path = "../../refused_tables.rs"]
mod refused_tables;
#[path = "../../rules_course.rs"]
mod rules_course;
#[path = "../../rules_interlocks.rs"]
mod rules_interlocks;
#[path = "../../states.rs"]
mod states;
