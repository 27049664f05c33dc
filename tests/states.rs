//! The state table of the unit against the published one.
//!
//! Source: OPC 30050 *PackML* (OPC Foundation companion specification to ANSI/ISA-TR88.00.02) v1.01, §6.3.6–6.3.8 and its
//! machine-readable node set: state and command numbers, transitions, and the optional hold transitions (dashed in its
//! figure 15, present in the node set). 2015 core plus optional holds. The text of TR88 itself was not at hand.

use std::collections::BTreeMap;

use timing_core::unit::{Command, Mode, UnitState, on_command, on_complete};

/// One row of the published table: state number, name, acting or waiting, then the next state's number for Reset, Start,
/// Stop, Hold, Unhold, Suspend, Unsuspend, Abort, Clear, and for the state's completion; 0 = blank: refused.
type Row = (u8, &'static str, bool, [u8; 10]);

const ACTING: bool = true;
const WAITING: bool = false;

#[rustfmt::skip]
const PUBLISHED: [Row; 17] = [
    //                               Rs  St Stp Hld Unh Sus Uns Abt Clr  SC
    (1,  "Clearing",     ACTING,  [  0,  0,  0,  0,  0,  0,  0,  8,  0,  2]),
    (2,  "Stopped",      WAITING, [ 15,  0,  0,  0,  0,  0,  0,  8,  0,  0]),
    (3,  "Starting",     ACTING,  [  0,  0,  7, 10,  0,  0,  0,  8,  0,  6]),
    (4,  "Idle",         WAITING, [  0,  3,  7,  0,  0,  0,  0,  8,  0,  0]),
    (5,  "Suspended",    WAITING, [  0,  0,  7, 10,  0,  0, 14,  8,  0,  0]),
    (6,  "Execute",      ACTING,  [  0,  0,  7, 10,  0, 13,  0,  8,  0, 16]),
    (7,  "Stopping",     ACTING,  [  0,  0,  0,  0,  0,  0,  0,  8,  0,  2]),
    (8,  "Aborting",     ACTING,  [  0,  0,  0,  0,  0,  0,  0,  0,  0,  9]),
    (9,  "Aborted",      WAITING, [  0,  0,  0,  0,  0,  0,  0,  0,  1,  0]),
    (10, "Holding",      ACTING,  [  0,  0,  7,  0,  0,  0,  0,  8,  0, 11]),
    (11, "Held",         WAITING, [  0,  0,  7,  0, 12,  0,  0,  8,  0,  0]),
    (12, "Unholding",    ACTING,  [  0,  0,  7, 10,  0,  0,  0,  8,  0,  6]),
    (13, "Suspending",   ACTING,  [  0,  0,  7, 10,  0,  0,  0,  8,  0,  5]),
    (14, "Unsuspending", ACTING,  [  0,  0,  7, 10,  0,  0,  0,  8,  0,  6]),
    (15, "Resetting",    ACTING,  [  0,  0,  7,  0,  0,  0,  0,  8,  0,  4]),
    (16, "Completing",   ACTING,  [  0,  0,  7,  0,  0,  0,  0,  8,  0, 17]),
    // Called Complete in the 2015 edition, Completed in 2022.
    (17, "Completed",    WAITING, [ 15,  0,  7,  0,  0,  0,  0,  8,  0,  0]),
];

#[test]
fn every_cell_and_every_blank_is_the_published_one() {
    for ((number, name, acting, row), state) in PUBLISHED.into_iter().zip(UnitState::ALL) {
        assert_eq!((state as u8, state.name()), (number, name));
        assert_eq!(state.is_acting(), acting, "{name}");
        for (command, want) in Command::ALL.into_iter().zip(row) {
            let got = on_command(state, command).map_or(0, |s| s as u8);
            assert_eq!(got, want, "{name} on {}", command.name());
        }
        assert_eq!(on_complete(state).map_or(0, |s| s as u8), row[9], "{name} complete");
        // An acting state ends by itself, a waiting state does not.
        assert_eq!(on_complete(state).is_some(), acting, "{name}");
    }
}

#[test]
fn there_are_51_transitions_and_so_many_of_each_kind() {
    let mut kinds = BTreeMap::new();
    for state in UnitState::ALL {
        for command in Command::ALL {
            if on_command(state, command).is_some() {
                *kinds.entry(command.name()).or_insert(0) += 1;
            }
        }
        if on_complete(state).is_some() {
            *kinds.entry("complete").or_insert(0) += 1;
        }
    }
    let want = BTreeMap::from([
        ("complete", 11),
        ("Abort", 15),
        ("Stop", 12),
        ("Reset", 2),
        ("Start", 1),
        ("Hold", 6), // one of the core, five optional
        ("Unhold", 1),
        ("Suspend", 1),
        ("Unsuspend", 1),
        ("Clear", 1),
    ]);
    assert_eq!(kinds, want);
    assert_eq!(kinds.values().sum::<u32>(), 51);
}

/// OPC 30050, table of control commands: 1 Reset … 9 Clear. Table 12: unit modes 1 Production, 2 Maintenance, 3 Manual.
#[test]
fn commands_and_modes_carry_the_published_numbers() {
    let names = ["Reset", "Start", "Stop", "Hold", "Unhold", "Suspend", "Unsuspend", "Abort", "Clear"];
    for ((command, name), number) in Command::ALL.into_iter().zip(names).zip(1..) {
        assert_eq!((command as u8, command.name()), (number, name));
    }
    let modes = [Mode::Production, Mode::Maintenance, Mode::Manual].map(|m| (m as u8, m.name()));
    assert_eq!(modes, [(1, "Production"), (2, "Maintenance"), (3, "Manual")]);
}

/// OPC 30050: a unit has at least Stopped, Idle, Execute and Aborted; each must be reached, and the way back out of each.
#[test]
fn the_minimum_states_are_there_and_reached_from_each_other() {
    let next = |s: UnitState| {
        let commands = Command::ALL.into_iter().filter_map(move |c| on_command(s, c));
        commands.chain(on_complete(s))
    };
    for from in UnitState::ALL {
        let mut seen = vec![from];
        let mut i = 0;
        while let Some(&s) = seen.get(i) {
            for n in next(s) {
                if !seen.contains(&n) {
                    seen.push(n);
                }
            }
            i += 1;
        }
        for needed in [UnitState::Stopped, UnitState::Idle, UnitState::Execute, UnitState::Aborted] {
            assert!(seen.contains(&needed), "{} from {}", needed.name(), from.name());
        }
        assert_eq!(seen.len(), 17, "every state is reached from {}", from.name());
    }
}

/// What nothing but the operator's Clear may leave, and what nothing but Start may leave upwards.
#[test]
fn only_clear_leaves_aborted_and_only_start_leads_to_starting() {
    for state in UnitState::ALL {
        for command in Command::ALL {
            let to = on_command(state, command);
            if state == UnitState::Aborted {
                assert_eq!(to.is_some(), command == Command::Clear);
            }
            if to == Some(UnitState::Starting) {
                assert_eq!((state, command), (UnitState::Idle, Command::Start));
            }
        }
        assert_ne!(on_complete(state), Some(UnitState::Starting));
    }
}

/// Whether the published table leads from one state to the other, by a command or by completion.
pub(crate) fn published(from: UnitState, to: UnitState) -> bool {
    PUBLISHED.iter().any(|(number, _, _, row)| *number == from as u8 && row.contains(&(to as u8)))
}
