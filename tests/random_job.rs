//! Random jobs: variations of machine, product, supply and faults within what such a machine can be, each from one seed.
//!
//! Everything is drawn around the shipped steady job, whose geometry is recomputed for the drawn body and belt: blades at the
//! touching point, eyes inside their windows. Fixed, because the laws under test do not depend on them: the jaw, the rollers, the air
//! pressure, the height and mass of the bottle, the number of bottles (8) and the longest run (two minutes).

use host_sim::job::Job;
use host_sim::job::spec::{
    Action, ActuatorSpec, FaultKind, FaultSpec, InitialBottle, ScriptStep, SupplySpec, TightenSpec, When,
};
use host_sim::plan::{self, carry, escapement};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::{Rng, SeedableRng};
use std::path::Path;
use timing_core::{Actuator, CapPolicy, Command, Contact, Contacts, HeadStep, Request, UnitState, ValveKind};

/// One stream of draws.
pub(crate) struct Dice(Pcg64);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Self(Pcg64::seed_from_u64(seed))
    }

    /// Uniform in [0, 1).
    pub(crate) fn unit(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Uniform in [low, high).
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// A whole number from 0 to `n` − 1.
    pub(crate) fn below(&mut self, n: u64) -> u64 {
        self.0.next_u64() % n
    }

    /// True with probability `p`.
    pub(crate) fn chance(&mut self, p: f64) -> bool {
        self.unit() < p
    }

    pub(crate) fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        from[self.below(from.len() as u64) as usize]
    }
}

/// A shipped job by its name.
pub(crate) fn shipped(name: &str) -> Job {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../host-sim/jobs/{name}.toml"));
    Job::read(&file).unwrap_or_else(|e| panic!("{e}"))
}

/// The job of a seed: the first draw of its stream that can be planned. Its name carries the seed.
pub(crate) fn random_job(seed: u64) -> Job {
    let mut dice = Dice::new(seed);
    for _ in 0..50 {
        let job = draw(&mut dice, seed);
        if plan::plan(&job).is_ok() {
            return job;
        }
    }
    panic!("seed {seed}: 50 draws, and none can be planned: the ranges of the generator are wrong")
}

/// What was drawn, for a failure's message.
pub(crate) fn draws(job: &Job) -> String {
    format!("{}\n{:#?}\n{:#?}\n{:#?}", job.name, job.machine, job.product, job.run)
}

fn draw(dice: &mut Dice, seed: u64) -> Job {
    let mut job = shipped("steady-day");
    job.name = format!("random job, seed {seed}");
    job.run.seed = dice.below(u64::MAX);
    job.run.bottles = 8;
    job.run.duration_s = 120.0;
    product(dice, &mut job);
    for a in Actuator::ALL {
        job.machine.actuators[a.index()] = actuator(dice, a);
    }
    machine(dice, &mut job);
    run(dice, &mut job);
    job.expect = host_sim::job::spec::ExpectSpec::default();
    job
}

pub(crate) fn product(dice: &mut Dice, job: &mut Job) {
    let p = &mut job.product;
    p.speed_mm_s = dice.between(30.0, 220.0);
    p.diameter_mm = dice.between(50.0, 80.0);
    p.diameter_tol_mm = dice.between(0.0, 0.8);
    p.mu_min = dice.between(0.12, 0.22);
    p.mu_max = p.mu_min + dice.between(0.0, 0.12);
    p.transparent = dice.chance(0.2);
    p.tighten = dice.pick(&[TightenSpec::Turns, TightenSpec::Torque, TightenSpec::SeatOnly]);
    p.turns = if p.tighten == TightenSpec::SeatOnly { 0.0 } else { dice.between(1.0, 2.5) };
    p.roller_rpm = if p.tighten == TightenSpec::SeatOnly { 0.0 } else { dice.between(200.0, 500.0) };
    p.seat_dwell_ms = dice.between(0.0, 100.0);
    p.engage_dwell_ms = dice.between(1.0, 250.0);
    p.disengage_dwell_ms = dice.between(0.0, 80.0);
    p.settle_mm = dice.between(5.0, 30.0);
    p.aim_early_mm = dice.between(0.0, 1.5);
    p.cap = dice.pick(&[CapPolicy::Unsensed, CapPolicy::AtHead, CapPolicy::Upstream]);
    p.misses_to_hold = 1 + dice.below(4) as u8;
    p.early_release = dice.chance(0.4);
    p.speed_window_mm = dice.between(1.0, 8.0);
}

pub(crate) fn actuator(dice: &mut Dice, a: Actuator) -> ActuatorSpec {
    let can_be_over = matches!(a, Actuator::Grip | Actuator::Plunger | Actuator::Rollers);
    ActuatorSpec {
        valve: dice.pick(&[
            ValveKind::SpringReturn,
            ValveKind::SpringReturn,
            ValveKind::Detented,
            ValveKind::CentreClosed,
        ]),
        latency_ms: dice.between(5.0, 30.0),
        to_work_ms: dice.between(40.0, 130.0),
        to_over_ms: dice.between(20.0, 60.0),
        to_home_ms: dice.between(40.0, 130.0),
        spread_ms: dice.between(0.0, 6.0),
        margin_ms: dice.between(80.0, 250.0),
        home: dice.chance(0.8),
        work: dice.chance(0.8),
        over: can_be_over && dice.chance(0.6),
        drive: host_sim::job::measured::DriveSpec::default(),
    }
}

pub(crate) fn machine(dice: &mut Dice, job: &mut Job) {
    let p = &job.product;
    let m = &mut job.machine;
    let (d, tip, v) = (p.diameter_mm, m.blade_tip_mm, p.speed_mm_s);
    m.encoder_counts_per_rev = dice.between(600.0, 12_000.0).round();
    m.line_owns_belt = dice.chance(0.25);
    m.suspend_stops_belt = dice.chance(0.3);
    m.belt_accel_mm_s2 = dice.between(500.0, 1_500.0);
    m.eye_on_ms = dice.between(0.1, 1.5);
    m.eye_off_ms = dice.between(0.1, 1.5);
    m.eye_beam_mm = dice.between(0.0, 3.0);
    m.contact_bounce_ms = dice.between(0.0, 2.0);
    m.eye_filter_ms = m.contact_bounce_ms + dice.between(0.1, 3.0);
    m.contact_filter_ms = m.contact_bounce_ms + dice.between(0.1, 12.0);
    m.safety_filter_ms = dice.between(20.0, 200.0);
    m.sample_gap_ms = dice.between(10.0, 150.0);
    m.belt_still_ms = m.sample_gap_ms + dice.between(20.0, 200.0);
    m.warn_ms = dice.between(500.0, 2_500.0);
    m.clear_ms = dice.between(0.0, 1_500.0);
    m.starve_ms = dice.between(500.0, 6_000.0);
    m.patience_ms = dice.between(6_000.0, 15_000.0);
    m.idle_spin = dice.chance(0.2);
    // The release eye is upstream enough for the lead, the blade upstream enough for the pick-up.
    let grip = m.actuators[Actuator::Grip.index()];
    let lead_mm = v * (grip.latency_ms + grip.to_work_ms + grip.spread_ms + m.eye_off_ms + m.eye_filter_ms) / 1_000.0;
    let short_of_lead = if dice.chance(0.2) { dice.between(-20.0, 0.0) } else { dice.between(2.5, 25.0) };
    m.release_eye_mm = -(d / 2.0) - p.aim_early_mm - lead_mm - short_of_lead;
    let rest = m.release_eye_mm - carry::pick_up_slip_mm(v, p.mu_min) - dice.between(2.0, 15.0);
    m.release_blade_mm = rest - escapement::nose_mm(d / 2.0, tip);
    m.entry_blade_mm = m.release_blade_mm - escapement::touching_mm(d / 2.0, tip);
    m.pocket_eye_mm = rest - dice.between(10.0, 30.0);
    m.set.rail_start_mm = Some(d + p.diameter_tol_mm + 2.5);
    m.set.rail_mm = Some(d + p.diameter_tol_mm + 1.0);
    m.set.support_mm = Some(d / 2.0);
    m.supply_eye_mm = dice.chance(0.7).then(|| m.entry_blade_mm - d / 2.0);
    m.discharge_eye_mm = dice.chance(0.8).then(|| 1.5 * d + dice.between(8.0, 30.0));
    m.cap_eye_mm = (p.cap == CapPolicy::Upstream).then(|| m.release_eye_mm + dice.between(3.0, 15.0));
    m.reject_mm = dice.chance(0.85).then(|| 2.0 * d + dice.between(150.0, 300.0));
    m.reject_length_mm = if m.reject_mm.is_some() { dice.between(60.0, 120.0) } else { 0.0 };
    let mut fitted = Contacts::NONE.with(Contact::Guard, true);
    for c in [Contact::Air, Contact::Drive, Contact::DownstreamReady, Contact::UpstreamReady] {
        fitted = fitted.with(c, dice.chance(0.7));
    }
    fitted = fitted.with(Contact::Cap, p.cap != CapPolicy::Unsensed);
    fitted = fitted.with(Contact::Torque, p.tighten == TightenSpec::Torque || dice.chance(0.5));
    fitted = fitted.with(Contact::LineBelt, m.line_owns_belt && dice.chance(0.8));
    m.contacts = fitted;
}

fn run(dice: &mut Dice, job: &mut Job) {
    let d = job.product.diameter_mm;
    let r = &mut job.run;
    r.batch = if dice.chance(0.4) { 1 + dice.below(7) as u32 } else { 0 };
    for step in &mut r.script {
        if let Action::Request(Request::Batch(n)) = &mut step.action {
            *n = r.batch;
        }
    }
    r.supply = match dice.below(3) {
        0 => SupplySpec::Touching,
        1 => SupplySpec::Pitch(d * dice.between(1.0, 4.0)),
        _ => SupplySpec::Random(d * dice.between(1.1, 4.0)),
    };
    r.wander = if dice.chance(0.6) { dice.between(0.0, 0.2) } else { 0.0 };
    r.wander_period_s = dice.between(0.8, 4.0);
    r.spread = dice.chance(0.8);
    r.encoder_slip = if dice.chance(0.2) { dice.between(0.0, 0.01) } else { 0.0 };
    if dice.chance(0.2) {
        r.initial.push(InitialBottle { x_mm: dice.between(-40.0, 60.0), cap: dice.chance(0.7) });
    }
    for _ in 0..dice.below(4) {
        let when = if dice.chance(0.5) {
            When::At(dice.between(3.0, 25.0))
        } else {
            When::Step(1 + dice.below(6) as u32, dice.pick(&HeadStep::ALL))
        };
        r.faults.push(FaultSpec { when, lasts_s: dice.between(0.05, 4.0), kind: fault(dice) });
    }
    // An operator who does what the state asks for, a few times, whether or not it comes to that.
    let asked = |after: f64, command| ScriptStep {
        when: When::State(UnitState::Held, after),
        action: Action::Request(Request::Command(command)),
    };
    for _ in 0..dice.below(3) {
        let after = dice.between(0.5, 5.0);
        r.script.push(asked(after, Command::Unhold));
    }
    if dice.chance(0.3) {
        let stop = Action::Request(Request::Command(dice.pick(&[Command::Stop, Command::Hold, Command::Suspend])));
        r.script.push(ScriptStep { when: When::At(dice.between(6.0, 25.0)), action: stop });
    }
}

fn fault(dice: &mut Dice) -> FaultKind {
    let bottle = 1 + dice.below(8) as u32;
    let actuator = dice.pick(&Actuator::ALL);
    let contact = dice.pick(&Contact::ALL);
    match dice.below(20) {
        0 => FaultKind::NoCap(bottle),
        1 => FaultKind::Crossed(bottle),
        2 => FaultKind::LooseThread(bottle),
        3 => FaultKind::LongBottle(bottle, dice.between(85.0, 110.0)),
        4 => FaultKind::StuckPair(bottle),
        5 => FaultKind::Hung(bottle),
        6 => FaultKind::Jam(bottle),
        7 => FaultKind::Slow(actuator, dice.between(1.1, 4.0)),
        8 => FaultKind::Stuck(actuator),
        9 => FaultKind::ContactStuck(contact, dice.chance(0.5)),
        10 => FaultKind::InputFailed(contact),
        11 => FaultKind::EncoderDead,
        12 => FaultKind::EncoderJump(dice.between(-3_000.0, 3_000.0) as i64),
        13 => FaultKind::Starved,
        14 => FaultKind::OutfeedBlocked,
        15 => FaultKind::DownstreamNotReady,
        16 => FaultKind::BeltStop,
        17 => FaultKind::ChainOpen,
        18 => FaultKind::GuardOpen,
        _ => FaultKind::AirLow,
    }
}
