//! R10 … R15, and the courses of the unit around them, as timelines.

use crate::bench::{Bench, profile};
use timing_core::{
    Actuator, BeltOwner, Command, Contact, EventKind, Fault, FeedStep, HeadStep, Mode, Orders, Pose, Product, Request,
    Setpoints, Tighten, UnitState, Why, example,
};

fn running() -> Bench {
    let mut b = Bench::new();
    b.start();
    b
}

#[test]
fn r10_a_full_discharge_suspends_and_keeps_the_bottle_gripped() {
    let mut b = running();
    b.until("the first in the discharge eye", 30_000, |b| b.bottles.iter().any(|x| (x.x - 110.0).abs() < 1.0));
    b.bottles.iter_mut().filter(|x| (x.x - 110.0).abs() < 1.0).for_each(|x| x.wedged = true);
    b.until("Suspended", 10_000, |b| b.unit() == UnitState::Suspended);
    b.run(5_000);
    assert_eq!(b.station.head(), HeadStep::LetGo);
    assert!(b.orders.work(Actuator::Grip), "the bottle stays gripped");
    assert!(!b.orders.work(Actuator::Plunger) && b.orders.belt());
    b.bottles.iter_mut().for_each(|x| x.wedged = false);
    b.until("Execute", 5_000, |b| b.unit() == UnitState::Execute);
    b.until("a good bottle", 20_000, |b| b.station.tally().good > 0);
}

#[test]
fn r10_a_body_that_stays_in_the_release_eye_is_a_jam() {
    let mut b = running();
    b.until("registered", 20_000, |b| !b.told(EventKind::Registered).is_empty());
    b.run(350);
    b.bottles.iter_mut().filter(|x| (x.x + 61.5).abs() < 32.0).for_each(|x| x.wedged = true);
    b.until("Held", 5_000, |b| b.unit() == UnitState::Held);
    assert!(b.has_fault(Fault::Jam));
    assert!(b.orders.work(Actuator::ReleaseGate), "the gate is left as it is");
}

#[test]
fn r10_an_ordered_belt_that_is_silent_holds() {
    let mut b = running();
    b.until_head(HeadStep::Incoming);
    b.encoder = false;
    b.until("Held", 5_000, |b| b.unit() == UnitState::Held);
    assert!(b.has_fault(Fault::BeltSilent) || b.has_fault(Fault::BeltReversed));
    assert!(!b.orders.belt() && !b.orders.work(Actuator::Grip));
}

#[test]
fn r11_nothing_moves_after_power_up_nor_after_air_returns() {
    let mut b = Bench::new();
    for _ in 0..10_000 {
        b.run(1);
        assert_eq!(b.orders, Orders::SAFE);
    }
    assert_eq!(b.unit(), UnitState::Stopped);
    b.command(Command::Start);
    assert_eq!(b.refused(), [Why::WrongState]);
    let mut b = running();
    b.until_head(HeadStep::Catch);
    b.wires = b.wires.with(Contact::Air, false);
    b.run(1);
    assert_eq!(b.orders, Orders::SAFE);
    b.run(2_000);
    b.wires = b.wires.with(Contact::Air, true);
    for _ in 0..5_000 {
        b.run(1);
        assert_eq!(b.orders, Orders::SAFE);
    }
    assert_eq!(b.unit(), UnitState::Aborted);
}

/// A fault that found the unit waiting used to bring detented and centre-closed actuators home, energised, before anybody had started.
#[test]
fn r11_a_stop_that_finds_the_unit_at_rest_moves_nothing() {
    let mut m = profile();
    for a in Actuator::ALL {
        m.actuators[a.index()].valve = timing_core::ValveKind::Detented;
    }
    let mut b = Bench::with(&m, &example::product());
    b.command(Command::Reset);
    b.until("Idle", 1_000, |b| b.unit() == UnitState::Idle);
    b.failed = Contact::Torque.bit();
    for _ in 0..3_000 {
        b.run(1);
        assert_eq!(b.orders, Orders::SAFE, "{:?}", b.unit());
    }
    assert_eq!(b.unit(), UnitState::Stopped);
    // And in Held: what was energised stays, nothing else moves, and the next Start brings it home.
    b.failed = timing_core::Contacts::NONE;
    b.run(100);
    b.start();
    b.until_head(HeadStep::Engage);
    b.command(Command::Hold);
    b.until("Held", 3_000, |b| b.unit() == UnitState::Held);
    let held = b.orders;
    b.failed = Contact::Torque.bit();
    b.until("Stopped", 3_000, |b| {
        assert_eq!(b.orders.bits() & !held.bits(), 0, "{:?}", b.unit());
        b.unit() == UnitState::Stopped
    });
    b.failed = timing_core::Contacts::NONE;
    b.run(100);
    b.start();
    b.until("a good bottle", 30_000, |b| b.station.tally().good > 0);
}

/// Stop within the warning used to bring everything home at once.
#[test]
fn r11_a_stop_within_the_warning_moves_nothing() {
    let mut b = running();
    b.until_head(HeadStep::Engage);
    b.command(Command::Hold);
    b.until("Held", 3_000, |b| b.unit() == UnitState::Held);
    let held = b.orders;
    b.command(Command::Unhold);
    b.run(500);
    b.command(Command::Stop);
    b.until("Stopped", 3_000, |b| {
        assert_eq!(b.orders.with_beacon(false), held, "{:?}", b.unit());
        b.unit() == UnitState::Stopped
    });
    b.start();
    b.until("a good bottle", 30_000, |b| b.station.tally().good > 0);
    // Nor does one that comes after a Hold within the warning.
    b.command(Command::Hold);
    b.until("Held", 3_000, |b| b.unit() == UnitState::Held);
    let held = b.orders;
    b.command(Command::Unhold);
    b.run(500);
    b.command(Command::Hold);
    b.until("Held", 3_000, |b| b.unit() == UnitState::Held);
    b.command(Command::Stop);
    b.until("Stopped", 3_000, |b| {
        assert_eq!(b.orders.with_beacon(false), held, "{:?}", b.unit());
        b.unit() == UnitState::Stopped
    });
}

/// Stop used to start a belt that stood in Suspended at once, even within the warning of Unsuspending.
#[test]
fn r11_a_stop_warns_before_it_starts_a_belt_that_stood() {
    for within_the_warning in [false, true] {
        let mut m = profile();
        m.suspend_stops_belt = true;
        let mut b = Bench::with(&m, &example::product());
        b.start();
        b.until_head(HeadStep::Tighten);
        b.wires = b.wires.with(Contact::DownstreamReady, false);
        b.until("Suspended", 10_000, |b| b.unit() == UnitState::Suspended && !b.orders.belt());
        b.run(1_000);
        if within_the_warning {
            b.wires = b.wires.with(Contact::DownstreamReady, true);
            b.until("Unsuspending", 10_000, |b| b.unit() == UnitState::Unsuspending);
            b.run(100);
        }
        let stood = b.orders.with_beacon(false);
        b.command(Command::Stop);
        let warn = u64::from(m.warn.as_micros() as u32 / 1_000);
        for _ in 0..warn - 5 {
            assert_eq!(b.orders.with_beacon(false), stood);
            assert!(b.orders.beacon() && b.unit() == UnitState::Stopping);
            b.run(1);
        }
        b.wires = b.wires.with(Contact::DownstreamReady, true);
        b.until("the belt", 10, |b| b.orders.belt());
        b.until("Stopped", 20_000, |b| b.unit() == UnitState::Stopped);
        assert_eq!((b.station.inside(), b.station.tally().good), (0, 1));
    }
}

#[test]
fn r11_starting_and_unholding_warn_before_they_move() {
    let mut b = Bench::new();
    b.command(Command::Reset);
    b.command(Command::Start);
    let from = b.ms;
    while b.orders.with_beacon(false) == Orders::SAFE {
        b.run(1);
        assert!(b.ms - from < 5_000);
    }
    assert!(b.ms - from >= 2_000, "motion {} ms after Start", b.ms - from);
    b.until("Execute", 20_000, |b| b.unit() == UnitState::Execute);
    b.command(Command::Hold);
    b.until("Held", 3_000, |b| b.unit() == UnitState::Held);
    assert!(!b.orders.belt() && !b.orders.spin());
    b.command(Command::Unhold);
    let from = b.ms;
    assert!(b.orders.beacon());
    b.until("belt", 5_000, |b| b.orders.belt());
    assert!(b.ms - from >= 1_999, "belt {} ms after Unhold", b.ms - from);
}

#[test]
fn r12_what_was_inside_when_the_chain_opened_is_resolved_by_the_flush() {
    let mut b = running();
    b.until("two inside", 20_000, |b| b.station.inside() >= 2);
    let inside = b.station.inside();
    b.wires = b.wires.with(Contact::Chain, false);
    b.run(1_000);
    assert_eq!(b.station.inside(), inside, "unknown, but still inside");
    // Hands take everything that stands beyond the release gate.
    b.bottles.retain(|x| x.x < -110.0);
    b.wires = b.wires.with(Contact::Chain, true);
    b.run(500);
    b.command(Command::Clear);
    b.run(100);
    b.start();
    let t = *b.station.tally();
    assert_eq!((t.removed, t.lost, t.found), (inside, 0, 0), "{t:?}");
}

#[test]
fn r12_what_the_flush_sees_is_rejected_and_what_nobody_knew_of_is_found() {
    let mut b = running();
    b.until("two inside", 20_000, |b| b.station.inside() >= 2 && b.station.head() == HeadStep::Leaving);
    let inside = b.station.inside();
    b.command(Command::Abort);
    b.run(2_000);
    let mut extra = b.bottles[0];
    extra.x = 0.0;
    b.bottles.retain(|x| x.x.abs() > 80.0);
    b.bottles.push(extra);
    let seen = u32::try_from(b.bottles.iter().filter(|x| x.x > -60.0 && x.x < 70.0).count()).expect("few");
    b.command(Command::Clear);
    b.run(100);
    b.start();
    let t = *b.station.tally();
    assert_eq!(t.rejected + t.lost + t.removed, inside + t.found, "{t:?}");
    assert!(t.rejected >= seen, "{t:?}, {seen} stood before the discharge eye");
}

#[test]
fn r13_a_batch_delivers_exactly_what_was_asked_for() {
    for n in [1, 3] {
        let mut b = Bench::new();
        b.ask(Request::Batch(n));
        b.start();
        b.until("Completed", 60_000, |b| b.unit() == UnitState::Completed);
        b.run(5_000);
        assert_eq!(b.station.tally().good, n);
        assert_eq!(b.station.tally().registered, n, "none was released beyond the batch");
        assert_eq!(b.station.inside(), 0);
    }
}

/// Reset after Completed used to leave the batch delivered: the next Start completed at once, with no bottle.
#[test]
fn r13_a_batch_that_was_delivered_is_delivered_again_after_reset_and_start() {
    let mut b = Bench::new();
    b.ask(Request::Batch(2));
    b.start();
    b.until("Completed", 60_000, |b| b.unit() == UnitState::Completed);
    assert_eq!(b.station.tally().good, 2);
    b.start();
    b.until("Completed again", 60_000, |b| b.unit() == UnitState::Completed);
    assert_eq!(b.station.tally().good, 4);
}

#[test]
fn r14_refused_requests_are_told_with_their_reason() {
    let mut b = running();
    let cases = [
        (Request::Command(Command::Reset), Why::WrongState),
        (Request::Command(Command::Clear), Why::WrongState),
        (Request::Mode(Mode::Manual), Why::WrongState),
        (Request::Batch(3), Why::WrongState),
        (Request::Jog(Actuator::Grip, Pose::Work), Why::WrongMode),
        (Request::Step, Why::WrongMode),
        (Request::DryCycle, Why::WrongMode),
        (Request::Declare(1), Why::WrongState),
    ];
    for (request, why) in cases {
        let before = (b.unit(), b.refused().len());
        b.ask(request);
        assert_eq!(b.refused().get(before.1..), Some(&[why][..]), "{request:?}");
        assert_eq!(b.unit(), before.0);
    }
}

#[test]
fn r15_a_quiet_machine_rests() {
    let mut b = Bench::new();
    b.ask(Request::Batch(1));
    b.start();
    b.until("Completed", 60_000, |b| b.unit() == UnitState::Completed);
    b.run(3_000);
    b.until("a fresh wake", 200, |b| b.wake_in_us >= 99_000);
}

#[test]
fn misses_in_a_row_hold() {
    let mut b = Bench::new();
    b.supply_caps = false;
    b.start();
    b.until("Held", 60_000, |b| b.unit() == UnitState::Held);
    assert!(b.has_fault(Fault::MissesInARow));
    assert_eq!(b.flags(), [Why::NoCap; 3]);
}

#[test]
fn torque_before_the_window_is_crossed_and_after_it_is_loose() {
    let ms = timing_core::Duration::from_millis;
    let tighten = Tighten::Torque { earliest: ms(100), latest: ms(300) };
    for (at_ms, why) in [(50, Some(Why::TorqueEarly)), (200, None), (1_000, Some(Why::TorqueLate))] {
        let mut b = Bench::with(&profile(), &Product { tighten, ..example::product() });
        b.start();
        b.until_head(HeadStep::Tighten);
        b.run(at_ms);
        b.forced.push((Contact::Torque, true));
        b.run(500);
        assert_eq!(b.flags().first().copied(), why, "torque {at_ms} ms after spin");
    }
}

#[test]
fn an_over_long_body_is_known_before_the_catch_and_let_pass() {
    let mut b = running();
    b.until("registered", 20_000, |b| !b.told(EventKind::Registered).is_empty());
    b.run(600);
    b.forced.push((Contact::ReleaseEye, true));
    b.run(120);
    b.forced.clear();
    b.until("a flag", 2_000, |b| !b.flags().is_empty());
    assert_eq!(b.flags(), [Why::OverLong]);
    b.until("rejected", 20_000, |b| b.station.tally().rejected == 1);
    let first_catch = b.told(EventKind::CatchOrdered).first().map(|(t, _)| *t);
    let flagged = b.told(EventKind::Flagged)[0].0;
    assert!(first_catch.is_none_or(|t| t > flagged));
}

#[test]
fn unhold_repeats_a_step_once_and_then_retreats() {
    let mut b = running();
    b.until_head(HeadStep::Catch);
    b.stuck[Actuator::Plunger.index()] = true;
    b.until("Held", 5_000, |b| b.unit() == UnitState::Held);
    assert_eq!(b.station.head(), HeadStep::Seat);
    b.command(Command::Unhold);
    b.until("Execute", 5_000, |b| b.unit() == UnitState::Execute);
    assert_eq!(b.station.head(), HeadStep::Seat, "the step is awaited once more");
    b.until("Held again", 5_000, |b| b.unit() == UnitState::Held);
    b.stuck[Actuator::Plunger.index()] = false;
    b.command(Command::Unhold);
    b.until("rejected", 20_000, |b| b.station.tally().rejected == 1);
    assert_eq!(b.flags(), [Why::Interrupted]);
}

#[test]
fn hold_to_run_drops_when_it_is_not_refreshed() {
    let mut b = Bench::new();
    b.ask(Request::Mode(Mode::Manual));
    b.start();
    for _ in 0..10 {
        b.ask(Request::JogBelt);
        b.run(99);
        assert!(b.orders.belt(), "held");
    }
    b.run(151);
    assert!(!b.orders.belt(), "250 ms after the last refresh");
    b.ask(Request::Jog(Actuator::Grip, Pose::Work));
    b.run(1_000);
    assert!(b.orders.work(Actuator::Grip), "a cylinder keeps its place");
}

/// A jog that was held when Manual was stopped used to leave its deadline behind, and to wake the core every microsecond from then on.
#[test]
fn r15_a_stop_in_manual_leaves_no_hold_to_run_behind() {
    let mut b = Bench::new();
    b.ask(Request::Mode(Mode::Manual));
    b.start();
    b.ask(Request::JogSpin);
    b.run(20);
    b.command(Command::Stop);
    b.until("Stopped", 5_000, |b| b.unit() == UnitState::Stopped);
    for _ in 0..2_000 {
        b.run(1);
        assert!(b.wake_in_us >= 1_000, "woken again after {} µs", b.wake_in_us);
    }
}

/// A misfeed that was stopped, not unheld, used to be taken up again at the next Start without a bound: Execute, the release gate open, and
/// nothing that would ever end it.
#[test]
fn r15_a_misfeed_that_was_stopped_is_over() {
    let mut b = running();
    b.until("a bottle in the pocket", 20_000, |b| b.station.feed() == FeedStep::Loaded);
    b.bottles.iter_mut().for_each(|x| x.wedged = true);
    b.until("Held", 20_000, |b| b.unit() == UnitState::Held);
    assert!(b.has_fault(Fault::Misfeed));
    b.command(Command::Stop);
    b.until("Stopped", 20_000, |b| b.unit() == UnitState::Stopped);
    let from = b.ms;
    b.start();
    b.until("a misfeed told again, or a release", 20_000, |b| {
        b.told(EventKind::Fault).iter().any(|(t, _)| *t > from) || b.station.feed() != FeedStep::Releasing
    });
}

/// A gate that failed and was stopped used to count as home: the next Start did not see to it, and Execute waited for it for ever.
#[test]
fn r9_what_failed_before_a_stop_is_brought_home_by_the_next_start() {
    let mut b = running();
    b.until("a release", 20_000, |b| b.station.feed() == FeedStep::Releasing);
    b.run(300);
    b.stuck[Actuator::ReleaseGate.index()] = true;
    b.until("Held", 20_000, |b| b.unit() == UnitState::Held);
    b.command(Command::Stop);
    b.until("Stopped", 20_000, |b| b.unit() == UnitState::Stopped);
    b.stuck[Actuator::ReleaseGate.index()] = false;
    b.run(1_000);
    let good = b.station.tally().good;
    b.start();
    b.until("good bottles again", 60_000, |b| b.station.tally().good > good);
}

/// A plunger that went on to full stroke before the rollers were ordered used to leave the head in Engage for ever.
#[test]
fn r9_a_closure_that_goes_from_under_the_plunger_is_no_closure() {
    let mut p = example::product();
    p.seat_dwell = timing_core::Duration::from_millis(300);
    let mut b = Bench::with(&profile(), &p);
    b.start();
    b.until_head(HeadStep::Seat);
    b.until("the plunger on work", 3_000, |b| b.contacts().has(Contact::PlungerWork));
    b.run(100);
    assert_eq!(b.station.head(), HeadStep::Seat);
    b.forced = vec![(Contact::PlungerWork, false), (Contact::PlungerOver, true)];
    b.until("Lift", 3_000, |b| b.station.head() == HeadStep::Lift);
    b.forced.clear();
    assert_eq!(b.flags(), [Why::NoCap]);
    b.until("a good bottle", 30_000, |b| b.station.tally().good > 0);
}

/// A pocket that cleared while the unit was held used to count as settled where it would have been before.
#[test]
fn r7_a_pocket_settles_anew_after_unhold() {
    let mut m = profile();
    m.belt_owner = BeltOwner::Line;
    let mut b = Bench::with(&m, &example::product());
    b.line_belt = Some(true);
    b.supply = false;
    b.start();
    b.until("Filling", 5_000, |b| b.station.feed() == FeedStep::Filling && b.orders.work(Actuator::EntryGate));
    b.forced = vec![(Contact::PocketEye, true)];
    b.run(20);
    b.command(Command::Hold);
    b.until("Held", 3_000, |b| b.unit() == UnitState::Held);
    b.forced = vec![(Contact::PocketEye, false)];
    b.run(1_000);
    b.command(Command::Unhold);
    b.run(1_000);
    b.forced = vec![(Contact::PocketEye, true)];
    b.until("Execute", 5_000, |b| b.unit() == UnitState::Execute);
    b.run(20);
    assert_eq!(b.station.feed(), FeedStep::Filling);
    b.until("Loaded", 2_000, |b| b.station.feed() == FeedStep::Loaded);
}

/// Time used to settle the pocket on a belt that stood, and the blade came down on what had stopped under it.
#[test]
fn r7_a_stop_from_held_leaves_the_entry_gate_open_over_a_pocket_that_has_not_settled() {
    let mut b = Bench::new();
    b.supply = false;
    b.start();
    b.until("open", 5_000, |b| b.orders.work(Actuator::EntryGate));
    b.run(300);
    b.command(Command::Hold);
    b.until("Held", 3_000, |b| b.unit() == UnitState::Held);
    b.command(Command::Stop);
    let open = |b: &Bench| assert!(b.orders.work(Actuator::EntryGate), "{:?}", b.unit());
    b.until("Stopped", 5_000, |b| {
        open(b);
        b.unit() == UnitState::Stopped
    });
    // The next run fills the pocket, and shuts the gate once that has settled.
    b.supply = true;
    b.command(Command::Reset);
    b.command(Command::Start);
    b.until("Execute", 20_000, |b| {
        open(b);
        // It may find the pocket starved at once.
        matches!(b.unit(), UnitState::Execute | UnitState::Suspended)
    });
    b.until("Loaded", 5_000, |b| b.station.feed() == FeedStep::Loaded);
    b.until("a good bottle", 30_000, |b| b.station.tally().good > 0);
}

/// The time that a Stop gives the pocket used to be over in the middle of a bottle's way into it.
#[test]
fn r7_a_bottle_that_comes_while_the_unit_stops_is_let_settle() {
    let mut b = Bench::new();
    b.supply = false;
    b.start();
    b.until("open", 5_000, |b| b.orders.work(Actuator::EntryGate));
    b.command(Command::Stop);
    b.run(1_450);
    b.forced = vec![(Contact::PocketEye, true)];
    b.run(100);
    assert!(b.unit() == UnitState::Stopping && b.orders.work(Actuator::EntryGate));
    b.until("shut", 2_000, |b| !b.orders.work(Actuator::EntryGate));
    b.until("Stopped", 5_000, |b| b.unit() == UnitState::Stopped);
}

/// An encoder that ran back slowly used to hold Starting in its flush for ever.
#[test]
fn r15_a_flush_on_counts_that_run_back_ends() {
    let mut b = Bench::new();
    b.command(Command::Reset);
    b.command(Command::Start);
    b.until("the flush", 20_000, |b| b.orders.belt());
    b.run(500);
    b.share = -0.02;
    b.until("Held", 60_000, |b| b.unit() == UnitState::Held);
    assert!(b.has_fault(Fault::StateOverdue));
}

/// A contact that came on just before the order, within its filter, used to confirm the stroke before the valve could have moved.
#[test]
fn r9_a_contact_that_came_on_just_before_the_order_confirms_nothing() {
    let mut b = running();
    b.until_head(HeadStep::Incoming);
    // When the catch is ordered on an undisturbed bench.
    let mut twin = running();
    twin.until_head(HeadStep::Catch);
    let order = twin.ms;
    b.until("5 ms before the catch", 20_000, |b| b.ms + 5 >= order);
    b.forced = vec![(Contact::GripWork, true)];
    b.until_head(HeadStep::Catch);
    let from = b.ms;
    b.until_head(HeadStep::Seat);
    assert!(b.ms - from >= 20, "confirmed {} ms after the order", b.ms - from);
}

/// In a dry cycle full stroke is arrival: when its contact went again nothing used to notice, and the rollers followed a plunger on its way.
#[test]
fn r2_a_full_stroke_whose_contact_goes_again_is_lost() {
    let mut p = example::product();
    p.seat_dwell = timing_core::Duration::from_millis(300);
    let mut b = Bench::with(&profile(), &p);
    b.supply = false;
    b.ask(Request::Mode(Mode::Maintenance));
    b.start();
    b.ask(Request::DryCycle);
    b.until_head(HeadStep::Seat);
    b.until("full stroke", 3_000, |b| b.contacts().has(Contact::PlungerOver));
    b.run(100);
    b.forced = vec![(Contact::PlungerOver, false)];
    b.until("the loss is told", 3_000, |b| {
        assert!(!b.orders.work(Actuator::Rollers), "rollers on a plunger that is lost");
        b.has_fault(Fault::StrokeLost(Actuator::Plunger))
    });
}

/// A contact that came on after the order, or left and came back, before the valve can have answered used to confirm the stroke: so a grip
/// that chatters at its home end let the next bottle be released on a closed head.
#[test]
fn r9_a_contact_that_chatters_before_its_valve_can_have_answered_confirms_nothing() {
    for stale in [false, true] {
        let mut b = running();
        b.until_head(HeadStep::Incoming);
        b.forced = vec![(Contact::GripWork, stale)];
        b.until_head(HeadStep::Catch);
        let from = b.ms;
        // For longer than a filter, and all within the 20 ms of the valve.
        b.forced = vec![(Contact::GripWork, false)];
        b.run(6);
        b.forced = vec![(Contact::GripWork, true)];
        b.run(7);
        assert_eq!(b.station.head(), HeadStep::Catch, "confirmed {} ms after the order", b.ms - from);
        b.until_head(HeadStep::Seat);
        assert!(b.ms - from >= 20, "confirmed {} ms after the order", b.ms - from);
    }
}

/// A body that came past the discharge eye while the unit completed used to be inside when it was Completed.
#[test]
fn r13_completed_is_empty() {
    let mut b = Bench::new();
    b.ask(Request::Batch(1));
    b.start();
    b.until("Completing", 60_000, |b| b.unit() == UnitState::Completing);
    b.until("homing", 10_000, |b| b.unit() != UnitState::Completing || !b.orders.belt());
    b.forced = vec![(Contact::DischargeEye, true)];
    b.run(50);
    b.forced.clear();
    b.run(3_000);
    let t = *b.station.tally();
    assert!(b.unit() != UnitState::Completed || b.station.inside() == 0, "{t:?}");
    assert_eq!(t.found, 1, "the eye was not looked at: {t:?}");
}

/// With the head vacant a bottle used to be released while the grip's contact was lost, and within its margin.
#[test]
fn r6_a_vacant_head_whose_grip_is_not_confirmed_open_is_not_ready() {
    let mut b = running();
    b.until("Loaded", 20_000, |b| b.station.feed() == FeedStep::Loaded && b.station.head() == HeadStep::Vacant);
    b.forced = vec![(Contact::GripHome, false)];
    b.until("the loss is told", 3_000, |b| {
        assert_ne!(b.station.feed(), FeedStep::Releasing);
        b.unit() == UnitState::Held
    });
}

/// A pocket that was clear at Unhold, after a misfeed, and full again when its gate had shut used to be waited for, for ever.
#[test]
fn r15_a_pocket_that_was_clear_at_unhold_has_been_seen_clear() {
    let mut b = running();
    b.until("a bottle in the pocket", 20_000, |b| b.station.feed() == FeedStep::Loaded);
    b.bottles.iter_mut().for_each(|x| x.wedged = true);
    b.until("Held", 20_000, |b| b.unit() == UnitState::Held);
    assert!(b.has_fault(Fault::Misfeed));
    b.forced = vec![(Contact::PocketEye, false)];
    b.command(Command::Unhold);
    b.until("Shutting", 5_000, |b| b.station.feed() == FeedStep::Shutting);
    b.forced.clear();
    b.until("Filling", 5_000, |b| b.station.feed() == FeedStep::Filling);
    b.bottles.iter_mut().for_each(|x| x.wedged = false);
    b.until("a good bottle", 60_000, |b| b.station.tally().good > 0);
}

#[test]
fn maintenance_steps_over_a_bottle_placed_by_hand_and_cycles_dry() {
    let mut b = Bench::new();
    b.supply = false;
    b.ask(Request::Mode(Mode::Maintenance));
    b.start();
    b.ask(Request::DryCycle);
    b.until_head(HeadStep::Tighten);
    b.until_head(HeadStep::Vacant);
    assert_eq!((b.station.tally().registered, b.flags().len()), (0, 0));
    b.bottles.push(crate::bench::Bottle::standing(0.0));
    for step in [HeadStep::Catch, HeadStep::Seat, HeadStep::Engage, HeadStep::Tighten] {
        b.ask(Request::Step);
        b.run(600);
        let now = b.station.head();
        assert!(now == step || step == HeadStep::Tighten, "{now:?} after the step to {step:?}");
        assert!(!b.orders.belt());
    }
    assert_eq!(b.station.head(), HeadStep::Disengage, "spin ends by itself");
    for _ in 0..3 {
        b.ask(Request::Step);
        b.run(600);
    }
    assert_eq!(b.station.head(), HeadStep::Vacant);
}

#[test]
fn starved_suspends_and_a_bottle_brings_it_back() {
    let mut b = running();
    b.until_head(HeadStep::Catch);
    b.supply = false;
    b.until("Suspended", 20_000, |b| b.unit() == UnitState::Suspended);
    let why = b
        .told(EventKind::State)
        .iter()
        .rev()
        .find(|(_, e)| e.detail == UnitState::Suspending as u16)
        .map(|(_, e)| e.why);
    assert_eq!(why, Some(Why::Starved));
    b.supply = true;
    b.until("Execute", 10_000, |b| b.unit() == UnitState::Execute);
}

#[test]
fn a_line_belt_that_stops_suspends_with_the_bottle_on_its_way() {
    let mut m = profile();
    m.belt_owner = BeltOwner::Line;
    let mut b = Bench::with(&m, &example::product());
    b.line_belt = Some(true);
    b.run(500);
    b.start();
    b.until_head(HeadStep::Incoming);
    b.line_belt = Some(false);
    b.until("Suspended", 5_000, |b| b.unit() == UnitState::Suspended);
    assert!(!b.orders.work(Actuator::Grip), "a standing belt makes nothing come due");
    b.line_belt = Some(true);
    b.until("a good bottle", 20_000, |b| b.station.tally().good > 0);
    assert!(b.told(EventKind::Fault).is_empty());
}

#[test]
fn a_product_is_loaded_only_at_rest_with_nothing_inside() {
    let mut b = running();
    let again = Setpoints::new(&example::product(), b.station.machine()).expect("valid");
    assert!(b.station.load(again).is_err());
    b.command(Command::Stop);
    b.until("Stopped", 30_000, |b| b.unit() == UnitState::Stopped);
    assert!(b.station.load(again).is_ok());
}

#[test]
fn stop_finishes_what_is_inside_and_admits_no_more() {
    let mut b = running();
    b.until_head(HeadStep::Catch);
    b.command(Command::Stop);
    let registered = b.station.tally().registered;
    b.until("Stopped", 40_000, |b| b.unit() == UnitState::Stopped);
    let t = b.station.tally();
    assert_eq!((t.registered, t.good, b.station.inside()), (registered, registered, 0), "{t:?}");
    assert!(!b.orders.belt() && !b.orders.spin());
}

#[test]
fn an_unreadable_chain_is_an_open_chain_and_another_input_is_told() {
    let mut b = running();
    b.failed = b.failed.with(Contact::Chain, true);
    b.run(1);
    assert_eq!(b.orders, Orders::SAFE);
    let mut b = running();
    b.failed = b.failed.with(Contact::PlungerHome, true);
    b.until("Held", 3_000, |b| b.unit() == UnitState::Held);
    assert!(b.has_fault(Fault::InputFailed(Contact::PlungerHome)));
}

#[test]
fn a_gap_between_ticks_while_moving_is_a_fault() {
    let mut b = running();
    b.ms += 400;
    b.run(5);
    assert!(b.has_fault(Fault::SampleGap));
    b.until("Held", 3_000, |b| b.unit() == UnitState::Held);
}

#[test]
fn strays_hold_and_are_found() {
    let mut b = running();
    b.until_head(HeadStep::Seat);
    b.bottles.push(crate::bench::Bottle::standing(-95.0));
    b.until("Held", 5_000, |b| b.unit() == UnitState::Held);
    assert!(b.has_fault(Fault::StrayRelease));
    assert_eq!(b.station.tally().found, 1);
}

/// A bottle that came into the release eye while the belt coasted to a Hold used to ride on unseen, up to the bottle in the head.
#[test]
fn r6_a_body_that_comes_into_the_eye_within_a_hold_is_found() {
    let mut b = running();
    b.until("registered", 20_000, |b| !b.told(EventKind::Registered).is_empty());
    let first = b.bottles.iter().map(|x| x.x).fold(f64::MIN, f64::max);
    b.supply = false;
    b.bottles.retain(|x| (x.x - first).abs() < 0.01);
    b.bottles.push(crate::bench::Bottle::standing(first - 68.0));
    b.until("the first has left the eye", 5_000, |b| !b.told(EventKind::Length).is_empty());
    b.line_belt = Some(true);
    b.command(Command::Hold);
    b.run(80);
    b.line_belt = None;
    b.until("Held", 5_000, |b| b.unit() == UnitState::Held);
    assert!(b.contacts().has(Contact::ReleaseEye), "the second is in the eye");
    b.command(Command::Unhold);
    b.until("the second is told", 10_000, |b| b.has_fault(Fault::StrayRelease));
    assert_eq!((b.station.tally().registered, b.station.tally().found, b.station.inside()), (1, 1, 2));
    b.until("Held again", 5_000, |b| b.unit() == UnitState::Held);
}

#[test]
fn a_slowing_stroke_is_told_before_its_watchdog_trips() {
    let mut m = profile();
    // The profile believes in strokes 90 ms quicker than they are; the margin still covers them.
    m.actuators[Actuator::Plunger.index()].to_work = timing_core::Duration::from_millis(10);
    let mut b = Bench::with(&m, &example::product());
    b.start();
    b.until("drift", 90_000, |b| !b.told(EventKind::Drift).is_empty());
    assert_eq!(b.told(EventKind::Drift)[0].1.drifted(), Some((Actuator::Plunger, Pose::Work)));
    assert!(b.told(EventKind::Fault).is_empty());
}
