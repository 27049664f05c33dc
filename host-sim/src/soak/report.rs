//! What a run says: figures, what it reached, and how it failed.

use crate::soak::trouble::Kind;
use crate::verdict::Counted;
use timing_core::{Event, EventKind, FAULTS, RULES, UnitState};

/// How a run failed.
#[derive(Clone, Debug, PartialEq)]
pub struct Failure {
    /// Number of the rule; 0: it did not run again in quiet; 16: it panicked.
    pub rule: u8,
    /// First bad tick, µs.
    pub t_us: u64,
    /// What happened, one sentence.
    pub text: String,
    /// The last events before it, one a line.
    pub last: Vec<String>,
}

/// What a run says.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// Its seed.
    pub seed: u64,
    /// Bottles that came through the release gate.
    pub bottles: u64,
    /// What the cores counted.
    pub counted: [u64; 6],
    /// Simulated machine time, µs.
    pub simulated_us: u64,
    /// Of it, with trouble on, µs.
    pub trouble_us: u64,
    /// Ticks of the core.
    pub ticks: u64,
    /// FNV-1a 64 over every tick.
    pub digest: u64,
    /// Strikes of each kind that met something, in the order of [`Kind::ALL`].
    pub struck: [u64; Kind::ALL.len()],
    /// Faults told, by row of the fault table.
    pub faults: [u64; FAULTS.len()],
    /// Orders kept back, by row of the interlock table.
    pub kept: [u64; RULES.len()],
    /// Steps of the state table taken: bit `to` of row `from`, by the states' numbers.
    pub steps: [u32; 18],
    /// How often a new core began on a machine that went on.
    pub power_ups: u32,
    /// How often a product was loaded.
    pub loads: u32,
    /// Share of its bound after which it ran again in quiet.
    pub quiet_share: Option<f64>,
    /// How it failed.
    pub failure: Option<Failure>,
}

impl Report {
    /// Of a run that has not begun.
    #[must_use]
    pub const fn new(seed: u64) -> Self {
        Self {
            seed,
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
            quiet_share: None,
            failure: None,
        }
    }

    pub(super) fn count(&mut self, c: &Counted) {
        let parts = [c.registered, c.good, c.rejected, c.removed, c.lost, c.found];
        for (sum, n) in self.counted.iter_mut().zip(parts) {
            *sum += u64::from(n);
        }
    }

    pub(super) fn hear(&mut self, e: &Event) {
        match e.kind {
            EventKind::Fault => {
                if let Some(n) = self.faults.get_mut(usize::from(e.detail & 31)) {
                    *n += 1;
                }
            }
            EventKind::Guarded => {
                let row =
                    RULES.iter().position(|r| u16::from(r.rule) == e.detail && i32::from(r.order.number()) == e.value);
                if let Some(i) = row {
                    self.kept[i] += 1;
                }
            }
            EventKind::State => {
                let power_up = e.why == timing_core::Why::Plain && e.value == UnitState::Stopped as i32;
                let from = usize::try_from(e.value).unwrap_or(0);
                if let Some(row) = self.steps.get_mut(from)
                    && !power_up
                {
                    *row |= 1 << (e.detail & 31);
                }
            }
            _ => {}
        }
    }
}
