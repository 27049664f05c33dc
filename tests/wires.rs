//! A crude, seeded counterpart of the station, for recordings that reach as much of the core as they can.
//!
//! It is *not* the modelled line of `host-sim`: it has no physics, and shares no code with it. Actuators follow their coils
//! after a while, bottles ride with the belt, an operator presses what is due, and now and then anything fails. What it
//! gives is used where many different ticks are wanted and their meaning does not matter: the same core must give the same
//! bits on every board.
//!
//! Fixed here, and therefore not tried: one machine, one product, one speed, bottles of one size; belt edges have no time of
//! their own; no input fails; nothing latches in hardware.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng as _;
use std::io::{self, Write};

use host_sim::record::inputs::InputsWriter;
use timing_core::{
    Actuator, CapPolicy, Command, Contact, Contacts, Counts, Digest, Duration, Inputs, Instant, Machine,
    MachineProfile, Millimetres, Mode, Orders, Pose, Product, Request, Setpoints, Station, Tighten, UnitState, example,
};

// The example of the core, rounded to whole counts: what is meant is to be near it, not to model it.
const COUNTS_PER_M: i64 = 20_480;
const BELT_MM_S: i64 = 100;
const BODY: i64 = counts(65);
const REST: i64 = counts(-94);
const RELEASE_EYE: i64 = counts(-61);
const DISCHARGE_EYE: i64 = counts(110);
const STROKE_US: u64 = 120_000;

const fn counts(mm: i64) -> i64 {
    mm * COUNTS_PER_M / 1_000
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

/// What strikes the station all at once, for a few ticks: everything that can come due or change in one tick.
#[derive(Clone, Copy, Default)]
struct Strike {
    left: u32,
    flipped: u32,
    failed: u32,
}

impl Counterpart {
    fn below(&mut self, n: u32) -> u32 {
        self.draw.next_u32() % n
    }

    fn pass(&mut self) {
        let step = 500 + u64::from(self.below(4_500));
        self.now += step;
        if self.orders.belt() {
            let travel = step as i64 * BELT_MM_S * COUNTS_PER_M / 1_000_000_000 + i64::from(self.below(3)) - 1;
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
            self.gripped = self.bottles.iter().position(|s| (middle - s).abs() < counts(20));
        } else if !self.orders.work(Actuator::Grip) {
            self.gripped = None;
        }
        let end = self.belt - counts(600);
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
        let eye = |x: i64| self.bottles.iter().any(|s| (x..x + BODY).contains(&(self.belt - s)));
        let mut c = [
            (Contact::PocketEye, self.pocket),
            (Contact::ReleaseEye, eye(RELEASE_EYE)),
            (Contact::DischargeEye, eye(DISCHARGE_EYE)),
            (Contact::GripOver, self.stands(Actuator::Grip, true) && self.gripped.is_none()),
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
        let lie = if self.now < self.lie.1 { self.lie.0 } else { Contacts::NONE };
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
                0 => Request::Mode([Mode::Production, Mode::Maintenance, Mode::Manual][self.below(3) as usize]),
                1 => Request::Jog(a, [Pose::Off, Pose::Home, Pose::Work][self.below(3) as usize]),
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

impl Strike {
    /// The next tick: begins, goes on, or ends; says how far time and belt leap.
    fn next(&mut self, draw: &mut Counterpart, unit: UnitState) -> (u64, i64) {
        if self.left > 0 {
            self.left -= 1;
        } else {
            *self = Self::default();
            let seldom = if unit == UnitState::Execute { 300 } else { 3_000 };
            if draw.below(seldom) != 0 {
                return (0, 0);
            }
            self.left = draw.below(4);
        }
        let dense = |d: &mut Counterpart| d.draw.next_u32() | d.draw.next_u32();
        self.flipped = match draw.below(4) {
            0 => 0,
            1 => u32::MAX,
            // Chain, guard, air and drive stay.
            2 => dense(draw) & !(0xf << 22),
            _ => dense(draw),
        };
        self.failed = if draw.below(4) == 0 { dense(draw) & !(1 << 22) } else { 0 };
        let leap = [0, 0, 5_000, 6_000, 30_000, 130_000, 400_000, 3_000_000][draw.below(8) as usize];
        let belt = [0, 0, 0, 1, 60, 2_000, 20_000, -200][draw.below(8) as usize];
        (leap, belt)
    }
}

/// A machine with every contact, the closure sensed upstream, and a diverter so far away that several bottles are inside.
#[must_use]
pub fn everything_fitted() -> (MachineProfile, Product) {
    let (mut m, mut p) = (example::machine(), example::product());
    m.fitted = Contacts::from_bits(u32::MAX);
    m.cap_eye = Some(Millimetres::from_mm(-30));
    m.reject = Some(Millimetres::from_mm(1_500));
    m.warn = Duration::from_millis(500);
    p.cap = CapPolicy::Upstream;
    p.tighten = Tighten::Torque { earliest: Duration::from_millis(50), latest: Duration::from_millis(400) };
    p.early = Some(Duration::from_millis(100));
    (m, p)
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
/// When the example of the core breaks a rule of the core.
pub fn record(seed: u64, ticks: u32, out: impl Write) -> io::Result<Recorded> {
    wires(seed, ticks, None, out)
}

/// The same on a machine with every contact, struck now and then by everything at once: contacts by the dozen, inputs that
/// cannot be read, leaps of time and belt. For the longest tick there is.
///
/// # Errors
/// When `out` cannot be written.
///
/// # Panics
/// When the machine breaks a rule of the core.
pub fn record_struck(seed: u64, ticks: u32, out: impl Write) -> io::Result<Recorded> {
    wires(seed, ticks, Some(Strike::default()), out)
}

fn wires(seed: u64, ticks: u32, mut strike: Option<Strike>, out: impl Write) -> io::Result<Recorded> {
    let (profile, product) =
        if strike.is_some() { everything_fitted() } else { (example::machine(), example::product()) };
    let valid = Machine::new(&profile).expect("the machine is valid");
    let setpoints = Setpoints::new(&product, &valid).expect("the product is valid");
    let mut station = Station::new(valid, setpoints);
    let mut writer = InputsWriter::new(out, &profile, &product)?;
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
        let mut inputs = Inputs::default();
        if let Some(s) = &mut strike {
            let (leap, belt) = s.next(&mut other, unit);
            other.now += leap;
            other.belt += belt;
            inputs.failed = Contacts::from_bits(s.failed);
        }
        inputs.now = Instant::from_micros(other.now);
        inputs.belt = Counts::new(other.belt);
        inputs.contacts = other.contacts().differing(Contacts::from_bits(strike.map_or(0, |s| s.flipped)));
        inputs.request = other.request(unit);
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
