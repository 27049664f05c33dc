//! Modelled bottle-closing line around the control core of `timing-core`: plan, rehearse, judge, show.
pub mod digest;
pub mod facts;
pub mod job;
pub mod record;
pub mod trace;
pub mod verdict;
