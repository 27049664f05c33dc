//! Everything that can go wrong on the modelled line, one by one, and what hands may do about it.

use crate::plant_common::{Bench, close_bottles, job};
use host_sim::facts::What;
use host_sim::job::spec::{Action, FaultKind, InitialBottle, Job, SupplySpec};
use timing_core::{Actuator as A, Contact, Contacts, ValveKind};

/// One bottle standing at `x`, and no more to come.
fn one_at(x: f64) -> Job {
    let mut j = job();
    j.run.bottles = 0;
    j.run.initial = vec![InitialBottle { x_mm: x, cap: true }];
    j
}

fn met(b: &Bench, n: u32) -> Option<(f64, bool)> {
    b.facts_of(n)
        .iter()
        .find_map(|w| if let What::JawMet { off_mm, captured } = w { Some((*off_mm, *captured)) } else { None })
}

#[test]
fn the_jaw_captures_up_to_its_half_mouth_less_r_cos_alpha() {
    // 40 − 32.5·cos 60° = 23.75 mm.
    for (x, captured) in [(-23.7, true), (23.7, true), (23.8, false), (-23.8, false)] {
        let mut b = Bench::new(&one_at(x));
        b.coil(A::Grip, true);
        b.run_to(119_999);
        assert!(!b.has(Contact::GripWork) && met(&b, 1).is_none());
        b.run_to(300_000);
        assert_eq!(met(&b, 1), Some((x, captured)));
        assert_eq!(b.has(Contact::GripWork), captured, "{x}");
        assert!(!b.has(Contact::GripOver));
        let place = b.plant.place_of(1);
        assert_eq!(place, Some(if captured { 0.0 } else { x }));
        assert_eq!(b.facts_of(1).contains(&What::Gripped), captured);
    }
}

#[test]
fn friction_above_the_wedge_angle_keeps_the_jaw_from_centring() {
    // tan((90° − 60°)/2) = 0.268.
    for (mu, at, x) in [(0.26, 10.0, 0.0), (0.27, 10.0, 10.0), (0.27, 0.4, 0.0)] {
        let mut j = one_at(at);
        j.machine.jaw_mu = mu;
        let mut b = Bench::new(&j);
        b.coil(A::Grip, true);
        b.run_to(300_000);
        assert_eq!(b.plant.place_of(1), Some(x), "friction {mu}");
        // It stalls on what it does not centre, short of its contact.
        assert_eq!(met(&b, 1), Some((at, x == 0.0)), "friction {mu}");
        assert_eq!(b.has(Contact::GripWork), x == 0.0, "friction {mu}");
    }
}

#[test]
fn a_jaw_that_finds_nothing_goes_over_and_is_in_the_way() {
    let mut b = Bench::new(&one_at(-95.0));
    b.coil(A::Grip, true);
    b.run_to(160_000);
    assert!(b.has(Contact::GripOver) && !b.has(Contact::GripWork));
    assert_eq!(b.facts_of(0), [What::JawEmpty]);
    b.belt(true);
    b.run_to(3_000_000);
    let x = b.plant.place_of(1).unwrap_or(f64::NAN);
    assert!(x < -60.0, "it has run through the closed jaw to {x}");
    b.coil(A::Grip, false);
    b.run_to(5_000_000);
    assert!(b.facts_of(1).contains(&What::PassedHead));
}

#[test]
fn a_newcomer_at_a_busy_head_is_a_strike_at_the_head() {
    let mut j = one_at(0.0);
    j.run.initial.push(InitialBottle { x_mm: -95.0, cap: true });
    let mut b = Bench::new(&j);
    b.coil(A::Grip, true);
    b.run_to(200_000);
    b.belt(true);
    b.run_to(2_000_000);
    assert!(
        b.facts_of(2).iter().any(|w| matches!(w, What::StruckByBottle { at_head: true, .. })),
        "{:?}",
        b.facts_of(2)
    );
    assert_eq!(b.plant.place_of(1), Some(0.0));
}

#[test]
fn a_gate_that_shuts_on_a_body_stalls_until_it_has_gone() {
    // The body stands 10 mm past the blade's face: its rear half is under the blade.
    let mut b = Bench::new(&one_at(-90.0));
    b.coil(A::ReleaseGate, true);
    b.run_to(200_000);
    assert!(b.has(Contact::ReleaseGateWork));
    b.coil(A::ReleaseGate, false);
    b.run_to(1_000_000);
    assert!(!b.has(Contact::ReleaseGateHome), "it has shut through a bottle");
    assert_eq!(b.facts_of(1).iter().filter(|w| **w == What::StruckByGate(1)).count(), 1);
    b.belt(true);
    b.run_to(2_000_000);
    assert!(b.has(Contact::ReleaseGateHome), "it does not go on shutting");
    assert!(b.plant.place_of(1).is_none_or(|x| x > -60.0));
}

#[test]
fn a_gate_on_the_front_flank_pins_the_body_until_it_opens() {
    let mut b = Bench::new(&one_at(-115.0));
    b.coil(A::ReleaseGate, true);
    b.run_to(200_000);
    b.coil(A::ReleaseGate, false);
    b.run_to(400_000);
    b.belt(true);
    b.run_to(2_000_000);
    assert_eq!(b.plant.place_of(1), Some(-115.0));
    assert!(!b.has(Contact::ReleaseGateHome));
    b.coil(A::ReleaseGate, true);
    b.run_to(4_000_000);
    assert!(b.plant.place_of(1).is_none_or(|x| x > 0.0));
}

#[test]
fn the_entry_blade_has_5_38_mm_either_way_between_touching_bottles() {
    // Touching point −100.9 − 25.617 − 32.5 = −159.017; blade 3 mm thick. The blade pushes up to 1 mm of the second bottle back.
    for (off, struck) in [(0.0, false), (5.3, false), (5.6, true), (-6.2, false), (-6.6, true)] {
        let mut j = job();
        j.run.bottles = 2;
        j.machine.entry_blade_mm = -159.0174 - 1.5 + off;
        j.machine.supply_eye_mm = None;
        let mut b = Bench::new(&j);
        b.belt(true);
        b.coil(A::EntryGate, true);
        b.run_to(3_000_000);
        b.coil(A::EntryGate, false);
        b.run_to(3_500_000);
        let hit = b.facts.iter().any(|f| f.what == What::StruckByGate(0));
        assert_eq!(hit, struck, "blade off by {off}: {:?}", b.facts);
        assert_eq!(b.has(Contact::EntryGateHome), !struck);
    }
}

#[test]
fn closures_missing_crossed_and_loose() {
    let mut j = job();
    j.run.bottles = 4;
    let mut b = Bench::new(&j);
    b.plant.begin(&FaultKind::NoCap(1));
    b.plant.begin(&FaultKind::Crossed(2));
    b.plant.begin(&FaultKind::LooseThread(3));
    close_bottles(&mut b, 4, 60_000_000);
    let spun = |n: u32| {
        b.facts_of(n).iter().find_map(|w| {
            if let What::Spun { turns, torque, crossed } = w { Some((*turns, *torque, *crossed)) } else { None }
        })
    };
    assert!(b.facts_of(1).contains(&What::NoClosure) && spun(1).is_none());
    assert!(spun(2).is_some_and(|s| s.0 < 0.2 && s.1 && s.2), "{:?}", spun(2));
    assert!(spun(3).is_some_and(|s| s.0 > 3.0 && !s.1 && !s.2), "{:?}", spun(3));
    assert!(spun(4).is_some_and(|s| s.0 >= 1.5 && s.1 && !s.2), "{:?}", spun(4));
}

#[test]
fn fifteen_tenths_of_a_turn_take_168_ms_and_half_the_ramp() {
    // 300 rpm, 50 mm on 28 mm, no slip: 168.000 ms; a ramp of 100 ms costs 50 ms more. The thread start adds up to one turn of 112 ms.
    let mut b = Bench::new(&one_at(0.0));
    for a in [A::Grip, A::Plunger, A::Rollers] {
        b.coil(a, true);
        b.run_to(b.plant.now() + 200_000);
    }
    let t0 = b.plant.now();
    b.spin(true);
    let t = b.run_until(5_000_000, |b| b.has(Contact::Torque)).unwrap_or(0);
    let extra = (t - t0) as f64 - 218_000.0;
    assert!((0.0..112_001.0).contains(&extra), "{extra}");
    b.spin(false);
    b.coil(A::Rollers, false);
    b.run_to(t + 300_000);
    assert!(!b.has(Contact::Torque));
    let turns = b.facts_of(1).iter().find_map(|w| if let What::Spun { turns, .. } = w { Some(*turns) } else { None });
    assert!(turns.is_some_and(|n| (n - 1.5 - extra / 112_000.0).abs() < 1e-4), "{turns:?} {extra}");
}

#[test]
fn tightening_what_is_not_gripped_turns_the_bottle() {
    let mut b = Bench::new(&one_at(0.0));
    b.coil(A::Rollers, true);
    b.run_to(200_000);
    assert!(b.facts_of(1).contains(&What::RollersLoose));
    b.spin(true);
    b.run_to(400_000);
    assert!(b.facts_of(1).contains(&What::TurnedInGrip));
}

#[test]
fn the_plunger_on_nothing_goes_over() {
    let mut b = Bench::new(&one_at(0.0));
    b.coil(A::Plunger, true);
    b.run_to(200_000);
    assert!(b.facts_of(1).contains(&What::PlungerLoose));
    assert!(b.has(Contact::PlungerOver) && !b.has(Contact::PlungerWork));
}

#[test]
fn a_bottle_taken_from_the_jaw_lets_it_close_on_nothing() {
    let mut b = Bench::new(&one_at(0.0));
    b.coil(A::Grip, true);
    b.run_to(200_000);
    assert!(b.has(Contact::GripWork) && b.has(Contact::Cap));
    b.plant.act(&Action::Take(1));
    b.run_to(300_000);
    assert!(!b.has(Contact::GripWork) && b.has(Contact::GripOver) && !b.has(Contact::Cap));
    assert!(b.facts_of(1).contains(&What::Taken));
    assert!(b.plant.is_empty());
}

#[test]
fn the_open_chain_takes_power_whatever_is_ordered() {
    let mut b = Bench::new(&one_at(0.0));
    b.belt(true);
    b.run_to(50_000);
    b.plant.act(&Action::OpenChain);
    b.coil(A::Grip, true);
    b.spin(true);
    b.run_to(1_000_000);
    assert!(!b.has(Contact::Chain));
    assert_eq!(b.plant.belt_mm_s(), 0.0);
    assert!(b.has(Contact::GripHome) && b.facts.iter().all(|f| matches!(f.what, What::Entered)));
    // The wires still say work: with the chain closed again the coil has power at once.
    b.plant.act(&Action::CloseChain);
    b.run_to(1_060_000);
    assert!(!b.has(Contact::GripHome));
}

#[test]
fn grips_without_coil_by_their_valve() {
    for (valve, lets_go) in
        [(ValveKind::SpringReturn, true), (ValveKind::Detented, false), (ValveKind::CentreClosed, false)]
    {
        let mut j = one_at(0.0);
        j.machine.actuators[A::Grip.index()].valve = valve;
        let mut b = Bench::new(&j);
        b.coil(A::Grip, true);
        b.run_to(200_000);
        b.plant.begin(&FaultKind::ChainOpen);
        b.run_to(500_000);
        assert_eq!(b.facts_of(1).contains(&What::LetGo), lets_go, "{valve:?}");
    }
}

#[test]
fn without_air_cylinders_keep_their_place() {
    let mut b = Bench::new(&one_at(0.0));
    b.coil(A::Grip, true);
    b.run_to(60_000);
    b.plant.begin(&FaultKind::AirLow);
    b.run_to(1_000_000);
    assert!(!b.has(Contact::Air) && !b.has(Contact::GripHome) && !b.has(Contact::GripWork));
    b.plant.end(&FaultKind::AirLow);
    b.run_to(1_059_999);
    assert!(!b.has(Contact::GripWork));
    b.run_to(1_060_001);
    assert!(b.has(Contact::GripWork), "60 of its 100 ms were left");
}

#[test]
fn slow_and_stuck_cylinders() {
    let mut b = Bench::new(&one_at(200.0));
    b.plant.begin(&FaultKind::Slow(A::Plunger, 3.0));
    b.plant.begin(&FaultKind::Stuck(A::Rollers));
    b.coil(A::Plunger, true);
    b.coil(A::Rollers, true);
    b.run_to(2_000_000);
    assert_eq!(b.edges_of(Contact::PlungerOver, true), [450_000]); // 3 × (20 + 100 + 30) ms
    assert!(b.has(Contact::RollersHome));
    b.plant.end(&FaultKind::Stuck(A::Rollers));
    b.run_to(3_000_000);
    assert!(b.has(Contact::RollersOver));
}

#[test]
fn a_hung_bottle_and_a_wedged_one_wait_for_a_hand() {
    for (fault, place) in [(FaultKind::Hung(1), -126.5174), (FaultKind::Jam(1), -61.5 + 10.0 - 32.5)] {
        let mut b = Bench::new(&one_at(-130.0));
        b.plant.begin(&fault);
        b.belt(true);
        b.coil(A::ReleaseGate, true);
        b.run_to(3_000_000);
        let x = b.plant.place_of(1).unwrap_or(f64::NAN);
        assert!((x - place).abs() < 1e-3, "{fault:?}: {x}");
        b.plant.act(&Action::Free(1));
        b.run_to(6_000_000);
        assert!(b.facts_of(1).contains(&What::PassedHead), "{fault:?}");
    }
}

#[test]
fn a_stuck_pair_moves_and_stops_as_one() {
    let mut j = job();
    j.run.bottles = 3;
    let mut b = Bench::new(&j);
    b.belt(true);
    b.run_to(300_000);
    b.plant.begin(&FaultKind::StuckPair(1));
    b.coil(A::EntryGate, true);
    b.run_to(3_000_000);
    b.coil(A::EntryGate, false);
    b.run_to(3_500_000);
    b.coil(A::ReleaseGate, true);
    b.run_to(5_000_000);
    // The second is held by the entry gate, and holds the first.
    let (x1, x2) = (b.plant.place_of(1).unwrap_or(f64::NAN), b.plant.place_of(2).unwrap_or(f64::NAN));
    assert!((x2 - (-160.5 - 25.6174)).abs() < 1e-3 && (x1 - x2 - 65.0).abs() < 1e-6, "{x1} {x2}");
    b.coil(A::EntryGate, true);
    b.run_to(5_700_000);
    let (x1, x2) = (b.plant.place_of(1).unwrap_or(f64::NAN), b.plant.place_of(2).unwrap_or(f64::NAN));
    assert!(x1 > -80.0 && (x1 - x2 - 65.0).abs() < 1e-6, "{x1} {x2}");
}

#[test]
fn a_long_bottle_shadows_the_eye_for_its_length() {
    let mut b = Bench::new(&one_at(-130.0));
    b.plant.begin(&FaultKind::LongBottle(1, 90.0));
    b.belt(true);
    b.coil(A::ReleaseGate, true);
    b.run_to(4_000_000);
    let (on, off) = (b.edges_of(Contact::ReleaseEye, true), b.edges_of(Contact::ReleaseEye, false));
    assert!((off[0] - on[0]).abs_diff(900_500) < 3, "{on:?} {off:?}");
}

#[test]
fn glass_is_seen_as_two_walls() {
    let mut j = one_at(-130.0);
    j.product.transparent = true;
    let mut b = Bench::new(&j);
    b.belt(true);
    b.coil(A::ReleaseGate, true);
    b.run_to(3_000_000);
    let (on, off) = (b.edges_of(Contact::ReleaseEye, true), b.edges_of(Contact::ReleaseEye, false));
    assert_eq!((on.len(), off.len()), (2, 2));
    assert!((off[0] - on[0]).abs_diff(60_500) < 3 && (off[1] - on[0]).abs_diff(650_500) < 3, "{on:?} {off:?}");
}

#[test]
fn a_blocked_outfeed_blocks_the_discharge_eye() {
    let mut b = Bench::new(&one_at(0.0));
    b.plant.begin(&FaultKind::OutfeedBlocked);
    b.belt(true);
    b.run_to(5_000_000);
    assert!(b.has(Contact::DischargeEye) && b.plant.place_of(1).is_some_and(|x| (x - 110.0).abs() < 1e-6));
    b.plant.end(&FaultKind::OutfeedBlocked);
    b.run_to(12_000_000);
    assert!(!b.has(Contact::DischargeEye) && b.plant.is_empty());
}

#[test]
fn the_diverter_takes_what_is_in_its_reach_while_it_has_no_power() {
    // In reach while any part lies within 400 … 480 mm.
    for (x, on, off, diverted) in [
        (300.0, None, None, true),
        (300.0, Some(0), None, false),
        (300.0, Some(0), Some(500_000), true),
        (300.0, Some(0), Some(2_400_000), false),
    ] {
        let mut b = Bench::new(&one_at(x));
        b.belt(true);
        if on.is_some() {
            b.coil(A::Reject, true);
        }
        if let Some(t) = off {
            b.run_to(t);
            b.coil(A::Reject, false);
        }
        b.run_to(8_000_000);
        assert_eq!(b.facts_of(1).contains(&What::Diverted), diverted, "{x} {on:?} {off:?}");
        assert_eq!(b.facts_of(1).contains(&What::PassedOn), !diverted);
        assert_eq!(b.edges_of(Contact::RejectEye, true).len(), usize::from(diverted));
        assert!(b.plant.is_empty());
    }
}

#[test]
fn lying_and_failed_contacts() {
    let mut b = Bench::new(&one_at(0.0));
    b.plant.begin(&FaultKind::ContactStuck(Contact::GripHome, false));
    b.plant.begin(&FaultKind::ContactStuck(Contact::ReleaseEye, true));
    b.plant.begin(&FaultKind::InputFailed(Contact::Air));
    assert!(!b.has(Contact::GripHome) && b.has(Contact::ReleaseEye) && !b.has(Contact::Air));
    assert_eq!(b.plant.failed(), Contacts::NONE.with(Contact::Air, true));
    for f in [
        FaultKind::ContactStuck(Contact::GripHome, false),
        FaultKind::ContactStuck(Contact::ReleaseEye, true),
        FaultKind::InputFailed(Contact::Air),
    ] {
        b.plant.end(&f);
    }
    assert!(b.has(Contact::GripHome) && !b.has(Contact::ReleaseEye) && b.has(Contact::Air));
    assert_eq!(b.plant.failed(), Contacts::NONE);
}

#[test]
fn surroundings_and_supply() {
    let mut j = job();
    j.run.supply = SupplySpec::Pitch(100.0);
    let mut b = Bench::new(&j);
    for (f, c) in [
        (FaultKind::GuardOpen, Contact::Guard),
        (FaultKind::DriveNotReady, Contact::Drive),
        (FaultKind::DownstreamNotReady, Contact::DownstreamReady),
        (FaultKind::Starved, Contact::UpstreamReady),
    ] {
        assert!(b.has(c));
        b.plant.begin(&f);
        assert!(!b.has(c), "{f:?}");
        b.plant.end(&f);
        assert!(b.has(c), "{f:?}");
    }
    b.belt(true);
    b.coil(A::EntryGate, true);
    b.coil(A::ReleaseGate, true);
    b.coil(A::Reject, true);
    b.run_to(3_000_000);
    b.plant.begin(&FaultKind::Starved);
    let n = b.plant.entered();
    b.run_to(6_000_000);
    assert_eq!(b.plant.entered(), n);
    b.plant.end(&FaultKind::Starved);
    b.run_to(30_000_000);
    assert_eq!(b.plant.entered(), 10);
    let times: Vec<u64> = (1..=n).filter_map(|k| b.when(k, |w| *w == What::Entered)).collect();
    for w in times.windows(2).skip(1) {
        assert!((w[1] - w[0]).abs_diff(1_000_000) < 2, "100 mm at 100 mm/s: {times:?}");
    }
}

#[test]
fn the_lines_own_belt_runs_by_itself_and_stops_by_its_fault() {
    let mut j = job();
    j.machine.line_owns_belt = true;
    j.machine.contacts = j.machine.contacts.with(Contact::LineBelt, true);
    let mut b = Bench::new(&j);
    assert_eq!(b.plant.belt_mm_s(), 100.0);
    assert!(b.has(Contact::LineBelt));
    b.plant.begin(&FaultKind::BeltStop);
    b.run_to(200_000);
    assert_eq!(b.plant.belt_mm_s(), 0.0);
    assert!(!b.has(Contact::LineBelt));
}

#[test]
fn the_same_seed_gives_the_same_line_and_another_seed_another() {
    let run = |seed: u64| {
        let mut j = job();
        j.run.seed = seed;
        j.run.spread = true;
        j.run.wander = 0.1;
        j.machine.contact_bounce_ms = 2.0;
        j.machine.eye_on_ms = 0.5;
        j.run.bottles = 5;
        let mut b = Bench::new(&j);
        close_bottles(&mut b, 5, 60_000_000);
        (b.facts, b.edges)
    };
    let (a, same, other) = (run(7), run(7), run(8));
    assert_eq!(a, same);
    assert_ne!(a.0, other.0);
}

#[test]
fn an_eye_that_a_bottle_stood_in_at_power_up_clears_when_it_has_gone() {
    let mut b = Bench::new(&one_at(-115.0));
    assert!(b.has(Contact::PocketEye));
    b.coil(A::ReleaseGate, true);
    b.run_to(200_000);
    b.belt(true);
    b.run_to(3_000_000);
    assert!(!b.has(Contact::PocketEye));
}

#[test]
fn after_a_day_a_gate_still_holds() {
    let mut j = job();
    j.machine.line_owns_belt = true;
    j.product.speed_mm_s = 300.0;
    j.run.supply = SupplySpec::Pitch(100.0);
    let mut b = Bench::new(&j);
    b.plant.begin(&FaultKind::Starved);
    b.plant.advance(100_000_000_000);
    b.plant.end(&FaultKind::Starved);
    b.run_to(100_020_000_000);
    let first = b.plant.bottles().next();
    assert!(first.is_some_and(|x| (x.1 - (-160.5 - 25.6174)).abs() < 1e-3), "{first:?}");
}
