//! The station from above, to scale: belt, gates, eyes, grip and head where the plan has them.

use super::marks::spread;
use super::svg::{Anchor, Canvas, EYE, GRID, INK, MID, N};
use crate::job::spec::Job;
use crate::plan::Plan;

const WIDTH: f64 = 1000.0;
const SIDE: f64 = 24.0;
const LABEL: f64 = 13.0;
/// Height of the names above the belt, two lines and their leaders.
const NAMES: f64 = 92.0;
/// Least distance between the middles of two names.
const APART: f64 = 118.0;
/// What is drawn beside the belt for blades, jaw and support, mm.
const BESIDE_MM: f64 = 26.0;

/// From millimetres on the machine to the drawing: `x` along the belt, `y` across it, both from the head centre.
struct Scale {
    lo_mm: f64,
    per_mm: f64,
    centre: f64,
}

impl Scale {
    fn x(&self, mm: f64) -> f64 {
        SIDE + (mm - self.lo_mm) * self.per_mm
    }

    fn y(&self, mm: f64) -> f64 {
        self.centre + mm * self.per_mm
    }
}

/// Something that has a place along the belt.
struct Mark {
    x_mm: f64,
    name: &'static str,
    is_eye: bool,
}

/// A plan view of the station as planned, as a self-contained SVG file. Lengths along and across the belt are to one scale.
#[must_use]
pub fn sketch(job: &Job, plan: &Plan) -> String {
    let (m, w) = (&job.machine, &plan.worked);
    let r = w.d_mm / 2.0;
    let marks = marks(job);
    let first = marks.first().map_or(m.entry_blade_mm, |k| k.x_mm).min(m.entry_blade_mm);
    let last = marks.last().map_or(0.0, |k| k.x_mm).max(r);
    let (lo, hi) = (first - 1.2 * w.d_mm, last + 0.9 * w.d_mm);
    let per_mm = (WIDTH - 2.0 * SIDE) / (hi - lo);
    let half = r + BESIDE_MM;
    // The jaw reaches further out than the belt.
    let jaw = r / libm::sin(m.jaw_half_angle_deg.to_radians()) + 16.0;
    let scale = Scale { lo_mm: lo, per_mm, centre: NAMES + half * per_mm };
    let bottom = scale.y(half.max(jaw));
    let height = bottom + 84.0;
    let c = &mut Canvas::new();

    let belt = r + 8.0;
    c.rect(SIDE, scale.y(-belt), WIDTH - 2.0 * SIDE, 2.0 * belt * per_mm, "fill=\"#efefef\"");
    for side in [-belt, belt] {
        c.line(SIDE, scale.y(side), WIDTH - SIDE, scale.y(side), &format!("stroke=\"{MID}\" stroke-width=\"1\""));
    }
    let axis = format!("stroke=\"{MID}\" stroke-width=\"1\" stroke-dasharray=\"12 3 2 3\"");
    c.line(SIDE, scale.y(0.0), WIDTH - SIDE, scale.y(0.0), &axis);

    jaw_and_support(c, job, &scale, r);
    let rest = w.rest_mm - r;
    for (x, word) in [(rest - w.d_mm, "second"), (rest, "first"), (0.0, "caught")] {
        bottle(c, &scale, x, r, word);
    }
    for face in [m.entry_blade_mm, m.release_blade_mm] {
        let (top, tip) = (scale.y(-half), scale.y(-m.blade_tip_mm));
        c.rect(scale.x(face), top, m.blade_mm * per_mm, tip - top, &format!("fill=\"{INK}\""));
    }
    for k in marks.iter().filter(|k| k.is_eye) {
        let x = scale.x(k.x_mm);
        let beam = format!("stroke=\"{EYE}\" stroke-width=\"2\" stroke-dasharray=\"5 3\"");
        c.line(x, scale.y(-half), x, scale.y(half), &beam);
        for y in [scale.y(-half), scale.y(half)] {
            c.rect(x - 4.0, y - 4.0, 8.0, 8.0, &format!("fill=\"{EYE}\""));
        }
    }
    names(c, &marks, &scale, half);
    ruler(c, &scale, lo, hi, bottom + 14.0);
    travel(c, &scale, m.release_eye_mm, r, w.catch_mm, bottom + 56.0);
    c.text(SIDE, height - 6.0, LABEL, Anchor::Start, &format!("fill=\"{MID}\""), "The belt runs to the right.");
    if let Some(x) = m.reject_mm.filter(|x| *x > hi) {
        let text = format!("The diverter, at {x:.0} mm, lies beyond the sketch. →");
        c.text(WIDTH - SIDE, height - 6.0, LABEL, Anchor::End, &format!("fill=\"{MID}\""), &text);
    }
    std::mem::replace(c, Canvas::new()).finish(
        "sketch",
        WIDTH,
        height,
        "The station from above, to scale",
        "Belt, gates, eyes, grip and head at their planned places, in millimetres from the head centre",
    )
}

/// All marks, upstream first.
fn marks(job: &Job) -> Vec<Mark> {
    let m = &job.machine;
    let part = |x_mm, name| Mark { x_mm, name, is_eye: false };
    let eye = |x_mm, name| Mark { x_mm, name, is_eye: true };
    let mut all = vec![
        part(m.entry_blade_mm, "entry blade"),
        eye(m.pocket_eye_mm, "pocket eye"),
        part(m.release_blade_mm, "release blade"),
        eye(m.release_eye_mm, "release eye"),
        part(0.0, "head centre"),
    ];
    all.extend(m.supply_eye_mm.map(|x| eye(x, "supply eye")));
    all.extend(m.discharge_eye_mm.map(|x| eye(x, "discharge eye")));
    all.extend(m.cap_eye_mm.map(|x| eye(x, "closure eye")));
    all.sort_by(|a, b| a.x_mm.total_cmp(&b.x_mm));
    all
}

fn bottle(c: &mut Canvas, scale: &Scale, x: f64, r: f64, word: &str) {
    c.put(format_args!(
        "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"#bcdcf1\" fill-opacity=\"0.85\" stroke=\"{EYE}\" stroke-width=\"1.5\"/>\n",
        N(scale.x(x)),
        N(scale.y(0.0)),
        N(r * scale.per_mm)
    ));
    c.text(scale.x(x), scale.y(0.0) - 6.0, LABEL, Anchor::Middle, "", word);
}

/// The V jaw closed on the bottle, and the support behind it.
fn jaw_and_support(c: &mut Canvas, job: &Job, scale: &Scale, r: f64) {
    let m = &job.machine;
    let angle = m.jaw_half_angle_deg.to_radians();
    let (mouth, apex) = (m.jaw_half_mouth_mm, r / libm::sin(angle));
    let lip = apex - mouth / libm::tan(angle);
    let back = apex + 10.0;
    let corner = |x: f64, y: f64| format!("{} {}", N(scale.x(x)), N(scale.y(y)));
    let d = format!(
        "M{}L{}L{}L{}L{}z",
        corner(-mouth, lip),
        corner(0.0, apex),
        corner(mouth, lip),
        corner(mouth, back),
        corner(-mouth, back)
    );
    c.path(&d, &format!("fill=\"#cfcfcf\" stroke=\"{INK}\" stroke-width=\"1.5\""));
    let pad = (r * 0.5).min(20.0);
    let face = format!("fill=\"#cfcfcf\" stroke=\"{INK}\" stroke-width=\"1.5\"");
    c.rect(scale.x(-pad), scale.y(-r - 8.0), 2.0 * pad * scale.per_mm, 8.0 * scale.per_mm, &face);
    let small = format!("fill=\"{MID}\"");
    c.text(scale.x(pad) + 6.0, scale.y(-r - 8.0) + 12.0, LABEL, Anchor::Start, &small, "support");
    c.text(scale.x(0.0), scale.y(back) - 5.0, LABEL, Anchor::Middle, "", "V jaw");
}

fn names(c: &mut Canvas, marks: &[Mark], scale: &Scale, half: f64) {
    let wish: Vec<f64> = marks.iter().map(|k| scale.x(k.x_mm)).collect();
    let room = SIDE + APART / 2.0 - 12.0;
    for (k, at) in marks.iter().zip(spread(&wish, APART, room, WIDTH - room)) {
        let weight = if k.is_eye { "" } else { "font-weight=\"bold\"" };
        c.text(at, 18.0, LABEL, Anchor::Middle, weight, k.name);
        c.text(at, 35.0, LABEL, Anchor::Middle, weight, &coordinate(k.x_mm));
        let (x, top) = (scale.x(k.x_mm), scale.y(-half) - 6.0);
        let d = format!("M{} 41L{} {}", N(at), N(x), N(top));
        c.path(&d, &format!("fill=\"none\" stroke=\"{MID}\" stroke-width=\"0.8\""));
    }
}

/// A coordinate as people read it: with its sign.
fn coordinate(x_mm: f64) -> String {
    if x_mm == 0.0 {
        "0".to_owned()
    } else {
        format!("{}{:.1} mm", if x_mm < 0.0 { "\u{2212}" } else { "+" }, x_mm.abs())
    }
}

fn ruler(c: &mut Canvas, scale: &Scale, lo: f64, hi: f64, y: f64) {
    let ink = format!("stroke=\"{MID}\" stroke-width=\"1\"");
    c.line(scale.x(lo), y, scale.x(hi), y, &ink);
    let mut mm = (lo / 10.0).ceil() * 10.0;
    while mm <= hi {
        let long = (mm / 50.0).fract() == 0.0;
        c.line(scale.x(mm), y, scale.x(mm), y + if long { 9.0 } else { 5.0 }, &ink);
        if long {
            c.text(scale.x(mm), y + 22.0, 11.0, Anchor::Middle, &format!("fill=\"{MID}\""), &format!("{mm:.0}"));
            c.line(scale.x(mm), y, scale.x(mm), y - 6.0, &format!("stroke=\"{GRID}\""));
        }
        mm += 10.0;
    }
}

/// The catch travel: a nose at the release eye rides on by this much until its bottle is under the head.
fn travel(c: &mut Canvas, scale: &Scale, eye: f64, r: f64, travel_mm: f64, y: f64) {
    let (from, to) = (scale.x(eye), scale.x(r));
    let ink = format!("fill=\"none\" stroke=\"{INK}\" stroke-width=\"1.2\"");
    let d = format!(
        "M{a} {y}L{b} {y}M{a} {t}L{a} {u}M{b} {t}L{b} {u}",
        a = N(from),
        b = N(to),
        y = N(y),
        t = N(y - 6.0),
        u = N(y + 6.0)
    );
    c.path(&d, &ink);
    let text = format!("catch travel of a nose {travel_mm:.1} mm");
    c.text((from + to) / 2.0, y - 5.0, LABEL, Anchor::Middle, "", &text);
}
