//! What became of each bottle, and which rules were broken: independent of the core's logic.
//!
//! The judge reads what physically happened ([`crate::facts`]), the contacts that the core was given and the orders that
//! it gave. It never asks the core what it believes, shares no code with its decisions, keeps its own copy of the state table,
//! and reckons places in floating point from the job, not from the core's set-points.
//!
//! | part | judges |
//! |---|---|
//! | [`outcome`] | one [`crate::verdict::Outcome`] a bottle, and the centring of the catch |
//! | [`rules`] | R1 … R15, tick by tick, from orders, contacts and facts |
mod counts;
mod machine;
pub mod outcome;
pub mod rules;
mod states;
mod strokes;
mod tracks;
