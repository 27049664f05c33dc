//! What the cylinders of a job push, and whether that holds, seats, tightens, and spares the bottle. Only what the job gives a bore for is
//! checked; forces are theoretical, a real cylinder gives some 5 to 15 % less (common practice).

use super::checks::Check;
use super::figures::Figure;
use super::worked::{ROLLER_MU, Worked, stroke};
use super::{air, carry, tighten};
use crate::job::measured::DriveSpec;
use crate::job::spec::{Job, TightenSpec};
use timing_core::Actuator;

/// How many times what just holds a grip must give. Common practice: friction is known to a factor, pressure sags.
pub const GRIP_RESERVE: f64 = 2.0;
/// Share by which friction of rollers on a closure may be off, up or down. Assumed.
pub const ROLLER_MU_SPREAD: f64 = 0.3;
/// Share by which a regulator's pressure may be off. Assumed.
pub const PRESSURE_SPREAD: f64 = 0.05;
/// Rollers that share one side of the carriage: the force of the cylinder acts on both sides, on each through two rollers.
pub const ROLLERS_A_SIDE: f64 = 2.0;

/// Pressure at an actuator, gauge, bar.
#[must_use]
pub fn bar(job: &Job, a: Actuator) -> f64 {
    stroke(job, a).drive.bar.unwrap_or(job.machine.air_bar)
}

fn piston_n(d: &DriveSpec, bar: f64, bore_mm: f64) -> f64 {
    air::cylinder_force_n(bar, bore_mm, if d.pulls { d.rod_mm } else { 0.0 })
}

/// Force of an actuator's tool in its working stroke, N; `None` without a bore.
#[must_use]
pub fn thrust_n(job: &Job, a: Actuator) -> Option<f64> {
    let d = stroke(job, a).drive;
    d.bore_mm.map(|bore| piston_n(&d, bar(job, a), bore) * d.lever.unwrap_or(1.0))
}

/// Normal force of each roller, N; `None` without a bore.
#[must_use]
pub fn roller_n(job: &Job) -> Option<f64> {
    thrust_n(job, Actuator::Rollers).map(|n| n / ROLLERS_A_SIDE)
}

/// Torque that the rollers can put on the closure before they slip: least, likely, most, N·m.
#[must_use]
pub fn torque_estimate_nm(job: &Job) -> Option<(f64, f64, f64)> {
    let mu = job.machine.set.roller_mu.unwrap_or(ROLLER_MU);
    roller_n(job).map(|n| {
        let at = |share: f64| tighten::roller_torque_nm(n, mu, job.product.cap_diameter_mm) * share;
        let (mu_off, p_off) = (ROLLER_MU_SPREAD, PRESSURE_SPREAD);
        (at((1.0 - mu_off) * (1.0 - p_off)), at(1.0), at((1.0 + mu_off) * (1.0 + p_off)))
    })
}

/// What the forces must do.
#[must_use]
pub fn checks(job: &Job, w: &Worked) -> Vec<Check> {
    let mut all = grip_checks(job, w);
    all.extend(plunger_checks(job));
    all.extend(roller_checks(job, w));
    all.extend(gate_checks(job));
    all
}

/// Pressure or bore that would give `need_n` at this actuator's tool.
fn mend(job: &Job, a: Actuator, need_n: f64) -> String {
    let d = stroke(job, a).drive;
    let lever = d.lever.unwrap_or(1.0);
    let have = thrust_n(job, a).unwrap_or(f64::NAN);
    let p = bar(job, a) * need_n / have;
    format!(
        "{need_n:.0} N at the {} need {p:.2} bar ({:.0} psi), or a bore of {:.0} mm at {:.2} bar",
        a.name(),
        p * tighten::PSI_IN_BAR,
        libm::ceil(air::least_bore_mm(need_n / lever, bar(job, a))),
        bar(job, a)
    )
}

fn grip_checks(job: &Job, w: &Worked) -> Vec<Check> {
    let (m, p) = (&job.machine, &job.product);
    let mut all = Vec::new();
    let Some(n) = thrust_n(job, Actuator::Grip) else { return all };
    if p.tighten != TightenSpec::SeatOnly {
        let holds = tighten::grip_torque_nm(n, m.jaw_mu, w.d_min_mm, m.jaw_half_angle_deg);
        let need = GRIP_RESERVE * tighten::grip_force_n(w.torque_nm, m.jaw_mu, w.d_min_mm, m.jaw_half_angle_deg);
        all.push(Check::at_least(
            "grip holds the body against twice the application torque",
            holds,
            GRIP_RESERVE * w.torque_nm,
            "N·m",
            || {
                format!(
                    "{}; or line the jaw with a grippier material, as far as it still centres",
                    mend(job, Actuator::Grip, need)
                )
            },
        ));
    }
    // While it is pressed down the belt runs on under the body.
    let down = p.mass_kg * carry::G_MM_S2 / 1_000.0 + thrust_n(job, Actuator::Plunger).unwrap_or(0.0);
    let drag = p.mu_max * down;
    let holds = tighten::jaw_hold_n(n, m.jaw_half_angle_deg);
    all.push(Check::at_most(
        "drag of the belt under the pressed body against the jaw's hold",
        drag,
        holds,
        "N",
        || {
            format!(
                "{}; or press less with the plunger, or lubricate the belt",
                mend(job, Actuator::Grip, n * drag / holds)
            )
        },
    ));
    if let Some(most) = p.body.side_load_n {
        all.push(Check::at_most("force of the grip against what the body bears (side_load)", n, most, "N", || {
            format!("set the grip's pressure below {:.2} bar", bar(job, Actuator::Grip) * most / n)
        }));
    }
    all
}

fn plunger_checks(job: &Job) -> Vec<Check> {
    let b = &job.product.body;
    let mut all = Vec::new();
    let Some(n) = thrust_n(job, Actuator::Plunger) else { return all };
    if let Some(need) = b.seat_n {
        all.push(Check::at_least("force of the plunger seats the closure", n, need, "N", || {
            mend(job, Actuator::Plunger, need)
        }));
    }
    if let Some(most) = b.top_load_n {
        all.push(Check::at_most(
            "force of the plunger against what neck and body bear (top_load)",
            n,
            most,
            "N",
            || format!("set the plunger's pressure below {:.2} bar", bar(job, Actuator::Plunger) * most / n),
        ));
    }
    all
}

fn roller_checks(job: &Job, w: &Worked) -> Vec<Check> {
    let mut all = Vec::new();
    if job.product.tighten == TightenSpec::SeatOnly {
        return all;
    }
    let (Some((least, likely, _)), Some(each)) = (torque_estimate_nm(job), roller_n(job)) else { return all };
    let need = ROLLERS_A_SIDE * each * w.torque_nm / likely;
    all.push(Check::at_least(
        "rollers carry the application torque, likely friction",
        likely,
        w.torque_nm,
        "N·m",
        || format!(
            "{}; or tyres whose friction is at least {:.2}. A higher speed shortens the turn and does not raise this torque",
            mend(job, Actuator::Rollers, need),
            job.machine.set.roller_mu.unwrap_or(ROLLER_MU) * w.torque_nm / likely
        ),
    ));
    // With a clutch the torque ends there; without one, rollers that bite harder than planned end somewhere above.
    if job.product.tighten == TightenSpec::Torque {
        all.push(Check::at_least(
            "rollers slip the clutch even at the least friction",
            least,
            w.torque_nm,
            "N·m",
            || mend(job, Actuator::Rollers, ROLLERS_A_SIDE * each * w.torque_nm / least),
        ));
    }
    all
}

/// A gate must still move with the queue leaning on its blade.
fn gate_checks(job: &Job) -> Vec<Check> {
    let (m, p) = (&job.machine, &job.product);
    let mut all = Vec::new();
    for (a, more) in [(Actuator::EntryGate, 0.0), (Actuator::ReleaseGate, 1.0)] {
        let (Some(n), Some(queue)) = (thrust_n(job, a), m.set.queue_bottles) else { continue };
        // The release gate has the pocket's bottle before it, and behind that, while the entry gate is open, the whole queue. Only friction
        // of blade on body resists a blade that is drawn out sideways.
        let rub = p.mu_max * carry::queue_force_n(queue + more, p.mu_max, p.mass_kg);
        all.push(Check::at_least(
            format!("{} draws its blade against the queue, twofold", a.name()),
            n,
            2.0 * rub,
            "N",
            || format!("{}; or let fewer bottles queue", mend(job, a, 2.0 * rub)),
        ));
    }
    all
}

/// Forces, and what would give the target torque.
#[must_use]
pub fn figures(job: &Job, w: &Worked) -> Vec<Figure> {
    let mut out = vec![
        Figure { set: true, ..Figure::plain("air pressure at the regulator", job.machine.air_bar, "bar") },
        Figure::plain("the same in psi", job.machine.air_bar * tighten::PSI_IN_BAR, "psi"),
    ];
    for a in Actuator::ALL {
        if let Some(n) = thrust_n(job, a) {
            out.push(Figure::plain(thrust_name(a), n, "N"));
        }
    }
    if let Some(q) = job.machine.set.queue_bottles {
        let p = &job.product;
        out.push(Figure::plain(
            "push of the queue on the entry gate",
            carry::queue_force_n(q, p.mu_max, p.mass_kg),
            "N",
        ));
        out.push(Figure::plain(
            "push of the queue on the release gate, entry gate open",
            carry::queue_force_n(q + 1.0, p.mu_max, p.mass_kg),
            "N",
        ));
    }
    if job.product.tighten == TightenSpec::SeatOnly {
        return out;
    }
    if let Some(n) = thrust_n(job, Actuator::Grip) {
        let m = &job.machine;
        let holds = tighten::grip_torque_nm(n, m.jaw_mu, w.d_min_mm, m.jaw_half_angle_deg);
        out.push(Figure::plain("torque that the grip holds", holds, "N·m"));
    }
    if let (Some((least, likely, most)), Some(each)) = (torque_estimate_nm(job), roller_n(job)) {
        let mu = job.machine.set.roller_mu.unwrap_or(ROLLER_MU);
        out.extend([
            Figure::plain("force of each roller, as set", each, "N"),
            Figure::plain("torque at which the rollers slip, likely", likely, "N·m"),
            Figure::plain("torque at which the rollers slip, least", least, "N·m"),
            Figure::plain("torque at which the rollers slip, most", most, "N·m"),
            Figure::plain(
                "pressure of the rollers for the target torque",
                bar(job, Actuator::Rollers) * w.torque_nm / likely,
                "bar",
            ),
            Figure::plain("friction of the rollers for the target torque", mu * w.torque_nm / likely, ""),
        ]);
    }
    out
}

const fn thrust_name(a: Actuator) -> &'static str {
    match a {
        Actuator::EntryGate => "force of the entry gate",
        Actuator::ReleaseGate => "force of the release gate",
        Actuator::Grip => "force of the grip, as set",
        Actuator::Plunger => "force of the plunger",
        Actuator::Rollers => "force of the roller carriage",
        Actuator::Reject => "force of the diverter",
    }
}
