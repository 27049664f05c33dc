//! A plan that just fails: random jobs that can work, pushed 2 % past the limit of one check, rehearsed with every tolerance at its
//! adverse bound. The judge (or the core) must find the failure that the check named.
//!
//! Where a check keeps a margin of its own, its limit is passed by that margin first, and by what no line can show all at once: each
//! case says so. Checks without a case, and why:
//!
//! - *release eye past the pick-up slip*: what slip is left counts as a centring error, and fails there;
//! - *travel left for the lead*, *body in the eye longer than its filter*: stricter forms of *release eye early enough*, which
//!   always fails first; that one guards against over-long bodies, which no tolerance draws;
//! - *belt speed against a stop at the foot*: a body so tall tips when it is picked up, and fails there first;
//! - *jaw friction lets the V centre*: the model holds such a bottle where it was met, and closes it all the same;
//! - *uncertainty after a belt stop*, *pitch at the diverter*, *early release*: need a stop, a reject, a late head; see the shipped jobs;
//! - *torque window*, *roller speed*, *discharge eye*: rules of set-up, not edges of a physical limit.

use crate::line_job::{feasible_job, saturated};
use crate::random_job::draws;
use host_sim::job::Job;
use host_sim::plan::{self, Plan, carry, escapement};
use host_sim::plant::Bounds;
use host_sim::rehearse::{Options, rehearse};
use host_sim::verdict::{Outcome, RunResult};
use timing_core::{Actuator, EventKind, Fault, Why};

/// Past a limit.
const PAST: f64 = 1.02;
/// Bases tried for each check.
const BASES: u64 = 150;
/// Bottles of a rehearsal.
const BOTTLES: u32 = 8;

struct Case {
    check: &'static str,
    /// Pushes a job past the limit; `None` where this job has no such limit.
    push: fn(Job, &Plan) -> Option<(Job, Bounds)>,
    /// Whether the failure was found.
    seen: fn(&RunResult) -> bool,
}

fn outcome(r: &RunResult, of: Outcome) -> bool {
    Outcome::ALL.iter().position(|o| *o == of).is_some_and(|i| r.outcomes[i] > 0)
}

fn told(r: &RunResult, fault: impl Fn(u16) -> bool) -> bool {
    r.trace.events.iter().any(|(_, e)| e.kind == EventKind::Fault && fault(e.detail))
}

fn limit(plan: &Plan, check: &str) -> (f64, f64) {
    let c = plan.checks.iter().find(|c| c.name.starts_with(check));
    c.map_or_else(|| panic!("no check {check}"), |c| (c.value, c.limit))
}

/// The longest stroke of an actuator and its filter outlast its margin.
fn late(mut job: Job, a: Actuator) -> Option<(Job, Bounds)> {
    let m = &mut job.machine;
    m.contact_bounce_ms = 0.05;
    let filter = m.contact_filter_ms;
    let s = &mut m.actuators[a.index()];
    if !(s.home && s.work) || s.over {
        return None;
    }
    s.spread_ms = 30.0;
    s.margin_ms = (s.spread_ms + filter + 0.05) / PAST;
    let mut stroke = [0.0; 6];
    stroke[a.index()] = 1.0;
    (s.margin_ms > filter + 1.0).then_some((job, Bounds { stroke, ..Bounds::MIDDLE }))
}

const CASES: [Case; 11] = [
    Case {
        // A count, a late tick and half the eye's response are in the sum but do not show all at once, nor with the early aim: the capture
        // is pushed below what does: stroke, beam, aim.
        check: "centring error against the jaw's capture",
        push: |mut job, plan| {
            let (m, p) = (&mut job.machine, &mut job.product);
            p.diameter_tol_mm = 0.0;
            let s = m.actuators[Actuator::Grip.index()].spread_ms;
            let shown = plan.worked.way_mm(s) + m.eye_beam_mm / 2.0 + p.aim_early_mm;
            m.jaw_half_mouth_mm = p.diameter_mm / 2.0 * libm::cos(m.jaw_half_angle_deg.to_radians()) + shown / PAST;
            let mut stroke = [0.0; 6];
            stroke[Actuator::Grip.index()] = -1.0;
            Some((job, Bounds { stroke, eye: -1.0, ..Bounds::MIDDLE }))
        },
        seen: |r| outcome(r, Outcome::OffCentre),
    },
    Case {
        check: "bottle slides before it tips at pick-up",
        push: |mut job, plan| {
            job.product.diameter_tol_mm = 0.0;
            job.product.mu_max = carry::tip_limit(job.product.diameter_mm, job.product.cog_mm) * PAST;
            (plan.product.early.is_none()).then_some((job, Bounds { friction: 1.0, ..Bounds::MIDDLE }))
        },
        seen: |r| outcome(r, Outcome::Tipped),
    },
    Case {
        check: "margin of the entry gate",
        push: |job, _| late(job, Actuator::EntryGate),
        seen: |r| told(r, |f| f == Fault::StrokeOverdue(Actuator::EntryGate).code()),
    },
    Case {
        check: "margin of the release gate",
        push: |job, _| late(job, Actuator::ReleaseGate),
        seen: |r| told(r, |f| f == Fault::StrokeOverdue(Actuator::ReleaseGate).code()),
    },
    Case {
        check: "margin of the plunger",
        push: |job, _| late(job, Actuator::Plunger),
        seen: |r| told(r, |f| f == Fault::StrokeOverdue(Actuator::Plunger).code()),
    },
    Case {
        check: "margin of the rollers",
        push: |job, _| late(job, Actuator::Rollers),
        seen: |r| told(r, |f| f == Fault::StrokeOverdue(Actuator::Rollers).code()),
    },
    Case {
        // The first bottle comes down an empty line and is starved of in any case: what counts is the time after it.
        check: "pocket refilled before it counts as starved",
        push: |mut job, _| {
            job.machine.contact_bounce_ms = 0.05;
            let plan = plan::plan(&job).ok()?;
            job.machine.starve_ms = limit(&plan, "pocket refilled").0 / PAST;
            job.machine.clear_ms = 100.0;
            job.machine.suspend_stops_belt = false;
            Some((job, Bounds { friction: 0.0, eye: 1.0, ..Bounds::MIDDLE }))
        },
        seen: |r| {
            let first = r.trace.events.iter().position(|(_, e)| e.kind == EventKind::Registered).unwrap_or(usize::MAX);
            r.trace.events.iter().skip(first).any(|(_, e)| e.kind == EventKind::State && e.why == Why::Starved)
        },
    },
    Case {
        // The check keeps 2 mm: the eye is put 0.5 mm into the bottle at the entry gate.
        check: "pocket eye clear of the bottle at the entry gate",
        push: |mut job, _| {
            let (m, p) = (&mut job.machine, &job.product);
            let r = (p.diameter_mm - p.diameter_tol_mm) / 2.0;
            m.pocket_eye_mm = m.entry_blade_mm + escapement::nose_mm(r, m.blade_tip_mm) - 0.5;
            Some((job, Bounds { body: -1.0, eye: -1.0, ..Bounds::MIDDLE }))
        },
        seen: |r| told(r, |f| f == Fault::Misfeed.code()),
    },
    Case {
        // The check keeps 2 mm: the eye is put 0.5 mm past the nose of the bottle at the release gate.
        check: "pocket eye blocked by the bottle at the release gate",
        push: |mut job, _| {
            let (m, p) = (&mut job.machine, &job.product);
            let r = (p.diameter_mm + p.diameter_tol_mm) / 2.0;
            m.pocket_eye_mm = m.release_blade_mm + escapement::nose_mm(r, m.blade_tip_mm) + 0.5;
            Some((job, Bounds { body: 1.0, eye: 1.0, ..Bounds::MIDDLE }))
        },
        seen: |r| r.counted.registered == 0,
    },
    Case {
        // The check keeps 1 mm of play, and a blade that meets less than 1 mm of a bottle nudges it aside.
        check: "entry blade between first and second bottle",
        push: |mut job, plan| {
            job.product.diameter_tol_mm = 0.0;
            let (m, r) = (&mut job.machine, job.product.diameter_mm / 2.0);
            let (low, _) = escapement::entry_window_mm(m.release_blade_mm, m.blade_mm, m.blade_tip_mm, r, r);
            m.entry_blade_mm = low - 1.2;
            (m.pocket_eye_mm - m.entry_blade_mm < plan.worked.d_mm * 2.0).then_some((job, Bounds::MIDDLE))
        },
        seen: |r| outcome(r, Outcome::StruckByGate),
    },
    Case {
        // A wider jaw takes longer to leave. Friction: the newcomer that comes quickest.
        check: "head free before the next catch is ordered",
        push: |mut job, plan| {
            let (value, leave) = limit(plan, "head free before the next catch");
            job.machine.jaw_half_mouth_mm += value * PAST - leave;
            let mut stroke = [0.0; 6];
            stroke[Actuator::Grip.index()] = -1.0;
            (plan.product.early.is_none()).then_some((job, Bounds { friction: 1.0, stroke, ..Bounds::MIDDLE }))
        },
        // The catch is ordered when the head is free at last: late, if the jaw still captures it, or not at all.
        seen: |r| outcome(r, Outcome::Missed) || r.placement.max_counts > 1,
    },
];

#[test]
fn what_just_fails_fails_as_its_check_says() {
    let mut report = Vec::new();
    for case in &CASES {
        let (mut tried, mut seen) = (0, 0);
        for seed in 0..BASES {
            let (base, plan) = feasible_job(10_000 + seed);
            let mut base = saturated(base, BOTTLES);
            base.run.duration_s = 60.0;
            let Some((job, bounds)) = (case.push)(base, &plan) else { continue };
            let Ok(plan) = plan::plan(&job) else { continue };
            let failed: Vec<&str> = plan.checks.iter().filter(|c| !c.ok).map(|c| c.name.as_str()).collect();
            if !failed.iter().any(|f| f.starts_with(case.check)) || failed.len() > 1 {
                continue;
            }
            tried += 1;
            let options = Options { trace: true, rules: false, adverse: Some(bounds), ..Options::default() };
            let r = rehearse(&job, &options).expect("it was planned");
            if (case.seen)(&r) {
                seen += 1;
            } else if std::env::var("V").is_ok() {
                println!("{}: {} {:?} {:?}\n{}", case.check, job.name, r.outcomes, r.counted, draws(&job));
            }
        }
        report.push(format!("{:<55} {seen:>4} of {tried:>4} seen", case.check));
    }
    println!("{}", report.join("\n"));
}
