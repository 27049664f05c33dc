//! The rehearsed line, fed at random, against queueing theory: the station is one server of fixed cycle time.
//!
//! Bottles have a length, so their arrivals are no Poisson stream: between two of them lies at least one body. Counted in belt
//! travel, bottle k waits w(k) = max(0, w(k−1) + S − a(k)), where S is the cycle and a(k) = D + an exponential gap. That is the
//! recursion of a queue of points with the exponential gaps alone and the cycle S − D, and so the formula of Pollaczek and
//! Khinchine (source: see `queue_theory`) holds for those.

use crate::queue_theory::Queue;
use crate::random_job::shipped;
use host_sim::facts::What;
use host_sim::job::Job;
use host_sim::job::spec::{Action, ExpectSpec, SupplySpec};
use host_sim::plant::Plant;
use host_sim::rehearse::{Options, rehearse_with};
use timing_core::{Actuator, Orders, Request, Speed};

/// Counts per millimetre of the shipped machine.
fn counts_per_mm(job: &Job) -> f64 {
    job.machine.encoder_counts_per_rev / job.machine.wheel_mm
}

/// The steady job without anything that spreads, fed by `supply`.
fn fed(supply: SupplySpec, bottles: u32, seed: u64) -> Job {
    let mut job = shipped("steady-day");
    job.run.supply = supply;
    job.run.bottles = bottles;
    job.run.batch = 0;
    job.run.script.retain(|s| !matches!(s.action, Action::Request(Request::Batch(_))));
    job.run.duration_s = 24.0 * 3600.0;
    job.run.seed = seed;
    job.run.spread = false;
    // A pocket that stays empty for a while is no reason to suspend here: that would be a second kind of service.
    job.machine.starve_ms = 600_000.0;
    job.expect = ExpectSpec::default();
    job
}

/// Belt positions, mm, at which the core registered each bottle.
fn registered(job: &Job) -> Vec<f64> {
    let per_mm = counts_per_mm(job);
    let mut at: Vec<f64> = Vec::new();
    let options = Options { rules: false, ..Options::default() };
    let r = rehearse_with(job, &options, &mut |i, s| {
        while (at.len() as u32) < s.tally().registered {
            at.push(i.belt.get() as f64 / per_mm);
        }
    })
    .expect("it can be planned");
    assert_eq!(r.counted.good, job.run.bottles, "{}", job.name);
    at
}

/// Belt positions, mm, at which each bottle would pass the release blade if nothing stood in its way.
fn unhindered(job: &Job) -> Vec<f64> {
    let per_mm = counts_per_mm(job);
    let mut plant = Plant::new(job);
    let open = Orders::SAFE.with_coils(Actuator::EntryGate, true, false).with_coils(Actuator::ReleaseGate, true, false);
    plant.obey(open.with_belt(true), Speed::from_mm_per_s(job.product.speed_mm_s as i32), 0);
    let mut at = Vec::new();
    while at.len() < job.run.bottles as usize {
        let next = plant.next_event();
        assert!(next < u64::MAX, "the line rests after {} bottles", at.len());
        plant.advance(next);
        let belt = plant.belt() as f64 / per_mm;
        at.extend(plant.facts().filter(|f| f.what == What::PassedRelease).map(|_| belt));
    }
    at
}

fn mean(of: &[f64]) -> f64 {
    of.iter().sum::<f64>() / of.len() as f64
}

/// The cycle in belt travel, mm: from the pitch of a saturated line.
fn cycle() -> f64 {
    let at = registered(&fed(SupplySpec::Touching, 60, 1));
    let steps: Vec<f64> = at.windows(2).skip(5).map(|w| w[1] - w[0]).collect();
    let s = mean(&steps);
    assert!(steps.iter().all(|x| (x - s).abs() < 1.0), "the cycle is not fixed: {steps:?}");
    s
}

/// One line fed at random at load `rho`: how long each bottle waited, and how long the recursion says, both in cycles S − D.
pub(crate) struct Fed {
    pub(crate) waited: Vec<f64>,
    reckoned: Vec<f64>,
    /// Belt positions at which bottles came, the one that waits for nothing first, counted from a little before it, mm.
    pub(crate) came: Vec<f64>,
    /// Belt positions at which the same bottles were registered, less what a bottle needs that waits for nothing, mm.
    pub(crate) began: Vec<f64>,
    /// The cycle of the station in belt travel, mm.
    pub(crate) cycle_mm: f64,
    /// The cycle less a body, mm.
    pub(crate) service_mm: f64,
}

pub(crate) fn feed_at_random(rho: f64, bottles: u32, seed: u64) -> Fed {
    let s = cycle();
    let body = shipped("steady-day").product.diameter_mm;
    let service = s - body;
    let job = fed(SupplySpec::Random(body + service / rho), bottles, seed);
    let (got, free) = (registered(&job), unhindered(&job));
    // What a bottle needs that waits for nothing: from the blade's place to registration, with its stop in the pocket.
    let late: Vec<f64> = got.iter().zip(&free).map(|(g, f)| g - f).collect();
    let mut sorted = late.clone();
    sorted.sort_by(f64::total_cmp);
    let alone = sorted[sorted.len() / 50];
    // The first bottles wait for the machine to start; from the first that does not wait, the line is fed as it should be.
    let first = late.iter().position(|l| l - alone < 1.0).expect("some bottle waits for nothing");
    let (mut waited, mut reckoned, mut w) = (Vec::new(), Vec::new(), 0.0);
    for k in first + 1..got.len() {
        w = f64::max(0.0, w + s - (free[k] - free[k - 1]));
        waited.push((late[k] - alone) / service);
        reckoned.push(w / service);
    }
    let from = free[first] - 1.0;
    Fed {
        waited,
        reckoned,
        came: free[first..].iter().map(|x| x - from).collect(),
        began: got[first..].iter().map(|x| x - alone - from).collect(),
        cycle_mm: s,
        service_mm: service,
    }
}

/// Bottle by bottle the line waits as the recursion says, and on the mean as the formula says. Tolerance of the mean: four standard
/// deviations, found beforehand by another program for 180 000 customers (0.0051 and 0.036 cycles), scaled to these.
#[test]
fn a_line_fed_at_random_waits_as_pollaczek_and_khinchine_say() {
    const BOTTLES: u32 = 12_000;
    for (rho, sd) in [(0.5, 0.005_1), (0.8, 0.036)] {
        let fed = feed_at_random(rho, BOTTLES, 7);
        let n = fed.waited.len() as f64;
        let off: Vec<f64> = fed.waited.iter().zip(&fed.reckoned).map(|(a, b)| (a - b).abs()).collect();
        let worst = off.iter().copied().fold(0.0, f64::max);
        assert!(worst < 0.05, "load {rho}: a bottle waits {worst} cycles longer or shorter than reckoned");
        let (wait, want) = (mean(&fed.waited), Queue { rho, cs2: 0.0 }.wait());
        let tolerance = 4.0 * sd * libm::sqrt(180_000.0 / n);
        assert!((wait - want).abs() < tolerance, "load {rho}: {wait} cycles, formula {want} ± {tolerance}");
        let reckoned = mean(&fed.reckoned);
        assert!((wait - reckoned).abs() < 0.005, "load {rho}: {wait}, recursion {reckoned}");
        let at_once = fed.waited.iter().filter(|w| **w < 0.01).count() as f64 / n;
        assert!((at_once - (1.0 - rho)).abs() < 0.02, "load {rho}: {at_once} waited for nothing");
    }
}
