//! What is fuzzed: for each way in, one function that takes any bytes at all, and panics if something is not as it must be.
//!
//! The fuzzer (`tests/fuzz`, nightly only) calls them with bytes of its own making; `tests/fuzz_kept.rs` calls them, in every test run, with
//! what is kept in the repository: the seeds, the fuzzer's minimised corpus, and whatever once failed.

mod capture;
mod core;
mod flash;
mod job;
mod link;
mod record;
mod recording;
pub mod seeds;

pub use capture::capture;
pub use core::{Seen, core, core_seen};
pub use flash::flash;
pub use job::job;
pub use link::{board, desk};
pub use record::record;
pub use recording::recording;

/// A target: its name, which is that of its folders too, and its function.
pub type Target = (&'static str, fn(&[u8]));

/// All of them.
pub const TARGETS: [Target; 8] = [
    ("job", job),
    ("record", record),
    ("flash", flash),
    ("board", board),
    ("desk", desk),
    ("core", core),
    ("capture", capture),
    ("recording", recording),
];

/// Takes bytes off the front; zeros after the end, so that every input means something.
struct Take<'a>(&'a [u8]);

impl<'a> Take<'a> {
    fn is_over(&self) -> bool {
        self.0.is_empty()
    }

    fn bytes<const N: usize>(&mut self) -> [u8; N] {
        let mut out = [0; N];
        for b in &mut out {
            *b = self.u8();
        }
        out
    }

    fn u8(&mut self) -> u8 {
        match self.0.split_first() {
            Some((&b, rest)) => {
                self.0 = rest;
                b
            }
            None => 0,
        }
    }

    fn u16(&mut self) -> u16 {
        u16::from_le_bytes(self.bytes())
    }

    fn u32(&mut self) -> u32 {
        u32::from_le_bytes(self.bytes())
    }

    fn u64(&mut self) -> u64 {
        u64::from_le_bytes(self.bytes())
    }

    /// At most `n` bytes.
    fn part(&mut self, n: usize) -> &'a [u8] {
        let (part, rest) = self.0.split_at(n.min(self.0.len()));
        self.0 = rest;
        part
    }
}
