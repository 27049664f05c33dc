//! `travel.svg`: the distance–time chart. Time runs to the right, the belt upwards; each bottle is a band as high as its
//! body is long. Blades are thick where they are shut, eyes thick where they are blocked, and a bracket marks the grip.

use super::flags::{self, Flags, LABEL};
use super::marks::{HALO, HEIGHT, PlaceScale, gates_and_eyes, grips, gutter, head, spread};
use super::paths;
use super::span::{Panel, TimeScale, View, cut, panels};
use super::svg::{Anchor, Canvas, GRID, INK, MID, N, clip, text_width};
use crate::trace::{BottlePath, Trace};
use std::fmt::Write as _;
use timing_core::Why;

const WIDTH: f64 = 960.0;
const LEFT: f64 = 168.0;
const RIGHT: f64 = 112.0;
const PLOT: f64 = WIDTH - LEFT - RIGHT;
/// More bottles than this in a panel lose their outlines, so that crowding shows as shade.
const CROWD: usize = 60;
/// About this many bottles are drawn in a panel.
const MOST: usize = 400;

/// A bottle and its way through a panel: (time µs, place mm).
type Way<'a> = (&'a BottlePath, Vec<(f64, f64)>);

/// What a bottle's band looks like, by what became of it.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Face {
    Good,
    Closure,
    Uncaught,
    Hurt,
    Taken,
    Passed,
    Flagged,
    Open,
}

impl Face {
    const ALL: [Self; 8] =
        [Self::Good, Self::Closure, Self::Uncaught, Self::Hurt, Self::Taken, Self::Passed, Self::Flagged, Self::Open];

    fn of(outcome: &str) -> Self {
        match outcome {
            "tight" => Self::Good,
            "loose" | "crossed" | "uncapped" => Self::Closure,
            "off centre" | "missed" => Self::Uncaught,
            "tipped" | "struck by gate" | "struck by bottle" | "spun in grip" => Self::Hurt,
            "taken" => Self::Taken,
            "" => Self::Open,
            // What a controller tells of a bottle, in a recording.
            told if told == Why::Good.words() => Self::Passed,
            told if Why::ALL.iter().any(|w| w.words() == told) => Self::Flagged,
            _ => Self::Open,
        }
    }

    fn fill(self) -> &'static str {
        match self {
            Self::Good | Self::Passed => "#b9dcf2",
            Self::Closure | Self::Flagged => "url(#travel-closure)",
            Self::Uncaught => "url(#travel-uncaught)",
            Self::Hurt => "url(#travel-hurt)",
            Self::Taken => "url(#travel-taken)",
            Self::Open => "#f4f4f4",
        }
    }

    fn stroke(self) -> &'static str {
        match self {
            Self::Good | Self::Passed => "stroke=\"#0072B2\" stroke-width=\"1.2\"",
            Self::Closure | Self::Uncaught | Self::Hurt | Self::Flagged => "stroke=\"#8a3700\" stroke-width=\"1.6\"",
            Self::Taken => "stroke=\"#5f5f5f\" stroke-width=\"1.2\"",
            Self::Open => "stroke=\"#808080\" stroke-width=\"1\" stroke-dasharray=\"5 3\"",
        }
    }

    fn words(self) -> &'static str {
        match self {
            Self::Good => "tight",
            Self::Closure => "loose, crossed or uncapped",
            Self::Uncaught => "missed or off centre",
            Self::Hurt => "tipped, struck or spun",
            Self::Taken => "taken by hand",
            Self::Passed => "counted good",
            Self::Flagged => "flagged, or not counted good",
            Self::Open => "not finished",
        }
    }
}

const DEFS: &str = "<defs>\n\
    <pattern id=\"travel-closure\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\">\
    <rect width=\"7\" height=\"7\" fill=\"#fdebdc\"/><rect width=\"2\" height=\"7\" fill=\"#C24E00\"/></pattern>\n\
    <pattern id=\"travel-uncaught\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\">\
    <rect width=\"7\" height=\"7\" fill=\"#fdf3dc\"/><rect width=\"2\" height=\"7\" fill=\"#8f6400\"/></pattern>\n\
    <pattern id=\"travel-hurt\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\">\
    <rect width=\"7\" height=\"7\" fill=\"#fdebdc\"/><path d=\"M0 0H7M0 0V7\" stroke=\"#8a3700\" stroke-width=\"2.6\"/></pattern>\n\
    <pattern id=\"travel-taken\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\">\
    <rect width=\"7\" height=\"7\" fill=\"#f4f4f4\"/><circle cx=\"3.5\" cy=\"3.5\" r=\"1.3\" fill=\"#404040\"/></pattern>\n</defs>\n";

/// The distance–time chart as a self-contained SVG file.
#[must_use]
pub fn travel(trace: &Trace, view: &View) -> String {
    let panels = panels(trace, view.span);
    let mut c = Canvas::new();
    c.raw(DEFS);
    let mut y = 26.0;
    if !view.title.is_empty() {
        c.text(16.0, y, 16.0, Anchor::Start, "font-weight=\"bold\"", &clip(&view.title, WIDTH - 40.0, 16.0));
        y += 24.0;
    }
    let mut seen: Vec<Face> = Vec::new();
    for (i, panel) in panels.iter().enumerate() {
        let scale = TimeScale { span: panel.span, left: LEFT, width: PLOT };
        y = draw(&mut c, trace, panel, i, &scale, y, &mut seen) + 22.0;
    }
    y = legend(&mut c, y, &seen);
    y = c.paragraph(16.0, y, WIDTH - 90.0,
        11.0,
        "How to read it: each band is one bottle, as high as its body is long; the steeper, the faster; level = standing. A blade is a \
         thick line while it is ordered shut and broken while open: a band may pass it only where it is broken (beside a shut blade a round \
         body reaches past it by a few millimetres). The diverter is thick \
         while it diverts. An eye is thick while blocked. The bracket over the head shows how long the grip holds; its figure is how far off centre the jaw met the bottle \
         (+ = downstream, late). The grey band is what the jaw can capture.",
    );
    let title = if view.title.is_empty() {
        "Distance–time chart".to_owned()
    } else {
        format!("Distance–time chart: {}", view.title)
    };
    let desc =
        format!("The ways of {} bottles past gates, eyes, head and diverter, against time.", trace.bottles.len());
    c.finish("travel", WIDTH, y + 4.0, &title, &desc)
}

fn draw(
    c: &mut Canvas,
    trace: &Trace,
    panel: &Panel,
    index: usize,
    scale: &TimeScale,
    top: f64,
    seen: &mut Vec<Face>,
) -> f64 {
    let moments = cut(&trace.moments, panel.span);
    let flags = Flags::place(trace, scale);
    let mut place = PlaceScale::new(&trace.places);
    let flag_top = top + 12.0;
    let ends_y = flag_top + flags.height();
    place.top = ends_y + 2.0 * ROW + 4.0;
    let clip_id = format!("travel-plot-{index}");
    c.put(format_args!(
        "<clipPath id=\"{clip_id}\"><rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/></clipPath>\n",
        N(scale.left),
        N(place.top),
        N(scale.width),
        N(HEIGHT)
    ));
    flags::grid(c, scale, place.top, place.bottom());
    head(c, &trace.places, scale, &place);

    let end_us = trace.end_us.max(panel.span.to_us);
    let (ways, every) = ways(trace, scale, &place, end_us);
    let crowd = ways.len() > CROWD;
    c.put(format_args!("<g clip-path=\"url(#{clip_id})\">\n"));
    for (bottle, way) in &ways {
        let face = Face::of(bottle.outcome);
        if !seen.contains(&face) {
            seen.push(face);
        }
        bottle_band(c, bottle, way, face, scale, &place, ways.len() > CROWD);
    }
    c.raw("</g>\n");
    gates_and_eyes(c, trace, moments, scale, &place);
    grips(c, trace, moments, scale, &place, !crowd);
    c.rect(scale.left, place.top, scale.width, HEIGHT, &format!("fill=\"none\" stroke=\"{INK}\" stroke-width=\"1\""));
    let bottom = flags::axis(c, scale, place.bottom());
    gutter(c, &trace.places, scale, &place);
    flags.draw(c, flag_top, place.bottom());
    numbers(c, &ways, scale, &place, if crowd { 60.0 } else { 0.0 });
    let unlabelled = ends(c, &ways, scale, &place, ends_y, crowd);
    let mut remark = flags.remark();
    if crowd {
        remark.push_str(" — many bottles: only those that are not tight are named; ask for a shorter span");
    }
    if every > 1 {
        let _ = write!(remark, " — drawn: one tight bottle in {every}, and all others");
    }
    if unlabelled > 0 {
        let _ = write!(remark, " — {unlabelled} bottles found no room for their label");
    }
    flags::heading(c, 16.0, top, panel, &remark);
    bottom
}

/// The bottles to draw with their ways, and of how many tight ones one is drawn: a run of thousands would be a black
/// page and a file of many megabytes.
fn ways<'a>(trace: &'a Trace, scale: &TimeScale, place: &PlaceScale, end_us: u64) -> (Vec<Way<'a>>, usize) {
    let all: Vec<Way<'_>> = trace
        .bottles
        .iter()
        .map(|b| {
            let half = b.length_mm / 2.0;
            (b, paths::trim(paths::sample(b, scale, end_us), place.lo_mm - half, place.hi_mm + half))
        })
        .filter(|(_, way)| way.len() > 1)
        .collect();
    let every = all.len().div_ceil(MOST).max(1);
    let mut good = 0;
    let drawn = all.into_iter().filter(|(b, _)| {
        if Face::of(b.outcome) != Face::Good {
            return true;
        }
        good += 1;
        (good - 1) % every == 0
    });
    (drawn.collect(), every)
}

fn bottle_band(
    c: &mut Canvas,
    b: &BottlePath,
    way: &[(f64, f64)],
    face: Face,
    scale: &TimeScale,
    place: &PlaceScale,
    crowd: bool,
) {
    let half = b.length_mm / 2.0;
    let mut d = String::new();
    for (i, &(t, x)) in way.iter().enumerate() {
        let _ = write!(d, "{}{} {}", if i == 0 { 'M' } else { 'L' }, N(scale.x_of(t)), N(place.y(x + half)));
    }
    for &(t, x) in way.iter().rev() {
        let _ = write!(d, "L{} {}", N(scale.x_of(t)), N(place.y(x - half)));
    }
    d.push('z');
    if crowd {
        c.path(&d, &format!("fill=\"{}\" fill-opacity=\"0.5\"", face.fill()));
    } else {
        c.path(
            &d,
            &format!("fill=\"{}\" fill-opacity=\"0.92\" stroke-linejoin=\"round\" {}", face.fill(), face.stroke()),
        );
    }
}

/// Each bottle's number where its band first shows.
fn numbers(c: &mut Canvas, ways: &[Way<'_>], scale: &TimeScale, place: &PlaceScale, apart: f64) {
    let mut taken: Vec<(f64, f64)> = Vec::new();
    for (b, way) in ways {
        let inside = way.iter().find(|&&(_, x)| place.y(x) < place.bottom() - 10.0 && place.y(x) > place.top + 10.0);
        let Some(&(t, x)) = inside else { continue };
        let half = flags::number_half(i64::from(b.number));
        let (cx, cy) = (scale.x_of(t).max(scale.left + half + 6.0).min(scale.right() - half - 2.0), place.y(x));
        if taken.iter().all(|(ox, oy)| (ox - cx).abs() > (2.0 * half + 2.0).max(apart) || (oy - cy).abs() > 18.0) {
            flags::number(c, cx, cy, i64::from(b.number));
            taken.push((cx, cy));
        }
    }
}

const ROW: f64 = 15.0;

/// What became of each bottle, at its end: above the plot where it rides out, beside the plot where the chart ends first,
/// inside where it is taken away. Returns how many found no room.
fn ends(c: &mut Canvas, ways: &[Way<'_>], scale: &TimeScale, place: &PlaceScale, top: f64, crowd: bool) -> usize {
    let mut rows = [f64::NEG_INFINITY; 2];
    let mut beside: Vec<(f64, String)> = Vec::new();
    let mut unlabelled = 0;
    for (b, way) in ways {
        let Some(&(t_end, x_end)) = way.last() else {
            continue;
        };
        let out = way.first().filter(|f| f.1 >= place.hi_mm).map(|f| f.0);
        let past = out.or_else(|| paths::reaches(way, place.hi_mm));
        let word = if b.outcome.is_empty() { "unfinished" } else { b.outcome };
        let text = format!("{} {word}", b.number);
        let w = text_width(&text, LABEL);
        if crowd && Face::of(b.outcome) == Face::Good {
            continue;
        }
        if let Some(t) = past {
            let x = (scale.x_of(t) - w / 2.0).clamp(scale.left, scale.right() - w);
            match rows.iter_mut().enumerate().find(|(_, end)| x > **end + 6.0) {
                Some((row, end)) => {
                    *end = x + w;
                    let y = top + 2.0 * ROW - row as f64 * ROW;
                    c.text(x, y, LABEL, Anchor::Start, "font-weight=\"bold\"", &text);
                    c.line(
                        scale.x_of(t),
                        y + 2.0,
                        scale.x_of(t),
                        place.top,
                        &format!("stroke=\"{GRID}\" stroke-width=\"1\""),
                    );
                }
                None => unlabelled += 1,
            }
        } else if b.gone_us.is_some_and(|g| g <= scale.span.to_us) && t_end < scale.span.to_us as f64 - 1.0 {
            let x = (scale.x_of(t_end) + 5.0).min(scale.right() - w - 2.0);
            c.text(x, place.y(x_end) + 4.0, LABEL, Anchor::Start, &format!("{HALO} font-weight=\"bold\""), &text);
        } else if x_end > place.lo_mm {
            // Upstream of the head nothing has become of it yet.
            let text = if x_end > -b.length_mm / 2.0 { text } else { format!("{} to come", b.number) };
            beside.push((place.y(x_end), text));
        }
    }
    beside.sort_by(|a, b| a.0.total_cmp(&b.0));
    let room = (HEIGHT / 14.0) as usize;
    unlabelled += beside.len().saturating_sub(room);
    beside.truncate(room);
    let wish: Vec<f64> = beside.iter().map(|b| b.0).collect();
    for ((y, text), at) in beside.iter().zip(spread(&wish, 14.0, place.top + 6.0, place.bottom() - 6.0)) {
        c.path(
            &format!("M{} {}L{} {}", N(scale.right()), N(*y), N(scale.right() + 10.0), N(at)),
            &format!("fill=\"none\" stroke=\"{MID}\" stroke-width=\"0.8\""),
        );
        c.text(scale.right() + 13.0, at + 4.0, LABEL, Anchor::Start, "font-weight=\"bold\"", text);
    }
    unlabelled
}

fn legend(c: &mut Canvas, y: f64, seen: &[Face]) -> f64 {
    let mut x = 16.0;
    for face in Face::ALL.into_iter().filter(|f| seen.contains(f)) {
        c.rect(x, y - 10.0, 26.0, 13.0, &format!("fill=\"{}\" {}", face.fill(), face.stroke()));
        c.text(x + 32.0, y, LABEL, Anchor::Start, "", face.words());
        x += 32.0 + text_width(face.words(), LABEL) + 22.0;
    }
    if seen.is_empty() { y } else { y + 22.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_outcome_of_the_judge_has_its_look() {
        use crate::verdict::Outcome;
        for outcome in Outcome::ALL {
            let open = matches!(Face::of(outcome.word()), Face::Open);
            assert_eq!(open, outcome == Outcome::Unfinished, "{}", outcome.word());
        }
    }
}
