//! What a board's recorder kept ([`timing_core::record::Recorder`]), back on the desk: a station to start from, and entries.

use super::rec::{Told, decode};
use firmware_example::recorder::pieces;
use timing_core::Station;

/// One half of a ring.
#[derive(Clone, Debug)]
pub struct Half {
    /// The station before the first entry; `None` = at power-up.
    pub from: Option<Box<Station>>,
    /// Its entries.
    pub told: Vec<Told>,
}

/// Why a half cannot be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RingError {
    /// It is shorter than it says.
    Short,
    /// Its snapshot is none of this version's.
    Snapshot,
    /// Its entries are not whole.
    Entries,
}

impl std::fmt::Display for RingError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Short => "the recording is shorter than it says: drain it again",
            Self::Snapshot => {
                "its snapshot cannot be read: use the version of this program that the board's firmware was built with"
            }
            Self::Entries => "its entries are not whole: drain it again, with the recorder frozen",
        })
    }
}

impl std::error::Error for RingError {}

/// Reads a half, as [`timing_core::record::Recorder::halves`] gives it. The snapshot is in postcard's format.
///
/// # Errors
/// When it is not whole, or of another version.
pub fn half(bytes: &[u8]) -> Result<Half, RingError> {
    let (length, rest) = bytes.split_first_chunk::<2>().ok_or(RingError::Short)?;
    let length = usize::from(u16::from_le_bytes(*length));
    let (snapshot, entries) = rest.split_at_checked(length).ok_or(RingError::Short)?;
    let from = match length {
        0 => None,
        _ => Some(Box::new(postcard::from_bytes(snapshot).map_err(|_| RingError::Snapshot)?)),
    };
    Ok(Half { from, told: decode(entries).ok_or(RingError::Entries)? })
}

/// Both halves, the older first, from the frames that a board sent of them ([`firmware_example::recorder::Drain`]).
///
/// # Errors
/// [`RingError::Short`] when a frame is missing or broken.
pub fn drained(frames: &[u8]) -> Result<[Vec<u8>; 2], RingError> {
    let mut halves = [Vec::new(), Vec::new()];
    let (mut whole, mut due) = (true, [0; 2]);
    let broken = pieces(frames, |piece, bytes| {
        let i = usize::from(piece.half & 1);
        whole &= piece.half < 2 && piece.from as usize == halves[i].len();
        due[i] = piece.of as usize;
        halves[i].extend_from_slice(bytes);
    });
    whole &= broken == 0 && halves.iter().zip(due).all(|(h, due)| h.len() == due);
    if whole && !halves[1].is_empty() { Ok(halves) } else { Err(RingError::Short) }
}
