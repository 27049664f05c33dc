//! All tests, one binary.
