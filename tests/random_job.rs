//! Random jobs: variations of machine, product, supply and faults within what such a machine can be, each from one seed.
//!
//! Everything is drawn around the shipped steady job, whose geometry is recomputed for the drawn body and belt: blades at the
//! touching point, eyes inside their windows. Fixed, because the laws under test do not depend on them: the jaw, the rollers, the air
//! pressure, the height and mass of the bottle, the number of bottles (8) and the longest run (two minutes).

use host_sim::job::Job;
use host_sim::job::spec::{Action, FaultKind, FaultSpec, InitialBottle, ScriptStep, SupplySpec, When};
use host_sim::plan;
pub(crate) use host_sim::soak::dice::Dice;
pub(crate) use host_sim::soak::machine::{actuator, machine, product};
use std::path::Path;
use timing_core::{Actuator, Command, Contact, HeadStep, Request, UnitState};

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
