//! Seeded fault campaigns: many runs of the real core on modelled lines, each with trouble of its own, judged at every tick.
//!
//! A run is (commit, seed, profile). The seed draws everything beforehand: machine, product, when the core is called, people, and
//! each strike of trouble with its time, length and figures ([`draws`]). Whole rooms of trouble are switched off per run, and the
//! kinds that are left have wild rates ([`trouble`]). A run has two parts ([`run()`]): trouble, with the judge's rules at every tick; then
//! quiet, in which the unit must close bottles again within a computed time by the declared script of an operator.
//!
//! What it cannot see, because the generator fixes it: see the chapter on soak in the handbook.

mod bound;
pub mod campaign;
mod clock;
pub mod dice;
pub mod draws;
mod knows;
pub mod machine;
mod people;
pub mod report;
pub mod run;
pub mod shrink;
pub mod trouble;
mod wheel;
mod words;

pub use draws::{Draws, Profile};
pub use report::{Failure, Report};
pub use run::{Tape, run, taped};

/// As [`run()`]; a panic is a failure of R16.
#[must_use]
pub fn run_caught(draws: &Draws, keep: Option<&[usize]>) -> Report {
    let caught = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| run(draws, keep)));
    caught.unwrap_or_else(|why| {
        let said = why.downcast_ref::<String>().cloned();
        let said = said.or_else(|| why.downcast_ref::<&str>().map(|s| (*s).to_owned())).unwrap_or_default();
        let mut report = Report::new(draws.seed);
        report.failure = Some(Failure { rule: 16, t_us: 0, text: format!("panicked: {said}"), last: Vec::new() });
        report
    })
}
