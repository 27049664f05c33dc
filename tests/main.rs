//! All tests, one binary.
mod io_bits;
mod mt_speed;
mod quadrature;
mod queue_theory;
mod states;
