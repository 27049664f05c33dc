//! The judge's own copy of the unit's state table.
//!
//! Source: OPC 30050 *PackML* v1.01 §6.3.6–6.3.8 (companion to ANSI/ISA-TR88.00.02, 2015 core with the optional holds):
//! written out here from the publication so that an error in the core's table cannot hide itself.

use timing_core::{Command, UnitState};

/// Next state's number for Reset, Start, Stop, Hold, Unhold, Suspend, Unsuspend, Abort, Clear and completion; 0 = none. Row n − 1
/// belongs to state number n.
#[rustfmt::skip]
const NEXT: [[u8; 10]; 17] = [
    // Rs  St Stp Hld Unh Sus Uns Abt Clr  SC
    [   0,  0,  0,  0,  0,  0,  0,  8,  0,  2], // Clearing
    [  15,  0,  0,  0,  0,  0,  0,  8,  0,  0], // Stopped
    [   0,  0,  7, 10,  0,  0,  0,  8,  0,  6], // Starting
    [   0,  3,  7,  0,  0,  0,  0,  8,  0,  0], // Idle
    [   0,  0,  7, 10,  0,  0, 14,  8,  0,  0], // Suspended
    [   0,  0,  7, 10,  0, 13,  0,  8,  0, 16], // Execute
    [   0,  0,  0,  0,  0,  0,  0,  8,  0,  2], // Stopping
    [   0,  0,  0,  0,  0,  0,  0,  0,  0,  9], // Aborting
    [   0,  0,  0,  0,  0,  0,  0,  0,  1,  0], // Aborted
    [   0,  0,  7,  0,  0,  0,  0,  8,  0, 11], // Holding
    [   0,  0,  7,  0, 12,  0,  0,  8,  0,  0], // Held
    [   0,  0,  7, 10,  0,  0,  0,  8,  0,  6], // Unholding
    [   0,  0,  7, 10,  0,  0,  0,  8,  0,  5], // Suspending
    [   0,  0,  7, 10,  0,  0,  0,  8,  0,  6], // Unsuspending
    [   0,  0,  7,  0,  0,  0,  0,  8,  0,  4], // Resetting
    [   0,  0,  7,  0,  0,  0,  0,  8,  0, 17], // Completing
    [  15,  0,  7,  0,  0,  0,  0,  8,  0,  0], // Completed
];

fn row(state: UnitState) -> [u8; 10] {
    NEXT.get(state as usize - 1).copied().unwrap_or_default()
}

/// Whether the table leads from one state to the other in one transition.
pub(super) fn leads(from: UnitState, to: UnitState) -> bool {
    row(from).contains(&(to as u8))
}

/// Whether the table takes a command in a state.
pub(super) fn takes(from: UnitState, command: Command) -> bool {
    row(from).get(command as usize - 1).is_some_and(|&n| n != 0)
}

/// The state of a number, if there is one.
pub(super) fn by_number(n: u64) -> Option<UnitState> {
    UnitState::ALL.into_iter().find(|&s| s as u64 == n)
}

/// The command without which a transition is no operator's; `None` where faults and completions may cause it too.
pub(super) fn operator_only(from: UnitState, to: UnitState) -> Option<Command> {
    use UnitState as S;
    match (from, to) {
        (S::Stopped | S::Completed, S::Resetting) => Some(Command::Reset),
        (S::Idle, S::Starting) => Some(Command::Start),
        (S::Held, S::Unholding) => Some(Command::Unhold),
        (S::Aborted, S::Clearing) => Some(Command::Clear),
        _ => None,
    }
}
