//! All tests, one binary.

mod firmware;
