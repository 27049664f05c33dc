//! All tests, one binary.
mod io_bits;
mod judge;
mod judge_job;
mod judge_outcome;
mod mt_speed;
mod quadrature;
mod queue_theory;
mod states;
