//! Recorded inputs: all that a core was given, so that another (on a board, say) can be given the same bits.
//!
//! The file, little-endian throughout:
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
//! Each part is in the postcard encoding (version 1) of the core's own types. A board reads the same file with its own code
//! (`firmware-example`, `recorded.rs`); the tests hold the two against each other.

use serde::{Serialize, de::DeserializeOwned};
use std::fmt;
use std::io::{self, Read, Write};
use timing_core::{Inputs, MachineProfile, Product};

/// The first bytes of a file of recorded inputs.
pub const MAGIC: [u8; 8] = *b"capinput";

/// The version of the format. A change of what the core's wires mean or how they are encoded raises it.
pub const VERSION: u16 = 1;

/// Longest part of a file, bytes; a board keeps a buffer of this size on its stack.
pub const PART_MAX: usize = 512;

/// Writes recorded inputs.
#[derive(Debug)]
pub struct InputsWriter<W> {
    out: W,
}

impl<W: Write> InputsWriter<W> {
    /// Begins a file for a station that is set up with this machine and product.
    ///
    /// # Errors
    /// When `out` cannot be written.
    pub fn new(mut out: W, machine: &MachineProfile, product: &Product) -> io::Result<Self> {
        out.write_all(&MAGIC)?;
        out.write_all(&VERSION.to_le_bytes())?;
        let mut writer = Self { out };
        writer.part(machine)?;
        writer.part(product)?;
        Ok(writer)
    }

    /// Adds the inputs of one tick.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn tick(&mut self, inputs: &Inputs) -> io::Result<()> {
        self.part(inputs)
    }

    /// Writes the end mark and gives the file back. Without this a reader says that the file was cut off.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn finish(mut self) -> io::Result<W> {
        self.out.write_all(&[0, 0])?;
        self.out.flush()?;
        Ok(self.out)
    }

    fn part(&mut self, value: &impl Serialize) -> io::Result<()> {
        let mut buffer = [0; PART_MAX];
        let bytes = postcard::to_slice(value, &mut buffer).map_err(io::Error::other)?;
        let length = u16::try_from(bytes.len()).map_err(io::Error::other)?;
        self.out.write_all(&length.to_le_bytes())?;
        self.out.write_all(bytes)
    }
}

/// Why recorded inputs cannot be read.
#[derive(Debug)]
pub enum InputsError {
    /// The file cannot be read.
    Io(io::Error),
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
}

impl fmt::Display for InputsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Io(e) => write!(f, "the file cannot be read: {e}"),
            Self::NotRecordedInputs => f.write_str("this is no file of recorded inputs"),
            Self::Version(v) => {
                write!(f, "format version {v}, but this program reads {VERSION}: record it again")
            }
            Self::CutOff => f.write_str("the file stops before its end: record it again"),
            Self::TooLong(n) => write!(f, "a part is {n} bytes long, but {PART_MAX} is the most"),
            Self::Garbled => f.write_str("a part does not decode: written by another version of the core?"),
        }
    }
}

impl std::error::Error for InputsError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Io(e) => Some(e),
            _ => None,
        }
    }
}

impl From<io::Error> for InputsError {
    fn from(e: io::Error) -> Self {
        if e.kind() == io::ErrorKind::UnexpectedEof { Self::CutOff } else { Self::Io(e) }
    }
}

/// Reads recorded inputs, one tick after the other, up to the end mark or the first error.
#[derive(Debug)]
pub struct InputsReader<R> {
    from: R,
    machine: MachineProfile,
    product: Product,
    over: bool,
}

impl<R: Read> InputsReader<R> {
    /// Reads the head of a file.
    ///
    /// # Errors
    /// When it cannot be read, or is not the head of recorded inputs.
    pub fn new(mut from: R) -> Result<Self, InputsError> {
        let mut magic = [0; MAGIC.len()];
        from.read_exact(&mut magic)?;
        if magic != MAGIC {
            return Err(InputsError::NotRecordedInputs);
        }
        let version = read_u16(&mut from)?;
        if version != VERSION {
            return Err(InputsError::Version(version));
        }
        let machine = read_part(&mut from)?.ok_or(InputsError::CutOff)?;
        let product = read_part(&mut from)?.ok_or(InputsError::CutOff)?;
        Ok(Self { from, machine, product, over: false })
    }

    /// What the station was set up with.
    #[must_use]
    pub const fn setup(&self) -> (&MachineProfile, &Product) {
        (&self.machine, &self.product)
    }
}

impl<R: Read> Iterator for InputsReader<R> {
    type Item = Result<Inputs, InputsError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.over {
            return None;
        }
        let item = read_part(&mut self.from).transpose();
        self.over = !matches!(item, Some(Ok(_)));
        item
    }
}

fn read_u16(from: &mut impl Read) -> Result<u16, InputsError> {
    let mut bytes = [0; 2];
    from.read_exact(&mut bytes)?;
    Ok(u16::from_le_bytes(bytes))
}

/// One part; `None` at the end mark.
fn read_part<T: DeserializeOwned>(from: &mut impl Read) -> Result<Option<T>, InputsError> {
    let length = read_u16(from)?;
    if length == 0 {
        return Ok(None);
    }
    let mut buffer = [0; PART_MAX];
    let part = buffer.get_mut(..usize::from(length)).ok_or(InputsError::TooLong(length))?;
    from.read_exact(part)?;
    match postcard::take_from_bytes(part) {
        Ok((value, [])) => Ok(Some(value)),
        _ => Err(InputsError::Garbled),
    }
}
