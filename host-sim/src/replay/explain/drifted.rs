//! How the strokes had drifted before a fault.

use super::About;
use crate::drift::{BASELINE, Baseline, Ewma, LEAST_MS, STROKE_LAMBDA};
use std::fmt::Write as _;
use timing_core::{Actuator, Pose};

pub(super) fn tell(about: &About<'_>, text: &mut String) {
    let mut lines = Vec::new();
    for a in Actuator::ALL {
        for to in [Pose::Work, Pose::Home] {
            lines.extend(one(about, a, to));
        }
    }
    if lines.is_empty() {
        let _ = writeln!(
            text,
            "\nNo stroke had drifted beyond the spread of its first {BASELINE} (or there were fewer than {} to tell).",
            BASELINE + 1
        );
        return;
    }
    text.push_str("\nStrokes that had drifted before:\n");
    for line in lines {
        let _ = writeln!(text, "  {line}");
    }
}

fn one(about: &About<'_>, a: Actuator, to: Pose) -> Option<String> {
    let before = about.retold.strokes.iter().filter(|s| s.actuator == a && s.to == to && s.ordered_us < about.time_us);
    let ms: Vec<f64> = before.filter_map(|s| s.took_us).map(|us| us as f64 * 1e-3).collect();
    let (first, rest) = ms.split_at_checked(BASELINE)?;
    if rest.is_empty() {
        return None;
    }
    let mut average = Ewma::new(STROKE_LAMBDA, Baseline::of(first));
    for x in rest {
        average.take(*x);
    }
    let from = Baseline::of(first).mean;
    let worth = average.has_drifted() && (average.mean() - from).abs() >= LEAST_MS;
    worth.then(|| {
        format!(
            "{} {}: {:.1} ms over the first {BASELINE}, {:.1} ms on weighted average after {} more; the last took {:.1} ms.",
            a.name(),
            if to == Pose::Work { "to work" } else { "home" },
            from,
            average.mean(),
            rest.len(),
            ms.last().copied().unwrap_or(from),
        )
    })
}
