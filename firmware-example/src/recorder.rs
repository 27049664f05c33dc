//! A recorder on a board: the loop with it, and how what it keeps is sent away between ticks.
//!
//! Each frame of a drain is sealed as those of the [link](crate::link) are: a [`Piece`] in postcard's encoding, and the bytes that it announces. Nothing is
//! asked for and nothing acknowledged: a desk that missed a frame asks for the drain again. A frame costs a bounded time, and one is sent only
//! where the board has nothing to tick.

use crate::Board;
use crate::link::frame::{Opened, Opener, seal};
use crate::link::message::{Pen, read};
use crate::link::{BODY_MAX, FRAME_MAX};
use serde::{Deserialize, Serialize};
use timing_core::Station;
use timing_core::record::Recorder;

/// Bytes of the recorder in one frame at most: what a message holds, less the longest head.
pub const PIECE_MAX: usize = BODY_MAX - 12;

/// Head of a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Piece {
    /// The older half (0) or the newer (1).
    pub half: u8,
    /// Place of the first byte in it.
    pub from: u32,
    /// Bytes of that half in all.
    pub of: u32,
}

/// Writes a snapshot as a desk reads it; `None` if it found no room.
pub fn save(station: &Station, into: &mut [u8]) -> Option<usize> {
    postcard::to_slice(station, into).ok().map(|used| used.len())
}

/// [`crate::run`] with a recorder beside the station.
///
/// # Errors
/// What the board gave; every output is off by then.
pub fn run<B: Board, const HALF: usize>(
    station: &mut Station,
    board: &mut B,
    recorder: &mut Recorder<HALF>,
) -> Result<(), B::Error> {
    board.all_off();
    let end = turn(station, board, recorder);
    board.all_off();
    end
}

fn turn<B: Board, const HALF: usize>(
    station: &mut Station,
    board: &mut B,
    recorder: &mut Recorder<HALF>,
) -> Result<(), B::Error> {
    while let Some(inputs) = board.sense()? {
        recorder.before(station, save);
        let out = station.tick(&inputs);
        // The coils first: what is kept may come a moment later.
        board.obey(&inputs, &out)?;
        recorder.after(&inputs, &out);
    }
    Ok(())
}

/// Sends what a frozen recorder keeps, a frame at a time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Drain {
    half: usize,
    from: usize,
}

impl Drain {
    /// The next frame into `into`: its length, or `None` when all was sent.
    pub fn frame<const HALF: usize>(&mut self, recorder: &Recorder<HALF>, into: &mut [u8; FRAME_MAX]) -> Option<usize> {
        let halves = recorder.halves();
        while self.from >= halves.get(self.half)?.len() {
            (self.half, self.from) = (self.half + 1, 0);
        }
        let half = halves.get(self.half)?;
        let rest = half.get(self.from..)?;
        let bytes = rest.get(..rest.len().min(PIECE_MAX))?;
        let number = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        let piece = Piece { half: self.half as u8, from: number(self.from), of: number(half.len()) };
        let mut body = [0; BODY_MAX];
        let mut pen = Pen::new(&mut body);
        let written = pen.write(&piece);
        let head = pen.used();
        let used = head + bytes.len();
        body.get_mut(head..used)?.copy_from_slice(bytes);
        self.from += bytes.len();
        written.then(|| seal(body.get(..used)?, into)).flatten()
    }
}

/// Reads the frames of a drain: shows each whole piece with its bytes to `take`; how many frames were broken.
pub fn pieces(mut bytes: &[u8], mut take: impl FnMut(Piece, &[u8])) -> u32 {
    let (mut opener, mut broken) = (Opener::new(), 0);
    while !bytes.is_empty() {
        let (taken, opened) = opener.push(bytes);
        bytes = bytes.get(taken..).unwrap_or_default();
        match opened {
            None => {}
            Some(Opened::Body(mut body)) => match read::<Piece>(&mut body) {
                Some(piece) => take(piece, body),
                None => broken += 1,
            },
            Some(Opened::Broken) => broken += 1,
        }
    }
    broken
}
