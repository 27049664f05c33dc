//! Two gates and round bottles that touch: where a blade fits between them, and where everything stands.
//!
//! A blade comes from the side and its tip stops `y` short of the centre line. A bottle of radius r that leans on it has
//! its centre √(r² − y²) upstream of the blade's holding face: its nose pokes through by r − √(r² − y²).

use super::outline::Outline;
use super::search::last;
use super::worked::Worked;
use crate::job::spec::Job;

/// Half the chord's counterpart: distance along the belt from a bottle's centre to its flank at `tip_mm` from the centre line,
/// √(r² − y²), mm; 0 where the blade does not reach the bottle.
#[must_use]
pub fn flank_mm(r_mm: f64, tip_mm: f64) -> f64 {
    libm::sqrt((r_mm * r_mm - tip_mm * tip_mm).max(0.0))
}

/// How far the nose of a leaning bottle pokes past the blade's holding face: r − √(r² − y²), mm.
#[must_use]
pub fn nose_mm(r_mm: f64, tip_mm: f64) -> f64 {
    r_mm - flank_mm(r_mm, tip_mm)
}

/// Free width for a blade between two touching bottles: 2(r − √(r² − y²)), mm.
#[must_use]
pub fn free_width_mm(r_mm: f64, tip_mm: f64) -> f64 {
    2.0 * nose_mm(r_mm, tip_mm)
}

/// The point where first and second bottle touch, upstream of the release blade's holding face: r + √(r² − y²), mm.
///
/// Not r + r: the first bottle leans on the blade's tip, not on its centre line.
#[must_use]
pub fn touching_mm(r_mm: f64, tip_mm: f64) -> f64 {
    r_mm + flank_mm(r_mm, tip_mm)
}

/// How far that point moves for each mm of radius: 1 + r/√(r² − y²).
#[must_use]
pub fn sensitivity(r_mm: f64, tip_mm: f64) -> f64 {
    1.0 + r_mm / flank_mm(r_mm, tip_mm)
}

/// The places that the entry blade (its upstream face) may have so that its blade of `blade_mm` misses every pair of bottles with radii
/// r_min … r_max: (most upstream, most downstream), coordinates, mm. Empty when the first is the larger.
#[must_use]
pub fn entry_window_mm(release_blade_mm: f64, blade_mm: f64, tip_mm: f64, r_min_mm: f64, r_max_mm: f64) -> (f64, f64) {
    // The second bottle's downstream flank comes closest behind a small first bottle, itself large.
    let low = release_blade_mm - touching_mm(r_min_mm, tip_mm) - nose_mm(r_max_mm, tip_mm);
    // The first bottle's upstream flank reaches furthest when it is large.
    let high = release_blade_mm - 2.0 * flank_mm(r_max_mm, tip_mm) - blade_mm;
    (low, high)
}

/// The same for any body: `min` and `max` are the smallest and the largest, `play_mm` is how far to either side of the centre line a bottle may stand
/// between the rails. A bottle that stands aside meets the blade's tip further out or further in.
#[must_use]
pub fn entry_window_of(
    release_blade_mm: f64,
    blade_mm: f64,
    tip_mm: f64,
    min: &Outline,
    max: &Outline,
    play_mm: f64,
) -> (f64, f64) {
    let (out, inside) = (tip_mm + play_mm, (tip_mm - play_mm).max(0.0));
    // First bottle small and standing away from the blade, second large and reaching far under it; two that stand aside from each other nest, and
    // are nearer to each other along the belt (a body and its like touch at twice the flank at half the offset).
    let apart = min.flank_mm(play_mm) + max.flank_mm(play_mm);
    let low = release_blade_mm - min.flank_mm(out) - apart + max.flank_mm(inside);
    let high = release_blade_mm - 2.0 * max.flank_mm(inside) - blade_mm;
    (low, high)
}

/// The most play that a search looks for, mm to each side.
const PLAY_MOST_MM: f64 = 20.0;

/// How far to either side bottles may stand before the entry blade, where it is, can meet one, mm; 0 if it meets one already.
#[must_use]
pub fn rail_play_mm(job: &Job, w: &Worked) -> f64 {
    let m = &job.machine;
    let free = |play: f64| {
        let (low, high) =
            entry_window_of(m.release_blade_mm, m.blade_mm, m.blade_tip_mm, &w.outline_min, &w.outline_max, play);
        low <= m.entry_blade_mm && m.entry_blade_mm <= high
    };
    last(0.0, PLAY_MOST_MM, free)
}

/// Where blade tips may stop, from the centre line, mm: far enough out that the window between two bottles leaves `play_mm` on both sides of the blade,
/// and not where a body slides off sideways.
#[must_use]
pub fn tip_window_mm(job: &Job, w: &Worked, play_mm: f64) -> (f64, f64) {
    let m = &job.machine;
    let high = w.outline_min.hold_mm();
    let fits = |tip: f64| {
        let (l, h) = entry_window_of(0.0, m.blade_mm, tip, &w.outline_min, &w.outline_max, 0.0);
        h - l >= 2.0 * play_mm
    };
    // The window widens outward: seen from its outer end, the last place that fits.
    (high - last(0.0, high, |inward| fits(high - inward)), high)
}

/// The places that the pocket eye may have, for any body.
#[must_use]
pub fn pocket_window_of(
    entry_blade_mm: f64,
    release_blade_mm: f64,
    tip_mm: f64,
    min: &Outline,
    max: &Outline,
    margin_mm: f64,
) -> (f64, f64) {
    (entry_blade_mm + min.nose_mm(tip_mm) + margin_mm, release_blade_mm + max.nose_mm(tip_mm) - margin_mm)
}

/// The places that the pocket eye may have: blocked by the bottle at the release blade, clear of the one at the entry blade, with `margin_mm` to
/// both; coordinates, mm.
#[must_use]
pub fn pocket_eye_window_mm(
    entry_blade_mm: f64,
    release_blade_mm: f64,
    tip_mm: f64,
    r_min_mm: f64,
    r_max_mm: f64,
    margin_mm: f64,
) -> (f64, f64) {
    // A small bottle pokes further past a blade than a large one.
    (entry_blade_mm + nose_mm(r_min_mm, tip_mm) + margin_mm, release_blade_mm + nose_mm(r_max_mm, tip_mm) - margin_mm)
}

/// Belt travel from registration at the release eye until the longest body has passed the release blade's downstream face, with
/// `margin_mm` on top; never negative, mm.
#[must_use]
pub fn gate_shut_travel_mm(d_max_mm: f64, eye_mm: f64, release_blade_mm: f64, blade_mm: f64, margin_mm: f64) -> f64 {
    (d_max_mm - (eye_mm - (release_blade_mm + blade_mm)) + margin_mm).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_bottles_give_the_plain_window() {
        // With one radius the window is the free width around the touching point, less the blade.
        let (low, high) = entry_window_mm(0.0, 3.0, 20.0, 32.5, 32.5);
        let centre = -touching_mm(32.5, 20.0);
        let half = free_width_mm(32.5, 20.0) / 2.0;
        assert!((low - (centre - half)).abs() < 1e-9);
        assert!((high + 3.0 - (centre + half)).abs() < 1e-9);
        // Tolerance eats into it from both sides.
        let (l2, h2) = entry_window_mm(0.0, 3.0, 20.0, 32.0, 33.0);
        assert!(l2 > low && h2 < high);
    }
}
