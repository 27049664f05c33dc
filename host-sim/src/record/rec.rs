//! `run.rec`: a recording from power-up, in frames, so that a file that was cut or spoilt still gives everything before.
//!
//! The file begins with the letters `caprec` and the version of the format (2 bytes). Then come frames; numbers are
//! little-endian:
//!
//! | bytes | what |
//! |---|---|
//! | 2 | `C5 5C` |
//! | 1 | kind: `S` set-up, `C` changes, `E` end |
//! | 4 | length of the content, n |
//! | 4 | CRC-32 (ISO-HDLC, as zip has it) of kind, length and content |
//! | n | the content |
//!
//! `S`: JSON, `{"machine": …, "product": …}`, what the station was set up with. `C`: whole entries ([`timing_core::record`]), told
//! against the entry before, over the frames. `E`: JSON, `{"ticks": …, "digest": "…"}`, of entries and the run; a file without it was
//! cut off.

mod decode;
mod replay;

pub use decode::{Told, decode};
pub(crate) use replay::station;
pub use replay::{Difference, Replayed, replay, replay_with};

use serde::{Deserialize, Serialize};
use std::fmt;
use timing_core::record::Coder;
use timing_core::{Digest, Inputs, MachineProfile, Outputs, Product};

/// The first bytes of a recording.
pub const MAGIC: [u8; 6] = *b"caprec";
/// The version of the format.
pub const VERSION: u16 = 1;
const SYNC: [u8; 2] = [0xc5, 0x5c];
const HEAD: usize = 11;
/// Content of a frame of changes, bytes, from which on the next begins.
const FRAME: usize = 4096;

/// What a recorded station was set up with.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Setup {
    /// The machine.
    pub machine: MachineProfile,
    /// The product.
    pub product: Product,
}

/// What stands at the end of a whole recording.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct End {
    /// Entries.
    pub ticks: u64,
    /// [`Digest::digest`] of the run, 16 hexadecimal digits.
    pub digest: String,
}

/// Writes a recording into memory.
#[derive(Debug)]
pub struct Writer {
    file: Vec<u8>,
    frame: Vec<u8>,
    coder: Coder,
    digest: Digest,
    ticks: u64,
}

impl Writer {
    /// Begins the recording of a station at power-up.
    #[must_use]
    pub fn new(machine: &MachineProfile, product: &Product) -> Self {
        let mut file = MAGIC.to_vec();
        file.extend(VERSION.to_le_bytes());
        let setup = Setup { machine: *machine, product: *product };
        frame(&mut file, b'S', &serde_json::to_vec(&setup).unwrap_or_default());
        Self { file, frame: Vec::with_capacity(2 * FRAME), coder: Coder::new(), digest: Digest::new(), ticks: 0 }
    }

    /// Takes in one tick.
    pub fn tick(&mut self, inputs: &Inputs, out: &Outputs<'_>) {
        self.digest.tick(inputs.now, out);
        let entry = self.coder.tick(inputs, out);
        self.ticks += u64::from(entry.entries());
        self.frame.extend_from_slice(entry.bytes());
        if self.frame.len() >= FRAME {
            frame(&mut self.file, b'C', &self.frame);
            self.frame.clear();
        }
    }

    /// The whole file.
    #[must_use]
    pub fn finish(mut self) -> Vec<u8> {
        if !self.frame.is_empty() {
            frame(&mut self.file, b'C', &self.frame);
        }
        let end = End { ticks: self.ticks, digest: crate::digest::hex(self.digest.digest()) };
        frame(&mut self.file, b'E', &serde_json::to_vec(&end).unwrap_or_default());
        self.file
    }
}

fn crc(kind: u8, content: &[u8]) -> [u8; 4] {
    let mut crc = crc32fast::Hasher::new();
    crc.update(&[kind]);
    crc.update(&u32::try_from(content.len()).unwrap_or(u32::MAX).to_le_bytes());
    crc.update(content);
    crc.finalize().to_le_bytes()
}

fn frame(file: &mut Vec<u8>, kind: u8, content: &[u8]) {
    file.extend(SYNC);
    file.push(kind);
    file.extend(u32::try_from(content.len()).unwrap_or(u32::MAX).to_le_bytes());
    file.extend(crc(kind, content));
    file.extend(content);
}

/// Why nothing can be read from a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum RecError {
    /// It does not begin as a recording does.
    NoRecording,
    /// It is of another version of the format.
    Version(u16),
    /// It was cut or spoilt before the end of the set-up.
    NoSetup,
}

impl fmt::Display for RecError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoRecording => f.write_str("this is no recording: it does not begin with the letters \"caprec\""),
            Self::Version(v) => {
                write!(f, "format version {v}, but this program reads {VERSION}: use the version that recorded it")
            }
            Self::NoSetup => f.write_str("cut or spoilt before the end of its set-up: nothing can be read from it"),
        }
    }
}

impl std::error::Error for RecError {}

/// Where a file is spoilt or ends too early.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Damage {
    /// Byte of the file where the first frame begins that cannot be read.
    pub byte: usize,
    /// Time of the last entry before, µs.
    pub time_us: u64,
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let s = self.time_us as f64 * 1e-6;
        write!(f, "cut or spoilt from byte {} on: everything up to {s:.6} s is there", self.byte)
    }
}

/// What was read.
#[derive(Clone, Debug)]
pub struct Recording {
    /// What the station was set up with.
    pub setup: Setup,
    /// Every tick that mattered.
    pub told: Vec<Told>,
    /// The end; `None` if there is damage before.
    pub end: Option<End>,
    /// The first damage.
    pub damage: Option<Damage>,
}

/// Reads a recording, up to its end or its first damage.
///
/// # Errors
/// When nothing can be read from it.
pub fn read(file: &[u8]) -> Result<Recording, RecError> {
    let (Some(magic), Some(version)) = (file.get(..6), file.get(6..8)) else { return Err(RecError::NoRecording) };
    if magic != MAGIC {
        return Err(RecError::NoRecording);
    }
    let version = u16::from_le_bytes([version[0], version[1]]);
    if version != VERSION {
        return Err(RecError::Version(version));
    }
    let mut at = 8;
    let Some((b'S', content)) = next(file, at) else { return Err(RecError::NoSetup) };
    let setup = serde_json::from_slice(content).map_err(|_| RecError::NoSetup)?;
    at += HEAD + content.len();
    let mut recording = Recording { setup, told: Vec::new(), end: None, damage: None };
    let mut decoder = decode::Decoder::default();
    loop {
        let whole = match next(file, at) {
            Some((b'C', content)) => {
                let whole = decoder.all(content, &mut recording.told);
                at += if whole { HEAD + content.len() } else { 0 };
                whole
            }
            Some((b'E', content)) => {
                recording.end = serde_json::from_slice(content).ok();
                at += HEAD + content.len();
                let whole = at == file.len();
                if recording.end.is_some() && whole {
                    return Ok(recording);
                }
                false
            }
            _ => false,
        };
        if !whole {
            let time_us = recording.told.last().map_or(0, |t| t.inputs.now.as_micros());
            recording.damage = Some(Damage { byte: at, time_us });
            return Ok(recording);
        }
    }
}

/// The frame at `at`, if it is whole and sound.
fn next(file: &[u8], at: usize) -> Option<(u8, &[u8])> {
    let head = file.get(at..at.checked_add(HEAD)?)?;
    let length = u32::from_le_bytes(head.get(3..7)?.try_into().ok()?);
    let from = at + HEAD;
    let content = file.get(from..from.checked_add(usize::try_from(length).ok()?)?)?;
    (head[..2] == SYNC && head[7..] == crc(head[2], content)).then_some((head[2], content))
}
