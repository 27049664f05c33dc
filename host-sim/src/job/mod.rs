//! Job files: TOML that says what is bolted down, what is closed today, what to rehearse and what must come out.
//!
//! [`Job::read`] and [`Job::parse`] give a whole [`Job`] or *everything* that is wrong with it, each mistake with file, line, key
//! and a way to mend it. What the keys mean stands at the fields of [`spec`], what they take in [`keys`]. Only what contradicts
//! itself on paper is refused here; whether the station can work at the wanted speed is for the plan to say.

pub mod blank;
mod check;
mod check_measured;
mod error;
mod fill;
mod happen;
pub mod keys;
pub mod measured;
mod read;
pub mod schema;
pub mod spec;
mod table;
mod tree;

pub use error::{JobError, JobErrors, Mistake};
pub use read::Fetch;
pub use spec::Job;
pub(crate) use table::nearest;
