//! The closure under plunger and rollers: how far it descends, where the rollers may touch it, how high the plunger must rise.
//!
//! A closure stands pitch × turns higher when it is put on than when it is tight. Rollers keep their height while it descends, so that their
//! rims must lie on the skirt, below the lip, both before and after.

use super::checks::Check;
use super::figures::Figure;
use super::finish;
use super::setup::{Position, RESERVE_MM};
use super::worked::{CLEARANCE_MM, Worked, stroke};
use crate::job::spec::{Job, TightenSpec};
use timing_core::Actuator;

/// Kept between a roller's rim and the edges of the skirt, mm. Common practice.
const RIM_MARGIN_MM: f64 = 0.5;
/// How much a tyre gives at the closure on each side, mm: least, likely, most. Assumed for elastomer tyres.
const TYRE_MM: (f64, f64, f64) = (0.5, 1.0, 2.0);
/// Height of a rim where the job gives none, mm. Assumed.
const RIM_MM: f64 = 5.0;

/// What the closure descends in a turn, mm; `None` where neither finish nor pitch is given.
#[must_use]
pub fn pitch_mm(job: &Job) -> Option<f64> {
    let b = &job.product.body;
    b.pitch_mm.or_else(|| b.finish.and_then(finish::named).map(|f| f.pitch_mm))
}

/// How far the closure descends while it is tightened, mm; 0 with a closure that is only pressed on or a pitch that is not known.
#[must_use]
pub fn advance_mm(job: &Job) -> f64 {
    if job.product.tighten == TightenSpec::SeatOnly {
        return 0.0;
    }
    pitch_mm(job).unwrap_or(0.0) * job.product.turns
}

/// Where the middle of the rims may be, above the belt, mm: between the skirt's lower edge before, and the lip after; `None` without the closure's
/// measures. Empty when the first is the larger.
#[must_use]
pub fn rim_window_mm(job: &Job) -> Option<(f64, f64)> {
    let b = &job.product.body;
    let (lip, skirt) = (b.lip_mm?, b.skirt_mm?);
    let half = job.machine.set.roller_width_mm.unwrap_or(RIM_MM) / 2.0 + RIM_MARGIN_MM;
    Some((lip - skirt + advance_mm(job) + half, lip - half))
}

/// Height at which the raised plunger clears a closure that is only put on, mm.
#[must_use]
pub fn plunger_clear_mm(job: &Job) -> Option<f64> {
    job.product.body.closed_mm.map(|top| top + advance_mm(job) + CLEARANCE_MM)
}

/// Plunger, rollers, gap.
#[must_use]
pub fn positions(job: &Job, _w: &Worked) -> Vec<Position> {
    let (set, p) = (&job.machine.set, &job.product);
    let mut all = Vec::new();
    let down_mm = advance_mm(job);
    if let (Some(clear), Some(top)) = (plunger_clear_mm(job), p.body.closed_mm) {
        let stroke_mm = stroke(job, Actuator::Plunger).drive.stroke_mm;
        // It must still press the tight closure and have its reserve left below.
        let high = stroke_mm.map_or(clear + 4.0 * RESERVE_MM, |s| (top + s - RESERVE_MM).max(clear));
        all.push(Position {
            name: "plunger, face above the belt, raised",
            value: clear.midpoint(high).min(clear + RESERVE_MM),
            unit: "mm",
            low: clear,
            high,
            found: set.plunger_height_mm,
            why: format!(
                "clear of a closure that is only put on, {down_mm:.1} mm higher than tight; low enough to press it home with {RESERVE_MM:.0} mm of \
                 stroke left, so that a missing closure is told by full stroke"
            ),
            check_by_hand: "a bottle with its closure put on loosely passes under the raised plunger by hand",
        });
        all.push(Position {
            name: "plunger, face above the belt, pressing",
            value: top,
            unit: "mm",
            low: top - 1.0,
            high: top + down_mm,
            found: None,
            why: "follows the closure from put on to tight; the work contact must hold over all of this, the over contact over none of it".to_owned(),
            check_by_hand: "air vented, lower it by hand on a loose and on a tight closure: work lit on both, over on neither; over without a closure",
        });
    }
    if p.tighten == TightenSpec::SeatOnly {
        return all;
    }
    if let Some((low, high)) = rim_window_mm(job) {
        all.push(Position {
            name: "rollers, middle of the rims above the belt",
            value: low.midpoint(high),
            unit: "mm",
            low,
            high,
            found: set.roller_height_mm,
            why: format!(
                "below the closure's lip when tight and on its skirt when only put on: it descends {down_mm:.1} mm, the rollers do not"
            ),
            check_by_hand: "rollers closed by hand on a loose, then on a tight closure: the rims lie on the skirt, clear of lip and neck, both times",
        });
    }
    let d = p.cap_diameter_mm;
    all.push(Position {
        name: "gap between opposite rollers, closed on nothing",
        value: d - 2.0 * TYRE_MM.1,
        unit: "mm",
        low: d - 2.0 * TYRE_MM.2,
        high: d - 2.0 * TYRE_MM.0,
        found: set.roller_gap_mm,
        why: "a little less than the closure, so that the tyres press before the stops are met (tyres assumed to give about 1 mm a side)".to_owned(),
        check_by_hand: "closed by hand on nothing, a rule across opposite rims",
    });
    all.push(Position {
        name: "gap between opposite rollers, home",
        value: d + 3.0 * CLEARANCE_MM,
        unit: "mm",
        low: d + 2.0 * CLEARANCE_MM,
        high: d + 6.0 * CLEARANCE_MM,
        found: set.roller_gap_open_mm,
        why: format!("a closure passes with {CLEARANCE_MM:.0} mm to each side; a wider gap costs time"),
        check_by_hand: "carriage home, push a bottle with its closure through by hand",
    });
    all
}

/// What closure, rollers and plunger must have room for.
#[must_use]
pub fn checks(job: &Job) -> Vec<Check> {
    let mut all = Vec::new();
    let p = &job.product;
    if p.tighten != TightenSpec::SeatOnly
        && let Some((low, high)) = rim_window_mm(job)
    {
        all.push(Check::at_least(
            "skirt left for the rollers from put on to tight",
            high - low,
            0.0,
            "mm",
            || format!(
                "take rims {:.1} mm narrower (roller_width), or lower the carriage with the closure: it descends {:.1} mm on a skirt of {:.1} mm",
                libm::ceil((low - high) * 10.0) / 10.0,
                advance_mm(job),
                p.body.skirt_mm.unwrap_or(f64::NAN)
            ),
        ));
    }
    if let (Some(clear), Some(top), Some(s)) =
        (plunger_clear_mm(job), p.body.closed_mm, stroke(job, Actuator::Plunger).drive.stroke_mm)
    {
        all.push(Check::at_least(
            "stroke of the plunger: clear of a loose closure, pressing a tight one, and a reserve",
            s,
            clear - top + RESERVE_MM,
            "mm",
            || format!("fit a plunger with at least {:.0} mm of stroke", libm::ceil(clear - top + RESERVE_MM)),
        ));
    }
    all
}

/// Turns and pitch.
#[must_use]
pub fn figures(job: &Job) -> Vec<Figure> {
    let mut out = Vec::new();
    if job.product.tighten == TightenSpec::SeatOnly {
        return out;
    }
    out.push(Figure::plain("turns of the closure", job.product.turns, ""));
    if let Some(pitch) = pitch_mm(job) {
        out.push(Figure::plain("pitch of the thread", pitch, "mm"));
        out.push(Figure::plain("descent of the closure from put on to tight", advance_mm(job), "mm"));
    }
    out
}
