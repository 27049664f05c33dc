//! What the exploration of small worlds found in the core (`tests/explore`), each as a timeline.

use crate::bench::{Bench, Bottle, profile};
use timing_core::{Actuator, Command, Contact, EventKind, Fault, FeedStep, HeadStep, Mode, Request, UnitState};

fn running() -> Bench {
    let mut b = Bench::new();
    b.start();
    b
}

/// The longest that the core wanted to be left alone in so many milliseconds: µs, and counts of belt.
fn longest_sleep(b: &mut Bench, ms: u64) -> (u64, i64) {
    let mut longest = (0, 0);
    for _ in 0..ms {
        b.run(1);
        longest = (longest.0.max(b.wake_in_us), longest.1.max(b.wake_ahead));
    }
    longest
}

/// For twenty seconds nothing is released; at their end the unit is held, for `fault`.
fn ends_held_without_a_release(b: &mut Bench, fault: Fault) {
    for _ in 0..20_000 {
        b.run(1);
        assert!(!b.orders.work(Actuator::ReleaseGate), "released at {} ms: {fault:?}", b.ms);
    }
    assert_eq!(b.unit(), UnitState::Held);
    assert!(b.has_fault(fault));
}

#[test]
fn what_failed_before_a_stop_is_brought_home_and_confirmed_by_the_next_start() {
    let mut b = running();
    b.forced.push((Contact::GripHome, false));
    b.until("Held", 2_000, |b| b.unit() == UnitState::Held);
    assert!(b.has_fault(Fault::StrokeLost(Actuator::Grip)));
    b.command(Command::Stop);
    b.until("Stopped", 10_000, |b| b.unit() == UnitState::Stopped);
    b.log.clear();
    b.command(Command::Reset);
    b.command(Command::Start);
    ends_held_without_a_release(&mut b, Fault::StrokeOverdue(Actuator::Grip));
    // Cured, Unhold finishes what Starting had not.
    b.forced.clear();
    b.command(Command::Unhold);
    b.until("a good bottle", 30_000, |b| b.station.tally().good > 0);
}

#[test]
fn a_body_that_stood_in_the_release_eye_before_the_start_is_a_jam_and_nothing_is_released_onto_it() {
    let mut b = Bench::new();
    b.forced.push((Contact::ReleaseEye, true));
    b.command(Command::Reset);
    b.command(Command::Start);
    ends_held_without_a_release(&mut b, Fault::Jam);
    b.forced.clear();
    b.command(Command::Unhold);
    b.until("a good bottle", 30_000, |b| b.station.tally().good > 0);
}

#[test]
fn a_button_held_when_manual_is_left_is_let_go_and_held_rests() {
    let mut b = Bench::new();
    b.ask(Request::Mode(Mode::Manual));
    b.start();
    b.ask(Request::JogBelt);
    b.command(Command::Hold);
    b.until("Held", 2_000, |b| b.unit() == UnitState::Held);
    b.run(1_000);
    let (us, _) = longest_sleep(&mut b, 300);
    assert!(us >= 50_000, "woken every {us} µs in Held");
}

#[test]
fn a_release_given_up_after_unhold_leaves_no_place_behind_that_wakes_at_every_count() {
    let mut b = running();
    b.until("Releasing", 20_000, |b| b.station.feed() == FeedStep::Releasing);
    b.run(30);
    b.command(Command::Hold);
    b.until("Held", 2_000, |b| b.unit() == UnitState::Held);
    b.bottles.clear();
    b.supply = false;
    b.command(Command::Unhold);
    b.until("belt", 5_000, |b| b.orders.belt());
    b.run(2_500);
    assert_eq!(b.station.feed(), FeedStep::Filling);
    let (_, counts) = longest_sleep(&mut b, 300);
    assert!(counts > 20, "woken every {counts} counts");
}

#[test]
fn a_bottle_registered_while_the_gate_shuts_leaves_no_place_behind_that_wakes_at_every_count() {
    let mut b = running();
    b.until("under the blade", 20_000, |b| b.bottles.iter().any(|x| x.x > -99.0));
    assert_eq!(b.station.feed(), FeedStep::Releasing);
    b.command(Command::Hold);
    b.until("Held", 2_000, |b| b.unit() == UnitState::Held);
    // Its own eye loses sight of it.
    b.forced.push((Contact::PocketEye, false));
    b.supply = false;
    b.command(Command::Unhold);
    b.until("registered", 5_000, |b| !b.told(EventKind::Registered).is_empty());
    assert_eq!(b.station.feed(), FeedStep::Shutting);
    b.until("Leaving", 10_000, |b| b.station.head() == HeadStep::Leaving);
    b.run(5_000);
    let (_, counts) = longest_sleep(&mut b, 300);
    assert!(counts > 20, "woken every {counts} counts");
}

#[test]
fn a_catch_after_the_belt_stood_is_ordered_at_its_place_though_no_speed_is_sampled_yet() {
    let mut b = running();
    // The order is due at −13 mm: 12 mm of lead and 1 mm of aim.
    b.until("just before its order", 20_000, |b| b.bottles.iter().any(|x| x.x > -13.6 && x.x < -12.0));
    assert_eq!(b.station.head(), HeadStep::Incoming);
    b.command(Command::Hold);
    b.until("Held", 2_000, |b| b.unit() == UnitState::Held);
    b.command(Command::Unhold);
    b.until("ordered", 5_000, |b| !b.told(EventKind::CatchOrdered).is_empty());
    let late = b.told(EventKind::CatchOrdered)[0].1.value;
    assert!(late < 10, "{late} counts late");
    b.until("caught", 500, |b| b.station.head() == HeadStep::Seat);
}

#[test]
fn a_lost_grip_keeps_the_bottle_in_the_pocket_in_the_very_tick() {
    let mut b = running();
    b.until("Loaded", 20_000, |b| b.station.feed() == FeedStep::Loaded);
    // The entry gate is shutting: the release is due when that is confirmed.
    assert!(!b.orders.work(Actuator::ReleaseGate));
    b.forced.push((Contact::GripHome, false));
    for _ in 0..500 {
        b.run(1);
        assert!(!b.orders.work(Actuator::ReleaseGate), "released at {} ms", b.ms);
    }
    assert_eq!(b.unit(), UnitState::Held);
}

#[test]
fn a_pocket_emptied_by_hand_while_held_was_seen_clear_though_the_next_bottle_follows_at_once() {
    let mut b = running();
    b.until("Releasing", 20_000, |b| b.station.feed() == FeedStep::Releasing);
    b.run(30);
    b.command(Command::Hold);
    b.until("Held", 2_000, |b| b.unit() == UnitState::Held);
    b.bottles.clear();
    b.command(Command::Unhold);
    b.until("Shutting", 5_000, |b| b.station.feed() == FeedStep::Shutting);
    // The next is there before the pocket is looked at again.
    b.bottles.push(Bottle::standing(-126.5));
    b.until("a good bottle", 30_000, |b| b.station.tally().good > 0);
}

#[test]
fn a_stop_after_a_misfeed_is_got_out_of_by_reset_and_start() {
    let mut b = running();
    b.until("Loaded", 20_000, |b| b.station.feed() == FeedStep::Loaded);
    b.bottles.iter_mut().for_each(|x| x.wedged = true);
    b.until("Held", 20_000, |b| b.unit() == UnitState::Held);
    assert!(b.has_fault(Fault::Misfeed));
    b.command(Command::Stop);
    b.until("Stopped", 20_000, |b| b.unit() == UnitState::Stopped);
    b.bottles.clear();
    b.command(Command::Reset);
    b.command(Command::Start);
    b.until("a good bottle", 60_000, |b| b.station.tally().good > 0);
}

/// Three faults were needed to find it: a release broken off, a bottle that comes through all the same while the gate shuts, and a gate that sticks.
#[test]
fn a_bottle_that_comes_while_the_gate_shuts_leaves_no_place_behind_that_wakes_at_every_count() {
    let mut m = profile();
    m.actuators[Actuator::ReleaseGate.index()].margin = timing_core::Duration::from_millis(1_500);
    let mut b = Bench::with(&m, &timing_core::example::product());
    b.start();
    b.until("a release", 20_000, |b| b.station.feed() == FeedStep::Releasing && b.at_work(Actuator::ReleaseGate));
    b.command(Command::Hold);
    b.until("Held", 2_000, |b| b.unit() == UnitState::Held);
    assert!(b.told(EventKind::Registered).is_empty(), "it has not come yet");
    // The gate sticks open, and for a moment nothing seems to stand in the pocket.
    b.stuck[Actuator::ReleaseGate.index()] = true;
    b.forced.push((Contact::PocketEye, false));
    b.command(Command::Unhold);
    b.until("Shutting", 5_000, |b| b.station.feed() == FeedStep::Shutting);
    b.until("a bottle in the release eye", 1_000, |b| !b.told(EventKind::Registered).is_empty());
    let from = b.belt_mm;
    b.until("past where the gate would shut", 1_000, |b| b.belt_mm > from + 40.0);
    assert_eq!((b.unit(), b.station.feed()), (UnitState::Execute, FeedStep::Shutting));
    let (_, counts) = longest_sleep(&mut b, 50);
    assert!(counts > 1, "woken at every count");
}
