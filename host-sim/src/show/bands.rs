//! Bands of states and steps, and lanes of on/off signals, for the timing chart.
//!
//! Where changes lie closer than the eye can tell apart, the band or lane is shaded by the share of time instead.

use super::span::TimeScale;
use super::svg::{Anchor, Canvas, EYE, INK, MID, N, text_width};
use crate::trace::Moment;
use std::fmt::Write as _;
use timing_core::{FeedStep, HeadStep, Mode, UnitState};

/// More changes than this in a panel are shaded by density.
const DENSE: usize = 360;
/// Width of a cell of density.
const CELL: f64 = 3.0;
/// Height of an on/off lane.
pub(crate) const LANE: f64 = 15.0;

/// How an on/off signal is drawn.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Look {
    /// Filled while on.
    Bar(&'static str),
    /// A thin line while on, hatched while off: off is what matters.
    Safety,
}

/// Time ranges in which `value` holds the same, within the scale's span.
pub(crate) fn runs<T: Copy + PartialEq>(
    moments: &[Moment],
    scale: &TimeScale,
    value: impl Fn(&Moment) -> T,
) -> Vec<(u64, u64, T)> {
    let span = scale.span;
    let mut out: Vec<(u64, u64, T)> = Vec::new();
    for m in moments {
        let (t, v) = (m.t_us.clamp(span.from_us, span.to_us), value(m));
        match out.last_mut() {
            Some(last) if last.2 == v => {}
            Some(last) => {
                last.1 = t;
                if last.0 == last.1 {
                    out.pop();
                }
                match out.last() {
                    Some(l) if l.2 == v => {}
                    _ => out.push((t, span.to_us, v)),
                }
                if let Some(l) = out.last_mut() {
                    l.1 = span.to_us;
                }
            }
            None => out.push((t, span.to_us, v)),
        }
    }
    out
}

/// Share of each cell's time in which `on` holds, in steps of a sixteenth; equal neighbours merged.
pub(crate) fn density<T: Copy>(
    runs: &[(u64, u64, T)],
    scale: &TimeScale,
    on: impl Fn(T) -> bool,
) -> Vec<(f64, f64, f64)> {
    let cells = libm::ceil(scale.width / CELL) as usize;
    let cell_us = scale.us_per_unit() * CELL;
    let mut shares = vec![0.0_f64; cells];
    for &(from, to, _) in runs.iter().filter(|r| on(r.2)) {
        let (a, b) = (
            from.saturating_sub(scale.span.from_us) as f64 / cell_us,
            to.saturating_sub(scale.span.from_us) as f64 / cell_us,
        );
        for (i, cell) in shares.iter_mut().enumerate().take(libm::ceil(b) as usize).skip(a as usize) {
            *cell += (b.min(i as f64 + 1.0) - a.max(i as f64)).max(0.0);
        }
    }
    let mut out: Vec<(f64, f64, f64)> = Vec::new();
    for (i, s) in shares.iter().enumerate() {
        let level = libm::round(s.min(1.0) * 16.0) / 16.0;
        let x = scale.left + i as f64 * CELL;
        let right = (x + CELL).min(scale.right());
        match out.last_mut() {
            Some(last) if last.2 == level => last.1 = right,
            _ => out.push((x, right, level)),
        }
    }
    out
}

/// An on/off lane whose top is `y`; returns whether it had to be shaded by density.
pub(crate) fn lane(
    c: &mut Canvas,
    moments: &[Moment],
    scale: &TimeScale,
    y: f64,
    look: Look,
    level: impl Fn(&Moment) -> bool,
) -> bool {
    let runs = runs(moments, scale, level);
    let (top, h) = (y + 2.5, LANE - 5.0);
    let (colour, shown) = match look {
        Look::Bar(colour) => (colour, true),
        Look::Safety => ("url(#timing-trouble)", false),
    };
    c.line(scale.left, top + h, scale.right(), top + h, "stroke=\"#9a9a9a\" stroke-width=\"0.8\"");
    if runs.len() > DENSE {
        for (x0, x1, share) in density(&runs, scale, |on| on == shown) {
            if share > 0.0 {
                let attrs = format!("fill=\"{colour}\" fill-opacity=\"{:.3}\"", share);
                c.rect(x0, top, x1 - x0, h, &attrs);
            }
        }
        return true;
    }
    let mut d = String::new();
    let mut hatched = Vec::new();
    for &(from, to, on) in &runs {
        let (x0, x1) = (scale.x(from), scale.x(to));
        // A pulse too short to see is still drawn one unit wide.
        let w = (x1 - x0).max(1.0);
        if on == shown {
            if shown {
                let _ = write!(d, "M{} {}h{}v{}h-{}z", N(x0), N(top), N(w), N(h), N(w));
            } else {
                hatched.push((x0, w));
            }
        } else if !shown {
            c.line(x0, top + h / 2.0, x1, top + h / 2.0, &format!("stroke=\"{MID}\" stroke-width=\"2\""));
        }
    }
    c.path(&d, &format!("fill=\"{colour}\""));
    for (x, w) in hatched {
        c.rect(x, top, w, h, &format!("fill=\"{colour}\" stroke=\"{}\" stroke-width=\"1\"", super::svg::TROUBLE));
    }
    false
}

/// Fill and name of one value of a band.
pub(crate) struct Face {
    pub(crate) fill: &'static str,
    pub(crate) name: &'static str,
}

/// A band whose top is `y`: names stand in it, upright where only that fits. Returns whether it was shaded by density.
pub(crate) fn band<T: Copy + PartialEq>(
    c: &mut Canvas,
    moments: &[Moment],
    scale: &TimeScale,
    (y, h): (f64, f64),
    value: impl Fn(&Moment) -> T,
    face: impl Fn(T) -> Face,
    busy: impl Fn(T) -> bool,
) -> bool {
    let runs = runs(moments, scale, value);
    if runs.len() > DENSE {
        for (x0, x1, share) in density(&runs, scale, busy) {
            c.rect(x0, y, x1 - x0, h, &format!("fill=\"{EYE}\" fill-opacity=\"{:.3}\"", share));
        }
        c.rect(scale.left, y, scale.width, h, &format!("fill=\"none\" stroke=\"{INK}\" stroke-width=\"0.8\""));
        return true;
    }
    for &(from, to, v) in &runs {
        let (x0, x1) = (scale.x(from), scale.x(to));
        let face = face(v);
        c.rect(x0, y, x1 - x0, h, &format!("fill=\"{}\" stroke=\"{INK}\" stroke-width=\"0.8\"", face.fill));
        label(c, (x0, x1), (y, h), face.name);
    }
    false
}

fn label(c: &mut Canvas, (x0, x1): (f64, f64), (y, h): (f64, f64), name: &str) {
    const HALO: &str = "stroke=\"#ffffff\" stroke-width=\"3\" stroke-linejoin=\"round\" paint-order=\"stroke\"";
    let (mid, w) = ((x0 + x1) / 2.0, x1 - x0);
    // The estimate is on the wide side; a letter over the edge would show, a missing name hurts more.
    let fits = |size: f64, room: f64| text_width(name, size) * 0.92 + 3.0 <= room;
    if let Some(size) = [11.5, 10.0].into_iter().find(|size| fits(*size, w)) {
        c.text(mid, y + h / 2.0 + 4.0, size, Anchor::Middle, HALO, name);
    } else if w >= 10.5 && fits(10.0, h) {
        let (tx, ty) = (mid + 3.6, y + h / 2.0);
        let attrs = format!("{HALO} transform=\"rotate(-90 {} {})\"", N(tx), N(ty));
        c.text(tx, ty, 10.0, Anchor::Middle, &attrs, name);
    }
}

/// The unit state: white at rest, light while acting, blue in Execute, hatched in trouble.
pub(crate) fn unit_face(s: UnitState) -> Face {
    use UnitState as S;
    let fill = match s {
        S::Stopped | S::Idle | S::Completed => "#ffffff",
        S::Resetting | S::Starting | S::Stopping | S::Clearing | S::Completing | S::Unholding | S::Unsuspending => {
            "#e4e4e4"
        }
        S::Execute => "#b9dcf2",
        S::Suspending | S::Suspended => "url(#timing-wait)",
        S::Holding | S::Held => "url(#timing-trouble)",
        S::Aborting | S::Aborted => "url(#timing-abort)",
    };
    Face { fill, name: s.name() }
}

/// The mode: what is not production is grey.
pub(crate) fn mode_face(m: Mode) -> Face {
    let fill = match m {
        Mode::Production => "#ffffff",
        Mode::Maintenance => "#e4e4e4",
        Mode::Manual => "#c4c4c4",
    };
    Face { fill, name: m.name() }
}

/// The head step: darker towards the middle of the cycle.
pub(crate) fn head_face(s: HeadStep) -> Face {
    let fill = match s {
        HeadStep::Vacant => "#ffffff",
        HeadStep::Incoming | HeadStep::Leaving => "#eaf4fb",
        HeadStep::Catch | HeadStep::LetGo => "#cbe4f4",
        HeadStep::Seat | HeadStep::Lift => "#a3cfea",
        HeadStep::Engage | HeadStep::Disengage => "#7ab8de",
        HeadStep::Tighten => "#4f9ccb",
    };
    Face { fill, name: s.name() }
}

/// The feed step.
pub(crate) fn feed_face(s: FeedStep) -> Face {
    let fill = match s {
        FeedStep::Filling => "#ffffff",
        FeedStep::Loaded => "#e4e4e4",
        FeedStep::Releasing => "#a3cfea",
        FeedStep::Shutting => "#cbe4f4",
    };
    Face { fill, name: s.name() }
}

/// Hatches of the timing chart.
pub(crate) const DEFS: &str = "<defs>\n\
    <pattern id=\"timing-trouble\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\">\
    <rect width=\"6\" height=\"6\" fill=\"#ffffff\"/><rect width=\"2.4\" height=\"6\" fill=\"#C24E00\"/></pattern>\n\
    <pattern id=\"timing-abort\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\">\
    <rect width=\"6\" height=\"6\" fill=\"#f3d9c8\"/><path d=\"M0 0H6M0 0V6\" stroke=\"#8a3700\" stroke-width=\"3\"/></pattern>\n\
    <pattern id=\"timing-wait\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\">\
    <rect width=\"6\" height=\"6\" fill=\"#fbf6cf\"/><circle cx=\"3\" cy=\"3\" r=\"1\" fill=\"#6b6200\"/></pattern>\n</defs>\n";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::show::span::Span;

    fn moment(t_us: u64, head: HeadStep) -> Moment {
        Moment {
            t_us,
            contacts: timing_core::Contacts::NONE,
            orders: timing_core::Orders::SAFE,
            unit: UnitState::Execute,
            mode: timing_core::Mode::Production,
            head,
            feed: FeedStep::Filling,
            belt: 0,
            belt_mm_s: 0.0,
        }
    }

    #[test]
    fn runs_tile_the_span_and_merge_what_is_equal() {
        let scale = TimeScale { span: Span { from_us: 10, to_us: 100 }, left: 0.0, width: 90.0 };
        let m = [
            moment(0, HeadStep::Vacant),
            moment(20, HeadStep::Vacant),
            moment(30, HeadStep::Catch),
            moment(30, HeadStep::Vacant),
            moment(50, HeadStep::Seat),
        ];
        let r = runs(&m, &scale, |m| m.head);
        assert_eq!(r, vec![(10, 50, HeadStep::Vacant), (50, 100, HeadStep::Seat)]);
    }

    #[test]
    fn density_is_the_share_of_time() {
        let scale = TimeScale { span: Span { from_us: 0, to_us: 900 }, left: 0.0, width: 90.0 };
        // 30 cells of 30 µs; on for the first half of each.
        let runs: Vec<(u64, u64, bool)> = (0..60).map(|i| (i * 15, i * 15 + 15, i % 2 == 0)).collect();
        assert_eq!(density(&runs, &scale, |on| on), vec![(0.0, 90.0, 0.5)]);
    }
}
