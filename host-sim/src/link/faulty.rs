//! A line that spoils frames on purpose, both ways, as a seed says: lost, cut, doubled, a bit turned over.

use super::Line;
use rand_pcg::Pcg64;
use rand_pcg::rand_core::{Rng, SeedableRng};
use std::io;
use std::time::Duration;

/// One frame in so many is spoilt, each way.
pub const ONE_IN: u64 = 50;

/// What was done to frames.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Spoilt {
    /// Not carried at all.
    pub lost: u64,
    /// Their end not carried.
    pub cut: u64,
    /// Carried twice.
    pub doubled: u64,
    /// A bit turned over.
    pub corrupted: u64,
}

impl Spoilt {
    /// All of them.
    #[must_use]
    pub const fn all(&self) -> u64 {
        self.lost + self.cut + self.doubled + self.corrupted
    }
}

/// A line between.
pub struct Faulty<L> {
    line: L,
    draw: Pcg64,
    one_in: u64,
    /// What came and is not yet a whole frame.
    part: Vec<u8>,
    /// What was spoilt so far.
    pub spoilt: Spoilt,
}

impl<L: Line> Faulty<L> {
    /// Around `line`; one frame in `one_in` is spoilt.
    pub fn new(line: L, seed: u64, one_in: u64) -> Self {
        Self {
            line,
            draw: Pcg64::seed_from_u64(seed),
            one_in: one_in.max(1),
            part: Vec::new(),
            spoilt: Spoilt::default(),
        }
    }

    fn spoil(&mut self, frame: &[u8], out: &mut Vec<u8>) {
        if !self.draw.next_u64().is_multiple_of(self.one_in) {
            out.extend(frame);
            return;
        }
        let at = (self.draw.next_u64() % frame.len().max(1) as u64) as usize;
        match self.draw.next_u64() % 4 {
            0 => self.spoilt.lost += 1,
            1 => {
                self.spoilt.cut += 1;
                out.extend(&frame[..at]);
            }
            2 => {
                self.spoilt.doubled += 1;
                out.extend(frame);
                out.extend(frame);
            }
            _ => {
                self.spoilt.corrupted += 1;
                let from = out.len();
                out.extend(frame);
                out[from + at] ^= 1 << (self.draw.next_u64() % 8);
            }
        }
    }
}

impl<L: Line> Line for Faulty<L> {
    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        let mut out = Vec::with_capacity(2 * bytes.len());
        self.spoil(bytes, &mut out);
        self.line.send(&out)
    }

    fn receive(&mut self, into: &mut Vec<u8>, patience: Duration) -> io::Result<bool> {
        let mut came = Vec::new();
        if !self.line.receive(&mut came, patience)? {
            return Ok(false);
        }
        for byte in came {
            self.part.push(byte);
            if byte == firmware_example::link::frame::END {
                let frame = std::mem::take(&mut self.part);
                self.spoil(&frame, into);
            }
        }
        Ok(true)
    }

    fn patience(&self) -> Duration {
        self.line.patience()
    }
}
