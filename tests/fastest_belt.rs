//! The fastest belt that the plan gives, passed by 2 % with the tolerances at the adverse bound of the check that gives first: it names what goes
//! wrong. 2 % below, nothing does.
//!
//! Two checks keep a margin (2 mm before the release eye; the grip's spread, and the way from 2 mm to what the edges' uncertainty needs): there the
//! belt is set 2 % above the speed at which the line itself comes to it, [`bare_mm_s`]. The table says by how much.

use crate::infeasible::push;
use crate::line_job::{feasible_job, saturated};
use crate::named::{bare_mm_s, failing, happen, named, quiet, sights};
use crate::random_job::{Dice, draws};
use host_sim::job::Job;
use host_sim::plan::{self, Plan};
use host_sim::rehearse::{Options, rehearse};
use std::collections::BTreeMap;

/// Jobs tried.
const JOBS: u64 = 250;
/// Just past a limit, and just within.
const PAST: f64 = 1.02;
const WITHIN: f64 = 0.98;
/// Bottles of a rehearsal.
const BOTTLES: u32 = 8;

/// Of the jobs in which this check gives first: past the limit, how many showed what it names, or nothing; within, how many were clear.
#[derive(Default)]
struct Row {
    jobs: u32,
    past: u32,
    quiet: u32,
    within: u32,
    clear: u32,
}

/// A job that can work, most with one quantity pushed, so that not the same check gives first in all of them.
fn base(seed: u64) -> Option<Job> {
    let mut dice = Dice::new(seed ^ 0xFA_57);
    let mut job = saturated(feasible_job(50_000 + seed % 150).0, BOTTLES);
    job.name = format!("fastest belt, seed {seed}");
    job.run.duration_s = 60.0;
    job.machine.set.rail_start_mm = None;
    job.machine.set.rail_mm = None;
    job.machine.belt_speed_max_mm_s = 1_500.0;
    push(&mut dice, &mut job);
    // The speed of a belt that wanders is no one figure.
    job.run.wander = 0.0;
    plan::plan(&job).is_ok_and(|p| p.works()).then_some(job)
}

/// Over random jobs, past their fastest belt what the first check names is found, and within it nothing is.
#[test]
fn past_the_fastest_belt_the_first_check_to_give_is_right() {
    let mut rows: BTreeMap<String, Row> = BTreeMap::new();
    let mut reasons: BTreeMap<(String, &str), u32> = BTreeMap::new();
    let mut odd = Vec::new();
    let (mut worst, mut compared, mut rough) = (0.0_f64, 0, 0);
    let mut farthest = 1.0_f64;
    for seed in 0..JOBS {
        let Some(job) = base(seed) else { continue };
        let top = plan::plan(&job).expect("it works").belt_max_mm_s;
        if top >= job.machine.belt_speed_max_mm_s {
            continue;
        }
        let at = |share: f64| {
            let mut j = job.clone();
            j.product.speed_mm_s = top * share;
            j
        };
        let by_speed = |p: &Plan| failing(p).iter().filter(|c| c.by_speed).map(|c| c.name.clone()).collect::<Vec<_>>();
        // Just past the edge there is one that fails: that is the first to give.
        let Ok(edge) = plan::plan(&at(1.0 + 1e-5)) else { continue };
        let Some(first) = by_speed(&edge).first().cloned() else {
            odd.push(format!("{}: nothing fails just past {top}", job.name));
            continue;
        };
        if let Some(l) = edge.limits.iter().find(|l| l.name == first) {
            compared += 1;
            let off = (l.allows_mm_s / top - 1.0).abs();
            rough += u32::from(off > 0.002);
            worst = worst.max(off);
        }
        let row = rows.entry(first.to_string()).or_default();
        row.jobs += 1;
        for share in [PAST, WITHIN] {
            let shown = if share > 1.0 { bare_mm_s(&first, &job, top).unwrap_or(top) / top } else { 1.0 };
            farthest = farthest.max(shown);
            let mut job = at(share * shown);
            let Ok(plan) = plan::plan(&job) else { continue };
            happen(&first, &mut job, &plan);
            let Ok(plan) = plan::plan(&job) else { continue };
            let n = named(&first);
            let bounds = n.as_ref().map_or(host_sim::plant::Bounds::MIDDLE, |n| n.bounds);
            let options = Options { trace: true, rules: false, adverse: Some(bounds), ..Options::default() };
            let r = rehearse(&job, &options).expect("it was planned");
            let seen = sights(&r, &job, &plan);
            let names: Vec<_> = failing(&plan).iter().filter_map(|c| named(&c.name)).collect();
            let mine = seen.iter().any(|s| n.as_ref().is_some_and(|n| n.sights.contains(s)));
            if share > 1.0 {
                if let Some(s) = seen.iter().find(|s| !names.iter().any(|n| n.sights.contains(s))) {
                    odd.push(format!("{} past {first}: {} is not named", job.name, s.words()));
                } else if mine {
                    row.past += 1;
                } else {
                    row.quiet += 1;
                    let check = plan.checks.iter().find(|c| c.name == first).expect("it was there");
                    let why = quiet(check, &job, &plan, &r);
                    *reasons.entry((first.to_string(), why.unwrap_or("NO REASON"))).or_default() += 1;
                    if why.is_none() {
                        odd.push(format!(
                            "{} past {first} ({:.2} / {:.2}): nothing",
                            job.name, check.value, check.limit
                        ));
                    }
                }
            } else {
                row.within += 1;
                if seen.is_empty() {
                    row.clear += 1;
                } else {
                    let words: Vec<_> = seen.iter().map(|s| s.words()).collect();
                    odd.push(format!("{} within {first}: {words:?} {:?}\n{}", job.name, r.outcomes, draws(&job)));
                }
            }
        }
    }
    println!("{:<75} {:>5} {:>10} {:>10} {:>14}", "first to give", "jobs", "past: seen", "quiet", "within: clear");
    for (name, r) in &rows {
        println!("{name:<75.75} {:>5} {:>10} {:>10} {:>7} of {:>3}", r.jobs, r.past, r.quiet, r.clear, r.within);
    }
    for ((name, why), n) in &reasons {
        println!("{n:>4} {name:<60.60} {why}");
    }
    println!("margins of their own are passed first: by up to {:.1} % of the belt's speed", (farthest - 1.0) * 100.0);
    println!(
        "limits against the edge: {compared} compared, {rough} off by more than 0.2 %, worst {:.3} %",
        worst * 100.0
    );
    assert!(odd.is_empty(), "{} exceptions, the first:\n{}", odd.len(), odd[0]);
    let (seen, clear, within) = rows.values().fold((0, 0, 0), |a, r| (a.0 + r.past, a.1 + r.clear, a.2 + r.within));
    assert!(seen >= 80 && clear == within, "{seen} seen past the limit; within, {clear} of {within} clear");
}
