//! Random draws: whole numbers from a seeded PCG, turned into lengths by one multiplication, so that every host draws alike.
//!
//! Bottles, strokes, bounce and gaps have streams of their own: switching one kind of scatter off leaves the others as they were.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng;

/// One stream of draws.
#[derive(Clone, Debug)]
pub(super) struct Draw(Pcg32);

impl Draw {
    /// The stream `stream` of `seed`.
    pub(super) fn new(seed: u64, stream: u64) -> Self {
        Self(Pcg32::new(seed, stream))
    }

    /// Uniform in [0, 1), in steps of 2⁻³².
    pub(super) fn unit(&mut self) -> f64 {
        f64::from(self.0.next_u32()) * (1.0 / 4_294_967_296.0)
    }

    /// Uniform in [−1, 1).
    pub(super) fn both_ways(&mut self) -> f64 {
        2.0 * self.unit() - 1.0
    }

    /// Exponentially distributed with mean 1.
    pub(super) fn exponential(&mut self) -> f64 {
        -libm::log(1.0 - self.unit())
    }
}
