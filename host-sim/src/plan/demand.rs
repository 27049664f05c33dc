//! Air: what a cycle takes and what a minute takes, against what is there; how long valves take to fill and to empty what hangs on them.
//!
//! Each actuator is counted once a bottle, both strokes, at its own pressure, with both its tubes. Cylinders without bore or stroke length are not
//! counted, and the sheet says so. Cylinders with a spring instead of a second chamber take about half of what is counted here.

use super::air;
use super::chart::{busy_steps, confirm_ms};
use super::checks::Check;
use super::figures::Figure;
use super::forces::bar;
use super::worked::{Worked, stroke, to_work_ms};
use crate::job::spec::Job;
use timing_core::Actuator;

/// Share of the supply's absolute pressure, or of the way down to the atmosphere, that counts as full or empty.
const NEARLY: f64 = 0.9;

/// Free air of one bottle, litres at 100 kPa.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Demand {
    /// In the cylinders.
    pub cylinders_l: f64,
    /// In the tubes.
    pub tubes_l: f64,
    /// How many actuators are in the sum.
    pub counted: u32,
}

/// Free air of one actuator's double stroke: cylinder, tubes, litres; `None` without bore and stroke length.
#[must_use]
pub fn of_one(job: &Job, a: Actuator) -> Option<(f64, f64)> {
    let d = stroke(job, a).drive;
    let (bore, length) = (d.bore_mm?, d.stroke_mm?);
    // The piston goes as far as the tool does, divided by the lever.
    let piston_mm = length * d.lever.unwrap_or(1.0);
    let p = bar(job, a);
    let tubes = match (d.tube_mm, d.tube_bore_mm) {
        (Some(l), Some(b)) => 2.0 * air::tube_l(b, l, p, air::ATMOSPHERE_BAR),
        _ => 0.0,
    };
    Some((air::double_stroke_l(bore, d.rod_mm, piston_mm, p, air::ATMOSPHERE_BAR), tubes))
}

/// The actuators that move in a cycle of this job.
fn moving(job: &Job) -> impl Iterator<Item = Actuator> {
    let diverter = job.machine.reject_mm.is_some();
    Actuator::ALL.into_iter().filter(move |a| *a != Actuator::Reject || diverter)
}

/// What one bottle takes.
#[must_use]
pub fn demand(job: &Job) -> Demand {
    moving(job).filter_map(|a| of_one(job, a)).fold(Demand::default(), |d, (c, t)| Demand {
        cylinders_l: d.cylinders_l + c,
        tubes_l: d.tubes_l + t,
        counted: d.counted + 1,
    })
}

impl Demand {
    /// Both, litres.
    #[must_use]
    pub fn cycle_l(&self) -> f64 {
        self.cylinders_l + self.tubes_l
    }

    /// In a minute at a cycle of `cycle_ms`, L/min.
    #[must_use]
    pub fn per_minute_l(&self, cycle_ms: f64) -> f64 {
        self.cycle_l() * 60_000.0 / cycle_ms
    }
}

/// An actuator's valve and what hangs on it.
struct Hung {
    /// What the piston sweeps, larger chamber, cm³.
    swept_cm3: f64,
    /// Its tube, cm³; 0 where not given.
    tube_cm3: f64,
    /// Sonic conductance, dm³/(s·bar).
    c: f64,
    /// Critical ratio.
    b: f64,
    /// Supply, absolute, bar.
    full: f64,
}

impl Hung {
    /// `None` without valve data, bore or stroke length.
    fn on(job: &Job, a: Actuator) -> Option<Self> {
        let d = stroke(job, a).drive;
        let (bore, length, c) = (d.bore_mm?, d.stroke_mm?, d.conductance?);
        let tube_cm3 = match (d.tube_mm, d.tube_bore_mm) {
            (Some(l), Some(w)) => air::volume_cm3(w, 0.0, l),
            _ => 0.0,
        };
        Some(Self {
            swept_cm3: air::volume_cm3(bore, 0.0, length * d.lever.unwrap_or(1.0)),
            tube_cm3,
            c,
            b: d.critical_ratio.unwrap_or(air::CRITICAL_RATIO),
            full: bar(job, a) + air::ATMOSPHERE_BAR,
        })
    }

    fn rate_per_s(&self) -> f64 {
        air::rate_per_s(self.c, self.swept_cm3 + self.tube_cm3)
    }

    fn fill_ms(&self) -> f64 {
        1_000.0 * air::fill_s(self.rate_per_s(), self.b, air::ATMOSPHERE_BAR / self.full, NEARLY)
    }

    fn vent_ms(&self) -> f64 {
        let nearly_empty = self.full - NEARLY * (self.full - air::ATMOSPHERE_BAR);
        1_000.0 * air::vent_s(self.rate_per_s(), self.b, self.full, nearly_empty, air::ATMOSPHERE_BAR)
    }

    /// Least time in which the piston can sweep its chamber, ms: with choked flow all the way, no load, and no more than the atmosphere's pressure
    /// behind it: V·p_atm/(C·p1).
    fn sweep_ms(&self) -> f64 {
        // cm³ × bar / (dm³/(s·bar) × bar) = ms.
        self.swept_cm3 * air::ATMOSPHERE_BAR / (self.c * self.full)
    }
}

/// Times to fill and to empty the larger chamber and its tube, ms; `None` without valve data, bore or stroke length.
#[must_use]
pub fn fill_and_vent_ms(job: &Job, a: Actuator) -> Option<(f64, f64)> {
    Hung::on(job, a).map(|h| (h.fill_ms(), h.vent_ms()))
}

/// Measured strokes against what their valves can pass, and tools against the moment at which their force is needed.
#[must_use]
pub fn stroke_checks(job: &Job, w: &Worked) -> Vec<Check> {
    let mut all = Vec::new();
    for a in moving(job) {
        let Some(h) = Hung::on(job, a) else { continue };
        let s = stroke(job, a);
        let fastest = s.to_work_ms.min(s.to_home_ms) - s.spread_ms;
        all.push(Check::at_least(
            format!("stroke of the {} no faster than its valve passes air", a.name()),
            fastest,
            h.sweep_ms(),
            "ms",
            || "measure the stroke again, or correct bore, stroke_length or sonic_conductance: they contradict each other".to_owned(),
        ));
        // From the valve's opening until what comes next leans on this force.
        let Some(needed) = needed_ms(job, w, a) else { continue };
        all.push(Check::at_most(
            format!("nine tenths of the pressure of the {} before its force is needed", a.name()),
            h.fill_ms(),
            needed,
            "ms",
            || {
                format!(
                    "take a valve of at least {:.2} dm³/(s·bar), a shorter or thinner tube, or a dwell {:.0} ms longer",
                    h.c * h.fill_ms() / needed,
                    h.fill_ms() - needed
                )
            },
        ));
    }
    all
}

/// From the valve's opening until the force of a tool is needed, ms: the grip's before the rollers turn, the plunger's before they close, the rollers'
/// before they turn. `None` for what only moves.
fn needed_ms(job: &Job, w: &Worked, a: Actuator) -> Option<f64> {
    let [seat, engage, ..] = busy_steps(job, w).map(|s| s.1);
    let met = stroke(job, a).to_work_ms + confirm_ms(job, a, true);
    match a {
        Actuator::Grip => Some(met + seat + engage),
        Actuator::Plunger => Some(met + job.product.seat_dwell_ms + to_work_ms(job, Actuator::Rollers)),
        Actuator::Rollers => Some(met + job.product.engage_dwell_ms),
        Actuator::EntryGate | Actuator::ReleaseGate | Actuator::Reject => None,
    }
}

/// The supply against the demand.
#[must_use]
pub fn checks(job: &Job, cycle_ms: f64) -> Vec<Check> {
    let d = demand(job);
    let Some(supply) = job.machine.set.air_supply_l_min.filter(|_| d.counted > 0) else { return Vec::new() };
    let need = d.per_minute_l(cycle_ms);
    vec![
        Check::at_most(
            "air demand at this rate, without leaks",
            need,
            supply,
            "L/min",
            || format!(
                "give the station {need:.0} L/min of free air and what leaks on top, shorten tubes ({:.2} of {:.2} L a bottle), or lower the pressure",
                d.tubes_l,
                d.cycle_l()
            ),
        )
        .of_speed(),
    ]
}

/// Demand, and times of valves.
#[must_use]
pub fn figures(job: &Job, cycle_ms: f64) -> Vec<Figure> {
    let d = demand(job);
    let mut out = Vec::new();
    if d.counted > 0 {
        out.extend([
            Figure::plain("free air of a cycle, cylinders (at 100 kPa)", d.cylinders_l, "L"),
            Figure::plain("free air of a cycle, tubes (at 100 kPa)", d.tubes_l, "L"),
            Figure::plain("free air a minute at this rate, without leaks", d.per_minute_l(cycle_ms), "L/min"),
        ]);
    }
    for a in moving(job) {
        if let Some((fill, vent)) = fill_and_vent_ms(job, a) {
            let (fills, vents) = names(a);
            out.push(Figure::plain(fills, fill, "ms"));
            out.push(Figure::plain(vents, vent, "ms"));
        }
    }
    out
}

const fn names(a: Actuator) -> (&'static str, &'static str) {
    match a {
        Actuator::EntryGate => ("entry gate: chamber at 90 % in", "entry gate: chamber nine tenths empty in"),
        Actuator::ReleaseGate => ("release gate: chamber at 90 % in", "release gate: chamber nine tenths empty in"),
        Actuator::Grip => ("grip: chamber at 90 % in", "grip: chamber nine tenths empty in"),
        Actuator::Plunger => ("plunger: chamber at 90 % in", "plunger: chamber nine tenths empty in"),
        Actuator::Rollers => ("rollers: chamber at 90 % in", "rollers: chamber nine tenths empty in"),
        Actuator::Reject => ("diverter: chamber at 90 % in", "diverter: chamber nine tenths empty in"),
    }
}

/// Actuators of the cycle whose air is not counted, by name.
#[must_use]
pub fn uncounted(job: &Job) -> Vec<&'static str> {
    moving(job).filter(|a| of_one(job, *a).is_none()).map(|a| a.name()).collect()
}
