//! All tests, one binary.
mod plant_common;
mod plant_line;
mod plan_reference;
