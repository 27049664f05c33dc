//! The rehearsal: the real core against the modelled line, from event to event.
//!
//! ```text
//!        ┌──────────── orders, set-points ────────────┐
//!        ▼                                            │
//!   plant ── contacts, belt ──▶ [fixed delays?] ──▶ Station ──▶ judge, trace, digest
//!        ▲                                            │
//!   operator and faults (script)          wake: time, place
//! ```
//!
//! The loop jumps to the next thing that can matter: an event of the plant, the core's wake (a time, or a belt place), or
//! a step of the script. The core's ticks never touch the plant's event times.

mod clockwork;
mod expect;
mod schedule;
mod script;

pub use schedule::Schedule;

use crate::facts::Fact;
use crate::job::spec::{Action, Job, RunSpec};
use crate::judge::outcome::Outcomes;
use crate::judge::rules::{Rules, Seen};
use crate::plan::{self, Plan, PlanError};
use crate::plant::{Bounds, Plant};
use crate::record::inputs::InputsWriter;
use crate::record::rec;
use crate::trace::{Keeper, Places};
use crate::verdict::{Comparison, Counted, Outcome, Placement, RunResult};
use clockwork::Clockwork;
use schedule::Clock;
use script::{Due, Script};
use timing_core::{
    Counts, Digest, Event, EventKind, HeadStep, Inputs, Instant, Machine, Request, Setpoints, Station, UnitState, Why,
};

/// How to rehearse.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// Keep what happened, for charts and files.
    pub trace: bool,
    /// Keep all that the core was given ([`RunResult::inputs`]).
    pub inputs: bool,
    /// Keep a recording ([`RunResult::recording`]).
    pub record: bool,
    /// Judge the rules at every tick (the outcomes are always judged).
    pub rules: bool,
    /// When the core is called.
    pub schedule: Schedule,
    /// Let the core leave at once when nothing is due. Tests switch it off to find forgotten wakes.
    pub shortcut: bool,
    /// Everything at these bounds of its tolerance, instead of drawn: for worst cases.
    pub adverse: Option<Bounds>,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            trace: false,
            inputs: false,
            record: false,
            rules: true,
            schedule: Schedule::Wake,
            shortcut: true,
            adverse: None,
        }
    }
}

/// Runs a job to its end.
///
/// # Errors
/// When the job cannot be planned, so that there is nothing to run.
pub fn rehearse(job: &Job, options: &Options) -> Result<RunResult, PlanError> {
    rehearse_with(job, options, &mut |_, _| {})
}

/// As [`rehearse`]; `tap` is shown every tick's inputs, and the station after it.
///
/// # Errors
/// When the job cannot be planned, so that there is nothing to run.
pub fn rehearse_with(
    job: &Job,
    options: &Options,
    tap: &mut dyn FnMut(&Inputs, &Station),
) -> Result<RunResult, PlanError> {
    let mut plan = plan::plan(job)?;
    if job.run.fixed_delays {
        clockwork::measure_no_length(&mut plan.product);
    }
    let machine = plan.machine()?;
    let setpoints = plan.setpoints_of()?;
    let mut run = Run::new(job, options, machine, setpoints, &plan);
    let mut writer =
        options.inputs.then(|| InputsWriter::new(Vec::new(), &plan.profile, &plan.product).expect("memory takes all"));
    run.go(&mut |inputs, station| {
        if let Some(w) = &mut writer {
            w.tick(inputs).expect("memory takes all");
        }
        tap(inputs, station);
    });
    let mut result = run.finish();
    if let Some(w) = writer {
        result.inputs = w.finish().expect("memory takes all");
    }
    Ok(result)
}

/// The same job with every place replaced by a time in seconds, and with every stroke at its nominal time; `result` is the job
/// as it is.
///
/// # Errors
/// When the job cannot be planned.
pub fn compare(job: &Job, result: &RunResult) -> Result<Comparison, PlanError> {
    let plan = plan::plan(job)?;
    let options = Options { rules: false, ..Options::default() };
    let with = |spread: bool, fixed_delays: bool| {
        let run = RunSpec { spread, fixed_delays, ..job.run.clone() };
        rehearse(&Job { run, ..job.clone() }, &options)
    };
    let (even, even_fixed, fixed) = (with(false, false)?, with(false, true)?, with(job.run.spread, true)?);
    let failed = |r: &RunResult| {
        let of = |o: Outcome| Outcome::ALL.iter().position(|x| *x == o).map_or(0, |i| r.outcomes[i]);
        r.off_plan + of(Outcome::Missed)
    };
    Ok(Comparison {
        even: even.centring,
        even_fixed: even_fixed.centring,
        fixed: fixed.centring,
        fixed_failed: failed(&fixed),
        failed: failed(result),
        predicted_mm: predicted_mm(&plan),
    })
}

/// Largest centring error that the plan reckons with, mm: the sum of its parts.
fn predicted_mm(plan: &Plan) -> f64 {
    plan.centring_parts().iter().map(|(_, mm)| mm).sum()
}

/// How long after everything has left the run goes on, so that what is late is seen, µs.
const TAIL_US: u64 = 1_000_000;

struct Run<'a> {
    job: &'a Job,
    plant: Plant,
    station: Station,
    script: Script<'a>,
    clock: Clock,
    clockwork: Option<Clockwork>,
    rules: Option<Rules>,
    outcomes: Outcomes,
    digest: Digest,
    recorder: Option<Keeper>,
    recording: Option<rec::Writer>,
    facts: Vec<Fact>,
    events: Vec<Event>,
    tally: Told,
    request: Option<Request>,
    /// End of the run once everything has left.
    over_at: u64,
    /// Largest centring error that the plan reckons with, mm.
    predicted_mm: f64,
}

/// What the events told, gathered.
#[derive(Default)]
struct Told {
    faults: Vec<u16>,
    states: Vec<UnitState>,
    good: u32,
    first_good_us: u64,
    last_good_us: u64,
    orders: u32,
    incoming: u32,
}

impl<'a> Run<'a> {
    fn new(job: &'a Job, options: &Options, machine: Machine, setpoints: Setpoints, plan: &Plan) -> Self {
        let mut plant = Plant::within(job, options.adverse);
        plant.set_tracing(options.trace);
        let mut station = Station::new(machine, setpoints);
        station.set_shortcut(options.shortcut);
        let clockwork = job
            .run
            .fixed_delays
            .then(|| Clockwork::new(machine.counts_per_mm().rate(setpoints.speed()), job.machine.line_owns_belt));
        Self {
            job,
            plant,
            station,
            script: Script::new(job),
            clock: Clock::new(options.schedule),
            clockwork,
            rules: options.rules.then(|| Rules::new(job)),
            outcomes: Outcomes::new(&job.product),
            digest: Digest::new(),
            recorder: options.trace.then(|| Keeper::new(places(job, plan.worked.capture_mm))),
            recording: options.record.then(|| rec::Writer::new(&plan.profile, &plan.product)),
            facts: Vec::with_capacity(64),
            events: Vec::with_capacity(8),
            tally: Told::default(),
            request: None,
            over_at: u64::MAX,
            predicted_mm: predicted_mm(plan),
        }
    }

    fn go(&mut self, tap: &mut dyn FnMut(&Inputs, &Station)) {
        let end = (self.job.run.duration_s * 1e6) as u64;
        loop {
            self.tick(tap);
            let now = self.plant.now();
            self.note_end(now);
            if now >= end || now >= self.over_at {
                break;
            }
            self.step(end.min(self.over_at));
        }
    }

    /// Advances the plant to the next thing that matters.
    fn step(&mut self, limit: u64) {
        let now = self.plant.now();
        let wake = self.clock.wake();
        let known = self.plant.next_event().min(self.script.next(&self.plant, now)).min(limit);
        let by_place = match &self.clockwork {
            Some(c) => c.reaches(wake.above.get(), now),
            None => {
                let by = known.min(wake.at.as_micros().max(now + 1));
                self.plant.belt_reaches_by(wake.above.get(), wake.below.get(), by)
            }
        };
        let t = known.min(self.clock.next(now, by_place));
        self.plant.advance(t.max(now + 1));
    }

    /// One tick of the core, if its schedule has it now.
    fn tick(&mut self, tap: &mut dyn FnMut(&Inputs, &Station)) {
        let now = self.plant.now();
        self.play(now);
        self.take_facts();
        let (belt, belt_at) = match &mut self.clockwork {
            Some(c) => c.read(now),
            None => (self.plant.belt(), self.plant.belt_at()),
        };
        let contacts = self.plant.contacts();
        let failed = self.plant.failed();
        if !self.clock.calls(now, belt, contacts, failed, self.request.is_some()) {
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
            request: self.request.take(),
        };
        let out = self.station.tick(&inputs);
        self.digest.tick(inputs.now, &out);
        if let Some(r) = &mut self.recording {
            r.tick(&inputs, &out);
        }
        self.clock.called(now, out.wake, contacts, failed);
        if let Some(c) = &mut self.clockwork {
            c.obey(now, out.orders.belt());
        }
        self.plant.obey(out.orders, out.belt_speed, out.spin_rpm);
        let (unit, mode, orders, wake, lost) = (out.unit, out.mode, out.orders, out.wake, out.events_lost);
        self.events.clear();
        self.events.extend_from_slice(out.events);
        for e in &self.events {
            self.tally.hear(now, e, &mut self.script);
        }
        self.script.saw(now, unit, self.station.head(), self.tally.incoming);
        let counted = counted(&self.station);
        if let Some(rules) = &mut self.rules {
            rules.see(&Seen {
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
                counted,
                facts: &self.facts,
            });
        }
        self.facts.clear();
        if let Some(r) = &mut self.recorder {
            r.tick(&inputs, orders, (unit, mode), &self.station, self.plant.belt_mm_s(), &self.events);
        }
        tap(&inputs, &self.station);
    }

    /// What happened since is judged once, and kept for the rules until the next tick.
    fn take_facts(&mut self) {
        for fact in self.plant.facts() {
            self.outcomes.see(&fact);
            self.facts.push(fact);
        }
    }

    /// Plays what the script has due now.
    fn play(&mut self, now: u64) {
        while let Some(due) = self.script.due(&self.plant, now, self.request.is_some()) {
            match due {
                Due::Operator(Action::Request(r)) => self.request = Some(r),
                Due::Operator(action) => self.plant.act(&action),
                Due::Begin(kind) => self.plant.begin(&kind),
                Due::End(kind) => self.plant.end(&kind),
            }
        }
    }

    /// The run is over some time after the last bottle has left, or the batch is delivered, with nothing left to do.
    fn note_end(&mut self, now: u64) {
        let unit = self.station.unit();
        let empty = self.plant.is_empty() && self.station.inside() == 0;
        let at_rest = !unit.is_acting() || unit == UnitState::Execute;
        let over = self.script.is_done() && (unit == UnitState::Completed || (empty && at_rest));
        if !over {
            self.over_at = u64::MAX;
        } else if self.over_at == u64::MAX {
            self.over_at = now + TAIL_US;
        }
    }

    fn off_plan(&self) -> u32 {
        let aim = self.job.product.aim_early_mm;
        let off = |(n, _): (u32, Outcome)| {
            self.outcomes.off_centre_mm(n).is_some_and(|mm| (mm + aim).abs() > self.predicted_mm)
        };
        u32::try_from(self.outcomes.iter().filter(|o| off(*o)).count()).unwrap_or(u32::MAX)
    }

    fn finish(mut self) -> RunResult {
        let now = self.plant.now();
        self.take_facts();
        let counted = counted(&self.station);
        let good_span_us = self.tally.last_good_us.saturating_sub(self.tally.first_good_us);
        let rate = if self.tally.good > 1 && good_span_us > 0 {
            f64::from(self.tally.good - 1) * 60e6 / good_span_us as f64
        } else {
            0.0
        };
        let outcomes = self.outcomes.tally();
        let mut result = RunResult {
            job: self.job.name.clone(),
            title: self.job.title.clone(),
            seed: self.job.run.seed,
            breaches: self.rules.take().map(Rules::into_breaches).unwrap_or_default(),
            bottles_in: outcomes.iter().sum(),
            counted,
            outcomes,
            rate_per_min: rate,
            simulated_s: now as f64 * 1e-6,
            ticks: self.digest.ticks(),
            digest: self.digest.digest(),
            trace_digest: self.digest.trace(),
            centring: self.outcomes.centring(),
            placement: Placement { n: self.tally.orders, max_counts: self.station.book().order_late_max },
            off_plan: self.off_plan(),
            state: self.station.unit().name(),
            ..RunResult::default()
        };
        result.checks =
            expect::check(&self.job.expect, &result, self.station.unit(), &self.tally.faults, &self.tally.states);
        result.pass = result.breaches.is_empty() && result.checks.iter().all(|c| c.ok);
        result.recording = self.recording.map(rec::Writer::finish).unwrap_or_default();
        if let Some(r) = self.recorder {
            let mut paths = self.plant.paths();
            for p in &mut paths {
                let outcome = self.outcomes.of(p.number);
                p.outcome = if outcome == Outcome::Unfinished { "" } else { outcome.word() };
                p.off_centre_mm = self.outcomes.off_centre_mm(p.number);
            }
            result.trace = r.finish(now, paths);
        }
        result
    }
}

impl Told {
    fn hear(&mut self, now: u64, e: &timing_core::Event, script: &mut Script<'_>) {
        match e.kind {
            EventKind::State => {
                let unit = UnitState::ALL.into_iter().find(|s| *s as u16 == e.detail);
                if let Some(unit) = unit {
                    self.states.push(unit);
                    script.entered(now, unit);
                }
            }
            EventKind::Fault if !self.faults.contains(&e.detail) => self.faults.push(e.detail),
            EventKind::Counted if e.why == Why::Good => {
                if self.good == 0 {
                    self.first_good_us = now;
                }
                self.good += 1;
                self.last_good_us = now;
            }
            EventKind::CatchOrdered => self.orders += 1,
            EventKind::Head if e.detail == HeadStep::Incoming as u16 => self.incoming += 1,
            _ => {}
        }
    }
}

/// Where things stand along the belt, for the charts.
fn places(job: &Job, capture_mm: f64) -> Places {
    let m = &job.machine;
    Places {
        entry_blade_mm: Some(m.entry_blade_mm),
        release_blade_mm: m.release_blade_mm,
        pocket_eye_mm: Some(m.pocket_eye_mm),
        release_eye_mm: m.release_eye_mm,
        discharge_eye_mm: m.discharge_eye_mm,
        supply_eye_mm: m.supply_eye_mm,
        reject_mm: m.reject_mm,
        capture_mm,
        diameter_mm: job.product.diameter_mm,
    }
}

/// The core's counts.
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
