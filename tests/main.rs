//! All tests, one binary.
mod plant_belt;
mod plant_common;
mod plant_line;
mod plan_reference;
mod io_bits;
mod judge;
mod judge_job;
mod judge_outcome;
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
mod show;
mod plant_motion;
