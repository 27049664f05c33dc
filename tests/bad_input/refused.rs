//! The errors of the core's tables, each once.

use timing_core::{Actuator, Contact, MachineError, ProductError};

/// Every error of a machine: told in the chapter, and each raised in a test.
pub const MACHINE: [MachineError; 13] = [
    MachineError::CountsPerMm,
    MachineError::BeltSpeedMax,
    MachineError::ReleaseBlade,
    MachineError::ReleaseEye,
    MachineError::DischargeEye,
    MachineError::CapEye,
    MachineError::Reject,
    MachineError::HeadClear,
    MachineError::Stroke(Actuator::Grip),
    MachineError::Fitted(Contact::Chain),
    MachineError::Filter,
    MachineError::Waiting,
    MachineError::ReverseTolerance,
];

/// Every error of a product.
pub const PRODUCT: [ProductError; 17] = [
    ProductError::Speed,
    ProductError::Body,
    ProductError::CatchTravel,
    ProductError::Lead,
    ProductError::Capture,
    ProductError::GateShut,
    ProductError::Travel,
    ProductError::Jam,
    ProductError::Slip,
    ProductError::Dwell,
    ProductError::Tighten,
    ProductError::Spin,
    ProductError::NoTorqueContact,
    ProductError::NoCapContact,
    ProductError::Misses,
    ProductError::Early,
    ProductError::Window,
];
