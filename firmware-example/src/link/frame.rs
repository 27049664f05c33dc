//! Frames: a message and its check, stuffed so that a zero byte ends it and nothing else is zero.

use super::{BODY_MAX, FRAME_MAX};
use crc::{CRC_32_ISO_HDLC, Crc};

/// The check: CRC-32/ISO-HDLC.
pub const CHECK: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// What ends a frame.
pub const END: u8 = 0;

/// Writes the frame of `body` into `into`; its length, or `None` if the body is longer than [`BODY_MAX`] or `into` too short.
#[must_use]
pub fn seal(body: &[u8], into: &mut [u8]) -> Option<usize> {
    if body.len() > BODY_MAX {
        return None;
    }
    let (last, room) = into.split_last_mut()?;
    let mut encoder = cobs::CobsEncoder::new(room);
    encoder.push(body).ok()?;
    encoder.push(&CHECK.checksum(body).to_le_bytes()).ok()?;
    let n = encoder.finalize();
    if n == room.len() {
        *last = END;
    } else {
        *room.get_mut(n)? = END;
    }
    Some(n + 1)
}

/// Gathers bytes into frames.
#[derive(Clone, Debug)]
pub struct Opener {
    buffer: [u8; FRAME_MAX],
    length: usize,
    /// More came than any frame holds: all of it is dropped up to the next end.
    overrun: bool,
}

impl Default for Opener {
    fn default() -> Self {
        Self::new()
    }
}

/// What came of the bytes up to an end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Opened<'a> {
    /// A whole message.
    Body(&'a [u8]),
    /// Something was cut, corrupted, or no frame at all.
    Broken,
}

impl Opener {
    /// Nothing gathered.
    #[must_use]
    pub const fn new() -> Self {
        Self { buffer: [0; FRAME_MAX], length: 0, overrun: false }
    }

    /// Takes bytes up to the end of one frame: how many, and what was in the frame if it has ended. What is left is for the next call. Of bytes that are
    /// there, at least one is taken. Ends that follow each other are no frames.
    pub fn push(&mut self, bytes: &[u8]) -> (usize, Option<Opened<'_>>) {
        let end = bytes.iter().position(|&b| b == END);
        self.gather(bytes.get(..end.unwrap_or(bytes.len())).unwrap_or_default());
        match end {
            None => (bytes.len(), None),
            Some(end) => (end + 1, self.end()),
        }
    }

    fn gather(&mut self, bytes: &[u8]) {
        match self.buffer.get_mut(self.length..self.length + bytes.len()) {
            Some(room) => {
                room.copy_from_slice(bytes);
                self.length += bytes.len();
            }
            None => self.overrun = true,
        }
    }

    fn end(&mut self) -> Option<Opened<'_>> {
        let (length, overrun) = (self.length, self.overrun);
        (self.length, self.overrun) = (0, false);
        if overrun {
            return Some(Opened::Broken);
        }
        if length == 0 {
            return None;
        }
        Some(open(self.buffer.get_mut(..length)?).map_or(Opened::Broken, Opened::Body))
    }
}

fn open(frame: &mut [u8]) -> Option<&[u8]> {
    let n = cobs::decode_in_place(frame).ok()?;
    let (body, check) = frame.get(..n)?.split_last_chunk::<4>()?;
    (CHECK.checksum(body) == u32::from_le_bytes(*check)).then_some(body)
}
