//! From measurements to set-points: what the core is given, what people set up, and whether it can work.
//!
//! Functional control only: nothing planned here is a safety measure. Emergency stop, guards and air dump stay hard-wired; lock out and vent
//! before hands go in; local codes and licensed practice decide.
//!
//! [`plan`] takes a [`Job`] in plain `f64`, works the physics out (one file each: [`escapement`], [`carry`], [`catch`], [`tighten`], [`air`]),
//! fills the core's [`MachineProfile`] and [`Product`] to the nearest step of their fixed point, has the core validate
//! them, and adds the set-up sheet. A plan that cannot work still comes back, with the checks that fail, by how much, and
//! what would mend them; only what the core refuses, or what cannot be computed, is an error.

pub mod air;
pub mod carry;
pub mod catch;
pub mod change;
pub mod chart;
pub mod checks;
pub mod closure;
pub mod conditions;
pub mod demand;
pub mod escapement;
pub mod figures;
mod fill;
pub mod finish;
pub mod forces;
pub mod gains;
pub mod limits;
pub mod outline;
pub mod overlap;
mod pocket;
pub mod sane;
pub mod scale;
mod search;
pub mod setup;
mod sheet;
pub mod tighten;
pub mod worked;

pub use chart::StepRow;
pub use checks::Check;
pub use figures::Figure;
pub use gains::Gain;
pub use limits::Limit;
pub use setup::Position;

use crate::job::spec::Job;
use search::edge;
use serde::Serialize;
use std::fmt;
use timing_core::{Machine, MachineError, MachineProfile, Product, ProductError, Setpoints};
use worked::Worked;

/// Steps in which the fastest belt is looked for.
const STEPS: u32 = 100;
/// Halvings within a step: 30 mm/s at most, to better than 0.001 mm/s.
const HALVINGS: u32 = 15;

/// What was planned. As JSON it is what `plan --json` says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Plan {
    /// What is bolted down, for the core.
    #[serde(skip)]
    pub profile: MachineProfile,
    /// What is closed today, for the core.
    #[serde(skip)]
    pub product: Product,
    /// Everything that was worked out at the job's belt speed.
    #[serde(skip)]
    pub worked: Worked,
    /// What to set: travels, times, speeds, forces.
    pub setpoints: Vec<Figure>,
    /// Where to set it.
    pub positions: Vec<Figure>,
    /// How to set it up: each position with what it may be off, why, and how to check it by hand.
    pub setup: Vec<Position>,
    /// The fastest belt that each contribution to the centring error, and each check of speed, allows by itself.
    pub limits: Vec<Limit>,
    /// The step chart.
    pub steps: Vec<StepRow>,
    /// From bottle to bottle, ms.
    pub cycle_ms: f64,
    /// Bottles per minute at the job's belt speed.
    pub rate_per_min: f64,
    /// Bottles per minute at the fastest belt; 0 if none works.
    pub rate_max_per_min: f64,
    /// The fastest belt at which every check that depends on it holds, mm/s; 0 if none does.
    pub belt_max_mm_s: f64,
    /// The longest step of the loop that sets the cycle.
    pub bottleneck: &'static str,
    /// The three longest steps of that loop, the bottleneck first: step, ms.
    pub longest: Vec<(&'static str, f64)>,
    /// What would make the line faster, and by how much.
    pub gains: Vec<Gain>,
    /// What must hold.
    pub checks: Vec<Check>,
    /// What to be careful of, the gravest first.
    pub cautions: Vec<String>,
}

/// Why there is no plan.
#[derive(Clone, Debug, PartialEq)]
pub enum PlanError {
    /// A number is missing, not finite, or outside what a plan can be made from.
    Value {
        /// Its key in the job file, or what it was computed for.
        name: &'static str,
        /// What was found.
        value: f64,
        /// Its unit.
        unit: &'static str,
        /// Least.
        low: f64,
        /// Most.
        high: f64,
    },
    /// The core refuses the machine.
    Machine(MachineError),
    /// The core refuses the product on this machine.
    Product {
        /// The core's reason.
        error: ProductError,
        /// The plan's own checks that fail, with what would mend them.
        failed: Vec<Check>,
    },
}

impl fmt::Display for PlanError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Value { name, value, unit, low, high } => {
                write!(f, "{name} is {value} {unit}, must lie within {low} … {high} {unit}: correct it in the job file")
            }
            Self::Machine(e) => {
                write!(f, "the plan's machine is refused by the core: ")?;
                match e {
                    MachineError::Stroke(a) => write!(f, "{}: {}", a.name(), e.words()),
                    MachineError::Fitted(c) => write!(f, "{}: {}", c.name(), e.words()),
                    _ => f.write_str(e.words()),
                }
            }
            Self::Product { error, failed } => {
                write!(f, "the plan's product is refused by the core: {}", error.words())?;
                for c in failed {
                    write!(
                        f,
                        "\n  {}: {:.2} against {:.2} {}, {:.2} {} short; {}",
                        c.name, c.value, c.limit, c.unit, -c.spare, c.unit, c.mend
                    )?;
                }
                Ok(())
            }
        }
    }
}

impl std::error::Error for PlanError {}

/// Plans a job.
///
/// # Errors
/// [`PlanError`] when a number cannot be planned with, or the core refuses what came out. A plan whose checks fail is no
/// error: see [`Plan::works`].
pub fn plan(job: &Job) -> Result<Plan, PlanError> {
    sane::check(job)?;
    let w = Worked::at(job, job.product.speed_mm_s);
    let overlap = overlap::overlap(job, &w);
    let chart = chart::chart(job, &w, overlap.delay_ms);
    let mut checks = all_checks(job, &w);
    let setup = setup::positions(job, &w);
    checks.extend(setup::checks(&setup));
    let profile = fill::profile(job, &w)?;
    let product = fill::product(job, &w, overlap.delay_ms)?;
    validate(&profile, &product, &checks)?;

    let belt_max_mm_s = fastest(job);
    let rate_max_per_min = if belt_max_mm_s > 0.0 {
        let fast = Worked::at(job, belt_max_mm_s);
        60_000.0 / chart::chart(job, &fast, overlap::overlap(job, &fast).delay_ms).cycle_ms
    } else {
        0.0
    };
    Ok(Plan {
        profile,
        product,
        worked: w,
        setpoints: figures::setpoints(job, &w, &chart, overlap.delay_ms),
        positions: figures::positions(job, &w),
        setup,
        limits: limits::limits(job),
        cycle_ms: chart.cycle_ms,
        rate_per_min: 60_000.0 / chart.cycle_ms,
        rate_max_per_min,
        belt_max_mm_s,
        bottleneck: chart.longest.first().map_or("", |s| s.0),
        gains: gains::gains(job, &w, &chart),
        longest: chart.longest.clone(),
        cautions: figures::cautions(job, &w, &chart),
        steps: chart.steps,
        checks,
    })
}

/// Every check of a job at one belt speed.
fn all_checks(job: &Job, w: &Worked) -> Vec<Check> {
    let overlap = overlap::overlap(job, w);
    let cycle_ms = chart::chart(job, w, overlap.delay_ms).cycle_ms;
    let mut all = conditions::conditions(job, w);
    all.extend(pocket::checks(job, w));
    all.extend(overlap.checks);
    all.extend(conditions::pitch_checks(job, w, cycle_ms));
    all.extend(demand::stroke_checks(job, w));
    all.extend(demand::checks(job, cycle_ms));
    all
}

/// Whether every check that the belt's speed decides holds at `v_mm_s`.
fn bears(job: &Job, v_mm_s: f64) -> bool {
    all_checks(job, &Worked::at(job, v_mm_s)).iter().all(|c| c.ok || !c.by_speed)
}

/// The fastest belt, mm/s; 0 if none works.
///
/// Nearly every condition only gets harder with speed, but a slow release gate helps a fast belt, so the search comes down from the drive's
/// fastest in steps, then halves the step above the first speed that works.
fn fastest(job: &Job) -> f64 {
    let top = job.machine.belt_speed_max_mm_s;
    let step = top / f64::from(STEPS);
    let tried = (1..=STEPS).rev().map(|n| step * f64::from(n));
    let wished = Some(job.product.speed_mm_s).filter(|v| *v <= top);
    let low = match tried.into_iter().find(|v| bears(job, *v)) {
        // A narrow range of speeds may lie between two steps; the one that was asked for is not missed.
        Some(v) => wished.filter(|w| *w > v && bears(job, *w)).unwrap_or(v),
        None => match wished.filter(|w| bears(job, *w)) {
            Some(w) => w,
            None => return 0.0,
        },
    };
    let high = (low + step).min(top);
    if bears(job, high) {
        return high;
    }
    edge(low, high, HALVINGS, |v| bears(job, v))
}

fn validate(profile: &MachineProfile, product: &Product, checks: &[Check]) -> Result<(Machine, Setpoints), PlanError> {
    let machine = Machine::new(profile).map_err(PlanError::Machine)?;
    let setpoints = Setpoints::new(product, &machine)
        .map_err(|error| PlanError::Product { error, failed: checks.iter().filter(|c| !c.ok).cloned().collect() })?;
    Ok((machine, setpoints))
}

impl Plan {
    /// Whether every check holds.
    #[must_use]
    pub fn works(&self) -> bool {
        self.checks.iter().all(|c| c.ok)
    }

    /// The belt speed planned for, mm/s.
    #[must_use]
    pub fn belt_mm_s(&self) -> f64 {
        self.worked.v_mm_s
    }

    /// What may put a bottle off centre, each at its bound: name, mm.
    #[must_use]
    pub fn centring_parts(&self) -> [(&'static str, f64); 9] {
        self.worked.centring.parts()
    }

    /// The machine, validated by the core. Cannot fail unless [`Self::profile`] was changed by hand.
    ///
    /// # Errors
    /// [`PlanError::Machine`].
    pub fn machine(&self) -> Result<Machine, PlanError> {
        Machine::new(&self.profile).map_err(PlanError::Machine)
    }

    /// The set-points, validated by the core for [`Self::machine`]. Cannot fail unless profile or product were changed by hand.
    ///
    /// # Errors
    /// [`PlanError::Machine`] or [`PlanError::Product`].
    pub fn setpoints_of(&self) -> Result<Setpoints, PlanError> {
        validate(&self.profile, &self.product, &self.checks).map(|both| both.1)
    }

    /// The set-up sheet for the terminal: cautions first; each belt travel with the seconds it amounts to at this belt speed, and how
    /// wrong those seconds become when the belt is 10 % off.
    #[must_use]
    pub fn text(&self) -> String {
        sheet::text(self) + &gains::text(&self.longest, &self.gains)
    }
}
