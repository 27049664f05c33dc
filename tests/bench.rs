//! A hand-made counterpart of the station for timelines: strokes mirrored to their contacts, a belt at constant speed, bottles as
//! places. It ticks every millisecond, and at every tick checks what must always hold.

use tests::promises::in_table;
use timing_core::{
    Actuator, Command, Contact, Contacts, Counts, Event, EventKind, Fault, HeadStep, Inputs, Instant, Machine,
    MachineProfile, Mode, Orders, Product, Request, Setpoints, Station, UnitState, Why, example,
};

const HALF: f64 = 32.5;
const COUNTS_PER_MM: f64 = 20.48;
/// Where a waiting bottle's centre stands against the release blade, mm.
const REST: f64 = -126.5;

/// One bottle.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Bottle {
    pub(crate) x: f64,
    pub(crate) cap: bool,
    /// Held by the grip.
    held: bool,
    /// Stands still, whatever the belt does.
    pub(crate) wedged: bool,
}

impl Bottle {
    /// A bottle with its closure, put there.
    pub(crate) const fn standing(x: f64) -> Self {
        Self { x, cap: true, held: false, wedged: false }
    }
}

#[derive(Clone, Copy, Debug)]
struct Cylinder {
    work: bool,
    since_ms: u64,
}

/// Station and counterpart.
pub(crate) struct Bench {
    pub(crate) station: Station,
    pub(crate) ms: u64,
    pub(crate) belt_mm: f64,
    /// What the encoder has counted of it, and how much it counts of a millimetre.
    pub(crate) counted_mm: f64,
    pub(crate) share: f64,
    pub(crate) bottles: Vec<Bottle>,
    cylinders: [Cylinder; 6],
    /// Actuators that do not move.
    pub(crate) stuck: [bool; 6],
    /// Contacts that are forced to a level.
    pub(crate) forced: Vec<(Contact, bool)>,
    /// Chain, guard, air, drive and the like.
    pub(crate) wires: Contacts,
    pub(crate) failed: Contacts,
    /// Bottles come to the open entry gate.
    pub(crate) supply: bool,
    pub(crate) supply_caps: bool,
    /// The encoder counts, and the belt follows its order (or runs by itself).
    pub(crate) encoder: bool,
    pub(crate) line_belt: Option<bool>,
    /// Where the discharge eye stands, mm.
    pub(crate) discharge_eye: f64,
    empty_ms: u64,
    pub(crate) orders: Orders,
    pub(crate) log: Vec<(u64, Event)>,
    pub(crate) wake_in_us: u64,
    /// Counts of belt to the next wake.
    pub(crate) wake_ahead: i64,
    request: Option<Request>,
}

/// The core's contacts that the example machine has, and the torque and cap contacts besides.
pub(crate) fn profile() -> MachineProfile {
    let mut m = example::machine();
    for c in [Contact::Torque, Contact::Cap, Contact::Drive, Contact::RollersOver, Contact::DownstreamReady] {
        m.fitted = m.fitted.with(c, true);
    }
    m
}

impl Bench {
    pub(crate) fn new() -> Self {
        Self::with(&profile(), &example::product())
    }

    pub(crate) fn with(m: &MachineProfile, p: &Product) -> Self {
        let machine = Machine::new(m).expect("a valid machine");
        let setpoints = Setpoints::new(p, &machine).expect("a valid product");
        let on = [Contact::Chain, Contact::Guard, Contact::Air, Contact::Drive, Contact::DownstreamReady];
        let mut bench = Self {
            station: Station::new(machine, setpoints),
            ms: 0,
            belt_mm: 0.0,
            counted_mm: 0.0,
            share: 1.0,
            bottles: Vec::new(),
            cylinders: [Cylinder { work: false, since_ms: 0 }; 6],
            stuck: [false; 6],
            forced: Vec::new(),
            wires: on.into_iter().fold(Contacts::NONE, |s, c| s.with(c, true)),
            failed: Contacts::NONE,
            supply: true,
            supply_caps: true,
            encoder: true,
            line_belt: None,
            discharge_eye: 110.0,
            empty_ms: 0,
            orders: Orders::SAFE,
            log: Vec::new(),
            wake_in_us: 0,
            wake_ahead: 0,
            request: None,
        };
        bench.run(300);
        bench
    }

    /// Lets so many milliseconds pass.
    pub(crate) fn run(&mut self, ms: u64) {
        for _ in 0..ms {
            self.step();
        }
    }

    /// Runs until `done`, at most so many milliseconds.
    pub(crate) fn until(&mut self, what: &str, limit_ms: u64, done: impl Fn(&Self) -> bool) {
        for _ in 0..limit_ms {
            if done(self) {
                return;
            }
            self.step();
        }
        panic!(
            "{what}: not within {limit_ms} ms; unit {:?}, head {:?}, feed {:?}",
            self.unit(),
            self.station.head(),
            self.station.feed()
        );
    }

    pub(crate) fn ask(&mut self, r: Request) {
        self.request = Some(r);
        self.step();
    }

    pub(crate) fn command(&mut self, c: Command) {
        self.ask(Request::Command(c));
    }

    /// Reset, Start, and on to Execute.
    pub(crate) fn start(&mut self) {
        self.command(Command::Reset);
        self.command(Command::Start);
        self.until("Execute", 20_000, |b| b.unit() == UnitState::Execute);
    }

    pub(crate) fn until_head(&mut self, step: HeadStep) {
        self.until(step.name(), 20_000, |b| b.station.head() == step);
    }

    pub(crate) fn unit(&self) -> UnitState {
        self.station.unit()
    }

    pub(crate) fn told(&self, kind: EventKind) -> Vec<(u64, Event)> {
        self.log.iter().filter(|(_, e)| e.kind == kind).copied().collect()
    }

    pub(crate) fn has_fault(&self, fault: Fault) -> bool {
        self.told(EventKind::Fault).iter().any(|(_, e)| e.detail == fault.code())
    }

    pub(crate) fn flags(&self) -> Vec<Why> {
        self.told(EventKind::Flagged).iter().map(|(_, e)| e.why).collect()
    }

    pub(crate) fn refused(&self) -> Vec<Why> {
        self.told(EventKind::Refused).iter().map(|(_, e)| e.why).collect()
    }

    fn belt_runs(&self) -> bool {
        self.line_belt.unwrap_or(self.orders.belt())
    }

    fn arrived(&self, a: Actuator) -> bool {
        self.ms - self.cylinders[a.index()].since_ms >= 120
    }

    fn left(&self, a: Actuator) -> bool {
        self.ms - self.cylinders[a.index()].since_ms >= 20
    }

    pub(crate) fn at_work(&self, a: Actuator) -> bool {
        self.cylinders[a.index()].work && self.arrived(a)
    }

    fn at_home(&self, a: Actuator) -> bool {
        !self.cylinders[a.index()].work && self.arrived(a)
    }

    fn move_strokes(&mut self) {
        for a in Actuator::ALL {
            let c = &mut self.cylinders[a.index()];
            if !self.stuck[a.index()] && c.work != self.orders.work(a) {
                *c = Cylinder { work: self.orders.work(a), since_ms: self.ms };
            }
        }
    }

    fn move_bottles(&mut self) {
        let step = if self.belt_runs() { 0.1 } else { 0.0 };
        let release_shut = !self.cylinders[Actuator::ReleaseGate.index()].work || !self.left(Actuator::ReleaseGate);
        let grip_moved = !self.cylinders[Actuator::Grip.index()].work && self.left(Actuator::Grip);
        for b in &mut self.bottles {
            b.held &= !grip_moved;
            let stopped = b.held || b.wedged || (release_shut && (b.x - REST).abs() < 0.2);
            if !stopped {
                b.x += step;
            }
        }
        let closes = self.at_work(Actuator::Grip) && !self.bottles.iter().any(|b| b.held);
        if let Some(b) = self.bottles.iter_mut().find(|b| closes && b.x.abs() < 23.8) {
            b.held = true;
            b.x = 0.0;
        }
        self.bottles.retain(|b| b.x < 700.0);
        self.belt_mm += step;
        self.counted_mm += step * self.share;
        // The pocket fills some time after the entry gate has opened.
        let empty = !self.bottles.iter().any(|b| b.x < -60.0);
        let open = self.at_work(Actuator::EntryGate) && self.belt_runs();
        self.empty_ms = if empty && open && self.supply { self.empty_ms + 1 } else { 0 };
        if self.empty_ms >= 500 {
            self.empty_ms = 0;
            self.bottles.push(Bottle { x: REST - 20.0, cap: self.supply_caps, held: false, wedged: false });
        }
    }

    pub(crate) fn contacts(&self) -> Contacts {
        let eye = |x: f64| self.bottles.iter().any(|b| (b.x - x).abs() < HALF);
        let held = self.bottles.iter().find(|b| b.held);
        let mut c = self.wires;
        for (eye_contact, x) in
            [(Contact::PocketEye, -115.0), (Contact::ReleaseEye, -61.5), (Contact::DischargeEye, self.discharge_eye)]
        {
            c = c.with(eye_contact, eye(x));
        }
        for a in Actuator::ALL {
            let still_home = self.cylinders[a.index()].work && !self.left(a);
            let still_work = !self.cylinders[a.index()].work && !self.left(a);
            let capped = held.is_some_and(|b| b.cap);
            let something = match a {
                Actuator::Grip => held.is_some(),
                Actuator::Plunger | Actuator::Rollers => capped,
                Actuator::EntryGate | Actuator::ReleaseGate | Actuator::Reject => true,
            };
            c = c.with(Contact::home_of(a), self.at_home(a) || still_home);
            let there = self.at_work(a) || still_work;
            c = c.with(Contact::work_of(a), there && something);
            if let Some(over) = Contact::over_of(a) {
                c = c.with(over, there && !something);
            }
        }
        c = c.with(Contact::Cap, held.is_some_and(|b| b.cap));
        for &(contact, level) in &self.forced {
            c = c.with(contact, level);
        }
        c
    }

    fn step(&mut self) {
        self.ms += 1;
        self.move_strokes();
        self.move_bottles();
        let counts = if self.encoder { (self.counted_mm * COUNTS_PER_MM) as i64 } else { 0 };
        let inputs = Inputs {
            now: Instant::from_micros(self.ms * 1_000),
            belt: Counts::new(counts),
            contacts: self.contacts(),
            failed: self.failed,
            request: self.request.take(),
            ..Inputs::default()
        };
        let before = self.orders;
        let unit_before = self.station.unit();
        let out = self.station.tick(&inputs);
        let orders = out.orders;
        assert!(
            out.wake.at > inputs.now && out.wake.below < inputs.belt && inputs.belt < out.wake.above,
            "R15 at {} ms",
            self.ms
        );
        self.wake_in_us = out.wake.at.as_micros() - inputs.now.as_micros();
        self.wake_ahead = out.wake.above.minus(inputs.belt).get();
        let mut state = unit_before;
        for e in out.events {
            if e.kind == EventKind::State && e.detail != state as u16 {
                let to = UnitState::ALL.into_iter().find(|s| *s as u16 == e.detail).expect("a state");
                assert!(in_table(state, to), "R14 at {} ms: {state:?} to {to:?}", self.ms);
                state = to;
            }
            self.log.push((self.ms, *e));
        }
        self.always(before, orders, &inputs);
        self.orders = orders;
    }

    /// What must hold at every tick, whatever happens.
    fn always(&self, before: Orders, orders: Orders, inputs: &Inputs) {
        use Actuator::{EntryGate, Grip, Plunger, ReleaseGate, Rollers};
        let at = self.ms;
        let on = |c: Contact| inputs.contacts.has(c);
        let opens = |a| orders.work(a) && !before.work(a);
        let leaves = |a| before.work(a) && !orders.work(a);
        if !on(Contact::Chain) {
            assert_eq!(orders, Orders::SAFE, "R1 at {at} ms");
            return;
        }
        let aborts = matches!(self.station.unit(), UnitState::Aborting | UnitState::Aborted);
        assert!(!(orders.work(EntryGate) && orders.work(ReleaseGate)), "R5 at {at} ms: both gates open");
        assert!(!opens(EntryGate) || on(Contact::ReleaseGateHome), "R5 at {at} ms: entry opens before release is shut");
        assert!(!opens(ReleaseGate) || on(Contact::EntryGateHome), "R5 at {at} ms: release opens before entry is shut");
        assert!(
            !opens(Plunger) || on(Contact::GripWork) || on(Contact::GripOver),
            "R2 at {at} ms: plunger before grip"
        );
        assert!(
            !opens(Rollers) || on(Contact::PlungerWork) || on(Contact::PlungerOver),
            "R2 at {at} ms: rollers before plunger"
        );
        let spins = orders.spin() && !before.spin();
        let manual = self.station.mode() == Mode::Manual;
        assert!(
            !spins || manual || on(Contact::RollersWork) || on(Contact::RollersOver),
            "R3 at {at} ms: spin before rollers"
        );
        if !aborts {
            let back = leaves(Plunger) || leaves(Grip);
            assert!(!back || on(Contact::RollersHome), "R4 at {at} ms: plunger or grip back before rollers");
        }
        let t = self.station.tally();
        let inside = self.station.inside();
        assert_eq!(
            t.registered + t.found,
            t.good + t.rejected + t.removed + t.lost + inside,
            "R12 at {at} ms: {t:?} inside {inside}"
        );
    }
}
