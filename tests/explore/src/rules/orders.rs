//! R2 … R9: each order that leaves, against contacts and bottles.

use crate::monitor::{Monitor, Tell, Tick};
use crate::rules::lasting::AT_FULL_STROKE;
use crate::setup::{CELL, Kind, at};
use timing_core::{Actuator, Contact, EventKind, HeadStep, Mode, Request, UnitState as S};

pub(crate) fn see(m: &mut Monitor, t: &Tick<'_>, tell: &mut Tell<'_>) {
    let rose = |a: Actuator| t.is.orders.work(a) && !t.was.orders.work(a);
    let fell = |a: Actuator| !t.is.orders.work(a) && t.was.orders.work(a);
    for a in Actuator::ALL {
        if !(rose(a) || fell(a)) {
            continue;
        }
        let bit = 1 << a.index();
        tell.when(rose(a) && m.changed & bit != 0, 4, "an order given, taken back and given again within a beat");
        m.changed |= if rose(a) { bit } else { 0 };
        m.unconfirmed[a.index()] = 0;
    }
    head(m, t, tell, rose, fell);
    spin(m, t, tell);
    gates(m, t, tell, rose, fell);
    if rose(Actuator::Grip) {
        catch(t, tell);
    }
    steps(m, t, tell);
}

/// R2, R4.
fn head(
    m: &Monitor,
    t: &Tick<'_>,
    tell: &mut Tell<'_>,
    rose: impl Fn(Actuator) -> bool,
    fell: impl Fn(Actuator) -> bool,
) {
    let full = |a: Actuator| m.unconfirmed[a.index()] == AT_FULL_STROKE;
    let o = t.is.orders;
    // A dry cycle closes the head on nothing.
    let dry = t.is.mode == Mode::Maintenance;
    if rose(Actuator::Plunger) {
        let gripped = t.on(Contact::GripWork);
        let empty = dry && (t.on(Contact::GripOver) || full(Actuator::Grip));
        tell.when(!(gripped || empty), 2, "plunger ordered down, the grip not confirmed on a bottle");
        tell.when(!o.work(Actuator::Grip), 2, "plunger ordered down without the grip");
    }
    if rose(Actuator::Rollers) {
        let down = t.on(Contact::PlungerWork);
        let empty = dry && (t.on(Contact::PlungerOver) || full(Actuator::Plunger));
        tell.when(!(down || empty), 2, "rollers ordered in, the plunger not confirmed on the closure");
        tell.when(!o.work(Actuator::Plunger), 2, "rollers ordered in without the plunger");
    }
    if t.is_dropped() {
        return;
    }
    let back = t.on(Contact::RollersHome) && !o.work(Actuator::Rollers);
    tell.when(fell(Actuator::Grip) && !back, 4, "grip ordered back, the rollers not confirmed back");
    tell.when(fell(Actuator::Plunger) && !back, 4, "plunger ordered up, the rollers not confirmed back");
    let up = t.on(Contact::PlungerHome) || t.is.mode == Mode::Manual;
    tell.when(fell(Actuator::Grip) && !up, 9, "grip ordered back, the plunger not confirmed up");
}

/// R3.
fn spin(m: &Monitor, t: &Tick<'_>, tell: &mut Tell<'_>) {
    if !t.is.orders.spin() {
        return;
    }
    let manual = t.is.mode == Mode::Manual;
    let dry = t.is.mode == Mode::Maintenance && t.on(Contact::RollersOver);
    if !t.was.orders.spin() {
        let ok = t.on(Contact::RollersWork) || dry || (manual && t.on(Contact::RollersHome));
        tell.when(!ok, 3, "spin ordered, the rollers not confirmed in");
    }
    tell.when(!manual && !t.is.orders.work(Actuator::Rollers), 3, "spin outlives the rollers' order");
    tell.when(manual && m.held[0] > 3, 3, "spin outlives its button");
    tell.when(
        !matches!(t.is.unit, S::Execute | S::Suspending | S::Suspended | S::Unsuspending | S::Stopping),
        3,
        "spin in a state that does not tighten",
    );
}

/// R5, R6, R7.
fn gates(
    m: &Monitor,
    t: &Tick<'_>,
    tell: &mut Tell<'_>,
    rose: impl Fn(Actuator) -> bool,
    fell: impl Fn(Actuator) -> bool,
) {
    use Actuator::{EntryGate, Grip, ReleaseGate};
    let o = t.is.orders;
    tell.when(o.work(EntryGate) && o.work(ReleaseGate), 5, "both gates ordered open");
    tell.when(
        rose(EntryGate) && !t.on(Contact::ReleaseGateHome),
        5,
        "entry gate ordered open, the release gate not confirmed shut",
    );
    tell.when(
        rose(ReleaseGate) && !t.on(Contact::EntryGateHome),
        5,
        "release gate ordered open, the entry gate not confirmed shut",
    );
    if !t.is_production() {
        return;
    }
    if rose(ReleaseGate) {
        tell.when(t.is.unit != S::Execute, 6, "released in a state that takes no bottles");
        if t.kind == Kind::Early {
            let late_enough = matches!(t.is.head, HeadStep::Vacant | HeadStep::Leaving) || t.is.head >= HeadStep::Seat;
            tell.when(!late_enough, 6, "released while the catch goes on");
        } else {
            tell.when(o.work(Grip) || !t.on(Contact::GripHome), 6, "released with the grip not confirmed open");
        }
        let coming = t.plant.bottles.iter().any(|b| {
            !b.astray && !b.fallen && b.place(t.done) > CELL * i64::from(at::POCKET) && b.place(t.done) < -CELL
        });
        tell.when(coming && !t.plant.blind, 6, "released with a bottle on its way to the head");
        let waits = m.batch == 0 || u32::from(m.batch_good) + t.is.inside < u32::from(m.batch);
        tell.when(t.kind == Kind::Batch && !waits, 13, "one more released than the batch wants");
    }
    if t.is_dropped() {
        return;
    }
    // Afterwards, in Starting, what stands there is not tracked, and the gate must home.
    if fell(ReleaseGate) && matches!(t.is.unit, S::Execute | S::Suspending | S::Suspended | S::Unsuspending) {
        tell.when(t.on(Contact::ReleaseEye), 7, "release gate ordered shut with a body in the release eye");
        let under = t
            .plant
            .bottles
            .iter()
            .any(|b| !b.astray && (b.place(t.done) - CELL * i64::from(at::UNDER_RELEASE)).abs() < CELL);
        tell.when(under && !t.plant.blind && !lies(t), 7, "release gate ordered shut on a bottle");
    }
    if fell(EntryGate) && matches!(t.is.unit, S::Execute | S::Suspending | S::Suspended) {
        let travel = i64::from(m.in_pocket.saturating_sub(1)) * CELL + t.inputs.belt.get().max(0);
        let settled = t.on(Contact::PocketEye) && m.in_pocket >= 1 && travel >= CELL;
        tell.when(!settled, 7, "entry gate ordered shut on a pocket that has not settled");
    }
}

/// Whether an eye at the gates lies.
fn lies(t: &Tick<'_>) -> bool {
    let stuck = t.plant.stuck_on.or(t.plant.stuck_off);
    stuck.has(Contact::PocketEye) || stuck.has(Contact::ReleaseEye)
}

/// R8: in Production, at the contact a bottle is on the head centre, and it is its first catch.
fn catch(t: &Tick<'_>, tell: &mut Tell<'_>) {
    if !t.is_production() || t.plant.blind {
        return;
    }
    let carried = if t.is.orders.belt() { CELL } else { 0 };
    let off = |x: i64| (x + carried).abs();
    let mut on_mark = t.plant.bottles.iter().filter(|b| !b.astray && off(b.place(t.done)) <= CELL / 2);
    if let Some(b) = on_mark.next() {
        tell.when(b.catches > 1, 8, "the catch ordered twice for one bottle");
        return;
    }
    let unjudged = t.plant.bottles.iter().any(|b| b.astray && b.place(t.done) > CELL * i64::from(at::POCKET));
    tell.when(!unjudged, 8, "the catch ordered without a bottle that will be on the mark");
}

/// R9: the order of head steps, each from its confirmation.
fn steps(m: &Monitor, t: &Tick<'_>, tell: &mut Tell<'_>) {
    use HeadStep as H;
    let mut from = t.was.head;
    let dry = t.is.mode == Mode::Maintenance;
    for e in t.events.iter().filter(|e| e.kind == EventKind::Head) {
        let Some(to) = H::ALL.into_iter().find(|h| *h as u16 == e.detail) else { continue };
        let on = |c: Contact| t.on(c);
        let over = |c: Contact, a: Actuator| dry && (t.on(c) || m.unconfirmed[a.index()] == AT_FULL_STROKE);
        let ok = match (from, to) {
            (H::Catch, H::Seat) => on(Contact::GripWork) || over(Contact::GripOver, Actuator::Grip),
            (H::Seat, H::Engage) => {
                on(Contact::PlungerWork)
                    || over(Contact::PlungerOver, Actuator::Plunger)
                    || !t.is.orders.work(Actuator::Rollers)
            }
            // What is lost in a pause is a fault of its own, and the order that the step would give is kept back.
            (H::Engage, H::Tighten) => {
                on(Contact::RollersWork) || over(Contact::RollersOver, Actuator::Rollers) || !t.is.orders.spin()
            }
            (H::Disengage, H::Lift) => on(Contact::RollersHome),
            (H::Lift, H::LetGo) => on(Contact::PlungerHome),
            (H::LetGo, H::Leaving | H::Vacant) => on(Contact::GripHome),
            // Catch: nothing in the grip, or missed while it closes, or a retreat.
            (H::Catch, H::LetGo)
            | (H::Seat, H::Lift)
            | (H::Engage | H::Tighten, H::Disengage)
            | (H::Vacant, H::Incoming)
            | (H::Incoming, H::Vacant | H::Catch | H::Leaving)
            | (H::Leaving, H::Vacant) => true,
            (H::Vacant, H::Catch) => dry,
            _ => false,
        };
        tell.when(!ok, 9, "a head step before the last was confirmed, or out of order");
        from = to;
    }
    // What was inside became unknown: the head begins anew, untold.
    let anew = t.is.head == H::Vacant
        && (matches!(t.is.unit, S::Aborting | S::Aborted | S::Stopped | S::Stopping)
            || matches!(t.inputs.request, Some(Request::Mode(_))));
    tell.when(from != t.is.head && !anew, 9, "a head step untold");
}
