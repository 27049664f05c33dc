//! All tests, one binary.

mod firmware;
mod io_bits;
mod job_errors;
mod job_files;
mod jobs;
mod judge;
mod judge_job;
mod judge_outcome;
mod mt_speed;
mod output_files;
mod plan_example;
mod plan_properties;
mod plan_reference;
mod plan_whole;
mod plant_belt;
mod plant_common;
mod plant_faults;
mod plant_line;
mod plant_motion;
mod plant_oracle;
mod quadrature;
mod quantities;
mod queue_theory;
mod run_verb;
mod show;
mod states;
