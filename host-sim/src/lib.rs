//! Modelled bottle-closing line around the control core of `timing-core`: plan, rehearse, judge, show.
pub mod cli;
pub mod facts;
pub mod job;
pub mod plant;
pub mod plan;
pub mod quantity;
pub mod judge;
pub mod record;
pub mod show;
pub mod digest;
pub mod facts;
pub mod job;
pub mod record;
pub mod trace;
pub mod verdict;
