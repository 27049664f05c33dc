//! One run: the real core on the modelled line, through trouble and then through quiet.
//!
//! ```text
//!   strikes ──▶ plant ─▶ [wheel, chatter] ─▶ [clock] ─▶ Station ─▶ rules
//!                 ▲                                        │
//!                 └───────────────── orders ◀──────────────┘
//! ```
//!
//! First trouble: at every tick the judge's rules over orders and contacts. Then quiet: within a computed time the unit closes
//! bottles again, by the declared script of the operator. A power cut ends a core; the plant goes on, and the next core knows nothing.

use crate::facts::What;
use crate::job::Job;
use crate::job::spec::{Action, FaultKind};
use crate::judge::rules::{Rules, Seen};
use crate::plan::Plan;
use crate::plant::Plant;
use crate::soak::bound::quiet_bound_us;
use crate::soak::clock::Clock;
use crate::soak::draws::{Beat, Draws};
use crate::soak::knows::{Knows, blinds, hides_places, rules};
use crate::soak::people::{Act, Operator, View};
use crate::soak::report::{Failure, Report};
use crate::soak::trouble::Trouble;
use crate::soak::wheel::{HONEST, Wheel};
use crate::soak::words::line;
use crate::verdict::Counted;
use std::collections::VecDeque;
use timing_core::{
    Contact, Contacts, Counts, Digest, Event, Inputs, Instant, Machine, MachineProfile, Mode, Orders, Product, Request,
    Setpoints, Speed, Station, UnitState,
};

/// Events kept for a failure.
const LAST: usize = 48;
/// Good bottles that show that the unit runs again.
const RUNS_AGAIN: u32 = 3;
/// Ticks within a second that no machine can need: bounce, edges and samples stay far below.
const STALL: u64 = 50_000;

/// Runs a seed's draws with the strikes whose numbers `keep` says (all if `None`).
#[must_use]
pub fn run(draws: &Draws, keep: Option<&[usize]>) -> Report {
    let mut run = Run::new(draws, keep);
    run.go();
    run.finish()
}

/// What one core of a run was given, from its power-up until its power was cut or another product was loaded.
#[derive(Clone, Debug)]
pub struct Tape {
    /// Its machine and product.
    pub setup: (MachineProfile, Product),
    /// The inputs of its ticks.
    pub inputs: Vec<Inputs>,
}

/// What the cores were given in [`run()`] with all strikes.
#[must_use]
pub fn taped(draws: &Draws) -> Vec<Tape> {
    let mut run = Run::new(draws, None);
    run.tapes = Some(Vec::new());
    run.thread_tape();
    run.go();
    run.tapes.unwrap_or_default()
}

struct Run<'a> {
    draws: &'a Draws,
    /// The job with the product that is loaded.
    job: Job,
    other_loaded: bool,
    machine: Machine,
    setpoints: Setpoints,
    plant: Plant,
    station: Option<Station>,
    rules: Rules,
    knows: Knows,
    wheel: Wheel,
    clock: Clock,
    operator: Operator,
    /// Strikes to come, the next one last, and those that last: when they end, and their numbers.
    to_come: Vec<usize>,
    lasting: Vec<(u64, usize)>,
    chatter: Vec<(usize, Contact, u64, u64)>,
    fitted: Contacts,
    waiting: VecDeque<Request>,
    facts: Vec<crate::facts::Fact>,
    events: Vec<Event>,
    digest: Digest,
    last: VecDeque<(u64, Event)>,
    /// Quiet began, with so many good bottles.
    quiet: Option<(u64, u32)>,
    quiet_bound: u64,
    ran: bool,
    second: (u64, u64),
    report: Report,
    over: bool,
    /// What the cores were given, if it is kept; whether the last of them still runs on what it was set up with.
    tapes: Option<Vec<Tape>>,
    taping: bool,
}

fn counted(station: &Station) -> Counted {
    let t = station.tally();
    Counted {
        registered: t.registered,
        good: t.good,
        rejected: t.rejected,
        removed: t.removed,
        lost: t.lost,
        found: t.found,
        inside: station.inside(),
    }
}

fn validated(plan: &Plan) -> (Machine, Setpoints) {
    match (plan.machine(), plan.setpoints_of()) {
        (Ok(m), Ok(s)) => (m, s),
        _ => unreachable!("the draws keep only plans that the core takes"),
    }
}

impl<'a> Run<'a> {
    fn new(draws: &'a Draws, keep: Option<&[usize]>) -> Self {
        let (machine, setpoints) = validated(&draws.plan);
        let job = draws.job.clone();
        let mut to_come: Vec<usize> = match keep {
            Some(kept) => kept.iter().copied().filter(|&i| i < draws.strikes.len()).collect(),
            None => (0..draws.strikes.len()).collect(),
        };
        to_come.sort_unstable();
        to_come.reverse();
        let kinds = || to_come.iter().map(|&i| draws.strikes[i].kind);
        let knows = Knows { places: !kinds().any(hides_places), eyes: !kinds().any(blinds) };
        Self {
            draws,
            other_loaded: false,
            machine,
            setpoints,
            plant: Plant::new(&job),
            station: Some(Station::new(machine, setpoints)),
            rules: rules(&job, knows, draws.beat),
            knows,
            wheel: Wheel::new(),
            clock: Clock::new(draws.beat, draws.people.seed ^ 0xC10C),
            operator: Operator::new(draws.people),
            to_come,
            lasting: Vec::new(),
            chatter: Vec::new(),
            fitted: crate::plant::fitted(&job),
            waiting: VecDeque::new(),
            facts: Vec::new(),
            events: Vec::with_capacity(8),
            digest: Digest::new(),
            last: VecDeque::with_capacity(LAST),
            quiet: None,
            quiet_bound: quiet_bound_us(&job, &draws.plan),
            ran: false,
            second: (0, 0),
            report: Report::new(draws.seed),
            over: false,
            tapes: None,
            taping: false,
            job,
        }
    }

    fn go(&mut self) {
        while !self.over {
            let now = self.plant.now();
            self.strike(now);
            self.note_quiet(now);
            self.operate(now);
            self.take_facts();
            self.tick(now);
            if !self.over {
                self.step(now);
            }
        }
    }

    // ---- trouble ----

    fn strike(&mut self, now: u64) {
        while let Some(k) = self.lasting.iter().position(|l| l.0 <= now) {
            let (_, i) = self.lasting.swap_remove(k);
            self.end(i, now);
        }
        if self.quiet.is_some() {
            return;
        }
        while let Some(&i) = self.to_come.last() {
            let strike = &self.draws.strikes[i];
            if strike.at_us > now {
                break;
            }
            self.to_come.pop();
            if self.begin(i, now) {
                self.report.struck[strike.kind.index()] += 1;
            }
            if strike.lasts_us > 0 {
                self.lasting.push((now + strike.lasts_us, i));
            }
        }
    }

    fn nth(&self, n: u32) -> Option<u32> {
        self.plant.bottles().nth(n as usize).map(|b| b.0)
    }

    /// A strike begins; whether there was anything for it to strike.
    fn begin(&mut self, i: usize, now: u64) -> bool {
        match self.draws.strikes[i].what {
            Trouble::Plant(kind) => {
                if let FaultKind::ContactStuck(c, _) | FaultKind::InputFailed(c) = kind
                    && !self.fitted.has(c)
                {
                    return false;
                }
                self.plant.begin(&kind);
            }
            Trouble::Coming(kind, ahead) => self.plant.begin(&numbered(kind, self.plant.entered() + ahead)),
            Trouble::Fall(n) => {
                let Some(n) = self.nth(n) else { return false };
                self.plant.fell(n);
            }
            Trouble::Slip(n, share) => {
                let Some(n) = self.nth(n) else { return false };
                self.plant.grease(n, share);
            }
            Trouble::Take(n) => {
                let Some(n) = self.nth(n) else { return false };
                self.plant.act(&Action::Take(n));
            }
            Trouble::Wheel(share) => self.wheel.turn(share, self.plant.belt()),
            Trouble::Chatter(c, half_us) => {
                self.chatter.push((i, c, now, half_us.max(1)));
                return self.fitted.has(c);
            }
            Trouble::Wrong(c) => {
                self.chatter.push((i, c, now, u64::MAX));
                return self.fitted.has(c);
            }
            Trouble::LateTicks(us) => self.clock.be_late(us),
            Trouble::Gap(us) => self.clock.pause(now + us),
            Trouble::Press(request) => self.waiting.push_back(request),
            Trouble::Mode(mode) => self.operator.work_in(mode),
            Trouble::Product => self.operator.change_product(true),
            Trouble::PowerCut => {
                self.close_station();
                self.plant.obey(Orders::SAFE, Speed::ZERO, 0);
            }
        }
        true
    }

    fn end(&mut self, i: usize, now: u64) {
        match self.draws.strikes[i].what {
            Trouble::Plant(kind) => self.plant.end(&kind),
            Trouble::Wheel(_) => self.wheel.turn(HONEST, self.plant.belt()),
            Trouble::Chatter(..) | Trouble::Wrong(_) => self.chatter.retain(|c| c.0 != i),
            Trouble::LateTicks(_) => self.clock.behave(now),
            Trouble::Mode(_) => self.operator.work_in(Mode::Production),
            Trouble::Product => self.operator.change_product(false),
            Trouble::PowerCut => {
                let another = self.lasting.iter().any(|l| self.draws.strikes[l.1].what == Trouble::PowerCut);
                if !another {
                    self.power_up();
                }
            }
            Trouble::Coming(..)
            | Trouble::Fall(_)
            | Trouble::Slip(..)
            | Trouble::Take(_)
            | Trouble::Gap(_)
            | Trouble::Press(_) => {}
        }
    }

    /// The core is gone: what it counted is kept for the sum.
    fn close_station(&mut self) {
        if let Some(s) = self.station.take() {
            self.report.count(&counted(&s));
        }
    }

    fn power_up(&mut self) {
        if self.station.is_none() {
            self.station = Some(Station::new(self.machine, self.setpoints));
            self.rules = rules(&self.job, self.knows, self.draws.beat);
            self.clock.restart();
            self.report.power_ups += 1;
            self.thread_tape();
        }
    }

    fn thread_tape(&mut self) {
        let plan = if self.other_loaded { &self.draws.other.1 } else { &self.draws.plan };
        if let Some(tapes) = &mut self.tapes {
            tapes.push(Tape { setup: (plan.profile, plan.product), inputs: Vec::new() });
            self.taping = true;
        }
    }

    /// Trouble is over: everything is as it should be but what it left behind.
    fn note_quiet(&mut self, now: u64) {
        if let Some((since, good)) = self.quiet {
            self.judge_quiet(now, since, good);
            return;
        }
        if now < self.draws.trouble_us {
            return;
        }
        for (_, i) in std::mem::take(&mut self.lasting) {
            self.end(i, now);
        }
        self.power_up();
        self.clock.behave(now);
        self.waiting.clear();
        self.operator.settle(now);
        for n in self.plant.entered() + 1..=self.plant.entered() + 8 {
            self.plant.act(&Action::Free(n));
        }
        let good = self.station.as_ref().map_or(0, |s| s.tally().good);
        self.quiet = Some((now, good));
        self.report.trouble_us = now;
    }

    fn judge_quiet(&mut self, now: u64, since: u64, good: u32) {
        let Some(station) = &self.station else { return };
        let wants_good = self.draws.plan.works();
        let state = station.unit();
        // Where the plan does not work, a machine that waits for what it cannot see is at rest where it should be.
        let runs = state == UnitState::Execute || (!wants_good && state == UnitState::Suspended);
        self.ran |= runs && station.mode() == Mode::Production;
        let made = station.tally().good.saturating_sub(good);
        let share = (now - since) as f64 / self.quiet_bound as f64;
        if self.ran && (!wants_good || made >= RUNS_AGAIN) {
            self.report.quiet_share = Some(share);
            self.over = true;
        } else if share >= 1.0 {
            let text = format!(
                "quiet for {:.1} s, and the unit does not run again: {}, {} good bottles, {} inside, head {}, feed {}",
                (now - since) as f64 * 1e-6,
                station.unit().name(),
                made,
                station.inside(),
                station.head().name(),
                station.feed().name()
            );
            self.fail(0, now, text);
        }
    }

    // ---- people ----

    fn operate(&mut self, now: u64) {
        if now < self.operator.next() {
            return;
        }
        let view = match &self.station {
            Some(s) => View { unit: s.unit(), mode: s.mode(), inside: s.inside() },
            // Nothing to be seen: as if nobody had to do anything.
            None => View { unit: UnitState::Starting, mode: Mode::Production, inside: 0 },
        };
        for act in self.operator.acts(now, &view) {
            match act {
                Act::Press(request) => self.waiting.push_back(request),
                Act::FreeAll => {
                    let all: Vec<u32> = self.plant.bottles().map(|b| b.0).collect();
                    for n in all {
                        self.plant.act(&Action::Free(n));
                    }
                }
                Act::TakeAll => self.take_all(),
                Act::Load => self.load(),
            }
        }
        self.waiting.truncate(4);
    }

    /// Whatever stands at the entry gate or beyond goes.
    fn take_all(&mut self) {
        let from = self.job.machine.entry_blade_mm - 1.5 * self.job.product.diameter_mm;
        let all: Vec<u32> = self.plant.bottles().filter(|b| b.1 > from).map(|b| b.0).collect();
        for n in all {
            self.plant.act(&Action::Take(n));
        }
    }

    fn load(&mut self) {
        let (product, plan) = if self.other_loaded {
            (&self.draws.job.product, &self.draws.plan)
        } else {
            (&self.draws.other.0, &self.draws.other.1)
        };
        let (_, setpoints) = validated(plan);
        let Some(station) = &mut self.station else { return };
        if station.load(setpoints).is_ok() {
            self.taping = false;
            self.setpoints = setpoints;
            self.job.product = product.clone();
            self.rules.load(product);
            self.other_loaded = !self.other_loaded;
            self.operator.loaded();
            self.report.loads += 1;
        }
    }

    // ---- the core ----

    fn take_facts(&mut self) {
        for fact in self.plant.facts() {
            if fact.what == What::PassedRelease {
                self.report.bottles += 1;
            }
            self.facts.push(fact);
        }
    }

    fn contacts(&self, now: u64) -> Contacts {
        let mut on = self.plant.contacts();
        for &(_, c, from, half) in &self.chatter {
            if ((now - from) / half).is_multiple_of(2) && self.fitted.has(c) && !self.plant.failed().has(c) {
                on = on.with(c, !on.has(c));
            }
        }
        on
    }

    fn tick(&mut self, now: u64) {
        let (belt, belt_at) = self.wheel.read(self.plant.belt(), self.plant.belt_at());
        let contacts = self.contacts(now);
        let failed = self.plant.failed();
        let Some(station) = &mut self.station else {
            self.facts.clear();
            self.waiting.clear();
            return;
        };
        if !self.clock.calls(now, belt, contacts, failed, !self.waiting.is_empty()) {
            return;
        }
        let inputs = Inputs {
            now: Instant::from_micros(now),
            belt: Counts::new(belt),
            belt_at: Some(Instant::from_micros(belt_at)),
            contacts,
            failed,
            release_latch: None,
            discharge_latch: None,
            request: self.waiting.pop_front(),
        };
        if self.taping
            && let Some(tape) = self.tapes.as_mut().and_then(|t| t.last_mut())
        {
            tape.inputs.push(inputs);
        }
        let out = station.tick(&inputs);
        self.digest.tick(inputs.now, &out);
        self.clock.called(now, out.wake, contacts, failed);
        self.plant.obey(out.orders, out.belt_speed, out.spin_rpm);
        let (unit, mode, orders, wake, lost) = (out.unit, out.mode, out.orders, out.wake, out.events_lost);
        for e in out.events {
            self.report.hear(e);
            if self.last.len() == LAST {
                self.last.pop_front();
            }
            self.last.push_back((now, *e));
        }
        self.events.clear();
        self.events.extend_from_slice(out.events);
        self.rules.see(&Seen {
            t_us: now,
            belt,
            contacts,
            failed,
            request: inputs.request,
            orders,
            unit,
            mode,
            wake,
            events: &self.events,
            events_lost: lost,
            counted: counted(station),
            facts: &self.facts,
        });
        self.facts.clear();
        self.judge(now);
    }

    fn judge(&mut self, now: u64) {
        if let Some(b) = self.rules.breaches().first() {
            let (rule, text) = (b.rule, b.text.clone());
            self.fail(rule, now, text);
        }
        if now / 1_000_000 == self.second.0 {
            self.second.1 += 1;
            if self.second.1 > STALL {
                self.fail(15, now, format!("more than {STALL} ticks in one second"));
            }
        } else {
            self.second = (now / 1_000_000, 0);
        }
    }

    fn fail(&mut self, rule: u8, t_us: u64, text: String) {
        self.over = true;
        if self.report.failure.is_none() {
            let mut last: Vec<String> = self.last.iter().map(|(t, e)| line(*t, e)).collect();
            let bottles: Vec<String> = self.plant.bottles().map(|(n, x, _)| format!("{n} at {x:.1} mm")).collect();
            last.push(format!("bottles on the line: {}", bottles.join(", ")));
            self.report.failure = Some(Failure { rule, t_us, text, last });
        }
    }

    /// Advances the plant to the next thing that matters.
    fn step(&mut self, now: u64) {
        let mut known = self.plant.next_event().min(self.operator.next());
        if let Some(&i) = self.to_come.last() {
            known = known.min(self.draws.strikes[i].at_us);
        }
        for l in &self.lasting {
            known = known.min(l.0);
        }
        for &(_, _, from, half) in &self.chatter {
            if half < u64::MAX {
                known = known.min(from + ((now - from) / half + 1) * half);
            }
        }
        known = known.min(match self.quiet {
            Some((since, _)) => since + self.quiet_bound,
            None => self.draws.trouble_us,
        });
        if self.station.is_some() {
            let wake = self.clock.wake();
            let by = match self.draws.beat {
                Beat::Every(..) => u64::MAX,
                Beat::Wake | Beat::Added(_) => {
                    let by = known.min(wake.at.as_micros().max(now + 1));
                    let (above, below) = self.wheel.reaches(wake.above.get(), wake.below.get());
                    self.plant.belt_reaches_by(above, below, by)
                }
            };
            known = known.min(self.clock.next(by));
        }
        self.plant.advance(known.max(now + 1));
    }

    fn finish(mut self) -> Report {
        self.close_station();
        self.report.simulated_us = self.plant.now();
        if self.quiet.is_none() {
            self.report.trouble_us = self.plant.now();
        }
        self.report.ticks = self.digest.ticks();
        self.report.digest = self.digest.trace();
        self.report
    }
}

/// A bottle's fault with its number.
fn numbered(kind: FaultKind, n: u32) -> FaultKind {
    match kind {
        FaultKind::NoCap(_) => FaultKind::NoCap(n),
        FaultKind::Crossed(_) => FaultKind::Crossed(n),
        FaultKind::LooseThread(_) => FaultKind::LooseThread(n),
        FaultKind::LongBottle(_, mm) => FaultKind::LongBottle(n, mm),
        FaultKind::StuckPair(_) => FaultKind::StuckPair(n),
        FaultKind::Hung(_) => FaultKind::Hung(n),
        FaultKind::Jam(_) => FaultKind::Jam(n),
        other => other,
    }
}
