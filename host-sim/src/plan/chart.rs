//! The step chart: when each step starts, how long it takes, what it may take more; from it the cycle, the rate and the bottleneck.
//!
//! Time runs from the release order of one bottle. The head is *ready for one* when it has let go, not when the last bottle has left: the
//! next is released while the last rides off. The feed refills its pocket while the head works.

use super::carry;
use super::worked::{Worked, stroke, to_home_ms, to_work_ms};
use crate::job::spec::{Job, TightenSpec};
use serde::Serialize;
use timing_core::{Actuator, Contact, FeedStep, HeadStep};

/// One row of the step chart.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StepRow {
    /// The step's name.
    pub step: &'static str,
    /// When it starts, ms after the release order.
    pub start_ms: f64,
    /// How long it takes, ms.
    pub length_ms: f64,
    /// How much longer it may take before the core calls it a fault, ms; 0 where time itself ends it.
    pub margin_ms: f64,
}

/// The chart and what follows from it.
#[derive(Clone, Debug, PartialEq)]
pub struct Chart {
    /// Head steps, then feed steps.
    pub steps: Vec<StepRow>,
    /// From the grip confirmed until it is confirmed open again, ms.
    pub busy_ms: f64,
    /// From the release order until the jaw meets the bottle, ms.
    pub ride_ms: f64,
    /// From catch to catch as the head sees it, ms.
    pub head_cycle_ms: f64,
    /// From release order to the next bottle loaded, ms.
    pub feed_cycle_ms: f64,
    /// The longer of the two, ms.
    pub cycle_ms: f64,
    /// Cycle if the head waited until the last bottle had left, ms: for comparison.
    pub vacant_cycle_ms: f64,
    /// Least time between two let-goes, so that the first bottle is out of the discharge eye, ms; 0 without that eye.
    pub discharge_cycle_ms: f64,
    /// The three longest steps of the loop that sets the cycle, ms, the bottleneck first. The loop of the discharge eye has one step.
    pub longest: Vec<(&'static str, f64)>,
}

/// Share of the longest bounce that a contact bounces on the mean: the later of two toggles, each anywhere within it.
const MEAN_BOUNCE: f64 = 2.0 / 3.0;

/// How long after an end of stroke the core knows of it, ms: mean bounce and filter of the contact, or the stroke's margin where
/// no contact is wired.
#[must_use]
pub fn confirm_ms(job: &Job, a: Actuator, work: bool) -> f64 {
    let s = stroke(job, a);
    let m = &job.machine;
    if if work { s.work } else { s.home } {
        m.contact_filter_ms + MEAN_BOUNCE * m.contact_bounce_ms
    } else {
        s.margin_ms
    }
}

/// How long after a change in an eye's beam the core accepts it, ms: `response_ms` of the eye, mean bounce, filter.
fn accept_ms(job: &Job, response_ms: f64) -> f64 {
    let m = &job.machine;
    response_ms + MEAN_BOUNCE * m.contact_bounce_ms + m.eye_filter_ms
}

/// From the order to open a gate until the bottle that leans on it is free, ms: the valve's latency.
///
/// Not the whole stroke: a blade that moves off gives way along the bottle's flank, and sooner than friction can follow. At
/// 20 mm from the centre line a 65 mm bottle may follow by 0.78 mm for each mm of a stroke that takes 6 ms.
#[must_use]
pub fn freed_ms(job: &Job, gate: Actuator) -> f64 {
    stroke(job, gate).latency_ms
}

/// Time that must lie between two orders to let go, ms, so that the first bottle has left the discharge eye; 0 without that eye.
/// `ride` is the time for a travel from rest.
fn discharge_ms(job: &Job, d_mm: f64, ride: impl Fn(f64) -> f64) -> f64 {
    let m = &job.machine;
    let free = stroke(job, Actuator::Grip).latency_ms;
    m.discharge_eye_mm.map_or(0.0, |x| free + ride(x + d_mm / 2.0) + accept_ms(job, m.eye_off_ms))
}

/// The least wait after the grip is confirmed, ms, with which the last bottle is surely past the discharge eye when the next is to be let
/// go: the slowest to leave against the quickest to come.
#[must_use]
pub fn discharge_wait_ms(job: &Job, w: &Worked) -> f64 {
    let m = &job.machine;
    let p = &job.product;
    let out = discharge_ms(job, w.d_max_mm + m.eye_beam_mm, |mm| carry::ride_ms(w.v_mm_s, p.mu_min, mm));
    let way_mm = w.d_min_mm / 2.0 - w.rest_mm - p.aim_early_mm - w.centring.position_mm();
    let come = freed_ms(job, Actuator::ReleaseGate)
        + carry::ride_ms(w.v_mm_s, p.mu_max, way_mm)
        + confirm_ms(job, Actuator::Grip, true);
    (out + m.contact_bounce_ms - come).max(0.0)
}

/// How long a bottle takes on the mean to cover `mm` from rest, ms, its friction anywhere between least and most (Simpson's rule).
fn way_ms(job: &Job, w: &Worked, mm: f64) -> f64 {
    let p = &job.product;
    let ride = |mu: f64| carry::ride_ms(w.v_mm_s, mu, mm);
    (ride(p.mu_min) + 4.0 * ride(f64::midpoint(p.mu_min, p.mu_max)) + ride(p.mu_max)) / 6.0
}

fn out_ms(job: &Job, a: Actuator) -> f64 {
    to_work_ms(job, a) + confirm_ms(job, a, true)
}

fn back_ms(job: &Job, a: Actuator) -> f64 {
    to_home_ms(job, a) + confirm_ms(job, a, false)
}

/// The head's steps from the grip confirmed to let-go confirmed: step, length, margin, ms.
#[must_use]
pub fn busy_steps(job: &Job, w: &Worked) -> [(HeadStep, f64, f64); 6] {
    let p = &job.product;
    let margin = |a: Actuator| stroke(job, a).margin_ms;
    // Without spin there is no Tighten: the rollers stay closed for the pause of Engage.
    let spin_ms = match p.tighten {
        TightenSpec::SeatOnly => 0.0,
        TightenSpec::Turns => w.spin_ms,
        // The clutch's contact passes its filter; the model lets it switch without bounce.
        TightenSpec::Torque => w.spin_ms + job.machine.contact_filter_ms,
    };
    let tighten_margin = match p.tighten {
        TightenSpec::Torque => (w.torque_window_ms.1 - w.spin_ms).max(0.0),
        TightenSpec::Turns | TightenSpec::SeatOnly => 0.0,
    };
    [
        (HeadStep::Seat, out_ms(job, Actuator::Plunger) + p.seat_dwell_ms, margin(Actuator::Plunger)),
        (HeadStep::Engage, out_ms(job, Actuator::Rollers) + p.engage_dwell_ms, margin(Actuator::Rollers)),
        (HeadStep::Tighten, spin_ms, tighten_margin),
        (HeadStep::Disengage, p.disengage_dwell_ms + back_ms(job, Actuator::Rollers), margin(Actuator::Rollers)),
        (HeadStep::Lift, back_ms(job, Actuator::Plunger), margin(Actuator::Plunger)),
        (HeadStep::LetGo, back_ms(job, Actuator::Grip), margin(Actuator::Grip)),
    ]
}

/// From the grip confirmed until it is confirmed open again, ms.
#[must_use]
pub fn busy_ms(job: &Job, w: &Worked) -> f64 {
    busy_steps(job, w).iter().map(|s| s.1).sum()
}

/// Draws the chart. `early_ms`: how long after the grip is confirmed the next bottle may be released, `None` when the head must have let
/// go.
#[must_use]
pub fn chart(job: &Job, w: &Worked, early_ms: Option<f64>) -> Chart {
    let m = &job.machine;
    let freed = freed_ms(job, Actuator::ReleaseGate);
    let ride_ms = freed + way_ms(job, w, w.d_mm / 2.0 - w.rest_mm - job.product.aim_early_mm);
    let mut steps = Vec::new();
    let mut loop_steps: Vec<(&'static str, f64)> = Vec::new();
    let mut row = |step: &'static str, start_ms: f64, length_ms: f64, margin_ms: f64| {
        steps.push(StepRow { step, start_ms, length_ms, margin_ms });
    };

    // What the head does.
    let misfeed_ms = w.travel_ms(w.misfeed_mm);
    let edge_ms = freed + way_ms(job, w, m.release_eye_mm - w.rest_mm);
    let seen_ms = edge_ms + accept_ms(job, m.eye_on_ms);
    row(HeadStep::Incoming.name(), 0.0, ride_ms, (misfeed_ms - seen_ms).max(0.0));
    let catch_ms = confirm_ms(job, Actuator::Grip, true);
    row(HeadStep::Catch.name(), ride_ms, catch_ms, stroke(job, Actuator::Grip).margin_ms);
    loop_steps.push((HeadStep::Incoming.name(), ride_ms));
    loop_steps.push((HeadStep::Catch.name(), catch_ms));
    let gripped = ride_ms + catch_ms;
    let mut t = gripped;
    for (step, length, margin) in busy_steps(job, w) {
        row(step.name(), t, length, margin);
        loop_steps.push((step.name(), length));
        t += length;
    }
    let busy_ms = t - gripped;
    let leave_ms = w.travel_ms(w.leave_mm);
    row(HeadStep::Leaving.name(), t, leave_ms, 0.0);
    // Steps that early release runs side by side with the next bottle's way.
    let overlapped_ms = early_ms.map_or(0.0, |e| (busy_ms - e).max(0.0));
    let work_ms = gripped + busy_ms - overlapped_ms;
    let discharge_cycle_ms = discharge_ms(job, w.d_mm, |mm| way_ms(job, w, mm));
    let head_cycle_ms = work_ms.max(discharge_cycle_ms);

    // What the feed does meanwhile. The gate shuts when the body is past the blade by travel, and out of the eye.
    let past_ms = w.travel_ms(w.gate_shut_mm);
    let tail_ms = w.travel_ms(w.d_mm) + accept_ms(job, m.eye_off_ms);
    let releasing_ms = edge_ms + past_ms.max(tail_ms);
    let shutting_ms = back_ms(job, Actuator::ReleaseGate);
    let settle_ms = (m.eye_on_ms + w.travel_ms(w.settle_mm)).max(accept_ms(job, m.eye_on_ms));
    let filling_ms = freed_ms(job, Actuator::EntryGate) + way_ms(job, w, m.pocket_eye_mm - w.second_mm) + settle_ms;
    let closing_ms = back_ms(job, Actuator::EntryGate);
    let loaded_from = releasing_ms + shutting_ms + filling_ms;
    let feed_cycle_ms = loaded_from + closing_ms;
    row(FeedStep::Releasing.name(), 0.0, releasing_ms, (misfeed_ms - seen_ms).max(0.0));
    row(FeedStep::Shutting.name(), releasing_ms, shutting_ms, stroke(job, Actuator::ReleaseGate).margin_ms);
    row(FeedStep::Filling.name(), releasing_ms + shutting_ms, filling_ms, m.starve_ms);
    // Loaded begins with the entry gate coming down and then waits for the head.
    let spare_ms = (head_cycle_ms - feed_cycle_ms).max(0.0);
    row(FeedStep::Loaded.name(), loaded_from, closing_ms + spare_ms, stroke(job, Actuator::EntryGate).margin_ms);
    let feed = [
        (FeedStep::Releasing.name(), releasing_ms),
        (FeedStep::Shutting.name(), shutting_ms),
        (FeedStep::Filling.name(), filling_ms),
        (FeedStep::Loaded.name(), closing_ms),
    ];

    let mut longest: Vec<(&'static str, f64)> = if feed_cycle_ms > head_cycle_ms {
        feed.to_vec()
    } else if discharge_cycle_ms > work_ms {
        vec![(HeadStep::Leaving.name(), discharge_cycle_ms)]
    } else {
        loop_steps
    };
    longest.sort_by(|a, b| b.1.total_cmp(&a.1));
    longest.truncate(3);
    Chart {
        steps,
        busy_ms,
        ride_ms,
        head_cycle_ms,
        feed_cycle_ms,
        cycle_ms: head_cycle_ms.max(feed_cycle_ms),
        vacant_cycle_ms: (gripped + busy_ms + leave_ms).max(feed_cycle_ms),
        discharge_cycle_ms,
        longest,
    }
}

/// Every contact that the job wires: eyes by their coordinate, reeds by their actuator, the rest by name.
#[must_use]
pub(super) fn fitted(job: &Job) -> timing_core::Contacts {
    let m = &job.machine;
    let mut set = m.contacts;
    for c in [Contact::PocketEye, Contact::ReleaseEye, Contact::Chain, Contact::Guard] {
        set = set.with(c, true);
    }
    set = set.with(Contact::DischargeEye, m.discharge_eye_mm.is_some());
    set = set.with(Contact::SupplyEye, m.supply_eye_mm.is_some());
    for a in Actuator::ALL {
        let s = stroke(job, a);
        set = set.with(Contact::home_of(a), s.home).with(Contact::work_of(a), s.work);
        if let Some(over) = Contact::over_of(a) {
            set = set.with(over, s.over);
        }
    }
    // Two contacts have no meaning on any machine: a gate has no over-travel.
    set.with(Contact::EntryGateOver, false).with(Contact::ReleaseGateOver, false)
}
