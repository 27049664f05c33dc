//! All tests, one binary.
mod plant_belt;
mod plant_common;
mod plant_line;
mod plant_motion;
