//! The parts of a firmware that no board changes: the loop around the core, reading recorded inputs, and the board's end of a link.
//!
//! A board is a [`Board`]: it senses wires and drives coils. [`run`] does the rest, and puts every output off whenever it
//! ends, for whatever reason. The loop is the same on an emulated board, on a real one and in the tests on the host.
//!
//! **This is an example of a functional controller, not of a safety device.** Emergency stop, guards and the air dump valve
//! are wired around the controller, not through it. Lock out and vent before hands go in; local codes and licensed practice
//! decide what a machine needs.
#![cfg_attr(not(test), no_std)]

pub mod link;
#[cfg(feature = "defmt")]
pub mod log;
pub mod pins;
pub mod products;
pub mod recorded;
pub mod recorder;

use timing_core::{Inputs, Outputs, Station};

/// What a board owes to the loop, and the loop to the board.
///
/// The board: gives inputs whose time never goes backwards; drives exactly the coils it is given and keeps them until it is
/// given others; comes back from [`Board::sense`] no later than the last wake asked for. The loop: obeys once for each time
/// it has sensed, and calls [`Board::all_off`] before it returns.
pub trait Board {
    /// Why the board can go on no longer.
    type Error;

    /// Waits for the last wake (or a changed contact, or a request) and reads all inputs; `None` when the board has no more
    /// to give, as a recording has not.
    ///
    /// # Errors
    /// Whatever keeps the board from reading its inputs at all; a single input that fails is told in
    /// [`Inputs::failed`] instead.
    fn sense(&mut self) -> Result<Option<Inputs>, Self::Error>;

    /// Drives the coils and set-points, keeps the wake for the next [`Board::sense`], tells the events.
    ///
    /// # Errors
    /// Whatever keeps the board from driving its outputs.
    fn obey(&mut self, inputs: &Inputs, out: &Outputs<'_>) -> Result<(), Self::Error>;

    /// Every output off, at once and without a way to fail: before the first tick, after the last, on an error, and from
    /// the panic handler.
    fn all_off(&mut self);
}

/// Runs the station on the board until the board has no more to give; every output is off before and after.
///
/// # Errors
/// What the board gave; every output is off by then.
pub fn run<B: Board>(station: &mut Station, board: &mut B) -> Result<(), B::Error> {
    board.all_off();
    let end = turn_until_the_end(station, board);
    board.all_off();
    end
}

fn turn_until_the_end<B: Board>(station: &mut Station, board: &mut B) -> Result<(), B::Error> {
    while let Some(inputs) = board.sense()? {
        board.obey(&inputs, &station.tick(&inputs))?;
    }
    Ok(())
}

/// What the README shows is compiled and run.
#[cfg(doctest)]
#[doc = include_str!("../../README.md")]
pub struct Readme;
