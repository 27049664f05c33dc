//! Running statistics in fixed memory.

use serde::Serialize;

/// Number, mean, spread and bounds of what was seen (Welford's recurrence).
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Stat {
    /// How many values.
    pub n: u64,
    /// Their mean.
    pub mean: f64,
    /// The least.
    pub min: f64,
    /// The greatest.
    pub max: f64,
    #[serde(skip)]
    squares: f64,
}

impl Stat {
    /// Takes in one value.
    pub fn add(&mut self, x: f64) {
        self.n += 1;
        let off = x - self.mean;
        self.mean += off / self.n as f64;
        self.squares += off * (x - self.mean);
        (self.min, self.max) = if self.n == 1 { (x, x) } else { (self.min.min(x), self.max.max(x)) };
    }

    /// Standard deviation (n − 1); 0 of fewer than two.
    #[must_use]
    pub fn sd(&self) -> f64 {
        if self.n < 2 { 0.0 } else { libm::sqrt(self.squares / (self.n - 1) as f64) }
    }

    /// Standard deviation as a share of the mean; `None` of fewer than three or around 0.
    #[must_use]
    pub fn relative(&self) -> Option<f64> {
        (self.n >= 3 && libm::fabs(self.mean) > 1e-9).then(|| self.sd() / libm::fabs(self.mean))
    }
}
