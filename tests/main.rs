//! All tests, one binary.
mod plant_common;
mod plant_line;
mod plan_reference;
mod io_bits;
mod judge;
mod judge_job;
mod mt_speed;
mod quadrature;
mod queue_theory;
mod states;

mod firmware;
mod show;
