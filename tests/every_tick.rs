//! The chain opened, and power cut and given back, at *every* tick of a full cycle of a shipped job; and at every *pair* of such ticks
//! in a small world. The judge looks at every tick of it: R1 (nothing energised with the chain open, nor after it without Clear, Reset and Start),
//! R11 (no motion by itself), R12 (the counts balance), and the others too. And each time the machine closes bottles again.
//!
//! The world is copied at a tick, struck, and run on: nothing is drawn but what the job draws.

use crate::random_job::shipped;
use host_sim::job::Job;
use host_sim::job::spec::{Action, SupplySpec};
use host_sim::judge::rules::{Rules, Seen};
use host_sim::plan;
use host_sim::plant::Plant;
use host_sim::verdict::Counted;
use timing_core::{
    Command, Contacts, Counts, FeedStep, HeadStep, Inputs, Instant, Machine, Orders, Request, Setpoints, Speed,
    Station, UnitState, Wake,
};

/// How long the chain stays open, or power is off: shorter than a stroke, so that what moves is still on its way. µs.
const STRUCK_US: u64 = 30_000;
/// Within so long after the last strike the machine has closed another bottle: warning, flush, cycle, and presses; twice. µs.
const AGAIN_US: u64 = 90_000_000;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Strike {
    Chain,
    Power,
}

const BOTH: [Strike; 2] = [Strike::Chain, Strike::Power];

#[derive(Clone)]
struct World<'a> {
    job: &'a Job,
    machine: Machine,
    setpoints: Setpoints,
    plant: Plant,
    station: Option<Station>,
    rules: Rules,
    wake: Wake,
    contacts: Contacts,
    first: bool,
    /// When the chain closes and power comes back.
    until: Vec<(u64, Strike)>,
    press_at: u64,
    /// Good bottles that cores before this one counted.
    good_before: u32,
    ticks: u64,
}

fn rules(job: &Job) -> Rules {
    let mut rules = Rules::new(job);
    // A blade that falls with its coil, or finds a bottle where nobody can know of one, strikes it.
    rules.trust_no_place();
    rules
}

impl<'a> World<'a> {
    fn new(job: &'a Job) -> Self {
        let plan = plan::plan(job).expect("the job can be planned");
        let (machine, setpoints) = (plan.machine().expect("a machine"), plan.setpoints_of().expect("a product"));
        Self {
            job,
            machine,
            setpoints,
            plant: Plant::new(job),
            station: Some(Station::new(machine, setpoints)),
            rules: rules(job),
            wake: Wake { at: Instant::ZERO, below: Counts::new(i64::MIN), above: Counts::new(i64::MAX) },
            contacts: Contacts::NONE,
            first: true,
            until: Vec::new(),
            press_at: 0,
            good_before: 0,
            ticks: 0,
        }
    }

    fn good(&self) -> u32 {
        self.good_before + self.station.as_ref().map_or(0, |s| s.tally().good)
    }

    fn strike(&mut self, strike: Strike) {
        self.until.push((self.plant.now() + STRUCK_US, strike));
        match strike {
            Strike::Chain => self.plant.act(&Action::OpenChain),
            Strike::Power => {
                self.good_before = self.good();
                self.station = None;
                self.plant.obey(Orders::SAFE, Speed::ZERO, 0);
            }
        }
    }

    fn restore(&mut self, strike: Strike) {
        match strike {
            Strike::Chain => self.plant.act(&Action::CloseChain),
            Strike::Power => {
                self.station = Some(Station::new(self.machine, self.setpoints));
                self.rules = rules(self.job);
                self.first = true;
            }
        }
    }

    /// What an operator presses in a state that waits for somebody.
    fn press(&mut self) -> Option<Request> {
        use UnitState as S;
        let command = match self.station.as_ref()?.unit() {
            S::Aborted => Command::Clear,
            S::Stopped | S::Completed => Command::Reset,
            S::Idle => Command::Start,
            S::Held => Command::Unhold,
            _ => return None,
        };
        if command == Command::Unhold {
            // What a blade came down on is taken out by hand.
            let (m, d) = (&self.job.machine, self.job.product.diameter_mm);
            let (from, to) = (m.entry_blade_mm - 0.5 * d, m.release_blade_mm + 0.5 * d);
            let under: Vec<u32> = self.plant.bottles().filter(|b| b.1 > from && b.1 < to).map(|b| b.0).collect();
            for n in under {
                self.plant.act(&Action::Take(n));
            }
        }
        Some(Request::Command(command))
    }

    /// On to the next moment at which the core is called, or would be; `true` when it was.
    fn step(&mut self) -> bool {
        let now = self.plant.now();
        let mut next = self.plant.next_event().min(self.press_at.max(now + 1));
        for &(t, _) in &self.until {
            next = next.min(t);
        }
        if self.station.is_some() {
            let by = next.min(self.wake.at.as_micros().max(now + 1));
            let place = self.plant.belt_reaches_by(self.wake.above.get(), self.wake.below.get(), by);
            next = next.min(self.wake.at.as_micros()).min(place);
        }
        self.plant.advance(next.max(now + 1));
        self.tick()
    }

    fn tick(&mut self) -> bool {
        let now = self.plant.now();
        while let Some(i) = self.until.iter().position(|u| u.0 <= now) {
            let (_, strike) = self.until.remove(i);
            if !self.until.iter().any(|u| u.1 == strike) {
                self.restore(strike);
            }
        }
        let mut request = None;
        if now >= self.press_at {
            self.press_at = now + 50_000;
            request = self.press();
        }
        let facts: Vec<_> = self.plant.facts().collect();
        let (belt, contacts) = (self.plant.belt(), self.plant.contacts());
        let Some(station) = &mut self.station else { return false };
        let asked = self.first
            || now >= self.wake.at.as_micros()
            || belt >= self.wake.above.get()
            || belt <= self.wake.below.get()
            || contacts != self.contacts
            || request.is_some();
        if !asked {
            return false;
        }
        let inputs = Inputs {
            now: Instant::from_micros(now),
            belt: Counts::new(belt),
            belt_at: Some(Instant::from_micros(self.plant.belt_at())),
            contacts,
            request,
            ..Inputs::default()
        };
        let out = station.tick(&inputs);
        (self.wake, self.contacts, self.first) = (out.wake, contacts, false);
        self.plant.obey(out.orders, out.belt_speed, out.spin_rpm);
        let (orders, unit, mode, events, events_lost) =
            (out.orders, out.unit, out.mode, out.events.to_vec(), out.events_lost);
        let t = station.tally();
        let counted = Counted {
            registered: t.registered,
            good: t.good,
            rejected: t.rejected,
            removed: t.removed,
            lost: t.lost,
            found: t.found,
            inside: station.inside(),
        };
        self.rules.see(&Seen {
            t_us: now,
            belt,
            contacts,
            failed: Contacts::NONE,
            request,
            orders,
            unit,
            mode,
            wake: self.wake,
            events: &events,
            events_lost,
            counted,
            facts: &facts,
        });
        self.ticks += 1;
        true
    }

    fn check(&self, what: &dyn Fn() -> String) {
        let breaches = self.rules.breaches();
        assert!(breaches.is_empty(), "{}: {breaches:?}", what());
    }

    /// Runs until another bottle is good.
    fn again(mut self, what: &dyn Fn() -> String) -> u64 {
        let (from, good) = (self.plant.now(), self.good());
        let before = self.ticks;
        while self.good() == good {
            self.step();
            self.check(what);
            let unit = self.station.as_ref().map(Station::unit);
            assert!(self.plant.now() - from < AGAIN_US, "{}: does not run again: {unit:?}", what());
        }
        self.ticks - before
    }

    /// Runs until bottle `n` is let go by the release gate.
    fn until_release(&mut self, n: u32) {
        while !self.is_releasing(n) {
            self.step();
            self.check(&|| "on the way there".to_owned());
            assert!(self.plant.now() < 60_000_000, "bottle {n} is not released");
        }
    }

    fn is_releasing(&self, n: u32) -> bool {
        self.station.as_ref().is_some_and(|s| s.feed() == FeedStep::Releasing && s.tally().registered + 1 == n)
    }
}

/// The shipped job, with bottles enough.
fn steady() -> Job {
    let mut job = shipped("steady-day");
    (job.run.bottles, job.run.batch) = (100, 0);
    job.run.script.clear();
    job
}

/// A short job: contacts that do not bounce, short warnings and flushes, a product that is only seated.
fn small() -> Job {
    let mut job = shipped("seat-only");
    (job.run.bottles, job.run.batch) = (100, 0);
    job.run.script.clear();
    job.run.supply = SupplySpec::Touching;
    job.run.spread = false;
    let m = &mut job.machine;
    m.contact_bounce_ms = 0.0;
    m.warn_ms = 500.0;
    m.safety_filter_ms = 20.0;
    m.reject_mm = None;
    m.reject_length_mm = 0.0;
    job.product.seat_dwell_ms = 0.0;
    job.product.engage_dwell_ms = 20.0;
    job.product.speed_window_mm = 30.0;
    job
}

#[test]
fn the_chain_and_power_at_every_tick_of_a_cycle() {
    let job = steady();
    let mut world = World::new(&job);
    world.until_release(2);
    let (mut struck, mut steps) = (0, Vec::new());
    while !world.is_releasing(3) {
        for strike in BOTH {
            let mut copy = world.clone();
            copy.strike(strike);
            let at = world.plant.now();
            copy.again(&|| format!("{strike:?} at {at} µs"));
            struck += 1;
        }
        let head = world.station.as_ref().map_or(HeadStep::Vacant, Station::head);
        if !steps.contains(&head) {
            steps.push(head);
        }
        while !world.step() {}
        world.check(&|| "undisturbed".to_owned());
    }
    println!("{struck} strikes, two at every tick of a cycle");
    assert!(struck > 200, "only {struck} ticks struck");
    // Touching bottles: the next one is on its way before the last has left, and the head is never vacant.
    assert_eq!(steps.len(), 9, "a full cycle passes every step: {steps:?}");
}

#[test]
fn the_chain_and_power_at_every_pair_of_ticks_in_a_small_world() {
    let job = small();
    let mut world = World::new(&job);
    world.until_release(2);
    let (mut pairs, mut ticks) = (0_u64, 0_u64);
    while !world.is_releasing(3) {
        for first in BOTH {
            let mut one = world.clone();
            one.strike(first);
            let at = world.plant.now();
            // Up to the next full cycle, every tick once more.
            let good = one.good();
            while one.good() == good {
                for second in BOTH {
                    if one.station.is_none() {
                        continue;
                    }
                    let mut two = one.clone();
                    two.strike(second);
                    let then = one.plant.now();
                    ticks += two.again(&|| format!("{first:?} at {at} µs, {second:?} at {then} µs"));
                    pairs += 1;
                }
                while !one.step() && one.station.is_some() {}
                one.check(&|| format!("{first:?} at {at} µs"));
                if one.station.is_none() {
                    one.step();
                }
            }
        }
        while !world.step() {}
    }
    println!("{pairs} pairs of strikes, {ticks} ticks judged after the second");
    assert!(pairs > 1_000, "only {pairs} pairs of ticks, {ticks} ticks");
}
