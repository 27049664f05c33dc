//! All tests, one binary.
mod plan_reference;
