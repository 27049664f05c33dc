//! What would make the line faster, and by how much: each change is planned anew, nothing is guessed.

use super::chart::{self, Chart};
use super::search::edge;
use super::worked::Worked;
use super::{all_checks, overlap, tighten};
use crate::job::spec::{Job, TightenSpec};
use serde::Serialize;
use std::borrow::Cow;
use std::fmt::Write as _;
use timing_core::Actuator;

/// Furthest that the escapement is tried nearer to the head, mm.
const NEARER_MM: f64 = 200.0;
/// Halvings in the search for the nearest escapement: to better than 0.1 mm.
const HALVINGS: u32 = 12;

/// One change, and the rate that it gives.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Gain {
    /// What is changed.
    pub change: String,
    /// Bottles per minute then, at the same belt speed.
    pub rate_per_min: f64,
    /// More bottles per minute than now; negative if fewer.
    pub gain_per_min: f64,
}

/// The chart of a job at its belt speed, early release as far as it is proven.
fn charted(job: &Job) -> Chart {
    let w = Worked::at(job, job.product.speed_mm_s);
    chart::chart(job, &w, overlap::overlap(job, &w).delay_ms)
}

/// What each change would give. `now` is the chart of the job as it is.
pub(super) fn gains(job: &Job, w: &Worked, now: &Chart) -> Vec<Gain> {
    let rate = 60_000.0 / now.cycle_ms;
    let gain = |change: String, other: &Job| {
        let r = 60_000.0 / charted(other).cycle_ms;
        Gain { change, rate_per_min: r, gain_per_min: r - rate }
    };
    let mut all = vec![gain("every valve with half its latency".to_owned(), &quick(job, &Actuator::ALL))];
    for a in [Actuator::EntryGate, Actuator::ReleaseGate, Actuator::Grip, Actuator::Plunger, Actuator::Rollers] {
        all.push(gain(format!("valve of the {} with half its latency", a.name()), &quick(job, &[a])));
    }
    let mut short = job.clone();
    short.product.settle_mm = 0.0;
    let need = w.settle_need_mm;
    all.push(gain(format!("settle of {need:.1} mm, what this pocket needs"), &short));
    all.extend(faster_rollers(job, w, gain));
    let mm = nearest(job);
    all.push(gain(format!("escapement and its eyes {mm:.1} mm nearer to the head"), &nearer(job, mm)));
    all.push(early(job, gain));
    all
}

/// Fastest rollers that are offered, rpm: as fast as a job may ask for.
const ROLLER_RPM_MAX: f64 = 6_000.0;

/// The rollers so much faster that the turns take half the time, where the ramp lets them. The torque at which they slip stays what it is.
fn faster_rollers(job: &Job, w: &Worked, gain: impl Fn(String, &Job) -> Gain) -> Option<Gain> {
    let (m, p) = (&job.machine, &job.product);
    if p.tighten == TightenSpec::SeatOnly {
        return None;
    }
    let turns_ms = tighten::turns_ms(
        p.turns,
        tighten::cap_rpm(f64::from(w.rpm), m.roller_diameter_mm, p.cap_diameter_mm),
        m.roller_ramp_ms,
    );
    let half =
        tighten::roller_rpm_for(p.turns, turns_ms / 2.0, m.roller_ramp_ms, m.roller_diameter_mm, p.cap_diameter_mm);
    let rpm = libm::ceil(half.filter(|rpm| *rpm <= ROLLER_RPM_MAX)?);
    let mut fast = job.clone();
    fast.product.roller_rpm = rpm;
    Some(gain(format!("rollers at {rpm:.0} rpm: the turns in half the time, no more torque"), &fast))
}

/// `job` with the latency of these valves halved.
fn quick(job: &Job, which: &[Actuator]) -> Job {
    let mut job = job.clone();
    for a in which {
        job.machine.actuators[a.index()].latency_ms /= 2.0;
    }
    job
}

/// `job` with gates, pocket eye, supply eye and release eye `mm` further downstream.
fn nearer(job: &Job, mm: f64) -> Job {
    let mut job = job.clone();
    let m = &mut job.machine;
    for x in [&mut m.entry_blade_mm, &mut m.release_blade_mm, &mut m.pocket_eye_mm, &mut m.release_eye_mm] {
        *x += mm;
    }
    m.supply_eye_mm = m.supply_eye_mm.map(|x| x + mm);
    job
}

/// How much nearer the escapement may come before a check fails that holds now, mm.
fn nearest(job: &Job) -> f64 {
    let failed = |job: &Job| -> Vec<Cow<'static, str>> {
        let w = Worked::at(job, job.product.speed_mm_s);
        all_checks(job, &w).into_iter().filter(|c| !c.ok).map(|c| c.name).collect()
    };
    let now = failed(job);
    let holds = |mm: f64| failed(&nearer(job, mm)).iter().all(|c| now.contains(c));
    let room = NEARER_MM.min(-job.machine.release_blade_mm).max(0.0);
    edge(0.0, room, HALVINGS, holds)
}

/// What early release gives where it is not used, or what it gives now.
fn early(job: &Job, gain: impl Fn(String, &Job) -> Gain) -> Gain {
    let mut other = job.clone();
    other.product.early_release = !job.product.early_release;
    let used = overlap::overlap(job, &Worked::at(job, job.product.speed_mm_s));
    if used.delay_ms.is_some() {
        return gain("without early release".to_owned(), &other);
    }
    other.product.early_release = true;
    let tried = overlap::overlap(&other, &Worked::at(&other, other.product.speed_mm_s));
    match tried.checks.iter().find(|c| !c.ok) {
        Some(c) => gain(format!("early release is not proven ({}): {}", c.name, c.mend), job),
        None => gain("early release (early_release = true)".to_owned(), &other),
    }
}

/// The part of the set-up sheet that says what limits the rate, and what would raise it.
pub(super) fn text(longest: &[(&'static str, f64)], gains: &[Gain]) -> String {
    let mut s = String::from("\nWHAT LIMITS THE RATE  (the longest steps of the loop that sets the cycle)\n");
    // Writing to a String cannot fail.
    for (step, ms) in longest {
        let _ = writeln!(s, "  {step:<40} {ms:>9.0} ms");
    }
    s.push_str("\nWHAT WOULD RAISE IT  (planned anew, at the same belt speed)\n");
    for g in gains {
        let _ = writeln!(s, "  {:<70} {:>7.2}/min {:>+7.2}", g.change, g.rate_per_min, g.gain_per_min);
    }
    s
}
