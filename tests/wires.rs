//! A crude, seeded counterpart of the station, for recordings that reach as much of the core as they can.
//!
//! It is *not* the modelled line of `host-sim`: it has no physics, and shares no code with it. Actuators follow their coils
//! after a while, bottles ride with the belt, an operator presses what is due, and now and then anything fails. What it
//! gives is used where many different ticks are wanted and their meaning does not matter: the same core must give the same
//! bits on every board.
//!
//! Fixed here, and therefore not tried: one machine, one product, one speed, bottles of one size.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng as _;
use std::io::{self, Write};

use host_sim::record::inputs::InputsWriter;
use timing_core::{
    Actuator, ActuatorProfile, BeltOwner, CapPolicy, Command, Contact, Contacts, Counts,
    CountsPerMm, Digest, Duration, Inputs, Instant, Machine, MachineProfile, Millimetres, Mode,
    Orders, Pose, Product, Request, Setpoints, Speed, Station, Tighten, UnitState,
};

const COUNTS_PER_MM: i64 = 10;
const BELT_MM_S: i64 = 100;
const BODY: i64 = 65 * COUNTS_PER_MM;
const REST: i64 = -93 * COUNTS_PER_MM;
const RELEASE_EYE: i64 = -80 * COUNTS_PER_MM;
const DISCHARGE_EYE: i64 = 120 * COUNTS_PER_MM;
const STROKE_US: u64 = 120_000;

const fn mm(x: i32) -> Millimetres {
    Millimetres::from_mm(x)
}

/// An invented machine: everything fitted but the sensors of rare outfits.
#[must_use]
pub fn machine() -> MachineProfile {
    let fitted = [
        Contact::EntryGateOver,
        Contact::ReleaseGateOver,
        Contact::Torque,
        Contact::LineBelt,
        Contact::RejectEye,
        Contact::RejectFull,
    ]
    .into_iter()
    .fold(Contacts::from_bits(u32::MAX), |set, c| set.with(c, false));
    MachineProfile {
        counts_per_mm: CountsPerMm::from_bits((COUNTS_PER_MM as u32) << 16),
        belt_owner: BeltOwner::Ours,
        belt_speed_max: Speed::from_mm_per_s(400),
        belt_ramp: Duration::from_millis(300),
        suspend_stops_belt: false,
        release_blade: mm(-100),
        release_eye: mm(-80),
        discharge_eye: Some(mm(120)),
        cap_eye: None,
        reject: Some(mm(400)),
        reject_length: mm(80),
        head_clear: mm(40),
        actuators: [ActuatorProfile::spring(20, 100, 200); 6],
        fitted,
        eye_on: Duration::from_millis(1),
        eye_filter: Duration::from_millis(3),
        contact_filter: Duration::from_millis(5),
        safety_filter: Duration::from_millis(50),
        belt_still: Duration::from_millis(150),
        reverse_tolerance: mm(2),
        sample_gap: Duration::from_millis(20),
        warn: Duration::from_millis(1_000),
        clear: Duration::from_millis(500),
        starve: Duration::from_millis(5_000),
        patience: Duration::from_millis(10_000),
        idle_spin: false,
    }
}

/// An invented product for it.
#[must_use]
pub fn product() -> Product {
    Product {
        speed: Speed::from_mm_per_s(BELT_MM_S as i32),
        body_min: mm(64),
        body: mm(65),
        body_max: mm(66),
        catch_travel: Millimetres::from_um(112_500),
        catch_early: mm(1),
        capture: mm(20),
        u_base: mm(2),
        gate_shut_travel: mm(50),
        settle_travel: mm(20),
        misfeed_travel: mm(120),
        jam_travel: mm(120),
        leave_travel: mm(110),
        slip: mm(3),
        slip_u: mm(1),
        stop_travel: mm(15),
        seat_dwell: Duration::from_millis(50),
        engage_dwell: Duration::from_millis(50),
        disengage_dwell: Duration::from_millis(50),
        tighten: Tighten::Turns(Duration::from_millis(220)),
        spin_rpm: 300,
        cap: CapPolicy::AtHead,
        misses_to_hold: 3,
        early: None,
        speed_window: mm(4),
    }
}

struct Counterpart {
    draw: Pcg32,
    now: u64,
    belt: i64,
    /// Leading edges in belt coordinates: a bottle is at `belt − start`.
    bottles: Vec<i64>,
    pocket: bool,
    orders: Orders,
    /// Since when each actuator has been sent where it is sent.
    sent: [(bool, u64); 6],
    gripped: Option<usize>,
    /// Contacts that are wrong for a while.
    lie: (Contacts, u64),
}

impl Counterpart {
    fn below(&mut self, n: u32) -> u32 {
        self.draw.next_u32() % n
    }

    fn pass(&mut self) {
        let step = 500 + u64::from(self.below(4_500));
        self.now += step;
        if self.orders.belt() {
            let travel =
                step as i64 * BELT_MM_S * COUNTS_PER_MM / 1_000_000 + i64::from(self.below(3)) - 1;
            self.belt += travel.max(0);
            // A gripped bottle does not ride.
            if let Some(start) = self.gripped.and_then(|n| self.bottles.get_mut(n)) {
                *start += travel.max(0);
            }
        }
        if self.below(400) == 0 {
            self.pocket = true;
        }
        if self.pocket && self.stands(Actuator::ReleaseGate, true) {
            self.pocket = false;
            self.bottles.push(self.belt - REST);
        }
        if self.stands(Actuator::Grip, true) && self.gripped.is_none() {
            let middle = self.belt - BODY / 2;
            self.gripped = self
                .bottles
                .iter()
                .position(|s| (middle - s).abs() < 20 * COUNTS_PER_MM);
        } else if !self.orders.work(Actuator::Grip) {
            self.gripped = None;
        }
        let end = self.belt - 600 * COUNTS_PER_MM;
        if self.gripped.is_none() {
            self.bottles.retain(|s| *s > end);
        }
        if self.below(3_000) == 0 {
            let c = Contact::ALL[self.below(32) as usize];
            self.lie = (c.bit(), self.now + 1_000 + u64::from(self.below(400_000)));
        }
    }

    fn stands(&self, a: Actuator, at_work: bool) -> bool {
        let (to_work, since) = self.sent[a.index()];
        to_work == at_work && self.now >= since + STROKE_US
    }

    fn contacts(&self) -> Contacts {
        let eye = |x: i64| {
            self.bottles
                .iter()
                .any(|s| (x..x + BODY).contains(&(self.belt - s)))
        };
        let mut c = [
            (Contact::PocketEye, self.pocket),
            (Contact::ReleaseEye, eye(RELEASE_EYE)),
            (Contact::DischargeEye, eye(DISCHARGE_EYE)),
            (
                Contact::GripOver,
                self.stands(Actuator::Grip, true) && self.gripped.is_none(),
            ),
        ]
        .into_iter()
        .fold(Contacts::NONE, |set, (c, on)| set.with(c, on));
        for on in [
            Contact::SupplyEye,
            Contact::Chain,
            Contact::Guard,
            Contact::Air,
            Contact::Drive,
            Contact::Cap,
            Contact::UpstreamReady,
            Contact::DownstreamReady,
        ] {
            c = c.with(on, true);
        }
        for a in Actuator::ALL {
            let empty = a == Actuator::Grip && self.gripped.is_none();
            c = c
                .with(Contact::home_of(a), self.stands(a, false))
                .with(Contact::work_of(a), self.stands(a, true) && !empty);
        }
        let lie = if self.now < self.lie.1 {
            self.lie.0
        } else {
            Contacts::NONE
        };
        c.differing(lie)
    }

    fn obey(&mut self, orders: Orders) {
        for a in Actuator::ALL {
            if orders.work(a) != self.sent[a.index()].0 {
                self.sent[a.index()] = (orders.work(a), self.now);
            }
        }
        self.orders = orders;
    }

    /// What the operator presses: mostly what is due, seldom anything.
    fn request(&mut self, unit: UnitState) -> Option<Request> {
        if self.below(2_000) == 0 {
            let a = Actuator::ALL[self.below(6) as usize];
            return Some(match self.below(8) {
                0 => Request::Mode(
                    [Mode::Production, Mode::Maintenance, Mode::Manual][self.below(3) as usize],
                ),
                1 => Request::Jog(
                    a,
                    [Pose::Off, Pose::Home, Pose::Work][self.below(3) as usize],
                ),
                2 => Request::JogBelt,
                3 => Request::DryCycle,
                4 => Request::Batch(self.below(4)),
                5 => Request::Declare(self.below(4) as u8),
                _ => Request::Command(Command::ALL[self.below(9) as usize]),
            });
        }
        if self.below(100) != 0 {
            return None;
        }
        match unit {
            UnitState::Aborted => Some(Command::Clear),
            UnitState::Stopped | UnitState::Completed => Some(Command::Reset),
            UnitState::Idle => Some(Command::Start),
            UnitState::Held => Some(Command::Unhold),
            _ => None,
        }
        .map(Request::Command)
    }
}

/// What a recording came to.
#[derive(Clone, Debug)]
pub struct Recorded {
    /// Fingerprints of what this host's core gave.
    pub digest: Digest,
    /// Unit states that were seen, one bit for each state's number.
    pub states: u32,
}

/// Writes a recording of `ticks` ticks, drawn from `seed`.
///
/// # Errors
/// When `out` cannot be written.
///
/// # Panics
/// When the machine or the product above breaks a rule of the core.
pub fn record(seed: u64, ticks: u32, out: impl Write) -> io::Result<Recorded> {
    let valid = Machine::new(&machine()).expect("the machine above is valid");
    let setpoints = Setpoints::new(&product(), &valid).expect("the product above is valid");
    let mut station = Station::new(valid, setpoints);
    let mut writer = InputsWriter::new(out, &machine(), &product())?;
    let mut other = Counterpart {
        draw: Pcg32::new(seed, 1),
        now: 0,
        belt: 0,
        bottles: Vec::new(),
        pocket: true,
        orders: Orders::SAFE,
        sent: [(false, 0); 6],
        gripped: None,
        lie: (Contacts::NONE, 0),
    };
    let mut digest = Digest::new();
    let mut unit = UnitState::Stopped;
    let mut states = 0;
    for _ in 0..ticks {
        other.pass();
        let inputs = Inputs {
            now: Instant::from_micros(other.now),
            belt: Counts::new(other.belt),
            contacts: other.contacts(),
            request: other.request(unit),
            ..Inputs::default()
        };
        writer.tick(&inputs)?;
        let out = station.tick(&inputs);
        digest.tick(inputs.now, &out);
        unit = out.unit;
        states |= 1 << unit as u32;
        let orders = out.orders;
        other.obey(orders);
    }
    writer.finish()?;
    Ok(Recorded { digest, states })
}
