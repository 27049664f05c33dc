//! The link: a desk and a board run the same ticks, and the desk compares every output.
//!
//! The desk sends inputs, the board ticks its own station and answers with all that came out. Bytes travel in frames that are checked
//! and numbered, so that a lost, cut, doubled or corrupted one is noticed and sent again; the board ticks each numbered batch once and
//! answers a repeated one with what it answered before.
//!
//! | layer | what |
//! |---|---|
//! | message | [`message`]: postcard (version 1 of its wire format) |
//! | check | CRC-32 as in Ethernet and zip (CRC-32/ISO-HDLC of the catalogue of parametrised CRC algorithms), 4 bytes, little-endian |
//! | frame | consistent overhead byte stuffing (S. Cheshire and M. Baker, 1999), ended by a zero byte |
//!
//! A link carries no safety: a board that hears nothing takes the safe vector by itself ([`Session::silent`]), and what must never fail
//! stays hard-wired. Prove a link with the outputs unplugged.

pub mod frame;
pub mod message;
pub mod near;
mod session;

pub use session::{Around, Session, Wire, WireFailed, serve};

/// The version of frames and messages. Desk and board must speak the same.
pub const VERSION: u16 = 1;

/// Longest message, bytes.
pub const BODY_MAX: usize = 720;

/// Longest frame on the wire: message, check, stuffing, end.
pub const FRAME_MAX: usize = BODY_MAX + 4 + BODY_MAX / 254 + 2 + 1;

/// Batches that a desk may have on their way at a time; a board keeps its answers to as many.
pub const WINDOW: usize = 4;
