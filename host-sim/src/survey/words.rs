//! A survey for people.

use super::{Steadier, Survey};
use std::fmt::Write as _;

/// What was measured, as a text for the terminal.
#[must_use]
pub fn summary(s: &Survey) -> String {
    let mut t = format!("{:.3} s, {} changes", s.seconds, s.changes);
    if s.unknown > 0 {
        let _ = write!(t, ", {} values neither high nor low", s.unknown);
    }
    t.push_str(".\n");
    if let Some(damage) = &s.damage {
        let _ = writeln!(t, "The capture is {damage}.");
    }
    if let Some(v) = &s.belt_mm_s {
        let _ = writeln!(
            t,
            "Belt: {:.1} mm/s on average, {:.1} … {:.1} mm/s over half a second, wander {:.1} %.",
            v.mean,
            v.min,
            v.max,
            100.0 * s.belt_wander.unwrap_or(0.0)
        );
    }
    if s.encoder_illegal > 0 {
        let _ = writeln!(
            t,
            "Encoder: {} times both channels changed at once; an edge was missed each time.",
            s.encoder_illegal
        );
    }
    if let Some(rate) = s.rate_per_min {
        let _ = writeln!(t, "Rate: {rate:.1} catches a minute.");
    }
    let _ = write!(t, "Bottles past the release eye: {}", s.bottles);
    if let Some(l) = &s.length_mm {
        let _ = write!(t, ", {:.1} mm long ({:.1} … {:.1})", l.mean, l.min, l.max);
    }
    if let Some(g) = &s.gap_mm {
        let _ = write!(t, "; gaps at the discharge eye {:.1} … {:.1} mm", g.min, g.max);
    }
    t.push_str(".\n");
    strokes(s, &mut t);
    delays(s, &mut t);
    for at in &s.jams_s {
        let _ = writeln!(t, "Jam: the release eye stayed blocked too long at {at:.3} s.");
    }
    if s.breaches_in_all == 0 {
        t.push_str("No rule is seen broken by what is mapped.\n");
    }
    for b in s.breaches.iter().take(12) {
        let _ = writeln!(t, "R{} at {:.3} s: {}.", b.rule, b.at_s, b.what);
    }
    if s.breaches_in_all > 12 {
        let _ = writeln!(t, "{} breaches in all; survey.json has the first 100.", s.breaches_in_all);
    }
    t
}

fn strokes(s: &Survey, t: &mut String) {
    if s.strokes.is_empty() {
        return;
    }
    t.push_str("\nStroke                     n   left after   arrived after       spread\n");
    for x in &s.strokes {
        let name = format!("{} {}", x.actuator, if x.to_work { "to work" } else { "home" });
        let left = x.left_ms.map_or_else(|| "?".to_owned(), |l| format!("{:.1} ms", l.mean));
        let took = x.took_ms.map_or_else(|| "?".to_owned(), |l| format!("{:.1} ms", l.mean));
        let n = x.took_ms.map_or(0, |l| l.n);
        let _ = writeln!(t, "{name:<22} {n:>5} {left:>12} {took:>15} {:>9.1} ms", x.spread_ms);
        if x.missing > 0 {
            let _ = writeln!(t, "  {} orders without its contact before the next", x.missing);
        }
        if let Some(d) = &x.drifted {
            let _ = writeln!(t, "  drifting since {:.1} s: from {:.1} to {:.1} ms", d.since_s, d.from_ms, d.to_ms);
        }
    }
}

fn delays(s: &Survey, t: &mut String) {
    if s.delays.is_empty() {
        return;
    }
    t.push_str("\nFrom, to                                      n      seconds         belt travel   steadier in\n");
    for d in &s.delays {
        let name = format!("{}, {}", d.from, d.to);
        let seconds = format!("{:.4} ±{:.4}", d.seconds.mean, d.seconds.sd());
        let mm = d.travel_mm.map_or_else(|| "?".to_owned(), |m| format!("{:.1} ±{:.1} mm", m.mean, m.sd()));
        let steadier = match d.steadier {
            Steadier::Time => "time: it times",
            Steadier::Travel => "travel: it measures",
            Steadier::Untold => "not to be told",
        };
        let _ = writeln!(t, "{name:<42} {:>4} {seconds:>16} {mm:>17}   {steadier}", d.seconds.n);
    }
}
