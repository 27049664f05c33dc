//! A plan that just fails: random jobs that can work, pushed 2 % past the limit of one check, rehearsed with every tolerance at its
//! adverse bound. The judge (or the core) must find the failure that the check named.
//!
//! Where a check keeps a margin of its own, its limit is passed by that margin first, and by what no line can show all at once: each
//! case says so. Checks without a case, and why:
//!
//! - *release eye past the pick-up slip*, *release eye early enough*, *let-go known before the discharge eye*: decided by the belt's speed, see
//!   [`crate::fastest_belt`];
//! - *travel left for the lead*, *body in the eye longer than its filter*: stricter forms of *release eye early enough*, which
//!   always fails first;
//! - *belt speed against a stop at the foot*: a body so tall tips when it is picked up, and fails there first;
//! - *pitch at the diverter*, *discharge eye*: need a reject, a full outfeed; see [`crate::infeasible`], which makes them happen;
//! - *uncertainty after a belt stop*: needs a stop with a bottle on its way; see the shipped jobs;
//! - *early release*: a plan whose check fails does without it;
//! - *torque window*, *roller speed*: rules of set-up, not edges of a physical limit.

use crate::line_job::{feasible_job, saturated};
use crate::random_job::draws;
use host_sim::job::Job;
use host_sim::plan::chart::chart;
use host_sim::plan::{self, Plan, carry, catch, escapement};
use host_sim::plant::Bounds;
use host_sim::rehearse::{Options, rehearse};
use host_sim::verdict::{Outcome, RunResult};
use timing_core::{Actuator, Event, EventKind, Fault, Why};

/// Just past a limit, and just within.
const PAST: f64 = 1.02;
const WITHIN: f64 = 0.98;
/// Bases tried for each check.
const BASES: u64 = 120;
/// Bottles of a rehearsal.
const BOTTLES: u32 = 8;

struct Case {
    check: &'static str,
    /// Pushes a job to this share of the limit, [`PAST`] or [`WITHIN`]; `None` where this job has no such limit.
    push: fn(Job, &Plan, f64) -> Option<(Job, Bounds)>,
    /// Whether the failure was found.
    seen: fn(&RunResult) -> bool,
}

fn outcome(r: &RunResult, of: Outcome) -> bool {
    Outcome::ALL.iter().position(|o| *o == of).is_some_and(|i| r.outcomes[i] > 0)
}

fn told(r: &RunResult, fault: impl Fn(u16) -> bool) -> bool {
    r.trace.events.iter().any(|(_, e)| e.kind == EventKind::Fault && fault(e.detail))
}

fn flagged(r: &RunResult, why: Why) -> bool {
    r.trace.events.iter().any(|(_, e)| e.kind == EventKind::Flagged && e.why == why)
}

fn limit(plan: &Plan, check: &str) -> (f64, f64) {
    let c = plan.checks.iter().find(|c| c.name.starts_with(check));
    c.map_or_else(|| panic!("no check {check}"), |c| (c.value, c.limit))
}

/// The longest stroke of an actuator and its filter outlast its margin.
fn late(mut job: Job, a: Actuator, share: f64) -> Option<(Job, Bounds)> {
    let m = &mut job.machine;
    m.contact_bounce_ms = 0.05;
    let filter = m.contact_filter_ms;
    let s = &mut m.actuators[a.index()];
    if !(s.home && s.work) || s.over {
        return None;
    }
    s.spread_ms = 30.0;
    s.margin_ms = (s.spread_ms + filter + 0.05) / share;
    let mut stroke = [0.0; 6];
    stroke[a.index()] = 1.0;
    (s.margin_ms > filter + 1.0).then_some((job, Bounds { stroke, ..Bounds::MIDDLE }))
}

/// How much of a bottle a blade may meet so that it only nudges it aside, mm: an assumption of the modelled line.
const NUDGE_MM: f64 = 1.0;

const CASES: [Case; 12] = [
    Case {
        // Two counts, a late tick and half the eye's response are in the sum but do not show all at once, nor with the early aim: the
        // capture is pushed below what does: stroke, beam, aim. Within, it is what the sum needs, and three counts that the core rounds
        // away from it.
        check: "centring error against the jaw's capture",
        push: |mut job, plan, share| {
            let (m, p) = (&mut job.machine, &mut job.product);
            p.diameter_tol_mm = 0.0;
            // The core learns of the contact that much later.
            m.contact_bounce_ms = 0.05;
            let s = m.actuators[Actuator::Grip.index()].spread_ms;
            let counts = 2.0 * plan.worked.centring.count_mm;
            let shown = plan.worked.way_mm(s) + m.eye_beam_mm / 2.0 + p.aim_early_mm - counts;
            let least = if share > 1.0 { shown } else { plan.worked.centring.sum_mm() + 1.5 * counts };
            m.jaw_half_mouth_mm = p.diameter_mm / 2.0 * libm::cos(m.jaw_half_angle_deg.to_radians()) + least / share;
            let mut stroke = [0.0; 6];
            stroke[Actuator::Grip.index()] = -1.0;
            Some((job, Bounds { stroke, eye: -1.0, ..Bounds::MIDDLE }))
        },
        // The core, too, may see that its own uncertainty is more than this jaw captures.
        seen: |r| outcome(r, Outcome::OffCentre) || flagged(r, Why::Missed) || flagged(r, Why::Uncertain),
    },
    Case {
        // The bottle is met off centre by what can be drawn: stroke and beam.
        check: "jaw friction lets the V centre",
        push: |mut job, plan, share| {
            let m = &mut job.machine;
            m.jaw_mu = catch::centring_friction(m.jaw_half_angle_deg) * share;
            let mut stroke = [0.0; 6];
            stroke[Actuator::Grip.index()] = -1.0;
            let s = m.actuators[Actuator::Grip.index()].spread_ms;
            let off = plan.worked.way_mm(s) + m.eye_beam_mm / 2.0 + job.product.aim_early_mm;
            // The model lets both flanks touch a bottle that is 0.5 mm off.
            (off > 0.7).then_some((job, Bounds { stroke, eye: -1.0, ..Bounds::MIDDLE }))
        },
        seen: |r| outcome(r, Outcome::OffCentre),
    },
    Case {
        check: "bottle slides before it tips at pick-up",
        push: |mut job, plan, share| {
            job.product.diameter_tol_mm = 0.0;
            job.product.mu_max = carry::tip_limit(job.product.diameter_mm, job.product.cog_mm) * share;
            job.product.mu_min = job.product.mu_min.min(job.product.mu_max);
            (plan.product.early.is_none()).then_some((job, Bounds { friction: 1.0, ..Bounds::MIDDLE }))
        },
        seen: |r| outcome(r, Outcome::Tipped),
    },
    Case {
        check: "margin of the entry gate",
        push: |job, _, share| late(job, Actuator::EntryGate, share),
        seen: |r| told(r, |f| f == Fault::StrokeOverdue(Actuator::EntryGate).code()),
    },
    Case {
        check: "margin of the release gate",
        push: |job, _, share| late(job, Actuator::ReleaseGate, share),
        seen: |r| told(r, |f| f == Fault::StrokeOverdue(Actuator::ReleaseGate).code()),
    },
    Case {
        check: "margin of the plunger",
        push: |job, _, share| late(job, Actuator::Plunger, share),
        seen: |r| told(r, |f| f == Fault::StrokeOverdue(Actuator::Plunger).code()),
    },
    Case {
        check: "margin of the rollers",
        push: |job, _, share| late(job, Actuator::Rollers, share),
        seen: |r| told(r, |f| f == Fault::StrokeOverdue(Actuator::Rollers).code()),
    },
    Case {
        // The first bottle comes down an empty line and is starved of in any case, and so it is after the last: what counts is the time
        // between.
        check: "pocket refilled before it counts as starved",
        push: |mut job, _, share| {
            job.machine.contact_bounce_ms = 0.05;
            let plan = plan::plan(&job).ok()?;
            job.machine.starve_ms = limit(&plan, "pocket refilled").0 / share;
            job.machine.clear_ms = 100.0;
            job.machine.suspend_stops_belt = false;
            Some((job, Bounds { friction: 0.0, eye: 1.0, ..Bounds::MIDDLE }))
        },
        seen: |r| {
            let at = |n: i32| {
                let event = |e: &&(u64, Event)| e.1.kind == EventKind::Registered && e.1.value == n;
                r.trace.events.iter().find(event).map_or(0, |e| e.0)
            };
            let between = at(1)..at(BOTTLES as i32);
            let starved = |e: &Event| e.kind == EventKind::State && e.why == Why::Starved;
            r.trace.events.iter().any(|(t, e)| between.contains(t) && starved(e))
        },
    },
    Case {
        // The check keeps 2 mm: passed by those, the eye switches 2 % of the nose's reach short of its tip.
        check: "pocket eye clear of the bottle at the entry gate",
        push: |mut job, _, share| {
            let (m, p) = (&mut job.machine, &job.product);
            let r = (p.diameter_mm - p.diameter_tol_mm) / 2.0;
            let nose = escapement::nose_mm(r, m.blade_tip_mm);
            m.pocket_eye_mm = m.entry_blade_mm + nose / share + m.eye_beam_mm / 2.0;
            Some((job, Bounds { body: -1.0, eye: -1.0, ..Bounds::MIDDLE }))
        },
        seen: |r| told(r, |f| f == Fault::Misfeed.code()),
    },
    Case {
        // The check keeps 2 mm: passed by those, the eye switches 2 % of the nose's reach beyond its tip.
        check: "pocket eye blocked by the bottle at the release gate",
        push: |mut job, _, share| {
            let (m, p) = (&mut job.machine, &job.product);
            let r = (p.diameter_mm + p.diameter_tol_mm) / 2.0;
            let nose = escapement::nose_mm(r, m.blade_tip_mm);
            m.pocket_eye_mm = m.release_blade_mm + nose * share - m.eye_beam_mm / 2.0;
            Some((job, Bounds { body: 1.0, eye: 1.0, ..Bounds::MIDDLE }))
        },
        seen: |r| r.counted.registered == 0,
    },
    Case {
        // The check keeps 1 mm of play, and a blade that meets less than 1 mm of a bottle nudges it aside: 2 % of that.
        check: "entry blade between first and second bottle",
        push: |mut job, plan, share| {
            job.product.diameter_tol_mm = 0.0;
            let (m, r) = (&mut job.machine, job.product.diameter_mm / 2.0);
            let (low, _) = escapement::entry_window_mm(m.release_blade_mm, m.blade_mm, m.blade_tip_mm, r, r);
            m.entry_blade_mm = low - NUDGE_MM * share;
            (m.pocket_eye_mm - m.entry_blade_mm < plan.worked.d_mm * 2.0).then_some((job, Bounds::MIDDLE))
        },
        seen: |r| outcome(r, Outcome::StruckByGate),
    },
    Case {
        // A wider jaw takes longer to leave. Friction: the newcomer that comes quickest.
        check: "head free before the next catch is ordered",
        push: |mut job, plan, share| {
            let (value, leave) = limit(plan, "head free before the next catch");
            job.machine.jaw_half_mouth_mm += value * share - leave;
            let c = chart(&job, &plan.worked, None);
            if c.feed_cycle_ms > 0.98 * c.head_cycle_ms {
                // The newcomer waits for the feed, not for the head.
                return None;
            }
            let mut stroke = [0.0; 6];
            stroke[Actuator::Grip.index()] = -1.0;
            (plan.product.early.is_none()).then_some((job, Bounds { friction: 1.0, stroke, ..Bounds::MIDDLE }))
        },
        // The catch is ordered when the head is free at last: late, if the jaw still captures it, or not at all. Or the two meet.
        seen: |r| outcome(r, Outcome::Missed) || outcome(r, Outcome::StruckByBottle) || r.placement.max_counts > 1,
    },
];

/// One check over all bases: pushed to `share` of its limit, in how many the failure was found, and who did not fit.
fn push_all(case: &Case, share: f64) -> (u32, u32, Vec<String>) {
    let (mut tried, mut seen, mut odd) = (0, 0, Vec::new());
    for seed in 0..BASES {
        let (base, plan) = feasible_job(10_000 + seed);
        let mut base = saturated(base, BOTTLES);
        base.run.duration_s = 60.0;
        // The modelled line has no play across the belt, so there is nothing to find of a check that allows for it.
        base.machine.set.rail_start_mm = None;
        let Some((job, bounds)) = (case.push)(base, &plan, share) else { continue };
        let Ok(plan) = plan::plan(&job) else { continue };
        let failed: Vec<&str> = plan.checks.iter().filter(|c| !c.ok).map(|c| c.name.as_ref()).collect();
        let named = failed.iter().all(|f| f.starts_with(case.check));
        if !named || (share > 1.0 && failed.is_empty()) {
            // Another check fails as well, or the core's own capture leaves nothing to fail.
            continue;
        }
        tried += 1;
        let options = Options { trace: true, rules: false, adverse: Some(bounds), ..Options::default() };
        let r = rehearse(&job, &options).expect("it was planned");
        let found = (case.seen)(&r);
        seen += u32::from(found);
        if found != (share > 1.0) {
            odd.push(format!(
                "{}: {} at {share}: {:?} {:?}\n{}",
                case.check,
                job.name,
                r.outcomes,
                r.counted,
                draws(&job)
            ));
        }
    }
    (tried, seen, odd)
}

/// Over random jobs pushed 2 % past one limit, the failure that the check named is found in all of them; 2 % within, in none.
#[test]
fn what_just_fails_fails_as_its_check_says() {
    let (mut report, mut odd) = (Vec::new(), Vec::new());
    for case in &CASES {
        let (past, found, o) = push_all(case, PAST);
        odd.extend(o);
        let (within, wrong, o) = push_all(case, WITHIN);
        odd.extend(o);
        report
            .push(format!("{:<55} past: found {found:>3} of {past:>3}; within: {wrong:>3} of {within:>3}", case.check));
        assert!(past >= 20 && within >= 20, "too few jobs for {}: {past}, {within}", case.check);
    }
    println!("{}", report.join("\n"));
    assert!(odd.is_empty(), "{}\n{} exceptions, the first:\n{}", report.join("\n"), odd.len(), odd[0]);
}
