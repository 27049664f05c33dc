//! `[expect]` against what came out.

use crate::job::spec::{ExpectSpec, Range};
use crate::verdict::{Check, Outcome, RunResult};
use timing_core::{Fault, UnitState};

fn range(r: Range) -> String {
    match (r.min, r.max) {
        (a, b) if a == b => format!("= {a}"),
        (a, u32::MAX) => format!("≥ {a}"),
        (a, b) => format!("within {a} … {b}"),
    }
}

fn number(name: &str, want: Option<Range>, got: u32, checks: &mut Vec<Check>) {
    if let Some(r) = want {
        checks.push(Check {
            expected: format!("{name} {}", range(r)),
            got: got.to_string(),
            ok: (r.min..=r.max).contains(&got),
        });
    }
}

/// Every check of the job, in the order of its keys.
pub(super) fn check(
    e: &ExpectSpec,
    r: &RunResult,
    unit: UnitState,
    faults: &[u16],
    states: &[UnitState],
) -> Vec<Check> {
    let mut checks = Vec::new();
    number("good", e.good, r.counted.good, &mut checks);
    number("rejected", e.rejected, r.counted.rejected, &mut checks);
    number("removed", e.removed, r.counted.removed, &mut checks);
    number("lost", e.lost, r.counted.lost, &mut checks);
    number("found", e.found, r.counted.found, &mut checks);
    if let Some(want) = e.state {
        checks.push(Check {
            expected: format!("state at the end = {}", want.name()),
            got: unit.name().to_owned(),
            ok: want == unit,
        });
    }
    if let Some(want) = &e.faults {
        let got: Vec<&str> = faults.iter().filter_map(|c| Fault::row_of(*c).map(|(row, _)| row.name)).collect();
        checks.push(Check {
            expected: format!("faults told: {}", list(want)),
            got: list(&got),
            ok: want.iter().map(String::as_str).eq(got.iter().copied()),
        });
    }
    if let Some(want) = &e.states {
        let mut left = want.iter().peekable();
        for s in states {
            left.next_if(|w| *w == s);
        }
        let names: Vec<&str> = want.iter().map(|s| s.name()).collect();
        let missing = left.peek().map(|s| s.name());
        checks.push(Check {
            expected: format!("states passed: {}", names.join(", ")),
            got: missing.map_or_else(|| "passed".to_owned(), |m| format!("not {m} in this order")),
            ok: missing.is_none(),
        });
    }
    for (word, want) in e.outcomes.iter().flatten() {
        let got = Outcome::ALL.iter().position(|o| o.word() == word).map_or(0, |i| r.outcomes[i]);
        number(&format!("outcome \"{word}\""), Some(*want), got, &mut checks);
    }
    if let Some(limit) = e.off_centre_max_mm {
        let got = r.centring.max_mm;
        checks.push(Check {
            expected: format!("off centre at a catch ≤ {limit} mm"),
            got: format!("{got:.2} mm over {} catches", r.centring.n),
            ok: r.centring.n > 0 && got <= limit,
        });
    }
    if let Some(limit) = e.rate_min {
        checks.push(Check {
            expected: format!("rate ≥ {limit}/min"),
            got: format!("{:.2}/min", r.rate_per_min),
            ok: r.rate_per_min >= limit,
        });
    }
    checks
}

fn list(names: &[impl AsRef<str>]) -> String {
    if names.is_empty() {
        return "none".to_owned();
    }
    names.iter().map(AsRef::as_ref).collect::<Vec<_>>().join(", ")
}
