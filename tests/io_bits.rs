//! The numbers of contacts, orders, events and requests, and their canonical bytes.
//!
//! Recordings, digests and wiring documents rest on them: a number that changes is a broken recording. These tables are
//! goldens of our own; change them only together with a line in the CHANGELOG.

use timing_core::event::request_number;
use timing_core::{
    Actuator, Command, Contact, Contacts, Event, EventKind, FeedStep, HeadStep, Mode, Orders, Pose, Request, Why,
};

#[test]
fn contacts_keep_their_numbers() {
    let names = [
        "pocket eye",
        "release eye",
        "discharge eye",
        "supply eye",
        "entry gate home",
        "entry gate open",
        "entry gate over",
        "release gate home",
        "release gate open",
        "release gate over",
        "grip home",
        "grip on work",
        "grip over",
        "plunger home",
        "plunger on work",
        "plunger over",
        "rollers home",
        "rollers on work",
        "rollers over",
        "reject diverting",
        "reject passing",
        "reject full",
        "chain",
        "guard",
        "air",
        "drive",
        "cap",
        "torque",
        "upstream ready",
        "downstream ready",
        "reject eye",
        "line belt",
    ];
    for (n, (contact, name)) in Contact::ALL.into_iter().zip(names).enumerate() {
        assert_eq!((contact.index(), contact.name()), (n, name));
        assert_eq!(contact.bit().bits(), 1 << n);
    }
}

#[test]
fn each_actuator_has_its_own_contacts() {
    use Contact as C;
    let want = [
        (C::EntryGateHome, C::EntryGateWork, None),
        (C::ReleaseGateHome, C::ReleaseGateWork, None),
        (C::GripHome, C::GripWork, Some(C::GripOver)),
        (C::PlungerHome, C::PlungerWork, Some(C::PlungerOver)),
        (C::RollersHome, C::RollersWork, Some(C::RollersOver)),
        (C::RejectHome, C::RejectWork, None),
    ];
    let got = Actuator::ALL.map(|a| (C::home_of(a), C::work_of(a), C::over_of(a)));
    assert_eq!(got, want);
}

#[test]
fn orders_keep_their_bits() {
    let actuators = ["entry gate", "release gate", "grip", "plunger", "rollers", "reject"];
    for (n, (a, name)) in Actuator::ALL.into_iter().zip(actuators).enumerate() {
        assert_eq!((a.index(), a.name()), (n, name));
        assert_eq!(Orders::SAFE.with_coils(a, true, false).bits(), 1 << n);
        assert_eq!(Orders::SAFE.with_coils(a, false, true).bits(), 1 << (n + 6));
        let both = Orders::from_bits(u16::MAX).with_coils(a, false, false);
        assert_eq!(both.bits(), !(1 << n | 1 << (n + 6)));
        assert!(!both.work(a) && !both.home(a));
    }
    let drives = [
        (Orders::SAFE.with_belt(true), 12),
        (Orders::SAFE.with_spin(true), 13),
        (Orders::SAFE.with_beacon(true), 14),
        (Orders::SAFE.with_ready(true), 15),
    ];
    for (orders, bit) in drives {
        assert_eq!(orders.bits(), 1 << bit);
        assert_eq!(
            [orders.belt(), orders.spin(), orders.beacon(), orders.ready()].map(u16::from),
            [12, 13, 14, 15].map(|b| u16::from(b == bit))
        );
    }
    assert_eq!(Orders::SAFE.bits(), 0, "safe is nothing energised");
}

#[test]
fn steps_poses_and_requests_keep_their_numbers() {
    let heads = HeadStep::ALL.map(|s| (s as u8, s.name()));
    let want = ["Vacant", "Incoming", "Catch", "Seat", "Engage", "Tighten", "Disengage", "Lift", "LetGo", "Leaving"];
    assert!(heads.into_iter().eq((0..).zip(want)));
    let feeds = FeedStep::ALL.map(|s| (s as u8, s.name()));
    assert!(feeds.into_iter().eq((0..).zip(["Filling", "Loaded", "Releasing", "Shutting"])));
    assert_eq!([Pose::Off, Pose::Home, Pose::Work].map(|p| p as u8), [0, 1, 2]);
    for (command, n) in Command::ALL.into_iter().zip(1..) {
        assert_eq!(request_number(Request::Command(command)), n);
    }
    let rest = [
        Request::Mode(Mode::Manual),
        Request::Batch(0),
        Request::Jog(Actuator::Grip, Pose::Work),
        Request::JogSpin,
        Request::JogBelt,
        Request::Step,
        Request::DryCycle,
        Request::Declare(1),
    ];
    assert!(rest.into_iter().map(request_number).eq(10..18));
}

#[test]
fn events_have_canonical_bytes() {
    for (kind, n) in EventKind::ALL.into_iter().zip(0..) {
        assert_eq!(kind as u8, n);
    }
    for (why, n) in Why::ALL.into_iter().zip(0..) {
        assert_eq!(why as u8, n);
    }
    let golden = [
        (EventKind::State, Why::Complete, 6, 3, [0, 2, 6, 0, 3, 0, 0, 0]),
        (EventKind::Fault, Why::Fault, 5 | 4 << 5, -2, [9, 3, 0x85, 0, 0xFE, 0xFF, 0xFF, 0xFF]),
        (EventKind::Caught, Why::Plain, 0x1234, 0x0102_0304, [8, 0, 0x34, 0x12, 4, 3, 2, 1]),
    ];
    for (kind, why, detail, value, bytes) in golden {
        assert_eq!(Event { kind, why, detail, value }.to_bytes(), bytes);
    }
}

#[test]
fn sets_of_contacts_are_sets() {
    let a = Contact::Chain.bit().or(Contact::PocketEye.bit());
    let b = Contact::Chain.bit().or(Contact::LineBelt.bit());
    assert_eq!(a.bits(), 1 << 22 | 1);
    assert_eq!(a.and(b), Contact::Chain.bit());
    assert_eq!(a.without(b), Contact::PocketEye.bit());
    assert_eq!(a.differing(b), Contact::PocketEye.bit().or(Contact::LineBelt.bit()));
    assert!(a.has(Contact::Chain) && !a.has(Contact::LineBelt));
    assert!(a.with(Contact::Chain, false).with(Contact::PocketEye, false).is_empty());
    assert_eq!(Contacts::NONE.with(Contact::LineBelt, true).bits(), 1 << 31);
}
