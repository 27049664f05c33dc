//! One stream of draws: everything of a run comes from its seed.

use rand_pcg::Pcg64;
use rand_pcg::rand_core::{Rng, SeedableRng};

/// One stream of draws. Ranges are drawn here and not by a library, whose values may change from one version to the next.
#[derive(Clone, Debug)]
pub struct Dice(Pcg64);

impl Dice {
    /// The stream of a seed.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Self(Pcg64::seed_from_u64(seed))
    }

    /// Uniform in [0, 1).
    pub fn unit(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Uniform in [low, high).
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Uniform on a logarithmic scale in [low, high), both positive: small and large alike.
    pub fn wild(&mut self, low: f64, high: f64) -> f64 {
        low * libm::pow(high / low, self.unit())
    }

    /// Exponentially distributed with this mean.
    pub fn after(&mut self, mean: f64) -> f64 {
        -mean * libm::log(1.0 - self.unit())
    }

    /// A whole number from 0 to `n` − 1; `n` at least 1.
    pub fn below(&mut self, n: u64) -> u64 {
        self.0.next_u64() % n.max(1)
    }

    /// True with probability `p`.
    pub fn chance(&mut self, p: f64) -> bool {
        self.unit() < p
    }

    /// One of several, all alike.
    ///
    /// # Panics
    /// When there is none.
    pub fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        from[self.below(from.len() as u64) as usize]
    }
}
