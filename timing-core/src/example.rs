//! An invented machine and product, for examples and tests: a 65 mm round bottle at 100 mm/s.

use crate::io::{Contact, Contacts};
use crate::machine::{ActuatorProfile, BeltOwner, MachineProfile};
use crate::product::{CapPolicy, Product, Tighten};
use crate::units::{CountsPerMm, Duration, Millimetres, Speed};

/// The invented machine: 4 096 counts per 200 mm of belt, spring-return valves of 20 + 100 ms.
#[must_use]
pub fn machine() -> MachineProfile {
    let mm = Millimetres::from_mm;
    let ms = Duration::from_millis;
    let fitted = [
        Contact::PocketEye,
        Contact::ReleaseEye,
        Contact::DischargeEye,
        Contact::EntryGateHome,
        Contact::ReleaseGateHome,
        Contact::GripHome,
        Contact::GripWork,
        Contact::GripOver,
        Contact::PlungerHome,
        Contact::PlungerWork,
        Contact::PlungerOver,
        Contact::RollersHome,
        Contact::RollersWork,
        Contact::Chain,
        Contact::Guard,
        Contact::Air,
    ]
    .into_iter()
    .fold(Contacts::NONE, |set, c| set.with(c, true));
    MachineProfile {
        counts_per_mm: CountsPerMm::from_bits(1_342_177),
        belt_owner: BeltOwner::Ours,
        belt_speed_max: Speed::from_mm_per_s(400),
        belt_ramp: ms(500),
        suspend_stops_belt: false,
        release_blade: Millimetres::from_um(-100_900),
        release_eye: Millimetres::from_um(-61_500),
        discharge_eye: Some(mm(110)),
        cap_eye: None,
        reject: Some(mm(300)),
        reject_length: mm(80),
        head_clear: mm(45),
        actuators: [ActuatorProfile::spring(20, 100, 150); 6],
        fitted,
        eye_on: Duration::from_micros(500),
        eye_filter: ms(3),
        contact_filter: ms(5),
        safety_filter: ms(100),
        belt_still: ms(200),
        reverse_tolerance: mm(2),
        sample_gap: ms(100),
        warn: ms(2_000),
        clear: ms(1_000),
        starve: ms(5_000),
        patience: ms(15_000),
        idle_spin: false,
    }
}

/// The invented product: Ø 65 ± 0.5 mm, one and a half turns.
#[must_use]
pub fn product() -> Product {
    let mm = Millimetres::from_mm;
    let um = Millimetres::from_um;
    let ms = Duration::from_millis;
    Product {
        speed: Speed::from_mm_per_s(100),
        body_min: um(64_500),
        body: mm(65),
        body_max: um(65_500),
        catch_travel: mm(94),
        catch_early: mm(1),
        capture: um(23_800),
        u_base: mm(1),
        gate_shut_travel: mm(34),
        settle_travel: mm(10),
        misfeed_travel: mm(120),
        jam_travel: mm(140),
        leave_travel: mm(75),
        slip: mm(3),
        slip_u: mm(1),
        stop_travel: mm(10),
        seat_dwell: ms(50),
        engage_dwell: ms(100),
        disengage_dwell: ms(50),
        tighten: Tighten::Turns(ms(218)),
        spin_rpm: 300,
        cap: CapPolicy::Unsensed,
        misses_to_hold: 3,
        early: None,
        speed_window: mm(3),
    }
}

/// The contacts of the invented machine at rest: everything home, chain and guard closed, air on, no bottle.
#[must_use]
pub fn at_rest() -> Contacts {
    [
        Contact::EntryGateHome,
        Contact::ReleaseGateHome,
        Contact::GripHome,
        Contact::PlungerHome,
        Contact::RollersHome,
        Contact::Chain,
        Contact::Guard,
        Contact::Air,
    ]
    .into_iter()
    .fold(Contacts::NONE, |set, c| set.with(c, true))
}
