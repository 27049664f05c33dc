//! How fast the rehearsal is: bottles per second on one core with the full line and the real core, ticks per bottle, and
//! nanoseconds per tick, quiet and working; and how long a plan takes. Prints a table; asserts nothing.
//!
//! `cargo bench -p host-sim`

use host_sim::job::Job;
use host_sim::rehearse::{Options, rehearse, rehearse_with};
use std::hint::black_box;
use std::time::Instant as Clock;
use timing_core::{Duration, Inputs, Instant, Setpoints, Station};

const RUNS: usize = 7;

fn main() {
    let mut job = Job::demo();
    job.run.bottles = 5_000;
    job.run.batch = 0;
    job.run.duration_s = 1e6;
    println!("medians of {RUNS} runs, one core, {} bottles at {} mm/s", job.run.bottles, job.product.speed_mm_s);
    let judged = time(|| line(&job, true));
    let bare = time(|| line(&job, false));
    let (ticks, inputs, bottles) = record(&job);
    println!("{:<58} {:>12.0}", "bottles per second, line + core + outcomes", bottles / bare);
    println!("{:<58} {:>12.0}", "bottles per second, the rules judged at every tick, too", bottles / judged);
    let simulated_h = inputs.last().map_or(0.0, |i| i.now.as_micros() as f64 / 3.6e9);
    println!("{:<58} {:>12.0}", "simulated hours per second, line + core + outcomes", simulated_h / bare);
    println!("{:<58} {:>12.1}", "ticks per bottle", ticks as f64 / bottles);
    let station = station(&job);
    let working = time(|| replay(station.clone(), &inputs));
    println!("{:<58} {:>12.1}", "ns per working tick (replay of the same inputs)", working * 1e9 / ticks as f64);
    println!("{:<58} {:>12.1}", "ns per quiet tick", time(|| quiet(station.clone())) * 1e9 / QUIET as f64);
    let (one, thousand) = (time(|| plans(&job, 1)), time(|| plans(&job, 1_000)));
    println!("{:<58} {:>12.2}", "ms for one plan", one * 1e3);
    println!("{:<58} {:>12.2}", "s for a thousand plans, each at its own belt speed", thousand);
    println!("{:<58} {:>12.1}", "share of the core in the rehearsal, %", 100.0 * working / bare);
}

fn time<T>(mut work: impl FnMut() -> T) -> f64 {
    let mut seconds: Vec<f64> = (0..RUNS)
        .map(|_| {
            let start = Clock::now();
            black_box(work());
            start.elapsed().as_secs_f64()
        })
        .collect();
    seconds.sort_by(f64::total_cmp);
    seconds[RUNS / 2]
}

fn line(job: &Job, rules: bool) -> u64 {
    rehearse(job, &Options { rules, ..Options::default() }).expect("the demo can be planned").digest
}

/// `n` plans at belt speeds from 60 to 120 mm/s.
fn plans(job: &Job, n: u32) -> f64 {
    let mut job = job.clone();
    let mut sum = 0.0;
    for i in 0..n {
        job.product.speed_mm_s = 60.0 + 60.0 * f64::from(i) / f64::from(n);
        sum += host_sim::plan::plan(&job).expect("the demo can be planned").rate_per_min;
    }
    sum
}

fn record(job: &Job) -> (u64, Vec<Inputs>, f64) {
    let mut inputs = Vec::new();
    let options = Options { rules: false, ..Options::default() };
    let result = rehearse_with(job, &options, &mut |i, _| inputs.push(*i)).expect("the demo can be planned");
    (result.ticks, inputs, f64::from(result.counted.registered))
}

fn station(job: &Job) -> Station {
    let plan = host_sim::plan::plan(job).expect("the demo can be planned");
    let machine = plan.machine().expect("the demo's machine is valid");
    let setpoints: Setpoints = plan.setpoints_of().expect("the demo's product is valid");
    Station::new(machine, setpoints)
}

fn replay(mut station: Station, inputs: &[Inputs]) -> u32 {
    for i in inputs {
        black_box(station.tick(black_box(i)).orders);
    }
    station.tally().good
}

const QUIET: u64 = 1_000_000;

/// Ticks at which nothing is due: the unit stands in Stopped, and time goes on by nanosteps of the sample gap.
fn quiet(mut station: Station) -> u64 {
    let mut inputs = Inputs::default();
    let wake = station.tick(&inputs).wake.at;
    let end = wake.as_micros();
    for n in 0..QUIET {
        inputs.now = Instant::ZERO.plus(Duration::from_micros(n * (end - 1) / QUIET));
        black_box(station.tick(black_box(&inputs)).wake);
    }
    end
}
