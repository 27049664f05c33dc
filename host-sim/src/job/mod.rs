//! Job files.
pub mod spec;
