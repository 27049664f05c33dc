//! Firmware in the loop: a board ticks through what a rehearsal gave the core, and every output is compared with the core's here.
//!
//! The desk's own core decides what comes next, so that a batch of ticks may be under way while the last is still being answered: the link's
//! delay does not count. What is compared is all that a tick says, to the bit: orders, set-points, unit state, mode, wake, every event.
//!
//! The parts: [`Line`] carries bytes ([`emulator`], [`port`], and in the tests a board in the same process), [`faulty`] spoils them on purpose, [`desk`] numbers,
//! repeats and compares. Frames and messages are those of `firmware_example::link`.

pub mod desk;
pub mod emulator;
pub mod faulty;
pub mod port;

pub use desk::{Difference, Lockstep, Told, lockstep};

use firmware_example::link::{FRAME_MAX, WINDOW};
use std::fmt;
use std::io;
use std::time::Duration;

/// Carries bytes to a board and back.
pub trait Line {
    /// Sends all of `bytes`: one frame, with its end.
    ///
    /// # Errors
    /// When the line is gone.
    fn send(&mut self, bytes: &[u8]) -> io::Result<()>;

    /// Adds to `into` what has come, waiting up to `patience` for the first byte; whether anything came.
    ///
    /// # Errors
    /// When the line is gone, or the board has ended.
    fn receive(&mut self, into: &mut Vec<u8>, patience: Duration) -> io::Result<bool>;

    /// How long an answer may take on this line before it counts as lost. A slow one must say more than the usual quarter of a second: whoever asks again
    /// while the answer is on its way only fills the line.
    fn patience(&self) -> Duration {
        PATIENCE
    }
}

/// How long the desk waits for an answer before it asks again, where the line itself takes no time.
pub const PATIENCE: Duration = Duration::from_millis(250);

/// The same on a line that carries so many bits a second, ten to a byte: longer by the time that a full window takes there and back.
#[must_use]
pub fn patience_at(baud: u32) -> Duration {
    let bits = 2 * 10 * WINDOW as u64 * FRAME_MAX as u64;
    PATIENCE + Duration::from_millis(bits * 1_000 / u64::from(baud.max(1)))
}

/// Why a link came to an end before all was compared.
#[derive(Debug)]
pub enum LinkError {
    /// The line is gone.
    Line(io::Error),
    /// The board does not answer, or what comes is never whole: what was asked, how often.
    NoAnswer(&'static str, u32),
    /// The board speaks another version.
    Version(u16),
    /// The board refuses machine or product although the core here takes them.
    Refused,
    /// The board says that it was set up with something else.
    OtherSetup {
        /// Hashes of machine and product as sent.
        sent: (u32, u32),
        /// And as the board has them.
        board: (u32, u32),
    },
    /// The board has started anew and lost its station: at this batch.
    StartedAnew(u32),
    /// One tick's inputs or answer find no room in a message: a fault of this program.
    TooLong,
}

impl fmt::Display for LinkError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Line(e) => write!(f, "the line to the board is gone: {e}"),
            Self::NoAnswer(what, n) => write!(
                f,
                "the board gives no whole answer to {what}, asked {n} times: is it running this project's firmware, at this speed, and is nobody else on \
                 the port?"
            ),
            Self::Version(v) => write!(
                f,
                "the board speaks version {v} of the link, this program {}: build firmware and command from one commit",
                firmware_example::link::VERSION
            ),
            Self::Refused => f.write_str(
                "the board refuses machine or product that the core here takes: build firmware and command from one commit",
            ),
            Self::OtherSetup { sent, board } => write!(
                f,
                "the board was set up with something else: machine {:08x} and product {:08x} were sent, it has {:08x} and {:08x}",
                sent.0, sent.1, board.0, board.1
            ),
            Self::StartedAnew(batch) => {
                write!(f, "the board started anew at batch {batch} and lost its place: look for a reset or a watchdog")
            }
            Self::TooLong => f.write_str("a tick finds no room in a message of the link"),
        }
    }
}

impl std::error::Error for LinkError {}

impl From<io::Error> for LinkError {
    fn from(e: io::Error) -> Self {
        Self::Line(e)
    }
}
