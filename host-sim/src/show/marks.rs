//! What stands still on the distance–time chart: head, blades, eyes and diverter as lines, the grip's brackets, and the
//! names of the places.

use super::bands::{density, runs};
use super::flags::LABEL;
use super::paths;
use super::span::TimeScale;
use super::svg::{Anchor, Canvas, EYE, INK, MID, N, TROUBLE, text_width};
use crate::trace::{Moment, Places, Trace};
use std::fmt::Write as _;
use timing_core::{Actuator, Contact};

/// Height of the plot.
pub(crate) const HEIGHT: f64 = 440.0;
/// A white rim that keeps text readable on any ground.
pub(crate) const HALO: &str =
    "stroke=\"#ffffff\" stroke-width=\"3.5\" stroke-linejoin=\"round\" paint-order=\"stroke\"";
/// More pieces of a line than this are shaded by the share of time.
const DENSE: usize = 200;

/// From a place to a y of the drawing.
#[derive(Clone, Copy)]
pub(crate) struct PlaceScale {
    pub(crate) lo_mm: f64,
    pub(crate) hi_mm: f64,
    pub(crate) top: f64,
}

impl PlaceScale {
    pub(crate) fn new(p: &Places) -> Self {
        let d = if p.diameter_mm > 1.0 { p.diameter_mm } else { 65.0 };
        let up =
            [p.entry_blade_mm, Some(p.release_blade_mm), p.supply_eye_mm].into_iter().flatten().fold(0.0, f64::min);
        let down = [p.discharge_eye_mm, p.reject_mm].into_iter().flatten().fold(1.5 * d, f64::max);
        Self { lo_mm: up - 1.6 * d, hi_mm: down + 0.8 * d, top: 0.0 }
    }

    pub(crate) fn y(&self, x_mm: f64) -> f64 {
        self.top + (self.hi_mm - x_mm) / (self.hi_mm - self.lo_mm) * HEIGHT
    }

    pub(crate) fn bottom(&self) -> f64 {
        self.top + HEIGHT
    }
}

/// The head: what the jaw captures as a grey band, its centre as a line of dashes and dots.
pub(crate) fn head(c: &mut Canvas, p: &Places, scale: &TimeScale, place: &PlaceScale) {
    let (top, bottom) = (place.y(p.capture_mm), place.y(-p.capture_mm));
    c.rect(scale.left, top, scale.width, bottom - top, "fill=\"#e9e9e9\"");
    c.line(
        scale.left,
        place.y(0.0),
        scale.right(),
        place.y(0.0),
        &format!("stroke=\"{MID}\" stroke-width=\"1\" stroke-dasharray=\"10 3 2 3\""),
    );
}

/// When an actuator is ordered to work, as runs: with two coils, the last order stands.
fn ordered(moments: &[Moment], scale: &TimeScale, a: Actuator) -> Vec<(u64, u64, bool)> {
    let two_coils = moments.iter().any(|m| m.orders.home(a));
    let mut work = false;
    let mut out: Vec<(u64, u64, bool)> = Vec::new();
    for m in moments {
        let stays = two_coils && !m.orders.home(a);
        work = m.orders.work(a) || (work && stays);
        let t = m.t_us.clamp(scale.span.from_us, scale.span.to_us);
        match out.last_mut() {
            Some(last) if last.2 == work => {}
            Some(last) => {
                last.1 = t;
                out.push((t, scale.span.to_us, work));
            }
            None => out.push((t, scale.span.to_us, work)),
        }
    }
    out
}

/// A horizontal line at `y` where `on` holds: as it is, or shaded by the share of time where it changes too often to see.
fn line_where(
    c: &mut Canvas,
    runs: &[(u64, u64, bool)],
    on: bool,
    scale: &TimeScale,
    y: f64,
    (colour, width, more): (&str, f64, &str),
) {
    if runs.len() > DENSE {
        for (x0, x1, share) in density(runs, scale, |level| level == on) {
            if share > 0.0 {
                c.line(
                    x0,
                    y,
                    x1,
                    y,
                    &format!("stroke=\"{colour}\" stroke-width=\"{width}\" stroke-opacity=\"{share:.2}\" {more}"),
                );
            }
        }
        return;
    }
    let mut d = String::new();
    for &(from, to, _) in runs.iter().filter(|r| r.2 == on) {
        let x0 = scale.x(from);
        let _ = write!(d, "M{} {}H{}", N(x0), N(y), N(scale.x(to).max(x0 + 1.0)));
    }
    c.path(&d, &format!("fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\" {more}"));
}

/// Eyes as dotted lines, thick while blocked; blades and diverter thick while shut, broken while open.
pub(crate) fn gates_and_eyes(c: &mut Canvas, trace: &Trace, moments: &[Moment], scale: &TimeScale, place: &PlaceScale) {
    let p = &trace.places;
    let eyes = [
        (p.pocket_eye_mm, Contact::PocketEye),
        (Some(p.release_eye_mm), Contact::ReleaseEye),
        (p.discharge_eye_mm, Contact::DischargeEye),
        (p.supply_eye_mm, Contact::SupplyEye),
    ];
    for (x, contact) in eyes {
        let Some(x) = x else { continue };
        let y = place.y(x);
        c.line(
            scale.left,
            y,
            scale.right(),
            y,
            &format!("stroke=\"{EYE}\" stroke-width=\"1\" stroke-dasharray=\"1.5 4\""),
        );
        let blocked = runs(moments, scale, |m| m.contacts.has(contact));
        line_where(c, &blocked, true, scale, y, ("#ffffff", 6.0, ""));
        line_where(c, &blocked, true, scale, y, (EYE, 3.4, ""));
    }
    let blades = [
        (p.entry_blade_mm, Actuator::EntryGate, INK),
        (Some(p.release_blade_mm), Actuator::ReleaseGate, INK),
        (p.reject_mm, Actuator::Reject, TROUBLE),
    ];
    for (x, actuator, colour) in blades {
        let Some(x) = x else { continue };
        let y = place.y(x);
        let work = ordered(moments, scale, actuator);
        if work.len() <= DENSE {
            line_where(c, &work, true, scale, y, (colour, 1.2, "stroke-dasharray=\"8 6\""));
        }
        line_where(c, &work, false, scale, y, (colour, 4.5, ""));
    }
}

/// A bracket over each stay of the grip on work, with its length and how far off centre the bottle was met.
pub(crate) fn grips(
    c: &mut Canvas,
    trace: &Trace,
    moments: &[Moment],
    scale: &TimeScale,
    place: &PlaceScale,
    labels: bool,
) {
    let reed = trace.moments.iter().any(|m| m.contacts.has(Contact::GripWork));
    let on: Vec<(u64, u64, bool)> =
        runs(moments, scale, |m| if reed { m.contacts.has(Contact::GripWork) } else { m.orders.work(Actuator::Grip) });
    let half = trace.places.diameter_mm / 2.0;
    let (y, below) = (place.y(half) - 5.0, place.y(-half) + 5.0);
    let mut taken = f64::NEG_INFINITY;
    for (from, to, _) in on.into_iter().filter(|r| r.2) {
        let (x0, x1) = (scale.x(from), scale.x(to));
        if x1 - x0 < 3.0 {
            continue;
        }
        let d = format!(
            "M{0} {1}V{2}H{3}V{1}M{0} {4}V{5}H{3}V{4}",
            N(x0),
            N(y + 7.0),
            N(y),
            N(x1),
            N(below - 7.0),
            N(below)
        );
        c.path(&d, "fill=\"none\" stroke=\"#ffffff\" stroke-width=\"5\"");
        c.path(&d, &format!("fill=\"none\" stroke=\"{INK}\" stroke-width=\"2.4\""));
        if !labels {
            continue;
        }
        let mid = (from + to) as f64 / 2.0;
        let held = trace.bottles.iter().find(|b| {
            b.gone_us.is_none_or(|g| g as f64 >= mid)
                && paths::at(b, mid).is_some_and(|x| x.abs() <= trace.places.capture_mm.max(5.0))
        });
        let off =
            held.and_then(|b| b.off_centre_mm).map_or(String::new(), |off| format!(", {off:+.1} mm").replace('-', "−"));
        let full = format!("held {:.2} s{off}", (to - from) as f64 * 1e-6);
        // A label much wider than its bracket would run over the next bottle.
        let fits = |text: &str| text_width(text, LABEL) < x1 - x0 + 70.0;
        let text = if fits(&full) { full } else { off.trim_start_matches(", ").to_owned() };
        if !text.is_empty() && fits(&text) {
            let w = text_width(&text, LABEL);
            let x = ((x0 + x1) / 2.0).clamp(scale.left + w / 2.0, scale.right() - w / 2.0);
            if x - w / 2.0 > taken {
                c.text(x, y - 5.0, LABEL, Anchor::Middle, HALO, &text);
                taken = x + w / 2.0 + 4.0;
            }
        }
    }
}

/// Names of the places left of the plot, pushed apart, each with a leader to its line.
pub(crate) fn gutter(c: &mut Canvas, p: &Places, scale: &TimeScale, place: &PlaceScale) {
    let all = [
        (p.entry_blade_mm, "entry blade", true),
        (Some(p.release_blade_mm), "release blade", true),
        (p.pocket_eye_mm, "pocket eye", false),
        (Some(p.release_eye_mm), "release eye", false),
        (Some(0.0), "head centre", true),
        (p.discharge_eye_mm, "discharge eye", false),
        (p.supply_eye_mm, "supply eye", false),
        (p.reject_mm, "diverter", true),
    ];
    let mut rows: Vec<(f64, String, bool)> = all
        .into_iter()
        .filter_map(|(x, name, bold)| x.map(|x| (place.y(x), format!("{name} {}", signed(x)), bold)))
        .collect();
    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
    let wish: Vec<f64> = rows.iter().map(|r| r.0).collect();
    let got = spread(&wish, 14.0, place.top + 6.0, place.bottom() - 20.0);
    for ((y, name, bold), at) in rows.iter().zip(got) {
        let attrs = if *bold { "font-weight=\"bold\"" } else { "" };
        c.text(scale.left - 22.0, at + 4.0, LABEL, Anchor::End, attrs, name);
        c.path(
            &format!("M{} {}L{} {}H{}", N(scale.left - 19.0), N(at), N(scale.left - 6.0), N(*y), N(scale.left)),
            &format!("fill=\"none\" stroke=\"{MID}\" stroke-width=\"0.8\""),
        );
    }
    c.text(16.0, place.bottom() - 3.0, LABEL, Anchor::Start, &format!("fill=\"{MID}\""), "mm; belt runs up");
}

fn signed(x: f64) -> String {
    let text = N(x).to_string();
    if x > 0.0 { format!("+{text}") } else { text.replace('-', "−") }
}

/// Moves sorted wishes apart to at least `gap`, within `lo … hi` as far as they fit, each as little as a forward and a
/// backward pass allow.
pub(crate) fn spread(wish: &[f64], gap: f64, lo: f64, hi: f64) -> Vec<f64> {
    let mut at: Vec<f64> = wish.to_vec();
    let mut least = lo;
    for y in &mut at {
        *y = y.max(least);
        least = *y + gap;
    }
    let mut most = hi;
    for y in at.iter_mut().rev() {
        *y = y.min(most);
        most = *y - gap;
    }
    at
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_spread_without_leaving_the_plot_or_their_order() {
        let got = spread(&[10.0, 12.0, 13.0, 95.0, 99.0], 14.0, 6.0, 100.0);
        assert!(got.windows(2).all(|w| matches!(w, [a, b] if b - a >= 14.0)), "{got:?}");
        assert!(got.iter().all(|y| (6.0..=100.0).contains(y)), "{got:?}");
    }
}
