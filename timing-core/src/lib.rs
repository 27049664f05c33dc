#![no_std]
pub mod event;
pub mod fault;
pub mod io;
pub mod lead;
pub mod machine;
pub mod product;
pub mod units;
pub mod decide;
pub use decide::unit;
pub use event::{Event, EventKind, Why};
pub use fault::{Cure, FAULTS, Fault, FaultRow, Severity};
pub use io::{Actuator, Contact, Contacts, Inputs, Orders, Outputs, Pose, Request, Wake};
pub use machine::{ActuatorProfile, BeltOwner, Machine, MachineError, MachineProfile, ValveKind};
pub use product::{CapPolicy, Product, ProductError, Setpoints, Tighten};
pub use unit::{Command, Mode, UnitState};
pub use units::{Counts, CountsPerMm, Deadline, Duration, Instant, Millimetres, Place, Rate, Speed};
pub use decide::{FeedStep, HeadStep};
