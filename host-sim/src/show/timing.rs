//! `timing.svg`: every signal that changed, against time.
//!
//! From top to bottom: fault flags, numbers of registered bottles, unit state, head steps, feed steps; then eyes, orders,
//! reeds, safety and line, a lane each. One panel of the first cycles, one around the first fault.

use super::bands::{self, LANE, Look};
use super::flags::{self, Flags};
use super::lanes::{Group, Signal};
use super::span::{Panel, TimeScale, View, cut, panels};
use super::svg::{Anchor, Canvas, EYE, GRID, INK, MID, N, clip};
use crate::trace::{Moment, Trace};
use std::fmt::Write as _;
use timing_core::{Contact, EventKind, FeedStep, HeadStep, Mode, UnitState};

const WIDTH: f64 = 960.0;
const LEFT: f64 = 160.0;
const PLOT: f64 = WIDTH - LEFT - 24.0;
const NAME: f64 = 11.5;

/// The timing chart as a self-contained SVG file.
#[must_use]
pub fn timing(trace: &Trace, view: &View) -> String {
    let panels = panels(trace, view.span);
    let mut c = Canvas::new();
    c.raw(bands::DEFS);
    let mut y = 26.0;
    if !view.title.is_empty() {
        c.text(16.0, y, 16.0, Anchor::Start, "font-weight=\"bold\"", &clip(&view.title, WIDTH - 40.0, 16.0));
        y += 24.0;
    }
    let (shown, steady) = choose(trace, &panels);
    let mut dense = false;
    for panel in &panels {
        let scale = TimeScale { span: panel.span, left: LEFT, width: PLOT };
        let bottom = draw(&mut c, trace, panel, &scale, &shown, y, &mut dense);
        y = bottom + 22.0;
    }
    let mut note = String::from(
        "How to read it: a lane is filled while the thing named at its left is so (eye blocked, contact made, order given) and a thin \
         line while it is not. Safety lanes are a line while well and hatched while open. Numbers in circles: a bottle is registered at \
         the release eye. Flags: faults.",
    );
    if dense {
        note.push_str(" Lanes with too many changes to tell apart are shaded by the share of time they are on; ask for a shorter span to see the edges.");
    }
    if !steady.is_empty() {
        let _ = write!(note, " On all through, and not drawn: {}.", steady.join(", "));
    }
    y = c.paragraph(16.0, y, WIDTH - 90.0, 11.0, &note);
    let title = if view.title.is_empty() { "Timing chart".to_owned() } else { format!("Timing chart: {}", view.title) };
    let desc = format!(
        "Unit state, head and feed steps, and {} on/off signals against time, in {}.",
        shown.len(),
        if panels.len() == 1 { "one panel" } else { "two panels" }
    );
    c.finish("timing", WIDTH, y + 4.0, &title, &desc)
}

/// The signals that change in a panel, and the names of those that are on throughout. Chain and guard, which every
/// station has, are always shown unless they are closed throughout.
fn choose(trace: &Trace, panels: &[Panel]) -> (Vec<Signal>, Vec<&'static str>) {
    let mut shown = Vec::new();
    let mut steady = Vec::new();
    let parts: Vec<&[Moment]> = panels.iter().map(|p| cut(&trace.moments, p.span)).collect();
    for group in Group::ALL {
        for signal in Signal::all().filter(|s| s.group() == group) {
            let levels = || parts.iter().flat_map(|p| p.iter()).map(|m| signal.level(m));
            let changes =
                parts.iter().any(|p| p.windows(2).any(|w| matches!(w, [a, b] if signal.level(a) != signal.level(b))));
            let on = levels().next().unwrap_or(false);
            let open =
                matches!(signal, Signal::Contact(Contact::Chain | Contact::Guard)) && !on && !trace.moments.is_empty();
            if changes || open || levels().any(|l| l != on) {
                shown.push(signal);
            } else if on {
                steady.push(signal.name());
            }
        }
    }
    (shown, steady)
}

fn draw(
    c: &mut Canvas,
    trace: &Trace,
    panel: &Panel,
    scale: &TimeScale,
    shown: &[Signal],
    top: f64,
    dense: &mut bool,
) -> f64 {
    let moments = cut(&trace.moments, panel.span);
    let flags = Flags::place(trace, scale);
    flags::heading(c, 16.0, top, panel, &flags.remark());
    let flag_top = top + 12.0;
    let mut y = flag_top + flags.height();
    let registered_y = y + 10.0;
    y += 24.0;

    // Heights first, so that the grid can lie below everything.
    let groups: Vec<(Group, Vec<Signal>)> = Group::ALL
        .into_iter()
        .map(|g| (g, shown.iter().copied().filter(|s| s.group() == g).collect::<Vec<_>>()))
        .filter(|(_, s)| !s.is_empty())
        .collect();
    let speeds = speed_range(moments);
    let speed_height = if speeds.is_some() { 34.0 } else { 0.0 };
    let lanes: f64 = groups.iter().map(|(_, s)| 15.0 + s.len() as f64 * LANE).sum();
    // The usual mode is not worth a band.
    let modes = moments.iter().any(|m| m.mode != Mode::Production);
    let mode_height = if modes { 28.0 } else { 0.0 };
    let bottom = y + mode_height + 22.0 + 6.0 + 66.0 + 6.0 + 22.0 + 6.0 + speed_height + lanes + 4.0;
    flags::grid(c, scale, y, bottom);

    let name = |c: &mut Canvas, y: f64, text: &str| c.text(LEFT - 8.0, y, NAME, Anchor::End, "", text);
    let bold =
        |c: &mut Canvas, y: f64, text: &str| c.text(LEFT - 8.0, y, NAME, Anchor::End, "font-weight=\"bold\"", text);
    if modes {
        bold(c, y + 15.0, "Mode");
        *dense |= bands::band(c, moments, scale, (y, 22.0), |m| m.mode, bands::mode_face, |m| m != Mode::Production);
        y += mode_height;
    }
    bold(c, y + 15.0, "Unit state");
    *dense |= bands::band(c, moments, scale, (y, 22.0), |m| m.unit, bands::unit_face, |u| u != UnitState::Execute);
    y += 28.0;
    bold(c, y + 37.0, "Head");
    *dense |= bands::band(c, moments, scale, (y, 66.0), |m| m.head, bands::head_face, |h| h != HeadStep::Vacant);
    y += 72.0;
    bold(c, y + 15.0, "Feed");
    *dense |= bands::band(c, moments, scale, (y, 22.0), |m| m.feed, bands::feed_face, |f| f != FeedStep::Filling);
    y += 28.0;
    if let Some(range) = speeds {
        speed(c, moments, scale, y, range);
        y += speed_height;
    }
    for (group, signals) in groups {
        c.line(16.0, y + 1.0, scale.right(), y + 1.0, &format!("stroke=\"{GRID}\" stroke-width=\"1\""));
        c.text(16.0, y + 12.0, NAME, Anchor::Start, "font-weight=\"bold\"", group.name());
        y += 15.0;
        for signal in signals {
            name(c, y + 11.0, signal.name());
            let look = match group {
                Group::Eyes => Look::Bar(EYE),
                Group::Orders => Look::Bar(INK),
                Group::Reeds | Group::Line => Look::Bar("#808080"),
                Group::Safety => Look::Safety,
            };
            *dense |= bands::lane(c, moments, scale, y, look, |m| signal.level(m));
            y += LANE;
        }
    }
    let end = flags::axis(c, scale, bottom);
    registrations(c, trace, scale, registered_y, bottom);
    flags.draw(c, flag_top, bottom);
    end
}

/// Numbered circles at registrations; where they would overlap only the tick stays.
fn registrations(c: &mut Canvas, trace: &Trace, scale: &TimeScale, y: f64, bottom: f64) {
    let first = trace.events.partition_point(|(t, _)| *t < scale.span.from_us);
    let mut taken = f64::NEG_INFINITY;
    let mut d = String::new();
    c.text(LEFT - 8.0, y + 4.0, NAME, Anchor::End, "font-weight=\"bold\"", "Bottle registered");
    for (t, e) in trace.events.iter().skip(first).take_while(|(t, _)| *t <= scale.span.to_us) {
        if e.kind != EventKind::Registered {
            continue;
        }
        let x = scale.x(*t);
        let half = flags::number_half(i64::from(e.value));
        let _ = write!(d, "M{} {}v{}", N(x), N(y + 8.5), N(6.0));
        if x - half > taken + 12.0 && x + half <= scale.right() + 12.0 {
            c.line(x, y + 8.5, x, bottom, &format!("stroke=\"{MID}\" stroke-width=\"0.8\" stroke-dasharray=\"1.5 3\""));
            flags::number(c, x, y, i64::from(e.value));
            taken = x + half;
        }
    }
    c.path(&d, &format!("fill=\"none\" stroke=\"{INK}\" stroke-width=\"1\""));
}

/// Least and most of the belt speed, if it changes by more than a hundredth.
fn speed_range(moments: &[Moment]) -> Option<(f64, f64)> {
    let speeds = moments.iter().map(|m| f64::from(m.belt_mm_s)).filter(|v| v.is_finite());
    let (lo, hi) = speeds.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), v| (lo.min(v), hi.max(v)));
    (hi - lo > 0.01 * hi.abs().max(lo.abs()) && hi > lo).then_some((lo.min(0.0), hi))
}

fn speed(c: &mut Canvas, moments: &[Moment], scale: &TimeScale, y: f64, (lo, hi): (f64, f64)) {
    const H: f64 = 24.0;
    let place = |v: f64| y + 4.0 + H - (v - lo) / (hi - lo) * H;
    c.text(LEFT - 8.0, y + 12.0, NAME, Anchor::End, "font-weight=\"bold\"", "Belt speed");
    c.text(LEFT - 8.0, y + 26.0, NAME, Anchor::End, &format!("fill=\"{MID}\""), &format!("0 … {hi:.0} mm/s"));
    c.line(scale.left, place(0.0), scale.right(), place(0.0), "stroke=\"#9a9a9a\" stroke-width=\"0.8\"");
    let mut d = String::new();
    let mut last = (f64::NEG_INFINITY, f64::NAN);
    for m in moments {
        let (x, v) = (scale.x(m.t_us), place(f64::from(m.belt_mm_s)));
        // Steps of less than half a unit in time and a tenth in height cannot be seen.
        if !v.is_finite() || (x - last.0 < 0.5 && (v - last.1).abs() < 6.0) {
            continue;
        }
        let _ = write!(d, "{}{} {}", if d.is_empty() { 'M' } else { 'L' }, N(x), N(v));
        last = (x, v);
    }
    if !d.is_empty() {
        let _ = write!(d, "H{}", N(scale.right()));
    }
    c.path(&d, &format!("fill=\"none\" stroke=\"{INK}\" stroke-width=\"1.4\""));
}
