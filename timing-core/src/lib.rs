//! Deterministic control core of an inline bottle-closing station that catches each bottle on a running belt.
//!
//! ```text
//!            Inputs                                                                    Outputs
//!  contacts ───────▶ sense ─▶ track ─▶ watch ─▶ decide ─▶ guard ─▶ act ─▶ tell ───────▶ orders, set-points
//!  belt counts       edges    bottles  faults   unit      rules    coils  events        events, wake
//!  time, request     speed    as belt  before   head      vet
//!                    strokes  places   acting   feed      changes
//! ```
//!
//! One call in, one value out: [`Station::tick`] takes everything that was read, and returns everything to do and when to be
//! called again. There is no clock, no allocation, no float, no global and no randomness in here; the same inputs give
//! the same bits on every target. Nothing here panics.
//!
//! **This is a functional controller and never a safety device.** The emergency stop, the guards and the air dump stay
//! hard-wired; lock out and vent before hands go in; local codes and licensed practice decide.
//!
//! # A first tick
//! ```
//! use timing_core::{example, Command, Inputs, Instant, Machine, Request, Setpoints, Station, UnitState};
//!
//! let machine = Machine::new(&example::machine()).unwrap();
//! let setpoints = Setpoints::new(&example::product(), &machine).unwrap();
//! let mut station = Station::new(machine, setpoints);
//!
//! let mut inputs = Inputs { contacts: example::at_rest(), ..Inputs::default() };
//! assert_eq!(station.tick(&inputs).unit, UnitState::Stopped);
//!
//! inputs.now = Instant::from_micros(1_000);
//! inputs.request = Some(Request::Command(Command::Reset));
//! let out = station.tick(&inputs);
//! assert_eq!(out.unit, UnitState::Idle);
//! assert!(out.wake.at > inputs.now);
//! ```
#![no_std]
#![cfg_attr(
    not(test),
    warn(
        clippy::indexing_slicing,
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        clippy::float_arithmetic,
        clippy::arithmetic_side_effects
    )
)]

#[macro_use]
mod named;
mod act;
mod admit;
mod cx;
mod decide;
pub mod digest;
pub mod event;
pub mod example;
pub mod fault;
mod guard;
#[cfg(feature = "embedded-hal")]
pub mod hal;
pub mod io;
pub mod lead;
mod local;
#[cfg(feature = "defmt")]
mod log;
pub mod machine;
pub mod product;
pub mod quadrature;
pub mod record;
mod sense;
mod station;
mod tally;
mod track;
pub mod units;
mod watch;
pub mod widen;

pub use decide::unit;
pub use decide::{FeedStep, HeadStep};
pub use digest::Digest;
pub use event::{Event, EventKind, Why, request_number};
pub use fault::{Cure, FAULTS, Fault, FaultRow, Severity};
pub use guard::{Order, RULES, RuleRow};
pub use io::{Actuator, Contact, Contacts, Inputs, Orders, Outputs, Pose, Request, Wake};
pub use machine::{ActuatorProfile, BeltOwner, Machine, MachineError, MachineProfile, ValveKind};
pub use product::{CapPolicy, Product, ProductError, Setpoints, Tighten};
pub use station::{NotAtRest, Station};
pub use tally::{Book, Tally};
pub use unit::{Command, Mode, UnitState};
pub use units::{Counts, CountsPerMm, Deadline, Duration, Instant, Millimetres, Rate, Speed};
