//! R1 … R9 as timelines: at this moment, given this, then that. What must hold at every tick is asserted by the bench itself;
//! here each rule is provoked.

use crate::bench::{Bench, profile};
use timing_core::{
    Actuator, CapPolicy, Command, Contact, EventKind, Fault, HeadStep, Orders, Pose, Product, Request, Tighten,
    UnitState, Why, example,
};

const HEAD_STEPS: [HeadStep; 7] = [
    HeadStep::Catch,
    HeadStep::Seat,
    HeadStep::Engage,
    HeadStep::Tighten,
    HeadStep::Disengage,
    HeadStep::Lift,
    HeadStep::LetGo,
];

fn running() -> Bench {
    let mut b = Bench::new();
    b.start();
    b
}

#[test]
fn r1_chain_open_in_any_step_gives_the_safe_vector_at_once_and_no_restart_by_itself() {
    for step in HEAD_STEPS {
        let mut b = running();
        b.until_head(step);
        assert_ne!(b.orders, Orders::SAFE);
        b.wires = b.wires.with(Contact::Chain, false);
        b.run(1);
        assert_eq!(b.orders, Orders::SAFE, "{step:?}");
        assert_eq!(b.unit(), UnitState::Aborting, "{step:?}");
        assert!(b.has_fault(Fault::ChainOpen));
        b.run(2_000);
        b.wires = b.wires.with(Contact::Chain, true);
        b.run(3_000);
        assert_eq!((b.unit(), b.orders), (UnitState::Aborted, Orders::SAFE), "the chain alone starts nothing");
        b.command(Command::Start);
        b.command(Command::Reset);
        assert_eq!((b.unit(), b.orders), (UnitState::Aborted, Orders::SAFE));
        assert_eq!(b.refused(), [Why::WrongState, Why::WrongState]);
        b.command(Command::Clear);
        b.run(100);
        assert_eq!((b.unit(), b.orders), (UnitState::Stopped, Orders::SAFE));
        b.start();
        b.until_head(HeadStep::Catch);
    }
}

#[test]
fn r1_clear_is_refused_while_the_chain_is_open_and_until_it_has_been_back_for_its_filter() {
    let mut b = running();
    b.wires = b.wires.with(Contact::Chain, false);
    b.run(1_000);
    b.command(Command::Clear);
    assert_eq!(b.refused(), [Why::CauseLasts]);
    b.wires = b.wires.with(Contact::Chain, true);
    b.run(50);
    b.command(Command::Clear);
    assert_eq!(b.refused().len(), 2, "regained filtered: 100 ms");
    b.run(100);
    b.command(Command::Clear);
    assert_eq!(b.unit(), UnitState::Stopped);
}

#[test]
fn r2_the_plunger_waits_for_the_grip_and_the_rollers_for_the_plunger() {
    for (stuck, never) in [(Actuator::Grip, Actuator::Plunger), (Actuator::Plunger, Actuator::Rollers)] {
        let mut b = running();
        b.stuck[stuck.index()] = true;
        for _ in 0..20_000 {
            b.run(1);
            assert!(!b.orders.work(never), "{never:?} with a stuck {stuck:?}");
        }
        assert!(b.has_fault(Fault::StrokeOverdue(stuck)));
    }
}

#[test]
fn r2_no_plunger_on_an_empty_grip() {
    let mut b = running();
    b.until_head(HeadStep::Catch);
    b.bottles.clear();
    for _ in 0..1_000 {
        b.run(1);
        assert!(!b.orders.work(Actuator::Plunger));
    }
    assert_eq!(b.flags()[..1], [Why::GripEmpty]);
}

#[test]
fn r2_a_stale_contact_confirms_nothing_before_latency_and_filter() {
    let mut b = running();
    b.until_head(HeadStep::Incoming);
    b.forced.push((Contact::GripWork, true));
    b.until_head(HeadStep::Catch);
    let ordered = b.ms;
    b.until("plunger", 1_000, |b| b.orders.work(Actuator::Plunger));
    assert!(b.ms - ordered >= 25, "confirmed {} ms after the order", b.ms - ordered);
}

#[test]
fn r3_no_spin_before_the_rollers_nor_without_a_closure_that_is_sensed() {
    let mut b = running();
    b.stuck[Actuator::Rollers.index()] = true;
    for _ in 0..15_000 {
        b.run(1);
        assert!(!b.orders.spin());
    }
    assert!(b.has_fault(Fault::StrokeOverdue(Actuator::Rollers)));

    let product = Product { cap: CapPolicy::AtHead, ..example::product() };
    let mut b = Bench::with(&profile(), &product);
    b.forced.push((Contact::Cap, false));
    b.start();
    b.until("a flag", 20_000, |b| !b.flags().is_empty());
    assert_eq!(b.flags(), [Why::NoCap]);
    assert!(!b.orders.spin() && !b.orders.work(Actuator::Rollers));
}

#[test]
fn r3_a_closure_sensed_at_the_head_lets_the_cycle_go_on() {
    let product = Product { cap: CapPolicy::AtHead, ..example::product() };
    let mut b = Bench::with(&profile(), &product);
    b.start();
    b.until_head(HeadStep::Tighten);
    assert!(b.flags().is_empty());
}

#[test]
fn r4_rollers_that_stay_in_keep_plunger_and_grip_where_they_are() {
    let mut b = running();
    b.until_head(HeadStep::Tighten);
    b.stuck[Actuator::Rollers.index()] = true;
    b.run(5_000);
    assert!(b.has_fault(Fault::StrokeOverdue(Actuator::Rollers)));
    assert_eq!(b.unit(), UnitState::Held);
    assert!(b.orders.work(Actuator::Plunger) && b.orders.work(Actuator::Grip) && !b.orders.spin());
    // Nor does a Stop open the grip under the rollers.
    b.command(Command::Stop);
    b.run(8_000);
    assert!(b.orders.work(Actuator::Plunger) && b.orders.work(Actuator::Grip), "{:?}", b.unit());
}

#[test]
fn r5_a_release_gate_that_does_not_shut_keeps_the_entry_gate_shut() {
    let mut b = running();
    b.until("released", 20_000, |b| b.orders.work(Actuator::ReleaseGate));
    b.run(200);
    b.stuck[Actuator::ReleaseGate.index()] = true;
    for _ in 0..6_000 {
        b.run(1);
        assert!(!b.orders.work(Actuator::EntryGate));
    }
    assert!(b.has_fault(Fault::StrokeOverdue(Actuator::ReleaseGate)));
}

#[test]
fn r6_a_bottle_is_let_go_only_to_a_head_that_is_ready() {
    let mut b = running();
    let mut releases = 0;
    for _ in 0..30_000 {
        let was = b.orders.work(Actuator::ReleaseGate);
        let head = b.station.head();
        b.run(1);
        if b.orders.work(Actuator::ReleaseGate) && !was {
            releases += 1;
            let free = matches!(b.station.head(), HeadStep::Vacant | HeadStep::Leaving);
            assert!(free, "let go in {head:?}");
            assert!(!b.bottles.iter().any(|x| x.x > -120.0 && x.x < 0.0), "another is on its way");
        }
    }
    assert!(releases > 5, "{releases}");
}

#[test]
fn r7_a_bottle_that_stops_under_the_blade_keeps_the_release_gate_open() {
    let mut b = running();
    b.until("registered", 20_000, |b| !b.told(EventKind::Registered).is_empty());
    b.run(50);
    let first = b.bottles.iter_mut().max_by(|p, q| p.x.total_cmp(&q.x)).expect("a bottle");
    first.wedged = true;
    b.run(6_000);
    assert!(b.has_fault(Fault::Misfeed), "it still blocks the pocket eye, too");
    assert_eq!(b.unit(), UnitState::Held);
    assert!(b.orders.work(Actuator::ReleaseGate), "the blade must not come down on it");
}

#[test]
fn r7_the_entry_gate_shuts_only_on_a_pocket_that_has_settled() {
    let mut b = running();
    b.until_head(HeadStep::Catch);
    b.until("entry opens", 5_000, |b| b.orders.work(Actuator::EntryGate));
    b.until("pocket", 5_000, |b| b.contacts().has(Contact::PocketEye));
    let from = b.ms;
    b.until("entry shuts", 5_000, |b| !b.orders.work(Actuator::EntryGate));
    // 10 mm of belt at 100 mm/s.
    assert!(b.ms - from >= 100, "shut {} ms after the eye", b.ms - from);
}

#[test]
fn r8_the_catch_is_ordered_once_a_bottle_and_never_late() {
    let mut b = running();
    b.run(30_000);
    let (registered, ordered) = (b.told(EventKind::Registered).len(), b.told(EventKind::CatchOrdered).len());
    assert!(registered > 8 && registered - ordered <= 1, "{registered} registered, {ordered} ordered");
    // At most one millisecond of belt (2.05 counts) past its place: the schedule's period.
    assert!(b.told(EventKind::CatchOrdered).iter().all(|(_, e)| (0..=3).contains(&e.value)));
}

#[test]
fn r8_a_catch_place_that_went_by_while_held_is_missed_and_told() {
    let mut m = profile();
    m.belt_owner = timing_core::BeltOwner::Line;
    let mut b = Bench::with(&m, &example::product());
    b.line_belt = Some(true);
    b.run(500);
    b.start();
    b.until_head(HeadStep::Incoming);
    b.command(Command::Hold);
    b.run(1_500);
    assert!(!b.orders.work(Actuator::Grip));
    b.command(Command::Unhold);
    b.until("a flag", 5_000, |b| !b.flags().is_empty());
    assert_eq!(b.flags()[..1], [Why::Missed]);
    assert!(b.told(EventKind::CatchOrdered).is_empty());
}

#[test]
fn r9_a_stroke_that_is_not_confirmed_names_its_actuator() {
    let cases = [
        (Actuator::Grip, HeadStep::Incoming),
        (Actuator::Plunger, HeadStep::Catch),
        (Actuator::Rollers, HeadStep::Seat),
        (Actuator::Rollers, HeadStep::Tighten),
        (Actuator::Plunger, HeadStep::Disengage),
        (Actuator::Grip, HeadStep::Lift),
    ];
    for (a, at) in cases {
        let mut b = running();
        b.until_head(at);
        b.stuck[a.index()] = true;
        b.until("Held", 5_000, |b| b.unit() == UnitState::Held);
        assert!(b.has_fault(Fault::StrokeOverdue(a)), "{a:?} in {at:?}");
    }
}

#[test]
fn r9_each_step_begins_when_the_last_is_confirmed() {
    let mut b = running();
    b.until("a good bottle", 30_000, |b| b.station.tally().good > 0);
    let steps: Vec<u16> = b.told(EventKind::Head).iter().map(|(_, e)| e.detail).take(9).collect();
    let want: Vec<u16> = [
        HeadStep::Incoming,
        HeadStep::Catch,
        HeadStep::Seat,
        HeadStep::Engage,
        HeadStep::Tighten,
        HeadStep::Disengage,
        HeadStep::Lift,
        HeadStep::LetGo,
        HeadStep::Leaving,
    ]
    .map(|s| s as u16)
    .to_vec();
    assert_eq!(steps, want);
    let at = |s: HeadStep| b.told(EventKind::Head).iter().find(|(_, e)| e.detail == s as u16).expect("entered").0;
    // 20 ms latency, 100 ms travel, 5 ms filter; then the pauses of the product.
    assert!(at(HeadStep::Seat) - at(HeadStep::Catch) >= 125);
    assert!(at(HeadStep::Engage) - at(HeadStep::Seat) >= 125 + 50);
    assert!(at(HeadStep::Tighten) - at(HeadStep::Engage) >= 125 + 100);
    assert_eq!(at(HeadStep::Disengage) - at(HeadStep::Tighten), 218);
}

#[test]
fn r9_a_contact_lost_in_mid_step_is_a_fault_that_names_it() {
    let mut b = running();
    b.until_head(HeadStep::Tighten);
    b.forced.push((Contact::PlungerWork, false));
    b.until("Held", 2_000, |b| b.unit() == UnitState::Held);
    assert!(b.has_fault(Fault::StrokeLost(Actuator::Plunger)));
    assert!(!b.orders.spin());
}

#[test]
fn guarded_manual_jogs_are_kept_back_by_the_rule_and_told() {
    let jogs = [(Actuator::Plunger, Pose::Work, 2), (Actuator::Rollers, Pose::Work, 2)];
    for (a, pose, rule) in jogs {
        let mut b = Bench::new();
        b.ask(Request::Mode(timing_core::Mode::Manual));
        b.start();
        b.ask(Request::Jog(a, pose));
        b.run(10);
        assert!(!b.orders.work(a), "{a:?}");
        let kept = b.told(EventKind::Guarded);
        assert_eq!(kept.iter().map(|(_, e)| e.detail).collect::<Vec<_>>(), [rule], "{a:?}");
    }
    // Gates: neither opens while the other is open.
    let mut b = Bench::new();
    b.ask(Request::Mode(timing_core::Mode::Manual));
    b.start();
    for a in [Actuator::EntryGate, Actuator::ReleaseGate] {
        b.ask(Request::Jog(a, Pose::Home));
        b.run(400);
    }
    b.ask(Request::Jog(Actuator::EntryGate, Pose::Work));
    b.run(300);
    assert!(b.orders.work(Actuator::EntryGate));
    b.ask(Request::Jog(Actuator::ReleaseGate, Pose::Work));
    b.run(300);
    assert!(!b.orders.work(Actuator::ReleaseGate));
    assert_eq!(b.told(EventKind::Guarded).last().map(|(_, e)| e.detail), Some(5));
}

#[test]
fn seat_only_never_spins() {
    let product = Product {
        tighten: Tighten::SeatOnly(timing_core::Duration::from_millis(300)),
        spin_rpm: 0,
        ..example::product()
    };
    let mut b = Bench::with(&profile(), &product);
    b.start();
    for _ in 0..20_000 {
        b.run(1);
        assert!(!b.orders.spin());
    }
    assert!(b.station.tally().good > 0);
    assert!(!b.told(EventKind::Head).iter().any(|(_, e)| e.detail == HeadStep::Tighten as u16));
}
