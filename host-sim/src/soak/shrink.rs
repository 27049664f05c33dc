//! A failing run made small: fewer kinds of trouble, fewer strikes, a shorter time, and the same rule still broken.

use crate::soak::draws::Draws;
use crate::soak::report::{Failure, Report};
use crate::soak::run_caught;
use crate::soak::trouble::Kind;

/// Ticks that shrinking may spend: a count and no clock, so that a seed shrinks alike everywhere.
const BUDGET: u64 = 40_000_000;

/// A run that fails, as small as it was made.
#[derive(Clone, Debug)]
pub struct Small {
    /// Its draws; the time with trouble may be cut.
    pub draws: Draws,
    /// The strikes that are left.
    pub keep: Vec<usize>,
    /// What it says.
    pub report: Report,
}

/// Whether two runs fail alike: the same rule, and the same words before the figures.
fn alike(a: &Failure, b: &Failure) -> bool {
    let words = |f: &Failure| f.text.split([':', '(', ',']).next().unwrap_or("").to_owned();
    let digits = |s: String| s.chars().filter(|c| !c.is_ascii_digit() && *c != '.').collect::<String>();
    a.rule == b.rule && digits(words(a)) == digits(words(b))
}

struct Shrink {
    failure: Failure,
    small: Small,
    spent: u64,
}

impl Shrink {
    /// Takes over a smaller run if it fails alike.
    fn take(&mut self, draws: &Draws, keep: &[usize]) -> bool {
        if self.spent > BUDGET {
            return false;
        }
        let report = run_caught(draws, Some(keep));
        self.spent += report.ticks.max(1_000);
        let yes = report.failure.as_ref().is_some_and(|f| alike(f, &self.failure));
        if yes {
            self.small = Small { draws: draws.clone(), keep: keep.to_vec(), report };
        }
        yes
    }

    fn without_kinds(&mut self) {
        for kind in Kind::ALL {
            let draws = self.small.draws.clone();
            let rest: Vec<usize> = self.small.keep.iter().copied().filter(|&i| draws.strikes[i].kind != kind).collect();
            if rest.len() < self.small.keep.len() {
                self.take(&draws, &rest);
            }
        }
    }

    /// Leaves out ever smaller parts, down to single strikes.
    fn without_parts(&mut self) {
        let draws = self.small.draws.clone();
        let mut size = self.small.keep.len().div_ceil(2).max(1);
        loop {
            let mut at = 0;
            while at < self.small.keep.len() {
                let keep = &self.small.keep;
                let to = (at + size).min(keep.len());
                let rest: Vec<usize> = keep[..at].iter().chain(&keep[to..]).copied().collect();
                if !self.take(&draws, &rest) {
                    at = to;
                }
            }
            if size == 1 {
                break;
            }
            size = size.div_ceil(2);
        }
    }

    /// Lets quiet begin soon after the last strike that is left.
    fn shorter(&mut self) {
        let mut draws = self.small.draws.clone();
        let keep = self.small.keep.clone();
        let ends = keep.iter().map(|&i| draws.strikes[i].at_us + draws.strikes[i].lasts_us).max().unwrap_or(0);
        for spare_s in [0.5, 5.0, 30.0] {
            let until = ((ends as f64 * 1e-6 + spare_s).ceil() * 1e6) as u64;
            if until < draws.trouble_us {
                draws.trouble_us = until;
                if self.take(&draws, &keep) {
                    return;
                }
                draws.trouble_us = self.small.draws.trouble_us;
            }
        }
    }
}

/// Makes a failing run small. `report` is what the whole run said.
#[must_use]
pub fn shrink(draws: &Draws, keep: Option<&[usize]>, report: &Report) -> Small {
    let all: Vec<usize> = keep.map_or_else(|| (0..draws.strikes.len()).collect(), <[usize]>::to_vec);
    let whole = Small { draws: draws.clone(), keep: all, report: report.clone() };
    let Some(failure) = report.failure.clone() else { return whole };
    let begun: Vec<usize> =
        whole.keep.iter().copied().filter(|&i| draws.strikes[i].at_us <= failure.t_us || failure.rule == 16).collect();
    let mut s = Shrink { failure, small: whole, spent: 0 };
    s.take(draws, &begun);
    if s.small.report.failure.as_ref().is_some_and(|f| f.rule == 0) {
        s.shorter();
    }
    s.without_kinds();
    s.without_parts();
    s.shorter();
    s.small
}
