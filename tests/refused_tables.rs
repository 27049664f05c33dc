//! What the core refuses of a machine and of a product: each error comes from one change of the example that works, and none is
//! without a case.

use timing_core::{
    Actuator, CapPolicy, Contact, CountsPerMm, Duration, Machine, MachineError, MachineProfile, Millimetres, Product,
    ProductError, Setpoints, Speed, Tighten, example,
};

/// What is done to the example.
type Spoil<T> = Box<dyn Fn(&mut T)>;

const fn mm(n: i32) -> Millimetres {
    Millimetres::from_mm(n)
}

const fn ms(n: u64) -> Duration {
    Duration::from_millis(n)
}

/// No wildcard: a new error does not compile until it has its place here, and then fails until it has a case.
const fn machine_number(e: MachineError) -> usize {
    match e {
        MachineError::CountsPerMm => 0,
        MachineError::BeltSpeedMax => 1,
        MachineError::ReleaseBlade => 2,
        MachineError::ReleaseEye => 3,
        MachineError::DischargeEye => 4,
        MachineError::CapEye => 5,
        MachineError::Reject => 6,
        MachineError::HeadClear => 7,
        MachineError::Stroke(_) => 8,
        MachineError::Fitted(_) => 9,
        MachineError::Filter => 10,
        MachineError::Waiting => 11,
        MachineError::ReverseTolerance => 12,
    }
}

const fn product_number(e: ProductError) -> usize {
    match e {
        ProductError::Speed => 0,
        ProductError::Body => 1,
        ProductError::CatchTravel => 2,
        ProductError::Lead => 3,
        ProductError::Capture => 4,
        ProductError::GateShut => 5,
        ProductError::Travel => 6,
        ProductError::Jam => 7,
        ProductError::Slip => 8,
        ProductError::Dwell => 9,
        ProductError::Tighten => 10,
        ProductError::Spin => 11,
        ProductError::NoTorqueContact => 12,
        ProductError::NoCapContact => 13,
        ProductError::Misses => 14,
        ProductError::Early => 15,
        ProductError::Window => 16,
    }
}

#[test]
fn every_error_of_a_machine_is_told_by_its_own_mistake() {
    use MachineError as E;
    let without = |c| move |m: &mut MachineProfile| m.fitted = m.fitted.with(c, false);
    let cases: Vec<(E, Spoil<MachineProfile>)> = vec![
        (E::CountsPerMm, Box::new(|m| m.counts_per_mm = CountsPerMm::from_bits((1 << 15) - 1))),
        (E::CountsPerMm, Box::new(|m| m.counts_per_mm = CountsPerMm::from_bits((1_000 << 16) + 1))),
        (E::BeltSpeedMax, Box::new(|m| m.belt_speed_max = Speed::ZERO)),
        (E::BeltSpeedMax, Box::new(|m| m.belt_speed_max = Speed::from_mm_per_s(3_001))),
        (E::ReleaseBlade, Box::new(|m| m.release_blade = mm(0))),
        (E::ReleaseEye, Box::new(|m| m.release_eye = mm(-101))),
        (E::ReleaseEye, Box::new(|m| m.release_eye = mm(0))),
        (E::DischargeEye, Box::new(|m| m.discharge_eye = Some(mm(-1)))),
        (E::CapEye, Box::new(|m| m.cap_eye = Some(mm(0)))),
        (E::Reject, Box::new(|m| m.reject = m.discharge_eye)),
        (E::Reject, Box::new(|m| m.reject_length = mm(0))),
        (E::HeadClear, Box::new(|m| m.head_clear = mm(101))),
        (E::Stroke(Actuator::Grip), Box::new(|m| m.actuators[Actuator::Grip.index()].latency = ms(501))),
        (E::Stroke(Actuator::Rollers), Box::new(|m| m.actuators[Actuator::Rollers.index()].margin = m.contact_filter)),
        (E::Fitted(Contact::Chain), Box::new(without(Contact::Chain))),
        (E::Fitted(Contact::Guard), Box::new(without(Contact::Guard))),
        (E::Fitted(Contact::PocketEye), Box::new(without(Contact::PocketEye))),
        (E::Fitted(Contact::ReleaseEye), Box::new(without(Contact::ReleaseEye))),
        (E::Fitted(Contact::DischargeEye), Box::new(without(Contact::DischargeEye))),
        (E::Filter, Box::new(|m| m.eye_filter = ms(201))),
        (E::Filter, Box::new(|m| m.safety_filter = ms(9))),
        (E::Waiting, Box::new(|m| m.warn = ms(499))),
        (E::Waiting, Box::new(|m| m.sample_gap = ms(1_001))),
        (E::ReverseTolerance, Box::new(|m| m.reverse_tolerance = mm(101))),
    ];
    assert!(Machine::new(&example::machine()).is_ok(), "the example works");
    let mut seen = [false; 13];
    for (n, (error, spoil)) in cases.iter().enumerate() {
        let mut m = example::machine();
        spoil(&mut m);
        assert_eq!(Machine::new(&m), Err(*error), "case {n}");
        assert!(!error.words().is_empty());
        seen[machine_number(*error)] = true;
    }
    assert_eq!(seen, [true; 13], "an error without a case");
    let told: Vec<usize> = tests::bad_input::MACHINE.into_iter().map(machine_number).collect();
    assert_eq!(told, (0..13).collect::<Vec<_>>(), "the handbook tells each");
}

#[test]
fn every_error_of_a_product_is_told_by_its_own_mistake() {
    use ProductError as E;
    let cases: Vec<(E, Spoil<Product>)> = vec![
        (E::Speed, Box::new(|p| p.speed = Speed::ZERO)),
        (E::Speed, Box::new(|p| p.speed = Speed::from_mm_per_s(401))),
        (E::Body, Box::new(|p| p.body_min = mm(66))),
        (E::Body, Box::new(|p| p.body_max = mm(501))),
        (E::CatchTravel, Box::new(|p| p.catch_travel = mm(0))),
        (E::CatchTravel, Box::new(|p| p.catch_travel = mm(130))),
        (E::Lead, Box::new(|p| p.catch_travel = mm(13))),
        (E::Lead, Box::new(|p| p.catch_early = mm(-1))),
        (E::Capture, Box::new(|p| p.capture = p.u_base)),
        (E::Capture, Box::new(|p| p.capture = mm(33))),
        (E::GateShut, Box::new(|p| p.gate_shut_travel = mm(26))),
        (E::Travel, Box::new(|p| p.settle_travel = mm(-1))),
        (E::Travel, Box::new(|p| p.misfeed_travel = mm(0))),
        (E::Jam, Box::new(|p| p.jam_travel = p.body_max)),
        (E::Slip, Box::new(|p| p.slip = mm(-1))),
        (E::Dwell, Box::new(|p| p.seat_dwell = ms(5_001))),
        (E::Tighten, Box::new(|p| p.tighten = Tighten::Turns(ms(9)))),
        (E::Tighten, Box::new(|p| p.tighten = Tighten::Torque { earliest: ms(300), latest: ms(300) })),
        (E::Spin, Box::new(|p| p.spin_rpm = 0)),
        (E::Spin, Box::new(|p| p.spin_rpm = 6_001)),
        (E::NoTorqueContact, Box::new(|p| p.tighten = Tighten::Torque { earliest: ms(100), latest: ms(300) })),
        (E::NoCapContact, Box::new(|p| p.cap = CapPolicy::AtHead)),
        (E::NoCapContact, Box::new(|p| p.cap = CapPolicy::Upstream)),
        (E::Misses, Box::new(|p| p.misses_to_hold = 0)),
        (E::Misses, Box::new(|p| p.misses_to_hold = 101)),
        (E::Early, Box::new(|p| (p.early, p.stop_travel) = (Some(ms(1)), mm(200)))),
        (E::Window, Box::new(|p| p.speed_window = mm(51))),
        (E::Window, Box::new(|p| p.speed_window = mm(0))),
    ];
    let machine = Machine::new(&example::machine()).expect("the example works");
    assert!(Setpoints::new(&example::product(), &machine).is_ok(), "the example works");
    let mut seen = [false; 17];
    for (n, (error, spoil)) in cases.iter().enumerate() {
        let mut p = example::product();
        spoil(&mut p);
        assert_eq!(Setpoints::new(&p, &machine), Err(*error), "case {n}");
        assert!(!error.words().is_empty());
        seen[product_number(*error)] = true;
    }
    assert_eq!(seen, [true; 17], "an error without a case");
    let told: Vec<usize> = tests::bad_input::PRODUCT.into_iter().map(product_number).collect();
    assert_eq!(told, (0..17).collect::<Vec<_>>(), "the handbook tells each");
}

/// Two errors promise more than is looked at: known, told in the handbook, and here so that whoever mends it finds that place.
#[test]
fn two_errors_say_more_than_is_checked() {
    let machine = Machine::new(&example::machine()).expect("the example works");
    let (mut misfeed, mut catch) = (example::product(), example::product());
    // The release eye is 39.4 mm from the blade.
    misfeed.misfeed_travel = mm(1);
    assert!(ProductError::Travel.words().contains("must reach the release eye"));
    assert!(Setpoints::new(&misfeed, &machine).is_ok());
    // Half a bottle and 61.5 mm from the edge in the eye to the head: 94 mm.
    catch.catch_travel = mm(20);
    assert!(ProductError::CatchTravel.words().contains("end at the head"));
    assert!(Setpoints::new(&catch, &machine).is_ok());
}
