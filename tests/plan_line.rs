//! The plan is right about the line: what it promises, the rehearsal shows.

use crate::line_job::{BOTTLES, feasible_job, measured};
use host_sim::verdict::Outcome;

#[test]
fn diag() {
    let n: u64 = std::env::var("N").map_or(40, |s| s.parse().unwrap());
    let t0 = std::time::Instant::now();
    let only: Option<u64> = std::env::var("S").ok().map(|s| s.parse().unwrap());
    for seed in (0..n).filter(|s| only.is_none_or(|o| o == *s)) {
        let (job, plan) = feasible_job(seed);
        let mut job = job; if std::env::var("NS").is_ok() { job.run.spread = false; }
        let (r, rate) = measured(&job);
        let tight = r.outcomes[Outcome::ALL.iter().position(|o| *o == Outcome::Tight).unwrap()];
        let off = (rate / plan.rate_per_min - 1.0) * 100.0;
        println!(
            "{seed:4} plan {:6.2} got {rate:6.2} {off:+6.2} % tight {tight}/{BOTTLES} br {} early {:?} cyc {:.0}/{:.0} sp {} {} v {:.0} {:?} {}",
            plan.rate_per_min, r.breaches.len(), job.product.early_release, plan.steps.iter().map(|s| s.length_ms).sum::<f64>(), plan.cycle_ms, job.run.spread, plan.bottleneck, job.product.speed_mm_s, job.product.tighten, r.state
        );
        if tight < BOTTLES {
            println!("   {:?} {:?} {:?}", r.outcomes, r.counted, r.breaches.first());
            if std::env::var("V").is_ok() { println!("{}", crate::random_job::draws(&job)); for e in &r.trace.events { println!("{:10.3} {:?}", e.0 as f64 * 1e-3, e.1) } }
        }
    }
    println!("{:?}", t0.elapsed());
}
