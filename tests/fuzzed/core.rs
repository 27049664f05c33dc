//! The core under any sequence of inputs and requests, at any times and places. A second station beside it goes through all stages at every tick; both
//! must say the same.
//!
//! What is held against every tick: no panic (R16, with checks for overflow and for the core's inner rules), the safe vector with the chain
//! open and in Aborting and Aborted (R1), both gates never open together (R5), spin only with rollers in (R3), no motion before the operator's first
//! Start but in Manual (R11), the balance of bottles (R12), the unit's transitions those of the state table and told (R14), the wake ahead (R15), set-points only with their
//! drive, no two coils of one actuator, at most eight events; and the second law of wake.

use super::Take;
use crate::promises::{Promises, balance, in_table};
use crate::wires::everything_fitted;
use std::sync::OnceLock;
use timing_core::{
    Actuator, ActuatorProfile, BeltOwner, Command, Contact, Contacts, Counts, Duration, Event, EventKind, Inputs,
    Instant, Machine, MachineProfile, Millimetres, Mode, Orders, Outputs, Pose, Product, Request, Setpoints, Station,
    Tighten, ValveKind, Wake, example,
};

/// Ticks of one input, at most, so that none runs long.
const TICKS: u32 = 1_500;

struct Setup {
    machine: Machine,
    setpoints: [Setpoints; 2],
    idle_spin: bool,
}

fn setups() -> &'static [Setup; 6] {
    static SETUPS: OnceLock<[Setup; 6]> = OnceLock::new();
    SETUPS.get_or_init(|| {
        let (m, p) = (example::machine(), example::product());
        let (all, early) = everything_fitted();
        let late = Product { early: None, ..early };
        let seat = Product { tighten: Tighten::SeatOnly(Duration::from_millis(200)), spin_rpm: 0, ..p };
        let held = |valve| [ActuatorProfile { valve, ..ActuatorProfile::spring(20, 100, 150) }; 6];
        let detented = MachineProfile { actuators: held(ValveKind::Detented), idle_spin: true, ..m };
        let line = MachineProfile {
            actuators: held(ValveKind::CentreClosed),
            belt_owner: BeltOwner::Line,
            fitted: m.fitted.with(Contact::LineBelt, true).with(Contact::SupplyEye, true),
            ..m
        };
        let blind = MachineProfile {
            fitted: [Contact::PocketEye, Contact::ReleaseEye, Contact::Chain, Contact::Guard]
                .into_iter()
                .fold(Contacts::NONE, |set, c| set.with(c, true)),
            discharge_eye: None,
            reject: None,
            ..m
        };
        let quick = MachineProfile {
            eye_filter: Duration::from_micros(0),
            contact_filter: Duration::from_micros(0),
            suspend_stops_belt: true,
            reject: Some(Millimetres::from_mm(200)),
            ..m
        };
        let set = |m: &MachineProfile, products: [&Product; 2]| {
            let machine = Machine::new(m).unwrap_or_else(|e| panic!("{}", e.words()));
            let setpoints = products.map(|p| Setpoints::new(p, &machine).unwrap_or_else(|e| panic!("{}", e.words())));
            Setup { machine, setpoints, idle_spin: m.idle_spin }
        };
        [
            set(&m, [&p, &seat]),
            set(&all, [&early, &late]),
            set(&detented, [&p, &seat]),
            set(&line, [&p, &seat]),
            set(&blind, [&p, &seat]),
            set(&quick, [&p, &seat]),
        ]
    })
}

struct Bench {
    station: Station,
    /// The same, that goes through all stages at every tick. It takes a step that is due at once in a second tick at the same time, where the first waits for the
    /// next microsecond: so it is let go where time stands still or goes back.
    twin: Option<Station>,
    inputs: Inputs,
    /// As they were at the last tick.
    contacts: Contacts,
    orders: Orders,
    wake: Wake,
    promises: Promises,
    started: bool,
    ticks: u32,
    seen: Seen,
}

/// Where an input got.
#[derive(Clone, Copy, Debug, Default)]
pub struct Seen {
    /// Unit states, a bit for each state's number.
    pub units: u32,
    /// Steps of the head, likewise.
    pub heads: u32,
    /// Good bottles.
    pub good: u32,
}

impl Bench {
    fn new(setup: &Setup) -> Self {
        let station = Station::new(setup.machine, setup.setpoints[0]);
        let mut twin = station.clone();
        twin.set_shortcut(false);
        Self {
            station,
            twin: Some(twin),
            inputs: Inputs { contacts: example::at_rest(), ..Inputs::default() },
            contacts: Contacts::NONE,
            orders: Orders::SAFE,
            wake: Wake { at: Instant::ZERO, below: Counts::ZERO, above: Counts::ZERO },
            promises: Promises::new(setup.idle_spin, in_table),
            started: false,
            ticks: 0,
            seen: Seen::default(),
        }
    }

    fn tick(&mut self) {
        self.ticks += 1;
        let i = self.inputs;
        self.started |= i.request == Some(Request::Command(Command::Start));
        let out = self.station.tick(&i);
        // What keeps the twin awake is that it remembers each contact as what it was not: all of them turned over at once it takes for nothing new.
        let turned = i.contacts.bits() == !self.contacts.bits();
        if !self.promises.is_new() && (turned || i.now.as_micros() <= self.promises.last()) {
            self.twin = None;
        }
        self.contacts = i.contacts;
        if let Some(twin) = &mut self.twin {
            same(&i, &out, &twin.tick(&i));
        }
        self.promises.tick(&i, &out);
        let o = out.orders;
        let moves = Actuator::ALL.into_iter().any(|a| o.work(a)) || o.belt() || o.spin();
        assert!(self.started || !moves || out.mode == Mode::Manual, "R11: {o:?} in {:?} before any Start", out.unit);
        for e in out.events.iter().filter(|e| e.kind == EventKind::State) {
            self.seen.units |= 1 << e.detail;
        }
        (self.orders, self.wake) = (o, out.wake);
        self.seen.units |= 1 << out.unit as u32;
        self.seen.heads |= 1 << self.station.head() as u32;
        self.seen.good = self.seen.good.max(self.station.tally().good);
        balance(&self.station);
        self.inputs.request = None;
    }

    /// The actuators' contacts as their coils say, strokes done: the way to get anywhere. `empty` has a bit for each actuator that finds nothing there.
    fn obey(&mut self, empty: u8) {
        let mut c = self.inputs.contacts;
        for a in Actuator::ALL {
            let (out, nothing) = (self.orders.work(a), empty & (1 << a.index()) != 0);
            let over = Contact::over_of(a).filter(|_| nothing);
            c = c.with(Contact::home_of(a), !out).with(Contact::work_of(a), out && over.is_none());
            if let Some(contact) = Contact::over_of(a) {
                c = c.with(contact, out && over.is_some());
            }
        }
        self.inputs.contacts = c;
    }

    fn pass(&mut self, us: u64, counts: i64) {
        self.inputs.now = Instant::from_micros(self.inputs.now.as_micros().saturating_add(us));
        self.inputs.belt = Counts::new(self.inputs.belt.get().saturating_add(counts));
    }
}

/// The first byte chooses machine and product, the next what the station finds at power-up; then one byte for each deed, with its figures behind it.
/// A deed with its highest bit set does not tick by itself: it falls together with the next. One with the second highest set may tick at the time
/// of the last tick.
pub fn core(bytes: &[u8]) {
    let _ = core_seen(bytes);
}

/// The same; says where it got.
pub fn core_seen(bytes: &[u8]) -> Seen {
    let mut take = Take(bytes);
    let setup = &setups()[usize::from(take.u8()) % setups().len()];
    let mut b = Bench::new(setup);
    if take.u8() % 4 == 3 {
        b.inputs.now = Instant::from_micros(take.u64());
        b.inputs.belt = Counts::new(take.u64().cast_signed());
        b.inputs.contacts = Contacts::from_bits(take.u32());
    }
    b.tick();
    while !take.is_over() && b.ticks < TICKS {
        let deed = take.u8();
        do_one(&mut b, setup, deed & 0x3f, &mut take);
        if deed & 0x80 == 0 {
            if deed & 0x40 == 0 && b.inputs.now.as_micros() == b.promises.last() {
                b.pass(1, 0);
            }
            b.tick();
        }
    }
    b.pass(1, 0);
    b.tick();
    b.seen
}

fn do_one(b: &mut Bench, setup: &Setup, deed: u8, take: &mut Take<'_>) {
    match deed % 24 {
        0 => b.pass(u64::from(take.u8()) * 1_000, 0),
        1 => b.pass(u64::from(take.u16()) * 100, 0),
        2 | 3 => flip(b, take.u8()),
        4 => b.pass(10_000, i64::from(take.u8().cast_signed())),
        5 => b.pass(100_000, i64::from(take.u16().cast_signed())),
        6 | 7 => b.inputs.request = Some(request(take)),
        8 => b.inputs.failed = b.inputs.failed.differing(Contact::ALL[usize::from(take.u8() % 32)].bit()),
        9 | 10 => b.obey(0),
        11 => b.obey(take.u8()),
        12 => b.inputs.now = b.wake.at,
        13 => b.inputs.belt = b.wake.above,
        // The belt goes on at about 100 mm/s, actuators follow, and what is due comes due, some times over; in small steps or large ones.
        n @ (14 | 15) => {
            let times = if n == 14 { 1 } else { 4 };
            for _ in 0..(take.u8() % 64) {
                b.pass(20_000 * times, if b.orders.belt() { 41 * times.cast_signed() } else { 0 });
                b.obey(0);
                b.tick();
            }
        }
        16 => b.inputs.belt_at = take.u8().is_multiple_of(2).then_some(b.inputs.now),
        17 => b.inputs.release_latch = take.u8().is_multiple_of(2).then(|| b.inputs.belt.ahead(-5)),
        18 => b.inputs.discharge_latch = take.u8().is_multiple_of(2).then(|| b.inputs.belt.ahead(-5)),
        19 => extreme(b, take),
        20 => {
            // At rest another product is taken, by both or by neither.
            let product = setup.setpoints[usize::from(take.u8() % 2)];
            let taken = b.station.load(product);
            assert_eq!(b.twin.as_mut().map_or(taken, |t| t.load(product)), taken);
        }
        // Power is cut, and everything else goes on.
        21 => *b = Bench { inputs: b.inputs, ticks: b.ticks, seen: b.seen, ..Bench::new(setup) },
        22 => b.pass(u64::from(take.u8()) * 100_000, 0),
        _ => b.inputs.contacts = b.inputs.contacts.differing(Contacts::from_bits(take.u32())),
    }
}

/// The contacts that matter most have numbers of their own; the rest are reached as well.
fn flip(b: &mut Bench, n: u8) {
    let contact = match n % 40 {
        32 => Contact::PocketEye,
        33 | 39 => Contact::ReleaseEye,
        34 => Contact::DischargeEye,
        35 => Contact::Chain,
        36 => Contact::Guard,
        37 => Contact::GripWork,
        38 => Contact::Torque,
        n => Contact::ALL[usize::from(n)],
    };
    let now = b.inputs.contacts;
    b.inputs.contacts = now.with(contact, !now.has(contact));
}

fn request(take: &mut Take<'_>) -> Request {
    let n = take.u8();
    let actuator = Actuator::ALL[usize::from(n / 16 % 6)];
    match n % 16 {
        n @ 0..=8 => Request::Command(Command::ALL[usize::from(n)]),
        9 => Request::Mode([Mode::Production, Mode::Maintenance, Mode::Manual][usize::from(n / 16 % 3)]),
        10 => Request::Batch(u32::from(n / 16)),
        11 => Request::Jog(actuator, [Pose::Off, Pose::Home, Pose::Work][usize::from(take.u8() % 3)]),
        12 => Request::JogSpin,
        13 => Request::JogBelt,
        14 => [Request::Step, Request::DryCycle][usize::from(n / 16 % 2)],
        _ => Request::Declare(n / 16),
    }
}

/// A tick that only looks must leave nothing out.
fn same(i: &Inputs, out: &Outputs<'_>, full: &Outputs<'_>) {
    let left_out = "a tick that only looks leaves something out";
    assert_eq!(
        (out.orders, out.unit, out.mode, out.spin_rpm, out.belt_speed),
        (full.orders, full.unit, full.mode, full.spin_rpm, full.belt_speed),
        "{left_out}: {i:?}"
    );
    // How late a tick is, is told against the wake that was asked for last; the twin asks at every tick.
    if out.events_lost == 0 && full.events_lost == 0 {
        assert!(timely(out.events).eq(timely(full.events)), "{left_out}: {i:?} {:?} {:?}", out.events, full.events);
    }
}

fn timely(events: &[Event]) -> impl Iterator<Item = &Event> {
    events.iter().filter(|e| e.kind != EventKind::Late)
}

/// Where numbers end, and backwards.
fn extreme(b: &mut Bench, take: &mut Take<'_>) {
    let kind = take.u8();
    let (now, belt) = (b.inputs.now.as_micros(), b.inputs.belt.get());
    let far = take.u32();
    let now = match kind % 8 {
        0 => now.saturating_sub(u64::from(far)),
        1 => now.saturating_add(u64::from(far) << (kind / 8 % 32)),
        2 => u64::MAX - u64::from(far),
        3 => take.u64(),
        _ => now,
    };
    let belt = match kind % 8 {
        4 => belt.saturating_sub(i64::from(far)),
        5 => belt.saturating_add(i64::from(far) << (kind / 8 % 31)),
        6 => [i64::MAX, i64::MIN, i64::MAX - i64::from(far), i64::MIN + i64::from(far)][usize::from(kind / 8 % 4)],
        7 => take.u64().cast_signed(),
        _ => belt,
    };
    (b.inputs.now, b.inputs.belt) = (Instant::from_micros(now), Counts::new(belt));
}
