//! What a rehearsal says, as files and text: pure functions from [`crate::verdict::RunResult`] or [`crate::trace::Trace`]
//! to a `String`. Writing is the caller's.
//!
//! Nothing here carries a date, a path or a random number: the same run gives the same bytes.
mod bands;
mod flags;
pub mod json;
pub mod junit;
pub mod lanes;
mod marks;
mod page;
mod paths;
pub mod report;
pub mod setup;
pub mod sketch;
pub mod span;
mod svg;
pub mod terminal;
pub mod timing;
pub mod travel;
pub mod words;

pub use span::{Panel, Span, View};
