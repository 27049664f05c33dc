//! How fast the belt may run by each contribution to the centring error, and by each check, as if it were alone: what gives first, and what next.

use super::all_checks;
use super::search::edge;
use super::worked::Worked;
use crate::job::spec::Job;
use serde::Serialize;
use std::borrow::Cow;

/// The fastest belt that one thing allows.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Limit {
    /// The contribution or check.
    pub name: Cow<'static, str>,
    /// The fastest belt at which it alone still holds, mm/s; 0 if it holds at none. A check is followed up to the drive's fastest, a contribution up
    /// to [`FASTEST_MM_S`].
    pub allows_mm_s: f64,
    /// Whether the drive's fastest belt, and not this, is the limit.
    pub beyond_drive: bool,
}

/// Speeds looked at between standstill and the drive's fastest, to find the step in which a check begins to hold.
const GRID: u32 = 24;
/// Halvings of that step: to a thousandth of it.
const CHECK_HALVINGS: u32 = 10;
/// How far a contribution is followed, mm/s: the fastest belt that a job may name.
pub const FASTEST_MM_S: f64 = 3_000.0;
/// Halvings of its search: to better than a tenth of a millimetre a second.
const HALVINGS: u32 = 16;

/// Contributions first, then checks; both in the order of the plan.
#[must_use]
pub fn limits(job: &Job) -> Vec<Limit> {
    let mut all = contributions(job);
    all.extend(checks(job));
    all
}

fn contributions(job: &Job) -> Vec<Limit> {
    let top = FASTEST_MM_S;
    let names = Worked::at(job, top).centring.parts().map(|p| p.0);
    let mut all = Vec::with_capacity(names.len());
    for (i, name) in names.into_iter().enumerate() {
        // Each contribution grows with speed or does not depend on it.
        let fits = |v: f64| {
            let w = Worked::at(job, v);
            w.centring.parts().get(i).is_some_and(|p| p.1 <= w.capture_mm)
        };
        let allows_mm_s = if fits(top) { top } else { edge(0.0, top, HALVINGS, fits) };
        let beyond_drive = allows_mm_s >= job.machine.belt_speed_max_mm_s;
        all.push(Limit { name: format!("centring: {name}").into(), allows_mm_s, beyond_drive });
    }
    all
}

fn checks(job: &Job) -> Vec<Limit> {
    let top = job.machine.belt_speed_max_mm_s;
    let step = top / f64::from(GRID);
    let mut all: Vec<Limit> = Vec::new();
    for n in (1..=GRID).rev() {
        let v = step * f64::from(n);
        for c in all_checks(job, &Worked::at(job, v)).into_iter().filter(|c| c.by_speed) {
            let at = all.iter().position(|l| l.name == c.name);
            let i = at.unwrap_or_else(|| {
                // A check that is not made at every speed counts as failed where it is not.
                all.push(Limit { name: c.name.clone(), allows_mm_s: 0.0, beyond_drive: false });
                all.len() - 1
            });
            let Some(limit) = all.get_mut(i).filter(|l| l.allows_mm_s == 0.0 && c.ok) else { continue };
            limit.beyond_drive = n == GRID;
            limit.allows_mm_s =
                if limit.beyond_drive { v } else { edge(v, v + step, CHECK_HALVINGS, |v| holds(job, &c.name, v)) };
        }
    }
    all
}

/// Whether the check of this name is made at `v_mm_s` and holds.
fn holds(job: &Job, name: &str, v_mm_s: f64) -> bool {
    all_checks(job, &Worked::at(job, v_mm_s)).iter().any(|c| c.name == name && c.ok)
}
