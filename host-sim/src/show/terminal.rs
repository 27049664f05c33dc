//! The verdict as plain text for a terminal or a log: no colour, no cursor movement.

use super::span::seconds;
use super::words;
use crate::verdict::{Outcome, RunResult};
use std::fmt::Write as _;

/// Breaches listed in a block; more are counted.
const LISTED: usize = 10;

/// One job on one line, for many jobs: verdict, name, counts, rate.
#[must_use]
pub fn line(r: &RunResult) -> String {
    let c = &r.counted;
    let mut s = format!(
        "{}  {:<28} {:>5} in {:>5} good {:>4} rejected {:>6.1}/min",
        if r.pass { "pass" } else { "FAIL" },
        r.job,
        r.bottles_in,
        c.good,
        c.rejected,
        r.rate_per_min
    );
    if !r.pass {
        let _ = write!(s, "  {}", words::shortfall(r));
    }
    s
}

/// One job as a block of some lines, each ended by a newline.
#[must_use]
pub fn block(r: &RunResult) -> String {
    let c = &r.counted;
    let mut s = String::new();
    let _ = writeln!(s, "{}", r.job);
    if !r.title.is_empty() {
        let _ = writeln!(s, "  {}", r.title);
    }
    let _ = writeln!(s, "  {}", words::verdict(r));
    for check in &r.checks {
        let _ =
            writeln!(s, "  {}  expected {}, got {}", if check.ok { "ok " } else { "NOT" }, check.expected, check.got);
    }
    for b in r.breaches.iter().take(LISTED) {
        let _ = writeln!(s, "  R{} broken at {} s: {}", b.rule, seconds(b.t_us, 3), b.text);
    }
    if r.breaches.len() > LISTED {
        let _ = writeln!(s, "  … and {} more breaches", r.breaches.len() - LISTED);
    }
    let _ = writeln!(
        s,
        "  bottles    {} in; registered {} + found {} = good {} + rejected {} + removed {} + lost {} + inside {}{}",
        r.bottles_in,
        c.registered,
        c.found,
        c.good,
        c.rejected,
        c.removed,
        c.lost,
        c.inside,
        if words::identity_holds(r) { "" } else { "  DOES NOT ADD UP" }
    );
    let outcomes: Vec<String> =
        Outcome::ALL.iter().zip(r.outcomes).filter(|(_, n)| *n > 0).map(|(o, n)| format!("{n} {}", o.word())).collect();
    let _ = writeln!(s, "  outcomes   {}", if outcomes.is_empty() { "none".to_owned() } else { outcomes.join(", ") });
    let _ = writeln!(
        s,
        "  rate       {:.1} good bottles/min; last state {}",
        r.rate_per_min,
        if r.state.is_empty() { "unknown" } else { r.state }
    );
    if r.centring.n > 0 {
        let _ = write!(
            s,
            "  centring   rms {:.2} mm, largest {:.2} mm over {} catches",
            r.centring.rms_mm, r.centring.max_mm, r.centring.n
        );
        match &r.comparison {
            Some(c) => {
                let f = c.fixed;
                let _ = writeln!(s, "; with fixed delays rms {:.2} mm, largest {:.2} mm", f.rms_mm, f.max_mm);
            }
            None => s.push('\n'),
        }
        let _ = writeln!(
            s,
            "  placement  catch order at most {} counts past its place, {} orders",
            r.placement.max_counts, r.placement.n
        );
    }
    let _ = writeln!(s, "  simulated  {:.1} s in {} ticks; digest {:016x}", r.simulated_s, r.ticks, r.digest);
    s
}
