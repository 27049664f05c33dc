//! All tests, one binary.
mod io_bits;
mod judge;
mod judge_job;
mod mt_speed;
mod plan_example;
mod plan_properties;
mod plan_reference;
mod plan_whole;
mod plant_common;
mod plant_line;
mod quadrature;
mod queue_theory;
mod states;

mod firmware;
