//! R1, R11, R14, R15, R16: the unit's course, and motion.

use crate::monitor::{Leave, Monitor, Tell, Tick};
use crate::setup::WARN_BEATS;
use timing_core::{Actuator, Command, Contact, EventKind, Mode, Orders, Request, UnitState, UnitState as S};

/// Beats for which a drive follows its button.
const BUTTON_BEATS: u8 = 3;

/// The state table, written down once more: state, command that leads on (`None`: complete), next state.
const TABLE: [(S, Option<Command>, S); 51] = {
    use Command as C;
    [
        (S::Stopped, Some(C::Reset), S::Resetting),
        (S::Completed, Some(C::Reset), S::Resetting),
        (S::Idle, Some(C::Start), S::Starting),
        (S::Aborted, Some(C::Clear), S::Clearing),
        (S::Held, Some(C::Unhold), S::Unholding),
        (S::Execute, Some(C::Suspend), S::Suspending),
        (S::Suspended, Some(C::Unsuspend), S::Unsuspending),
        (S::Execute, Some(C::Hold), S::Holding),
        (S::Starting, Some(C::Hold), S::Holding),
        (S::Suspended, Some(C::Hold), S::Holding),
        (S::Unholding, Some(C::Hold), S::Holding),
        (S::Suspending, Some(C::Hold), S::Holding),
        (S::Unsuspending, Some(C::Hold), S::Holding),
        (S::Starting, Some(C::Stop), S::Stopping),
        (S::Idle, Some(C::Stop), S::Stopping),
        (S::Suspended, Some(C::Stop), S::Stopping),
        (S::Execute, Some(C::Stop), S::Stopping),
        (S::Holding, Some(C::Stop), S::Stopping),
        (S::Held, Some(C::Stop), S::Stopping),
        (S::Unholding, Some(C::Stop), S::Stopping),
        (S::Suspending, Some(C::Stop), S::Stopping),
        (S::Unsuspending, Some(C::Stop), S::Stopping),
        (S::Resetting, Some(C::Stop), S::Stopping),
        (S::Completing, Some(C::Stop), S::Stopping),
        (S::Completed, Some(C::Stop), S::Stopping),
        (S::Clearing, Some(C::Abort), S::Aborting),
        (S::Stopped, Some(C::Abort), S::Aborting),
        (S::Starting, Some(C::Abort), S::Aborting),
        (S::Idle, Some(C::Abort), S::Aborting),
        (S::Suspended, Some(C::Abort), S::Aborting),
        (S::Execute, Some(C::Abort), S::Aborting),
        (S::Stopping, Some(C::Abort), S::Aborting),
        (S::Holding, Some(C::Abort), S::Aborting),
        (S::Held, Some(C::Abort), S::Aborting),
        (S::Unholding, Some(C::Abort), S::Aborting),
        (S::Suspending, Some(C::Abort), S::Aborting),
        (S::Unsuspending, Some(C::Abort), S::Aborting),
        (S::Resetting, Some(C::Abort), S::Aborting),
        (S::Completing, Some(C::Abort), S::Aborting),
        (S::Completed, Some(C::Abort), S::Aborting),
        (S::Clearing, None, S::Stopped),
        (S::Stopping, None, S::Stopped),
        (S::Starting, None, S::Execute),
        (S::Unholding, None, S::Execute),
        (S::Unsuspending, None, S::Execute),
        (S::Execute, None, S::Completing),
        (S::Aborting, None, S::Aborted),
        (S::Holding, None, S::Held),
        (S::Suspending, None, S::Suspended),
        (S::Resetting, None, S::Idle),
        (S::Completing, None, S::Completed),
    ]
};

/// Whether the table has a row for a command here.
fn takes(from: S, c: Command) -> bool {
    TABLE.iter().any(|(f, by, _)| *f == from && *by == Some(c))
}

fn state(n: i32) -> Option<S> {
    UnitState::ALL.into_iter().find(|s| *s as i32 == n)
}

pub(crate) fn see(m: &mut Monitor, t: &Tick<'_>, tell: &mut Tell<'_>) {
    transitions(m, t, tell);
    chain(m, t, tell);
    motion(m, t, tell);
    wake(t, tell);
}

/// R14: by the events told, each step of the table; and what the operator gave leave for.
fn transitions(m: &mut Monitor, t: &Tick<'_>, tell: &mut Tell<'_>) {
    let mut at = t.was.unit;
    let power_up = t.was.wake.at.as_micros() == 0;
    for e in t.events.iter().filter(|e| e.kind == EventKind::State) {
        let (from, to) = (state(e.value), state(i32::from(e.detail)));
        let (Some(from), Some(to)) = (from, to) else {
            tell.when(true, 14, "a state that is none");
            return;
        };
        if power_up {
            at = to;
            m.leave = if to == S::Aborted { Leave::None } else { Leave::Cleared };
            continue;
        }
        tell.when(from != at, 14, "a transition from a state that it was not in");
        tell.when(!TABLE.iter().any(|(f, _, n)| *f == from && *n == to), 14, "a transition that the table has not");
        leave(m, t, from, to, tell);
        // What lasts was noticed, or is looked at anew.
        (m.in_release, m.in_discharge, m.silent) = (0, 0, 0);
        at = to;
    }
    tell.when(at != t.is.unit, 14, "a state changed untold");
    if let Some(Request::Command(c)) = t.inputs.request {
        let refused = t.events.iter().any(|e| e.kind == EventKind::Refused && e.detail == c as u16);
        // A fault of the same tick is raised before the request is taken, and may have moved the state on.
        let moved = t.events.iter().any(|e| e.kind == EventKind::State);
        tell.when(!takes(t.was.unit, c) && !refused && !moved, 14, "a request refused untold");
        tell.when(takes(t.was.unit, c) && !refused && !moved, 14, "a request neither taken nor refused");
    }
}

/// R1, R11: who led the unit upwards.
fn leave(m: &mut Monitor, t: &Tick<'_>, from: S, to: S, tell: &mut Tell<'_>) {
    let asked = |c: Command| t.asked(c);
    match (from, to) {
        (S::Aborted, S::Clearing) => {
            tell.when(!asked(Command::Clear), 11, "Aborted left without Clear");
            m.leave = if asked(Command::Clear) { Leave::Cleared } else { Leave::None };
        }
        (S::Stopped | S::Completed, S::Resetting) => {
            tell.when(!asked(Command::Reset), 11, "Resetting without Reset");
            if asked(Command::Reset) && m.leave >= Leave::Cleared {
                m.leave = Leave::Reset;
            }
        }
        (S::Idle, S::Starting) => {
            tell.when(!asked(Command::Start), 11, "Starting without Start");
            if asked(Command::Start) && m.leave >= Leave::Reset {
                m.leave = Leave::Started;
            }
            (m.warn_due, m.warned) = (true, 0);
        }
        (S::Held, S::Unholding) => {
            tell.when(!asked(Command::Unhold), 11, "Unholding without Unhold");
            (m.warn_due, m.warned) = (true, 0);
        }
        (S::Suspended, S::Unsuspending) if !t.was.orders.belt() => (m.warn_due, m.warned) = (true, 0),
        (_, S::Aborting) => m.leave = Leave::None,
        (_, S::Stopped) => m.leave = m.leave.min(Leave::Cleared),
        _ => {}
    }
    // A Stop finishes what is inside, by the operator's own word.
    if matches!(to, S::Execute | S::Stopping) {
        m.warn_due = false;
    }
}

/// R1: the safe vector, in the same tick.
fn chain(m: &mut Monitor, t: &Tick<'_>, tell: &mut Tell<'_>) {
    let open = !t.on(Contact::Chain);
    tell.when(open && t.is.orders != Orders::SAFE, 1, "energised with the chain open");
    if open {
        m.leave = Leave::None;
        m.warned = 0;
    }
    let energised = rises(t.was.orders, t.is.orders);
    tell.when(energised && m.leave != Leave::Started, 1, "energised before Clear, Reset and Start were given");
}

/// Whether anything that moves is energised anew.
fn rises(was: Orders, is: Orders) -> bool {
    let work = Actuator::ALL.into_iter().any(|a| is.work(a) && !was.work(a) || is.home(a) && !was.home(a));
    work || (is.belt() && !was.belt()) || (is.spin() && !was.spin())
}

/// R11: motion only in a state that allows it, after the warning, and in Manual only by the button.
fn motion(m: &mut Monitor, t: &Tick<'_>, tell: &mut Tell<'_>) {
    match t.inputs.request {
        Some(Request::JogSpin) => m.held[0] = 0,
        Some(Request::JogBelt) => m.held[1] = 0,
        _ => {}
    }
    let (was, is) = (t.was.orders, t.is.orders);
    if !rises(was, is) {
        return;
    }
    let allows = !matches!(
        t.is.unit,
        S::Clearing
            | S::Stopped
            | S::Idle
            | S::Aborting
            | S::Aborted
            | S::Holding
            | S::Held
            | S::Resetting
            | S::Completed
    );
    tell.when(!allows, 11, "motion in a state at rest");
    tell.when(m.warn_due && m.warned < WARN_BEATS, 11, "motion before the beacon has warned");
    if t.is.mode == Mode::Manual {
        // A drive follows its button for 250 ms; an actuator only in the very tick.
        let coils = rises(was.with_belt(true).with_spin(true), is);
        let jogged = matches!(t.inputs.request, Some(Request::Jog(..)));
        tell.when(coils && !jogged, 11, "motion in Manual without a button");
        tell.when(is.spin() && !was.spin() && m.held[0] > BUTTON_BEATS, 11, "spin in Manual without its button");
        tell.when(is.belt() && !was.belt() && m.held[1] > BUTTON_BEATS, 11, "belt in Manual without its button");
    }
}

/// R15: when to be called again.
fn wake(t: &Tick<'_>, tell: &mut Tell<'_>) {
    let (w, i) = (&t.is.wake, t.inputs);
    let gap = i.now.plus(timing_core::Duration::from_millis(200));
    tell.when(w.at <= i.now, 15, "the wake does not lie ahead");
    tell.when(w.at > gap, 15, "the wake lies beyond the sample gap");
    tell.when(w.below >= i.belt || w.above <= i.belt, 15, "the belt wake does not lie around the belt");
}
