//! The board's end of a link in this process. Nothing is waited for: what has not come will not.

use firmware_example::link::{FRAME_MAX, Session};
use host_sim::link::Line;
use std::io;
use std::time::Duration;

/// A board that answers at once.
pub struct Board {
    /// Its own code.
    pub session: Box<Session>,
    /// What it has said and nobody has taken.
    pub back: Vec<u8>,
}

impl Board {
    /// A board that was just switched on.
    #[must_use]
    pub fn new() -> Self {
        Self { session: Box::new(Session::new()), back: Vec::new() }
    }
}

impl Default for Board {
    fn default() -> Self {
        Self::new()
    }
}

impl std::fmt::Debug for Board {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Board").field("back", &self.back.len()).finish_non_exhaustive()
    }
}

impl Line for Board {
    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        let mut out = [0; FRAME_MAX];
        let mut rest = bytes;
        while !rest.is_empty() {
            let (taken, answered) = self.session.push(rest, &mut out, &mut ());
            rest = &rest[taken..];
            self.back.extend(&out[..answered.unwrap_or(0)]);
        }
        Ok(())
    }

    fn receive(&mut self, into: &mut Vec<u8>, _: Duration) -> io::Result<bool> {
        let came = !self.back.is_empty();
        into.append(&mut self.back);
        Ok(came)
    }
}
