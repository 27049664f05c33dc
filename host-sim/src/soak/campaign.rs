//! Many runs, and their sum.

use crate::soak::draws::{Draws, Profile};
use crate::soak::report::Report;
use crate::soak::run_caught;
use crate::soak::trouble::Kind;
use rayon::prelude::*;
use std::time::{Duration, Instant};
use timing_core::digest::Fnv64;
use timing_core::{FAULTS, RULES, UnitState, unit};

/// Every so many runs one is run twice and compared.
const TWICE: u64 = 32;
/// Failing runs that are kept whole; of further ones only the seed.
const KEPT: usize = 40;
/// Runs of one batch for each thread: the time is looked at, and progress told, between batches.
const BATCH: u64 = 8;

/// What to run.
#[derive(Clone, Copy, Debug)]
pub struct Ask {
    /// First seed; the next ones follow it.
    pub seed: u64,
    /// Most runs.
    pub runs: u64,
    /// Begin no batch after so long.
    pub time: Option<Duration>,
    /// Of which profile.
    pub profile: Profile,
    /// Threads.
    pub threads: usize,
    /// Begin no batch after a run that failed.
    pub fail_fast: bool,
}

/// The sum of many runs.
#[derive(Clone, Debug)]
pub struct Sum {
    /// Runs.
    pub runs: u64,
    /// Bottles through the release gate.
    pub bottles: u64,
    /// Registered, good, rejected, removed, lost, found.
    pub counted: [u64; 6],
    /// Simulated machine time, µs.
    pub simulated_us: u64,
    /// Of it, with trouble on, µs.
    pub trouble_us: u64,
    /// Ticks of the core.
    pub ticks: u64,
    /// FNV-1a 64 over the digests of all runs, in order of their seeds.
    pub digest: u64,
    /// Strikes by kind.
    pub struck: [u64; Kind::ALL.len()],
    /// Faults told, by row.
    pub faults: [u64; FAULTS.len()],
    /// Orders kept back, by row.
    pub kept: [u64; RULES.len()],
    /// Steps of the state table taken.
    pub steps: [u32; 18],
    /// New cores on a machine that went on.
    pub power_ups: u64,
    /// Products loaded.
    pub loads: u64,
    /// Largest share of its bound that a run needed to run again.
    pub quiet_share: f64,
    /// Runs that ran again.
    pub ran_again: u64,
    /// Runs that were run twice.
    pub twice: u64,
    /// Failing runs, the first few.
    pub failures: Vec<Report>,
    /// Seeds of all failing runs.
    pub failed: Vec<u64>,
}

impl Sum {
    const fn new() -> Self {
        Self {
            runs: 0,
            bottles: 0,
            counted: [0; 6],
            simulated_us: 0,
            trouble_us: 0,
            ticks: 0,
            digest: 0,
            struck: [0; Kind::ALL.len()],
            faults: [0; FAULTS.len()],
            kept: [0; RULES.len()],
            steps: [0; 18],
            power_ups: 0,
            loads: 0,
            quiet_share: 0.0,
            ran_again: 0,
            twice: 0,
            failures: Vec::new(),
            failed: Vec::new(),
        }
    }

    fn add(&mut self, r: Report, hash: &mut Fnv64) {
        self.runs += 1;
        self.bottles += r.bottles;
        self.simulated_us += r.simulated_us;
        self.trouble_us += r.trouble_us;
        self.ticks += r.ticks;
        self.power_ups += u64::from(r.power_ups);
        self.loads += u64::from(r.loads);
        hash.write(&r.digest.to_le_bytes());
        let add = |sum: &mut [u64], of: &[u64]| sum.iter_mut().zip(of).for_each(|(s, n)| *s += n);
        add(&mut self.counted, &r.counted);
        add(&mut self.struck, &r.struck);
        add(&mut self.faults, &r.faults);
        add(&mut self.kept, &r.kept);
        self.steps.iter_mut().zip(r.steps).for_each(|(s, n)| *s |= n);
        if let Some(share) = r.quiet_share {
            self.ran_again += 1;
            self.quiet_share = self.quiet_share.max(share);
        }
        if r.failure.is_some() {
            self.failed.push(r.seed);
            if self.failures.len() < KEPT {
                self.failures.push(r);
            }
        }
    }

    /// Strikes of all kinds.
    #[must_use]
    pub fn struck_all(&self) -> u64 {
        self.struck.iter().sum()
    }

    /// Steps of the state table that were taken, and how many there are.
    #[must_use]
    pub fn steps_of_all(&self) -> (usize, Vec<String>) {
        let mut taken = 0;
        let mut never = Vec::new();
        for from in UnitState::ALL {
            for to in UnitState::ALL {
                let leads = unit::on_complete(from) == Some(to)
                    || unit::Command::ALL.into_iter().any(|c| unit::on_command(from, c) == Some(to));
                if !leads {
                    continue;
                }
                if self.steps[from as usize] & (1 << (to as u32)) != 0 {
                    taken += 1;
                } else {
                    never.push(format!("{} to {}", from.name(), to.name()));
                }
            }
        }
        (taken, never)
    }
}

/// One seed, whole; now and then twice.
fn one(seed: u64, profile: Profile, twice: bool) -> Report {
    let draws = Draws::new(seed, profile);
    let mut report = run_caught(&draws, None);
    if twice && report.failure.is_none() {
        let again = run_caught(&Draws::new(seed, profile), None);
        if again != report {
            report.failure = Some(crate::soak::Failure {
                rule: 16,
                t_us: 0,
                text: format!("run twice, two results: {:016x} and {:016x}", report.digest, again.digest),
                last: Vec::new(),
            });
        }
    }
    report
}

/// Runs a campaign. `told` hears how far it is.
///
/// # Errors
/// When the threads cannot be started.
pub fn campaign(ask: &Ask, told: &(dyn Fn(&Sum) + Sync)) -> Result<Sum, String> {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(ask.threads).build().map_err(|e| e.to_string())?;
    let began = Instant::now();
    let (mut sum, mut hash) = (Sum::new(), Fnv64::new());
    let batch = BATCH * ask.threads.max(1) as u64;
    let mut at = 0;
    let goes_on = |sum: &Sum| !ask.fail_fast || sum.failed.is_empty();
    while at < ask.runs && goes_on(&sum) && ask.time.is_none_or(|t| began.elapsed() < t) {
        let to = (at + batch).min(ask.runs);
        let reports: Vec<Report> = pool.install(|| {
            (at..to).into_par_iter().map(|i| one(ask.seed.wrapping_add(i), ask.profile, i % TWICE == 0)).collect()
        });
        sum.twice += (at..to).filter(|i| i % TWICE == 0).count() as u64;
        for r in reports {
            sum.add(r, &mut hash);
        }
        at = to;
        told(&sum);
    }
    sum.digest = hash.get();
    Ok(sum)
}
