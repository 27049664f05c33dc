//! Everything that is drawn for a run, before it begins: machine, product, ticks, people and strikes of trouble.

use crate::job::Job;
use crate::job::spec::{ExpectSpec, ProductSpec, SupplySpec};
use crate::plan::{self, Plan};
use crate::soak::dice::Dice;
use crate::soak::machine::{actuator, machine, product};
use crate::soak::trouble::{Kind, Room, Trouble};
use std::fmt;
use std::sync::LazyLock;
use timing_core::Actuator;

/// What sort of runs a campaign makes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Profile {
    /// Short runs on any machine, trouble of all sorts every few seconds.
    #[default]
    Wild,
    /// Long runs on machines that can work, with trouble as seldom as in use.
    Shift,
}

impl Profile {
    /// Its word on the command line.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Wild => "wild",
            Self::Shift => "shift",
        }
    }
}

/// How the core is called.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Beat {
    /// When it asks to be.
    Wake,
    /// When it asks to be, and at other times, so many µs apart on average.
    Added(u64),
    /// Every so many µs, give or take the second figure, whatever it asks for.
    Every(u64, u64),
}

/// One strike of trouble.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strike {
    /// Its kind.
    pub kind: Kind,
    /// When it begins, µs since the start.
    pub at_us: u64,
    /// How long it lasts, µs; 0 for what is over at once.
    pub lasts_us: u64,
    /// What it is.
    pub what: Trouble,
}

/// The people of a run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct People {
    /// Quickest and slowest reaction to a unit that waits for somebody, s.
    pub react_s: (f64, f64),
    /// Chance that somebody frees hung, wedged and fallen bottles before Unhold.
    pub frees: f64,
    /// Unholds tried before Stop.
    pub patience: u32,
    /// Seed of what they do.
    pub seed: u64,
}

/// How often a kind strikes, and for how long.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Rate {
    kind: Kind,
    /// Mean quiet time beyond the least, s.
    mean_s: f64,
    /// Least quiet time between two, s.
    quiet_s: f64,
    /// Shortest and longest, s.
    lasts_s: (f64, f64),
}

/// Everything that is drawn for a run.
#[derive(Clone, Debug)]
pub struct Draws {
    /// The seed of it all.
    pub seed: u64,
    /// Of which profile.
    pub profile: Profile,
    /// Machine, product and supply.
    pub job: Job,
    /// Its plan.
    pub plan: Plan,
    /// Another product that runs on the same settings, and its plan.
    pub other: (ProductSpec, Plan),
    /// How the core is called.
    pub beat: Beat,
    /// The people.
    pub people: People,
    /// End of the time with trouble, µs.
    pub trouble_us: u64,
    /// Strikes of trouble, in order of time.
    pub strikes: Vec<Strike>,
    rates: Vec<Rate>,
}

/// What every machine and product is drawn around.
static BASE: LazyLock<Job> = LazyLock::new(Job::demo);

/// Bottles of a run: more than any run can use up.
const BOTTLES: u32 = 10_000_000;
/// Most strikes of a run.
const STRIKES: usize = 3_000;

impl Draws {
    /// All draws of a seed.
    ///
    /// # Panics
    /// When no machine can be drawn that can be planned: the ranges of the generator are wrong then.
    #[must_use]
    pub fn new(seed: u64, profile: Profile) -> Self {
        let mut dice = Dice::new(seed ^ 0x50A4_0000_0000_0000);
        let must_work = profile == Profile::Shift || dice.chance(0.7);
        let (job, plan) = planned(&mut dice, seed, must_work);
        let other = other_product(&mut dice, &job, &plan);
        let beat = match dice.below(10) {
            0 => {
                let period = dice.wild(500.0, 10_000.0);
                Beat::Every(period as u64, (period * dice.between(0.0, 0.5)) as u64)
            }
            1 => Beat::Added(dice.wild(1_000.0, 50_000.0) as u64),
            _ => Beat::Wake,
        };
        let quickest = dice.wild(0.05, 3.0);
        let people = People {
            react_s: (quickest, quickest * dice.between(1.0, 6.0)),
            frees: dice.pick(&[0.3, 0.8, 1.0]),
            patience: 1 + dice.below(5) as u32,
            seed: dice.below(u64::MAX),
        };
        let trouble_s = match profile {
            Profile::Wild => dice.wild(60.0, 900.0),
            Profile::Shift => dice.between(1.0, 8.0) * 3_600.0,
        };
        let rates = rates(&mut dice, profile);
        let strikes = strikes(&mut dice, &rates, &job, trouble_s);
        Self { seed, profile, job, plan, other, beat, people, trouble_us: (trouble_s * 1e6) as u64, strikes, rates }
    }
}

/// A machine with its product that can be planned, and that works if it must.
fn planned(dice: &mut Dice, seed: u64, must_work: bool) -> (Job, Plan) {
    for _ in 0..2_000 {
        let job = drawn(dice, seed);
        if let Ok(plan) = plan::plan(&job)
            && plan.machine().is_ok()
            && plan.setpoints_of().is_ok()
            && (!must_work || plan.works())
        {
            return (job, plan);
        }
    }
    panic!("seed {seed}: 2000 draws, and none can be planned: the ranges of the generator are wrong")
}

fn drawn(dice: &mut Dice, seed: u64) -> Job {
    let mut job = BASE.clone();
    job.name = format!("soak, seed {seed}");
    job.title.clone_from(&job.name);
    job.expect = ExpectSpec::default();
    product(dice, &mut job);
    for a in Actuator::ALL {
        job.machine.actuators[a.index()] = actuator(dice, a);
    }
    machine(dice, &mut job);
    let d = job.product.diameter_mm;
    let r = &mut job.run;
    r.seed = dice.below(u64::MAX);
    r.bottles = BOTTLES;
    r.batch = 0;
    r.script.clear();
    r.faults.clear();
    r.initial.clear();
    r.supply = match dice.below(3) {
        0 => SupplySpec::Touching,
        1 => SupplySpec::Pitch(d * dice.between(1.0, 4.0)),
        _ => SupplySpec::Random(d * dice.between(1.1, 4.0)),
    };
    r.wander = if dice.chance(0.5) { dice.between(0.0, 0.2) } else { 0.0 };
    r.wander_period_s = dice.between(0.8, 4.0);
    r.spread = dice.chance(0.9);
    r.encoder_slip = if dice.chance(0.1) { dice.between(0.0, 0.01) } else { 0.0 };
    job
}

/// A product that differs in what needs no tool: dwells, settling, patience with misses. The plan of the first where there is none.
fn other_product(dice: &mut Dice, job: &Job, plan: &Plan) -> (ProductSpec, Plan) {
    let mut other = job.clone();
    let p = &mut other.product;
    p.seat_dwell_ms = dice.between(0.0, 150.0);
    p.engage_dwell_ms = dice.between(1.0, 250.0);
    p.disengage_dwell_ms = dice.between(0.0, 100.0);
    p.settle_mm = dice.between(5.0, 30.0);
    p.misses_to_hold = 1 + dice.below(5) as u8;
    p.early_release &= dice.chance(0.5);
    match plan::plan(&other) {
        Ok(new) if new.setpoints_of().is_ok() && new.machine() == plan.machine() => (other.product, new),
        _ => (job.product.clone(), plan.clone()),
    }
}

/// Which kinds strike, and how often: whole rooms are off, then single kinds; what is left has rates of its own.
fn rates(dice: &mut Dice, profile: Profile) -> Vec<Rate> {
    let rooms_on: Vec<bool> = Room::ALL.iter().map(|_| dice.chance(0.55)).collect();
    let share = dice.between(0.2, 1.0);
    let pace = match profile {
        Profile::Wild => (4.0, 200.0),
        Profile::Shift => (600.0, 30_000.0),
    };
    let mut all = Vec::new();
    for kind in Kind::ALL {
        let on = rooms_on[kind.room() as usize] && dice.chance(share);
        let quiet_s = dice.wild(0.02, 20.0);
        let mean_s = dice.wild(pace.0, pace.1);
        let shortest = dice.wild(0.002, 5.0);
        let lasts_s = (shortest, shortest * dice.wild(1.0, 20.0));
        if on {
            all.push(Rate { kind, mean_s, quiet_s, lasts_s });
        }
    }
    all
}

fn is_instant(what: &Trouble) -> bool {
    use crate::job::spec::FaultKind;
    matches!(
        what,
        Trouble::Coming(..)
            | Trouble::Fall(_)
            | Trouble::Slip(..)
            | Trouble::Take(_)
            | Trouble::Gap(_)
            | Trouble::Press(_)
            | Trouble::Plant(FaultKind::EncoderJump(_))
    )
}

fn strikes(dice: &mut Dice, rates: &[Rate], job: &Job, trouble_s: f64) -> Vec<Strike> {
    let gap_us = (job.machine.sample_gap_ms * 1e3) as u64;
    let mut all = Vec::new();
    for r in rates {
        let mut t = r.quiet_s + dice.after(r.mean_s);
        while t < trouble_s && all.len() < STRIKES {
            let what = r.kind.draw(dice, job.product.diameter_mm, gap_us);
            let mut lasts = dice.between(r.lasts_s.0, r.lasts_s.1);
            if matches!(what, Trouble::Mode(_)) {
                lasts = lasts.max(1.0) * 10.0;
            }
            if is_instant(&what) {
                lasts = 0.0;
            }
            all.push(Strike { kind: r.kind, at_us: (t * 1e6) as u64, lasts_us: (lasts * 1e6) as u64, what });
            t += lasts + r.quiet_s + dice.after(r.mean_s);
        }
    }
    // Some come just after another: what two do together is what nobody thought of.
    for i in 0..all.len() {
        if dice.chance(0.2) {
            let with = dice.below(all.len() as u64) as usize;
            all[i].at_us = all[with].at_us + dice.wild(1.0, 500_000.0) as u64;
        }
    }
    all.sort_by_key(|s| (s.at_us, s.kind));
    all
}

impl fmt::Display for Draws {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (m, p, r) = (&self.job.machine, &self.job.product, &self.job.run);
        writeln!(f, "seed {}, profile {}", self.seed, self.profile.word())?;
        writeln!(
            f,
            "  belt {} at {:.1} mm/s ± {:.0} %, {:.2} counts/mm; body {:.2} mm ± {:.2}, μ {:.3} to {:.3}; supply {:?}",
            if m.line_owns_belt { "of the line" } else { "ours" },
            p.speed_mm_s,
            r.wander * 100.0,
            m.encoder_counts_per_rev / m.wheel_mm,
            p.diameter_mm,
            p.diameter_tol_mm,
            p.mu_min,
            p.mu_max,
            r.supply
        )?;
        writeln!(
            f,
            "  {:?}, cap {:?}, early release {}, misses to hold {}; plan {}; ticks {:?}; sample gap {:.1} ms",
            p.tighten,
            p.cap,
            p.early_release,
            p.misses_to_hold,
            if self.plan.works() { "works" } else { "does not work" },
            self.beat,
            m.sample_gap_ms
        )?;
        for a in Actuator::ALL {
            let s = &m.actuators[a.index()];
            writeln!(
                f,
                "  {}: {:?}, {:.1} + {:.1} ms out, {:.1} ms back, margin {:.0} ms, contacts{}{}{}",
                a.name(),
                s.valve,
                s.latency_ms,
                s.to_work_ms,
                s.to_home_ms,
                s.margin_ms,
                if s.home { " home" } else { "" },
                if s.work { " work" } else { "" },
                if s.over { " over" } else { "" }
            )?;
        }
        writeln!(
            f,
            "  people react in {:.2} to {:.2} s; trouble for {:.1} s: {} strikes of {} kinds",
            self.people.react_s.0,
            self.people.react_s.1,
            self.trouble_us as f64 * 1e-6,
            self.strikes.len(),
            self.rates.len()
        )?;
        for r in &self.rates {
            writeln!(
                f,
                "  {}: every {:.2} s + {:.1} s on average, for {:.3} to {:.3} s",
                r.kind.name(),
                r.quiet_s,
                r.mean_s,
                r.lasts_s.0,
                r.lasts_s.1
            )?;
        }
        Ok(())
    }
}
