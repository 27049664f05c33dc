//! Contradictions among the measurements that only the set-up sheet uses: a bottle wider than its rails, a thread of two pitches, a closure taller than
//! what it closes.

use super::check::mm;
use super::measured::ShapeSpec;
use super::spec::{MachineSpec, ProductSpec, TightenSpec};
use super::table::{Reader, Table};
use crate::plan::finish;
use timing_core::Actuator;

/// How far two statements about one length may be apart, mm.
const SAME_MM: f64 = 0.05;
/// How far two statements about turns may be apart. Makers of closures leave the last part of a thread unused.
const SAME_TURNS: f64 = 0.5;

/// `[product]` by itself.
pub(super) fn product(r: &mut Reader, p: &ProductSpec, t: &Table<'_>) {
    body(r, p, t);
    closure(r, p, t);
}

fn body(r: &mut Reader, p: &ProductSpec, t: &Table<'_>) {
    let b = &p.body;
    let width = b.width_mm.unwrap_or(p.diameter_mm);
    match b.shape {
        ShapeSpec::Round => {
            if (width - p.diameter_mm).abs() > SAME_MM {
                let what =
                    format!("`width` ({}) is not `diameter` ({}), and the body is round", mm(width), mm(p.diameter_mm));
                r.contradiction(
                    &[t.side("width"), t.side("diameter"), t.side("shape")],
                    what,
                    "leave `width` out, or give `shape = \"oval\"` or `shape = \"flat-sided\"`",
                );
            }
            if b.corner_mm > 0.0 {
                r.contradiction(
                    &[t.side("corner_radius"), t.side("shape")],
                    "`corner_radius` is given, and a round body has no corners".to_owned(),
                    "leave it out, or give `shape = \"flat-sided\"`",
                );
            }
        }
        ShapeSpec::Oval | ShapeSpec::Flat => {
            if b.width_mm.is_none() && !t.has("width") {
                t.missing(r, "width");
            }
            if b.corner_mm > width.min(p.diameter_mm) / 2.0 {
                let what = format!(
                    "`corner_radius` ({}) is more than half of the body ({} by {})",
                    mm(b.corner_mm),
                    mm(p.diameter_mm),
                    mm(width)
                );
                r.contradiction(
                    &[t.side("corner_radius"), t.side("diameter"), t.side("width")],
                    what,
                    "measure the radius of one corner with a gauge",
                );
            }
        }
    }
    if let (Some(from), Some(to)) = (b.wall_from_mm, b.wall_to_mm)
        && from >= to
    {
        let what = format!("the upright wall begins at `wall_from` ({}) and ends at `wall_to` ({})", mm(from), mm(to));
        r.contradiction(
            &[t.side("wall_from"), t.side("wall_to")],
            what,
            "both are heights above the belt: swap them, or measure again",
        );
    }
    if let Some(to) = b.wall_to_mm.filter(|to| *to > p.height_mm) {
        let what = format!("`wall_to` ({}) is above the top (`height`, {})", mm(to), mm(p.height_mm));
        r.contradiction(&[t.side("wall_to"), t.side("height")], what, "measure both from the belt");
    }
}

fn closure(r: &mut Reader, p: &ProductSpec, t: &Table<'_>) {
    let b = &p.body;
    if let (Some(lip), Some(top)) = (b.lip_mm, b.closed_mm)
        && lip > top
    {
        let what = format!("`lip_height` ({}) is above the closure's top (`closed_height`, {})", mm(lip), mm(top));
        r.contradiction(
            &[t.side("lip_height"), t.side("closed_height")],
            what,
            "both are measured from the belt, closure tight",
        );
    }
    if let (Some(lip), Some(skirt)) = (b.lip_mm, b.skirt_mm)
        && skirt >= lip
    {
        let what = format!(
            "the skirt (`skirt_height`, {}) would reach below the belt from its lip at `lip_height` ({})",
            mm(skirt),
            mm(lip)
        );
        r.contradiction(
            &[t.side("skirt_height"), t.side("lip_height")],
            what,
            "`skirt_height` is the skirt's own height, `lip_height` is measured from the belt",
        );
    }
    if let (Some(seat), Some(most)) = (b.seat_n, b.top_load_n)
        && seat > most
    {
        let what = format!("seating takes `seat_force` ({seat} N), and neck and body bear `top_load` ({most} N)");
        r.contradiction(
            &[t.side("seat_force"), t.side("top_load")],
            what,
            "measure both again: no plunger can meet both",
        );
    }
    let Some(f) = b.finish.and_then(finish::named) else { return };
    if p.cap_diameter_mm <= f.thread_mm {
        let what = format!(
            "a closure of `cap_diameter` {} does not go over the thread of {} ({} across)",
            mm(p.cap_diameter_mm),
            f.name,
            mm(f.thread_mm)
        );
        r.contradiction(
            &[t.side("cap_diameter"), t.side("finish")],
            what,
            "`cap_diameter` is measured outside, where the rollers touch",
        );
    }
    if let Some(pitch) = b.pitch_mm
        && (pitch - f.pitch_mm).abs() > SAME_MM
    {
        let what = format!("`thread_pitch` ({}) is not that of {} ({})", mm(pitch), f.name, mm(f.pitch_mm));
        r.contradiction(&[t.side("thread_pitch"), t.side("finish")], what, "leave one of the two out");
    }
    if t.has("turns") && p.tighten != TightenSpec::SeatOnly && p.turns > f.turns + SAME_TURNS {
        let what = format!(
            "`turns` ({}) are more than the thread of {} has ({:.2}), even with half a turn to find it",
            p.turns, f.name, f.turns
        );
        r.contradiction(
            &[t.side("turns"), t.side("finish")],
            what,
            "count the turns again, or leave one of the two out",
        );
    }
}

/// `[machine]` by itself.
pub(super) fn machine(r: &mut Reader, m: &MachineSpec, t: &Table<'_>) {
    let s = &m.set;
    for (a, spec) in Actuator::ALL.into_iter().zip(&m.actuators) {
        let d = &spec.drive;
        if let Some(bore) = d.bore_mm.filter(|bore| d.rod_mm >= *bore) {
            let what =
                format!("the rod of the {} ({}) does not go into its bore ({})", a.name(), mm(d.rod_mm), mm(bore));
            r.contradiction(&[t.side(&a.name().replace(' ', "_"))], what, "swap `rod` and `bore`, or measure again");
        }
        if let Some(own) = d.bar.filter(|own| *own > m.air_bar) {
            let what = format!(
                "the {} is said to work at {own:.3} bar, and the machine's air has {:.3} bar (`air_pressure`)",
                a.name(),
                m.air_bar
            );
            r.contradiction(
                &[t.side(&a.name().replace(' ', "_")), t.side("air_pressure")],
                what,
                "a regulator only lowers pressure: read both gauges again",
            );
        }
    }
    if let (Some(closed), Some(open)) = (s.roller_gap_mm, s.roller_gap_open_mm)
        && closed >= open
    {
        let what = format!("`roller_gap` ({}) is not below `roller_gap_open` ({})", mm(closed), mm(open));
        r.contradiction(
            &[t.side("roller_gap"), t.side("roller_gap_open")],
            what,
            "closed on nothing, rollers stand closer than at home",
        );
    }
    if let (Some(head), Some(start)) = (s.rail_mm, s.rail_start_mm)
        && head > start
    {
        let what = format!(
            "the rails are wider at the head (`rail_width`, {}) than at the start (`rail_width_start`, {})",
            mm(head),
            mm(start)
        );
        r.contradiction(
            &[t.side("rail_width"), t.side("rail_width_start")],
            what,
            "rails guide a bottle from loose to close: swap the two, or measure again",
        );
    }
}

/// Both together.
pub(super) fn both(r: &mut Reader, m: &MachineSpec, mt: &Table<'_>, p: &ProductSpec, pt: &Table<'_>) {
    let (width, key) = match p.body.shape {
        ShapeSpec::Round => (p.diameter_mm, "diameter"),
        ShapeSpec::Oval | ShapeSpec::Flat => (p.body.width_mm.unwrap_or(p.diameter_mm), "width"),
    };
    let widest = width + p.diameter_tol_mm;
    for (name, rails) in [("rail_width", m.set.rail_mm), ("rail_width_start", m.set.rail_start_mm)] {
        if let Some(rails) = rails.filter(|rails| *rails <= widest) {
            let what =
                format!("a bottle of up to {} does not go between rails of {} (`{name}`)", mm(widest), mm(rails));
            r.contradiction(
                &[mt.side(name), pt.side(key), pt.side("diameter_tolerance")],
                what,
                "open the rails, or measure the body again",
            );
        }
    }
    for (name, height) in [
        ("grip_height", m.set.grip_height_mm),
        ("eye_height", m.set.eye_height_mm),
        ("blade_height", m.set.blade_height_mm),
    ] {
        if let Some(h) = height.filter(|h| *h >= p.height_mm) {
            let what = format!("`{name}` ({}) is above the bottle (`height`, {})", mm(h), mm(p.height_mm));
            r.contradiction(&[mt.side(name), pt.side("height")], what, "both are measured from the belt");
        }
    }
    if let (Some(up), Some(top)) = (m.set.plunger_height_mm, p.body.closed_mm)
        && up <= top
    {
        let what = format!(
            "the raised plunger (`plunger_height`, {}) is not above the closure (`closed_height`, {})",
            mm(up),
            mm(top)
        );
        r.contradiction(
            &[mt.side("plunger_height"), pt.side("closed_height")],
            what,
            "raise the head, or measure both from the belt",
        );
    }
    if let Some(gap) = m.set.roller_gap_open_mm.filter(|gap| *gap <= p.cap_diameter_mm) {
        let what = format!(
            "a closure of {} does not pass between open rollers (`roller_gap_open`, {})",
            mm(p.cap_diameter_mm),
            mm(gap)
        );
        r.contradiction(
            &[mt.side("roller_gap_open"), pt.side("cap_diameter")],
            what,
            "open the carriage further, or measure again",
        );
    }
    if let Some(gap) = m.set.roller_gap_mm.filter(|gap| *gap >= p.cap_diameter_mm) {
        let what =
            format!("closed rollers (`roller_gap`, {}) do not reach a closure of {}", mm(gap), mm(p.cap_diameter_mm));
        r.contradiction(
            &[mt.side("roller_gap"), pt.side("cap_diameter")],
            what,
            "close the stops further, or measure again",
        );
    }
}
