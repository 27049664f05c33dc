//! Random draws: whole numbers from a seeded PCG, turned into lengths by one multiplication, so that every host draws alike.
//!
//! Bottles, strokes, bounce and gaps have streams of their own: switching one kind of scatter off leaves the others as they were.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng;

/// Where in its tolerance everything lies, instead of a draw. Worst cases are looked for at the ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// Friction of every bottle: 0 = least, 1 = most.
    pub friction: f64,
    /// Every body: −1 = smallest, 1 = largest.
    pub body: f64,
    /// Every stroke of each actuator, in the order of [`timing_core::Actuator`]: −1 = quickest, 1 = slowest.
    pub stroke: [f64; 6],
    /// Where in its beam every eye switches: −1 = furthest upstream, 1 = furthest downstream.
    pub eye: f64,
    /// Where every thread starts, turns: 0 … 1.
    pub thread: f64,
}

impl Bounds {
    /// Everything in the middle.
    pub const MIDDLE: Self = Self { friction: 0.5, body: 0.0, stroke: [0.0; 6], eye: 0.0, thread: 0.5 };
}

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
