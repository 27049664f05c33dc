//! Random jobs that can work: every check of their plan holds, nothing goes wrong, and the queue never ends, so that the
//! station runs as fast as it can.

use crate::random_job::{Dice, actuator, machine, product, shipped};
use host_sim::job::Job;
use host_sim::job::spec::{Action, ExpectSpec, SupplySpec};
use host_sim::plan::{self, Plan};
use host_sim::rehearse::{Options, rehearse_with};
use host_sim::verdict::RunResult;
use timing_core::{Actuator, Request};

/// Bottles of a job: some for the start, the rest are measured.
pub(crate) const BOTTLES: u32 = 40;
/// Bottles after which the line runs steadily.
const START: usize = 4;

/// `job` with a queue that never ends, an even belt, and no operator but the one who starts it.
pub(crate) fn saturated(mut job: Job, bottles: u32) -> Job {
    let r = &mut job.run;
    r.supply = SupplySpec::Touching;
    r.bottles = bottles;
    r.batch = 0;
    r.script.retain(|s| !matches!(s.action, Action::Request(Request::Batch(_))));
    r.duration_s = 600.0;
    r.wander = 0.0;
    r.encoder_slip = 0.0;
    r.faults.clear();
    r.initial.clear();
    job.expect = ExpectSpec::default();
    job
}

/// The job of a seed: the first draw of its stream whose plan works; with early release only where the plan proves it.
pub(crate) fn feasible_job(seed: u64) -> (Job, Plan) {
    let mut dice = Dice::new(seed ^ 0x11_4E);
    for _ in 0..500 {
        let mut job = saturated(shipped("steady-day"), BOTTLES);
        job.name = format!("feasible job, seed {seed}");
        job.run.seed = dice.below(u64::MAX);
        product(&mut dice, &mut job);
        for a in Actuator::ALL {
            job.machine.actuators[a.index()] = actuator(&mut dice, a);
        }
        machine(&mut dice, &mut job);
        // The first bottle comes down an empty belt: that is no reason to suspend.
        job.machine.starve_ms = 60_000.0;
        if let Ok(plan) = plan::plan(&job)
            && plan.works()
        {
            return (job, plan);
        }
    }
    panic!("seed {seed}: 500 draws, and none works: the ranges of the generator are wrong")
}

/// A rehearsal, and the bottles per minute of its steady part: by registration at the release eye.
pub(crate) fn measured(job: &Job) -> (RunResult, f64) {
    let mut at: Vec<f64> = Vec::new();
    let r = rehearse_with(job, &Options::default(), &mut |i, s| {
        while (at.len() as u32) < s.tally().registered {
            at.push(i.now.as_micros() as f64);
        }
    })
    .unwrap_or_else(|e| panic!("{}: {e}", job.name));
    let rate = match at.get(START..) {
        Some([first, .., last]) => (at.len() - START - 1) as f64 * 60e6 / (last - first),
        _ => 0.0,
    };
    (r, rate)
}
