//! What a person sets or measures at the machine: set-points, positions, and what to be careful of.

use super::chart::{Chart, confirm_ms};
use super::worked::{BELT_REACTION_MS, CLEARANCE_MM, ROLLER_MU, Worked, stroke, to_home_ms, to_work_ms};
use super::{air, carry, catch, closure, demand, forces, tighten};
use crate::job::measured::ShapeSpec;
use crate::job::spec::{Job, SupplySpec, TightenSpec};
use serde::Serialize;
use timing_core::{Actuator, CapPolicy, Contact};

/// One figure of the set-up sheet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Figure {
    /// What it is.
    pub name: &'static str,
    /// Its value.
    pub value: f64,
    /// Its unit; empty for plain numbers.
    pub unit: &'static str,
    /// Whether it is a mark along the belt, and so a number of seconds only at one belt speed. Leads and slips are not: a lead is a stroke's
    /// time, a slip goes with the square of the speed.
    #[serde(skip)]
    pub travel: bool,
    /// Whether a person enters it, in the controller or on a regulator; the rest is worked out to be looked at.
    #[serde(skip)]
    pub set: bool,
}

impl Figure {
    /// A figure that is no mark along the belt.
    #[must_use]
    pub const fn plain(name: &'static str, value: f64, unit: &'static str) -> Self {
        Self { name, value, unit, travel: false, set: false }
    }
}

fn fig(name: &'static str, value: f64, unit: &'static str) -> Figure {
    Figure::plain(name, value, unit)
}

/// A figure that a person enters.
fn set(name: &'static str, value: f64, unit: &'static str) -> Figure {
    Figure { set: true, ..fig(name, value, unit) }
}

fn travel(name: &'static str, mm: f64) -> Figure {
    Figure { travel: true, ..set(name, mm, "mm") }
}

/// Set-points: travels for what the belt does, times for what actuators do, forces and torques to set.
#[must_use]
pub fn setpoints(job: &Job, w: &Worked, c: &Chart, early_ms: Option<f64>) -> Vec<Figure> {
    let (m, p) = (&job.machine, &job.product);
    let mut out = vec![
        set("belt speed", w.v_mm_s, "mm/s"),
        travel("catch travel from the release eye", w.catch_mm),
        set("aim early", p.aim_early_mm, "mm"),
        set("lead of the grip", w.lead_mm, "mm"),
        travel("grip ordered after the release eye", w.catch_mm - p.aim_early_mm - w.lead_mm),
        travel("release gate shut after the release eye", w.gate_shut_mm),
        travel("settling travel of the pocket", w.settle_mm),
        travel("misfeed travel after the release order", w.misfeed_mm),
        travel("jam travel in the release eye", w.jam_mm),
        travel("leaving travel after let-go", w.leave_mm),
        fig("stopping travel", w.stop_mm, "mm"),
        fig("pick-up slip, least", w.slip_least_mm, "mm"),
        fig("pick-up slip, most", w.slip_most_mm, "mm"),
        set("speed sample window", p.speed_window_mm, "mm"),
        fig("pick-up time at the lowest friction", carry::pick_up_time_ms(w.v_mm_s, p.mu_min), "ms"),
        set("capture of the jaw", w.capture_mm, "mm"),
        set("uncertainty at registration", w.centring.position_mm(), "mm"),
        fig("centring error, worst case", w.centring.sum_mm(), "mm"),
        set("seat dwell", p.seat_dwell_ms, "ms"),
        set("engage dwell", p.engage_dwell_ms, "ms"),
        set("disengage dwell", p.disengage_dwell_ms, "ms"),
        fig("head busy, grip to let-go", c.busy_ms, "ms"),
    ];
    for a in Actuator::ALL {
        let (work, home) = names(a);
        out.push(set(work, to_work_ms(job, a), "ms"));
        out.push(set(home, to_home_ms(job, a), "ms"));
    }
    match p.tighten {
        TightenSpec::Turns => out.push(set("spin time", w.spin_ms, "ms")),
        TightenSpec::Torque => {
            out.push(set("torque not before", w.torque_window_ms.0, "ms"));
            out.push(set("torque not after", w.torque_window_ms.1, "ms"));
        }
        TightenSpec::SeatOnly => out.push(set("closed without spin", w.spin_ms, "ms")),
    }
    if p.tighten != TightenSpec::SeatOnly {
        let grip = 2.0 * tighten::grip_force_n(w.torque_nm, m.jaw_mu, w.d_min_mm, m.jaw_half_angle_deg);
        out.extend([
            set("roller speed", f64::from(w.rpm), "rpm"),
            fig("closure speed", tighten::cap_rpm(f64::from(w.rpm), m.roller_diameter_mm, p.cap_diameter_mm), "rpm"),
            fig("application torque", w.torque_nm, "N·m"),
            fig(
                "torque by the half-diameter rule (common practice)",
                tighten::half_diameter_nm(p.cap_diameter_mm),
                "N·m",
            ),
            fig("force of each roller", tighten::roller_force_n(w.torque_nm, ROLLER_MU, p.cap_diameter_mm), "N"),
            fig("force of the grip, twice what just holds", grip, "N"),
            fig("least bore for that grip, no losses", air::least_bore_mm(grip, m.air_bar), "mm"),
        ]);
    }
    out.extend(closure::figures(job));
    out.extend(forces::figures(job, w));
    out.extend(demand::figures(job, c.cycle_ms));
    let v = w.v_mm_s;
    let (t, window) =
        (stroke(job, Actuator::Grip).latency_ms + stroke(job, Actuator::Grip).to_work_ms, p.speed_window_mm);
    out.push(fig("belt wander at the catch, lead by speed alone", w.centring.speed_mm + w.centring.age_mm, "mm"));
    out.push(fig(
        "belt wander at the catch, were the acceleration known",
        catch::second_order_mm(v, job.run.wander, job.run.wander_period_s, t, window),
        "mm",
    ));
    if let Some(a) = m.set.belt_coast_mm_s2 {
        out.push(fig("belt coasts after its drive is cut", carry::coast_mm(v, a, p.mu_min), "mm"));
    }
    out.push(fig("push of each queued bottle on a blade", carry::queue_force_n(1.0, p.mu_max, p.mass_kg), "N"));
    if let Some(ms) = early_ms {
        out.push(set("next release after the grip is confirmed", ms, "ms"));
    }
    out.push(fig("cycle if the head waited until the last bottle had left", c.vacant_cycle_ms, "ms"));
    out
}

const fn names(a: Actuator) -> (&'static str, &'static str) {
    match a {
        Actuator::EntryGate => ("entry gate opens in", "entry gate shuts in"),
        Actuator::ReleaseGate => ("release gate opens in", "release gate shuts in"),
        Actuator::Grip => ("grip meets the bottle in", "grip opens in"),
        Actuator::Plunger => ("plunger seats in", "plunger lifts in"),
        Actuator::Rollers => ("rollers close in", "rollers back in"),
        Actuator::Reject => ("reject passes in", "reject diverts in"),
    }
}

/// Positions to set along the belt and above it.
#[must_use]
pub fn positions(job: &Job, w: &Worked) -> Vec<Figure> {
    let (m, p) = (&job.machine, &job.product);
    let y = m.blade_tip_mm;
    let (low, high) = w.entry_window_mm;
    let pocket = w.pocket_window_mm;
    let mut out = vec![
        fig("release blade, holding face", m.release_blade_mm, "mm"),
        fig("leading edge at rest on the release blade", w.rest_mm, "mm"),
        fig("touching point upstream of the release blade", w.outline.touching_mm(y), "mm"),
        fig("touching point, mm per mm of radius", w.outline.sensitivity(y), ""),
        fig("free width between touching bottles", w.outline.free_width_mm(y), "mm"),
        fig("entry blade, upstream face", m.entry_blade_mm, "mm"),
        fig("entry blade, best", f64::midpoint(low, high), "mm"),
        fig("entry blade, furthest upstream", low, "mm"),
        fig("entry blade, furthest downstream", high, "mm"),
        fig("pocket eye", m.pocket_eye_mm, "mm"),
        fig("pocket eye, furthest upstream", pocket.0, "mm"),
        fig("pocket eye, furthest downstream", pocket.1, "mm"),
        fig("release eye", m.release_eye_mm, "mm"),
        fig("release eye, furthest upstream", w.eye_window_mm.0, "mm"),
        fig("release eye, furthest downstream", w.eye_window_mm.1, "mm"),
        fig("last-stop mark of a leading edge", w.last_stop_mm, "mm"),
        fig("head clear line upstream of the head centre", w.head_clear_mm, "mm"),
        fig("discharge eye, at least", 1.5 * w.d_max_mm + CLEARANCE_MM, "mm"),
        fig("grip height above the belt, at most", carry::grip_height_max_mm(w.d_min_mm, p.mu_max), "mm"),
        fig("centre of gravity above the belt", p.cog_mm, "mm"),
    ];
    if let Some(x) = m.discharge_eye_mm {
        out.push(fig("discharge eye", x, "mm"));
    }
    if let Some(x) = m.reject_mm {
        out.push(fig("diverter", x, "mm"));
    }
    out
}

/// What to be careful of: safety first, then what this machine cannot see, then what was assumed.
#[must_use]
pub fn cautions(job: &Job, w: &Worked, c: &Chart) -> Vec<String> {
    let (m, p) = (&job.machine, &job.product);
    let mut out: Vec<String> = [
        "This plans a functional controller, never a safety device: emergency stop, guards and air dump stay hard-wired and work without it.",
        "Before hands go in: lock out the drives, vent the air, and wait until everything stands. Vented or returning air can move cylinders by itself.",
        "Local codes and licensed practice decide what may run, and how.",
        "Figures follow from the measurements in the job. Measure strokes on the machine, then prove the plan at low speed with empty bottles.",
    ]
    .map(str::to_owned)
    .to_vec();
    if m.discharge_eye_mm.is_none() {
        out.push(
            "No discharge eye: a blocked outfeed, a bottle that stays at the head and one taken by hand are not seen."
                .to_owned(),
        );
    }
    if m.supply_eye_mm.is_none() {
        out.push("No supply eye: a starved line is known only from a pocket that stays empty.".to_owned());
    }
    if p.cap == CapPolicy::Unsensed && !stroke(job, Actuator::Plunger).over {
        out.push("No closure is sensed, neither by a contact nor by the plunger's over-travel: bottles without one count as good.".to_owned());
    }
    if m.reject_mm.is_none() {
        out.push("No diverter: bottles that failed ride on with the good ones.".to_owned());
    }
    if p.tighten == TightenSpec::Turns {
        out.push("Tightening ends on turns, which are no evidence of torque: sample removal torque.".to_owned());
    }
    if w.settle_mm > p.settle_mm {
        out.push(format!(
            "The settle of {:.1} mm in the job is too short for this pocket and belt: {:.1} mm is used, so that the entry blade does not come down on a \
             bottle.",
            p.settle_mm, w.settle_mm
        ));
    }
    let timed: Vec<&str> = Actuator::ALL
        .iter()
        .filter(|a| !(stroke(job, **a).work && stroke(job, **a).home))
        .filter(|a| **a != Actuator::Reject || m.reject_mm.is_some())
        .map(|a| a.name())
        .collect();
    if !timed.is_empty() {
        out.push(format!(
            "Not confirmed by contacts at both ends, so taken as done when their time is up: {}.",
            timed.join(", ")
        ));
    }
    for a in [Actuator::EntryGate, Actuator::ReleaseGate, Actuator::Reject] {
        if stroke(job, a).over {
            out.push(format!("The {} has no over-travel: its over contact is not used.", a.name()));
        }
    }
    if m.contacts.has(Contact::Cap) && p.cap == CapPolicy::Unsensed {
        out.push("A cap contact is wired but the product does not use it (cap_policy).".to_owned());
    }
    if p.body.shape != ShapeSpec::Round {
        out.push(
            "The body is not round: the plan reckons with its own outline, the modelled line with a round body of the same length. Keep it square between \
             the rails; a jaw takes it by its corners or ends, and a turned body is not centred."
                .to_owned(),
        );
    }
    let uncounted = demand::uncounted(job);
    if !uncounted.is_empty() {
        out.push(format!("Without bore and stroke_length their air is not counted: {}.", uncounted.join(", ")));
    }
    if m.set.roller_mu.is_none() && forces::torque_estimate_nm(job).is_some() {
        out.push(format!(
            "The rollers' torque is an estimate, ±{:.0} % from friction alone; the drive's inertia adds to it when the closure stops. Measure it.",
            forces::ROLLER_MU_SPREAD * 100.0
        ));
    }
    out.push(format!(
        "Assumed, not measured: belt drive answers within {BELT_REACTION_MS:.0} ms, friction of rollers on the closure {ROLLER_MU}, body a uniform \
         cylinder in the tip check, controller no later than 1 ms."
    ));
    let supplied = match job.run.supply {
        SupplySpec::Touching => None,
        SupplySpec::Pitch(mm) | SupplySpec::Random(mm) => Some(w.travel_ms(mm)),
    };
    if let Some(ms) = supplied.filter(|ms| *ms > c.cycle_ms) {
        out.push(format!(
            "The supply in [run] brings one bottle every {ms:.0} ms, slower than the station's cycle of {:.0} ms.",
            c.cycle_ms
        ));
    }
    let unseen = Actuator::ALL.iter().any(|a| confirm_ms(job, *a, true) > 500.0);
    if unseen {
        out.push("A stroke without a contact and with a long margin adds that margin to every cycle.".to_owned());
    }
    out
}
