//! Drift: an exponentially weighted mean against its baseline.
//!
//! z ← λ·x + (1 − λ)·z from the baseline's mean on; it has drifted where it leaves mean ± L·s·√(λ/(2 − λ)), with the baseline's
//! standard deviation s and L = 3 (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4). Where the mean was itself estimated from n values, 1/n
//! stands beside λ/(2 − λ): z and it err independently.

/// Width of the limits in standard deviations of the mean.
pub const LIMIT: f64 = 3.0;

/// Weight of the newest stroke, the same as the controller's book has it.
pub const STROKE_LAMBDA: f64 = 0.125;

/// Strokes of a baseline: the first ones.
pub const BASELINE: usize = 20;

/// A stroke's drift of less than this is not worth a word, ms.
pub const LEAST_MS: f64 = 1.0;

/// Mean and standard deviation of a baseline.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Baseline {
    /// How many values it was estimated from; 0 = known beforehand.
    pub n: usize,
    /// Their mean.
    pub mean: f64,
    /// Their standard deviation (n − 1); 0 of fewer than two.
    pub sd: f64,
}

impl Baseline {
    /// Of some values.
    #[must_use]
    pub fn of(values: &[f64]) -> Self {
        let n = values.len();
        let mean = values.iter().sum::<f64>() / n.max(1) as f64;
        let squares = values.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>();
        let sd = if n < 2 { 0.0 } else { libm::sqrt(squares / (n - 1) as f64) };
        Self { n, mean, sd }
    }
}

/// An exponentially weighted moving average with its limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ewma {
    lambda: f64,
    baseline: Baseline,
    z: f64,
}

impl Ewma {
    /// Begins at the baseline's mean; `lambda` is the weight of the newest value, above 0 and at most 1.
    #[must_use]
    pub const fn new(lambda: f64, baseline: Baseline) -> Self {
        Self { lambda, baseline, z: baseline.mean }
    }

    /// Takes in one value, and gives the average.
    pub fn take(&mut self, x: f64) -> f64 {
        self.z = self.lambda * x + (1.0 - self.lambda) * self.z;
        self.z
    }

    /// The average.
    #[must_use]
    pub const fn mean(&self) -> f64 {
        self.z
    }

    /// Lower and upper limit.
    #[must_use]
    pub fn limits(&self) -> (f64, f64) {
        let estimated = if self.baseline.n == 0 { 0.0 } else { 1.0 / self.baseline.n as f64 };
        let half = LIMIT * self.baseline.sd * libm::sqrt(self.lambda / (2.0 - self.lambda) + estimated);
        (self.baseline.mean - half, self.baseline.mean + half)
    }

    /// Whether the average lies outside its limits.
    #[must_use]
    pub fn has_drifted(&self) -> bool {
        let (lo, hi) = self.limits();
        self.z < lo || self.z > hi
    }
}
