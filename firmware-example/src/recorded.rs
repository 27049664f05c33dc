//! Recorded inputs, read on a board: so that the same core can be fed the same bits everywhere.
//!
//! The file, little-endian throughout; written on the host by `host_sim::record::inputs`:
//!
//! | bytes | what |
//! |---|---|
//! | 8 | the letters `capinput` |
//! | 2 | version of the format, [`VERSION`] |
//! | 2 + n | length and machine profile |
//! | 2 + n | length and product |
//! | 2 + n, again and again | length and inputs of one tick |
//! | 2 | zero: the end. A file that stops before it was cut off |
//!
//! Each part is in the postcard encoding (version 1) of the core's own types.

use core::fmt;
use serde::de::DeserializeOwned;
use timing_core::{Digest, Inputs, MachineProfile, Outputs, Product, Station};

use crate::Board;

/// The first bytes of a file of recorded inputs.
pub const MAGIC: [u8; 8] = *b"capinput";

/// The version of the format that is read here.
pub const VERSION: u16 = 1;

/// Longest part of a file, bytes.
pub const PART_MAX: usize = 512;

/// Where bytes come from.
pub trait Source {
    /// Reads some bytes, at most as many as fit; 0 at the end.
    ///
    /// # Errors
    /// When the source cannot be read.
    fn read(&mut self, into: &mut [u8]) -> Result<usize, SourceFailed>;
}

impl<S: Source> Source for &mut S {
    fn read(&mut self, into: &mut [u8]) -> Result<usize, SourceFailed> {
        (**self).read(into)
    }
}

/// A source cannot be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SourceFailed;

impl Source for &[u8] {
    fn read(&mut self, into: &mut [u8]) -> Result<usize, SourceFailed> {
        let n = self.len().min(into.len());
        let (now, later) = self.split_at(n);
        into[..n].copy_from_slice(now);
        *self = later;
        Ok(n)
    }
}

/// Why recorded inputs cannot be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ReadError {
    /// The source cannot be read.
    Source,
    /// The file does not begin as recorded inputs do.
    NotRecordedInputs,
    /// The file is of another version of the format.
    Version(u16),
    /// The file stops before its end.
    CutOff,
    /// A part is longer than [`PART_MAX`].
    TooLong(u16),
    /// A part does not decode to what must stand there.
    Garbled,
    /// The machine profile breaks a rule of the core.
    Machine(timing_core::MachineError),
    /// The product breaks a rule of the core.
    Product(timing_core::ProductError),
}

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Source => f.write_str("the file cannot be read"),
            Self::NotRecordedInputs => f.write_str("this is no file of recorded inputs"),
            Self::Version(v) => write!(f, "format version {v}, but this program reads {VERSION}: record it again"),
            Self::CutOff => f.write_str("the file stops before its end: record it again"),
            Self::TooLong(n) => write!(f, "a part is {n} bytes long, but {PART_MAX} is the most"),
            Self::Garbled => f.write_str("a part does not decode: written by another version of the core?"),
            Self::Machine(e) => write!(f, "machine profile: {}", e.words()),
            Self::Product(e) => write!(f, "product: {}", e.words()),
        }
    }
}

impl From<SourceFailed> for ReadError {
    fn from(_: SourceFailed) -> Self {
        Self::Source
    }
}

/// A board whose wires are a recording and whose coils are a digest.
pub struct RecordedBoard<S> {
    source: S,
    digest: Digest,
}

impl<S: Source> RecordedBoard<S> {
    /// Reads the head of a file and sets up the station that it was recorded with.
    ///
    /// # Errors
    /// When the head cannot be read, or does not make a station.
    pub fn open(mut source: S) -> Result<(Self, Station), ReadError> {
        let mut magic = [0; MAGIC.len()];
        fill(&mut source, &mut magic)?;
        if magic != MAGIC {
            return Err(ReadError::NotRecordedInputs);
        }
        let version = read_u16(&mut source)?;
        if version != VERSION {
            return Err(ReadError::Version(version));
        }
        let profile: MachineProfile = read_part(&mut source)?.ok_or(ReadError::CutOff)?;
        let product: Product = read_part(&mut source)?.ok_or(ReadError::CutOff)?;
        let machine = timing_core::Machine::new(&profile).map_err(ReadError::Machine)?;
        let setpoints = timing_core::Setpoints::new(&product, &machine).map_err(ReadError::Product)?;
        let digest = Digest::new();
        Ok((Self { source, digest }, Station::new(machine, setpoints)))
    }

    /// The fingerprint of the outputs so far.
    pub fn digest(&self) -> &Digest {
        &self.digest
    }
}

impl<S: Source> Board for RecordedBoard<S> {
    type Error = ReadError;

    fn sense(&mut self) -> Result<Option<Inputs>, ReadError> {
        read_part(&mut self.source)
    }

    fn obey(&mut self, inputs: &Inputs, out: &Outputs<'_>) -> Result<(), ReadError> {
        self.digest.tick(inputs.now, out);
        Ok(())
    }

    /// There is nothing to put off: no coil hangs on a recording.
    fn all_off(&mut self) {}
}

fn fill(source: &mut impl Source, into: &mut [u8]) -> Result<(), ReadError> {
    let mut done = 0;
    // Each turn reads at least one byte, or leaves.
    while done < into.len() {
        match source.read(&mut into[done..])? {
            0 => return Err(ReadError::CutOff),
            n => done += n,
        }
    }
    Ok(())
}

fn read_u16(source: &mut impl Source) -> Result<u16, ReadError> {
    let mut bytes = [0; 2];
    fill(source, &mut bytes)?;
    Ok(u16::from_le_bytes(bytes))
}

/// One part; `None` at the end mark.
fn read_part<T: DeserializeOwned>(source: &mut impl Source) -> Result<Option<T>, ReadError> {
    let length = read_u16(source)?;
    if length == 0 {
        return Ok(None);
    }
    let mut bytes = [0; PART_MAX];
    let part = bytes.get_mut(..usize::from(length)).ok_or(ReadError::TooLong(length))?;
    fill(source, part)?;
    match postcard::take_from_bytes(part) {
        Ok((value, [])) => Ok(Some(value)),
        _ => Err(ReadError::Garbled),
    }
}
