//! Modelled bottle-closing line around the control core of `timing-core`: plan, rehearse, judge, show.
//!
//! Data flows one way: a job file is read ([`job`]), planned ([`plan`]), rehearsed by the real core against the modelled line
//! ([`plant`]), judged by physics and by the rules ([`judge`]), and shown ([`show`], [`record`]). Beside that way lies [`link`]: a board that is
//! given the same, and compared.
//!
//! What is rehearsed here is a functional controller and never a safety device: the emergency stop, the guards and the
//! air dump stay hard-wired; lock out and vent before hands go in; local codes and licensed practice decide.

pub mod capture;
pub mod cli;
pub mod digest;
pub mod drift;
pub mod facts;
pub mod job;
pub mod judge;
pub mod link;
pub mod plan;
pub mod plant;
pub mod quantity;
pub mod record;
pub mod rehearse;
pub mod replay;
pub mod show;
pub mod soak;
pub mod survey;
pub mod trace;
pub mod verdict;
