//! The set-up sheet for the terminal.

use super::figures::Figure;
use super::limits::FASTEST_MM_S;
use super::{Limit, Plan, Position};
use std::fmt::Write as _;

/// Share by which the belt is off, where the sheet shows what a fixed delay would cost.
const OFF: f64 = 0.1;

/// Writes the sheet: cautions first, then what to set, then what it gives.
pub(super) fn text(plan: &Plan) -> String {
    let mut s = String::new();
    // Writing to a String cannot fail.
    let _ = write(&mut s, plan);
    s
}

fn write(s: &mut String, p: &Plan) -> std::fmt::Result {
    writeln!(s, "CAUTIONS")?;
    for c in &p.cautions {
        writeln!(s, "  ! {c}")?;
    }
    let failed = p.checks.iter().filter(|c| !c.ok).count();
    writeln!(s)?;
    if failed == 0 {
        writeln!(s, "VERDICT  works: every check holds")?;
    } else {
        writeln!(s, "VERDICT  does not work: {failed} of {} checks fail", p.checks.len())?;
    }
    writeln!(s, "  cycle {:.0} ms, {:.1} bottles/min, bottleneck {}", p.cycle_ms, p.rate_per_min, p.bottleneck)?;
    if p.belt_max_mm_s > 0.0 {
        writeln!(s, "  fastest belt {:.0} mm/s, {:.1} bottles/min there", p.belt_max_mm_s, p.rate_max_per_min)?;
    } else {
        writeln!(s, "  no belt speed works with these measurements")?;
    }

    writeln!(s, "\nSET-POINTS")?;
    for f in &p.setpoints {
        figure(s, f)?;
        if f.travel && f.value > 0.0 {
            let v = p.belt_mm_s();
            // A delay set at one speed runs while the belt goes at another: it misses by the share the belt is off.
            write!(
                s,
                "  = {:.3} s at this belt; as a fixed delay ±{:.1} mm off when the belt is ±{:.0} % off",
                f.value / v,
                f.value * OFF,
                OFF * 100.0
            )?;
        }
        writeln!(s)?;
    }
    writeln!(s, "\nPOSITIONS (from the head centre, downstream positive)")?;
    for f in &p.positions {
        figure(s, f)?;
        writeln!(s)?;
    }
    writeln!(s, "\nSET UP, in this order, on the locked-out and vented machine")?;
    for x in &p.setup {
        position(s, x)?;
    }
    writeln!(s, "\nCENTRING ERROR, worst case, and the fastest belt that each would allow alone")?;
    for (name, mm) in p.centring_parts() {
        write!(s, "  {name:<52} {mm:>9.2} mm")?;
        if let Some(l) = p.limits.iter().find(|l| l.name.strip_prefix("centring: ") == Some(name)) {
            allows(s, l)?;
        }
        writeln!(s)?;
    }
    let w = &p.worked;
    let (sum, capture) = (w.centring.sum_mm(), w.capture_mm);
    writeln!(s, "  {:<52} {sum:>9.2} mm of {capture:.2} mm that the jaw captures", "sum")?;
    writeln!(s, "\nSTEPS  (ms from the release order)            start    length    margin")?;
    for r in &p.steps {
        writeln!(s, "  {:<40} {:>9.0} {:>9.0} {:>9.0}", r.step, r.start_ms, r.length_ms, r.margin_ms)?;
    }
    writeln!(s, "\nCHECKS")?;
    for c in &p.checks {
        let word = if c.ok { "ok  " } else { "FAIL" };
        writeln!(
            s,
            "  {word} {:<62} {:>9.2} against {:>9.2} {:<6} spare {:>9.2}",
            c.name, c.value, c.limit, c.unit, c.spare
        )?;
        if let Some(l) = p.limits.iter().find(|l| c.by_speed && l.name == c.name) {
            write!(s, "      ")?;
            allows(s, l)?;
            writeln!(s)?;
        }
        if !c.ok {
            writeln!(s, "       mend: {}", c.mend)?;
        }
    }
    Ok(())
}

fn allows(s: &mut String, l: &Limit) -> std::fmt::Result {
    if l.beyond_drive && l.name.starts_with("centring: ") && l.allows_mm_s < FASTEST_MM_S {
        write!(s, "  (allows {:.0} mm/s, beyond the drive)", l.allows_mm_s)
    } else if l.beyond_drive {
        write!(s, "  (holds up to the drive's fastest)")
    } else if l.allows_mm_s > 0.0 {
        write!(s, "  (allows {:.0} mm/s)", l.allows_mm_s)
    } else {
        write!(s, "  (allows no speed)")
    }
}

fn position(s: &mut String, x: &Position) -> std::fmt::Result {
    write!(s, "  {:<58} {:>9.2} {} ({:.2} … {:.2})", x.name, x.value, x.unit, x.low, x.high)?;
    if let Some(found) = x.found {
        write!(s, "  now {found:.2}{}", if x.is_off() { ": OFF" } else { "" })?;
    }
    writeln!(s, "\n      why: {}\n      check: {}", x.why, x.check_by_hand)
}

fn figure(s: &mut String, f: &Figure) -> std::fmt::Result {
    write!(s, "  {:<58} {:>9.2} {:<5}", f.name, f.value, f.unit)
}
