//! Set-up positions: where each thing stands, how far off it may be, why, and how to check it by hand.
//!
//! Hands go in only when the drives are locked out and the air is vented; every check here is made on the standing machine with a rule, a square
//! and one bottle. Clearances are common practice where no formula gives them, and their reason says so.

use super::checks::Check;
use super::worked::{CLEARANCE_MM, MARGIN_MM, Worked, stroke};
use super::{carry, closure, escapement, search};
use crate::job::spec::Job;
use serde::Serialize;
use timing_core::Actuator;

/// One thing to set.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Position {
    /// What it is.
    pub name: &'static str,
    /// Where it should be.
    pub value: f64,
    /// Unit of all four figures.
    pub unit: &'static str,
    /// Least that works.
    pub low: f64,
    /// Most that works.
    pub high: f64,
    /// Where the job says that it is; absent if that was not measured.
    pub found: Option<f64>,
    /// Why it is there and no further.
    pub why: String,
    /// How to check it by hand on the stopped, vented machine.
    pub check_by_hand: &'static str,
}

impl Position {
    /// Whether it was measured, and is outside of what works.
    #[must_use]
    pub fn is_off(&self) -> bool {
        self.found.is_some_and(|x| x < self.low || x > self.high)
    }
}

/// Rails: so much wider than the widest body where bottles come in (common practice: loose at the start).
const LOOSE_MM: (f64, f64, f64) = (2.0, 3.0, 6.0);
/// And so much at the head (common practice: close there).
const CLOSE_MM: (f64, f64, f64) = (0.5, 1.0, 2.0);
/// Reserve of a stroke beyond contact, so that full stroke is told from contact, mm. Common practice.
pub const RESERVE_MM: f64 = 5.0;

/// Everything to set, in working order: down the line, then up from the belt.
#[must_use]
pub fn positions(job: &Job, w: &Worked) -> Vec<Position> {
    let mut all = rails(job, w);
    all.extend(gates(job, w));
    all.extend(eyes(job, w));
    all.extend(grip(job, w));
    all.extend(closure::positions(job, w));
    all
}

fn rails(job: &Job, w: &Worked) -> Vec<Position> {
    let set = &job.machine.set;
    let wide = 2.0 * w.outline_max.across_mm;
    let at = |(low, value, high): (f64, f64, f64)| (wide + low, wide + value, wide + high);
    let (low, value, most) = at(LOOSE_MM);
    let play = escapement::rail_play_mm(job, w);
    let high = most.min(2.0 * (w.outline_min.across_mm + play)).max(low);
    let (close_low, close, close_high) = at(CLOSE_MM);
    vec![
        Position {
            name: "guide rails at the start and the gates, clear width",
            value: value.min(high),
            unit: "mm",
            low,
            high,
            found: set.rail_start_mm,
            why: format!(
                "clear of the widest body ({wide:.1} mm), so that nothing wedges; beyond {:.1} mm of play to each side the entry blade meets \
                 a bottle, beyond {:.0} mm of clearance bottles stand askew (common practice)",
                play, LOOSE_MM.2
            ),
            check_by_hand: "slide the widest bottle through: it must never bind; feel the play on both sides with a gauge",
        },
        Position {
            name: "guide rails at the head, clear width",
            value: close,
            unit: "mm",
            low: close_low,
            high: close_high,
            found: set.rail_mm,
            why: format!(
                "close, so that plunger and rollers meet the closure on its axis; the widest body is {wide:.1} mm (common practice)"
            ),
            check_by_hand: "push the widest bottle through by hand: it slides freely; the narrowest must not wander by more than twice the clearance",
        },
    ]
}

fn gates(job: &Job, w: &Worked) -> Vec<Position> {
    let m = &job.machine;
    let (low, high) = w.entry_window_mm;
    let d = &w.outline;
    let tip = escapement::tip_window_mm(job, w, super::conditions::BLADE_PLAY_MM);
    let top = carry::grip_height_max_mm(w.d_min_mm, job.product.mu_max).min(0.9 * job.product.height_mm);
    vec![
        Position {
            name: "release blade, holding face",
            value: m.release_blade_mm,
            unit: "mm",
            // All else is reckoned from here: what the window of the release eye bears.
            low: m.release_blade_mm - (w.eye_window_mm.1 - m.release_eye_mm).max(0.0),
            high: m.release_blade_mm + (m.release_eye_mm - w.eye_window_mm.0).max(0.0),
            found: Some(m.release_blade_mm),
            why: "nearer to the release eye the edge would be seen while the bottle still slips; everything else is measured from this face"
                .to_owned(),
            check_by_hand: "gate shut by hand: from the head's centre mark along the belt to the face that the bottle leans on",
        },
        Position {
            name: "entry blade, upstream face",
            value: f64::midpoint(low, high),
            unit: "mm",
            low,
            high,
            found: Some(m.entry_blade_mm),
            why: format!(
                "the bottles touch {:.1} mm upstream of the release blade, not a whole body; {:.1} mm are free there for a blade of {:.1} mm, \
                 less what the body's tolerance takes",
                d.touching_mm(m.blade_tip_mm),
                d.free_width_mm(m.blade_tip_mm),
                m.blade_mm
            ),
            check_by_hand: "two bottles in touch against the shut release gate: the entry blade passes between them by hand without moving either",
        },
        Position {
            name: "blades above the belt",
            value: job.product.cog_mm.min(top),
            unit: "mm",
            low: (0.3 * job.product.cog_mm).min(top),
            high: top,
            found: m.set.blade_height_mm,
            why: format!(
                "near the centre of gravity ({:.0} mm) an arriving bottle is stopped without a turn; above D/(2 μ) the running belt drags the \
                 foot out; near the foot the bottle trips (least height: common practice)",
                job.product.cog_mm
            ),
            check_by_hand: "from the belt up to the middle of the blade with a square, on both gates",
        },
        Position {
            name: "blade tips from the centre line, shut",
            value: m.blade_tip_mm,
            unit: "mm",
            low: tip.0,
            high: tip.1,
            found: Some(m.blade_tip_mm),
            why: "further in, less room between two bottles; further out, a blade slides off the flank".to_owned(),
            check_by_hand: "gate shut by hand: from the belt's centre line to the tip",
        },
        Position {
            name: "release gate shuts after the release eye, travel",
            value: w.gate_shut_mm,
            unit: "mm",
            low: (w.gate_shut_mm - MARGIN_MM).max(0.0),
            high: w.gate_shut_mm + 2.0 * CLEARANCE_MM,
            found: None,
            why: "not before the longest body has passed the blade; later costs time, the next bottle waits at the entry gate".to_owned(),
            check_by_hand: "push a bottle on from the lit release eye by this travel: its tail is clear of the blade, tried by hand",
        },
    ]
}

fn eyes(job: &Job, w: &Worked) -> Vec<Position> {
    let (m, p) = (&job.machine, &job.product);
    let pocket = w.pocket_window_mm;
    let release = w.eye_window_mm;
    let b = &p.body;
    let (from, to) = (b.wall_from_mm.unwrap_or(0.1 * p.height_mm), b.wall_to_mm.unwrap_or(0.6 * p.height_mm));
    let aim_low = from + MARGIN_MM + m.eye_beam_mm / 2.0;
    let aim_high = (to - MARGIN_MM - m.eye_beam_mm / 2.0).max(aim_low);
    let wall = if b.wall_from_mm.is_some() && b.wall_to_mm.is_some() {
        ""
    } else {
        " (wall assumed, give wall_from and wall_to)"
    };
    let mid = |w: (f64, f64)| f64::midpoint(w.0, w.1);
    let mut all = vec![
        Position {
            name: "pocket eye",
            value: mid(pocket),
            unit: "mm",
            low: pocket.0,
            high: pocket.1,
            found: Some(m.pocket_eye_mm),
            why: "blocked by the bottle at the release gate, clear of the one that the entry gate holds".to_owned(),
            check_by_hand: "a bottle against the shut release gate lights it, one against the shut entry gate does not",
        },
        Position {
            name: "release eye",
            value: mid(release),
            unit: "mm",
            low: release.0,
            high: release.1,
            found: Some(m.release_eye_mm),
            why: format!(
                "upstream of {:.1} mm the bottle still slips when its edge is seen (blade, friction_min, belt speed); downstream of {:.1} mm its \
                 length is not known when the grip is ordered (body, belt speed, stroke of the grip)",
                release.0, release.1
            ),
            check_by_hand: "push a bottle down until the eye lights: from its nose to the head's centre mark",
        },
        Position {
            name: "from pocket eye to release eye",
            value: mid(release) - mid(pocket),
            unit: "mm",
            low: release.0 - pocket.1,
            high: release.1 - pocket.0,
            found: Some(m.release_eye_mm - m.pocket_eye_mm),
            why: "what this body needs so that each sees its own bottle and the second sees it rolling".to_owned(),
            check_by_hand: "from beam to beam along the belt; hold a card into each beam, only its own lamp must go out",
        },
        Position {
            name: "beams of the eyes above the belt",
            value: f64::midpoint(aim_low, aim_high),
            unit: "mm",
            low: aim_low,
            high: aim_high,
            found: m.set.eye_height_mm,
            why: format!(
                "on the upright wall, {from:.0} to {to:.0} mm{wall}: on a shoulder or a foot's radius the edge comes late; across the belt, square \
                 to it"
            ),
            check_by_hand: "square on the belt beside the bottle: the spot sits on the upright wall; on clear glass look for where it switches",
        },
    ];
    let need = 1.5 * w.d_max_mm + CLEARANCE_MM;
    all.push(Position {
        name: "discharge eye, downstream of the head",
        value: need.max(m.discharge_eye_mm.unwrap_or(need)),
        unit: "mm",
        low: need,
        high: m.reject_mm.unwrap_or(f64::max(3.0 * w.d_max_mm, need)),
        found: m.discharge_eye_mm,
        why: "a bottle that it sees has left the head with room for the next; upstream of the diverter".to_owned(),
        check_by_hand: "a bottle in the grip and one in touch behind it must both leave it clear",
    });
    if m.supply_eye_mm.is_some() {
        all.push(Position {
            name: "supply eye",
            value: m.entry_blade_mm - w.d_mm / 2.0,
            unit: "mm",
            low: m.entry_blade_mm - w.d_mm,
            high: m.entry_blade_mm - MARGIN_MM,
            found: m.supply_eye_mm,
            why: "on the body that waits at the entry gate, within one body of it".to_owned(),
            check_by_hand: "a bottle against the shut entry gate lights it",
        });
    }
    all
}

fn grip(job: &Job, w: &Worked) -> Vec<Position> {
    let (m, p) = (&job.machine, &job.product);
    let half = w.outline.across_mm;
    let foot = carry::grip_height_max_mm(w.d_min_mm, p.mu_max);
    let high = foot.min(p.body.wall_to_mm.unwrap_or(0.6 * p.height_mm));
    let low = grip_low_mm(job, w).max(p.body.wall_from_mm.unwrap_or(0.0)).min(high);
    let jaw_mm = jaw_travel_mm(job, w);
    let given = stroke(job, Actuator::Grip).drive.stroke_mm;
    vec![
        Position {
            name: "support, face from the centre line",
            value: half,
            unit: "mm",
            low: w.outline_min.across_mm,
            high: w.outline_max.across_mm,
            found: m.set.support_mm,
            why: "the jaw presses the body against it: its face decides where the closure's axis is under plunger and rollers".to_owned(),
            check_by_hand: "gripped by hand, the closure's middle is plumb under the plunger's",
        },
        Position {
            name: "jaw and support above the belt",
            value: p.cog_mm.clamp(low, high),
            unit: "mm",
            low,
            high,
            found: m.set.grip_height_mm,
            why: format!(
                "above D/(2 μ) = {foot:.0} mm the belt under the body drags its foot out; below {low:.0} mm a body stopped from this belt speed \
                 tips over the jaw; on the upright wall"
            ),
            check_by_hand: "from the belt to the middle of the jaw with a square; the jaw lies flat on the wall, not on a shoulder",
        },
        Position {
            name: "travel of the jaw, home to contact",
            value: jaw_mm,
            unit: "mm",
            low: jaw_mm,
            high: given.map_or(jaw_mm + 4.0 * RESERVE_MM, |s| (s - RESERVE_MM).max(jaw_mm)),
            found: None,
            why: format!(
                "home, its tips clear the widest body by {CLEARANCE_MM:.0} mm; from contact to full stroke at least {RESERVE_MM:.0} mm are left, so \
                 that an empty grip is told from a full one"
            ),
            check_by_hand: "air vented, push the jaw by hand: against a bottle the work contact lights and the over contact does not; without one, both ends",
        },
    ]
}

/// Lowest grip that stops this body at this belt speed without tipping it, mm above the belt.
#[must_use]
pub fn grip_low_mm(job: &Job, w: &Worked) -> f64 {
    let p = &job.product;
    // Seen from the centre of gravity downward, the last height that holds.
    p.cog_mm
        - search::last(0.0, p.cog_mm, |down| {
            carry::catch_tip_mm_s(w.d_min_mm, p.height_mm, p.cog_mm, p.cog_mm - down) >= w.v_mm_s
        })
}

/// What was measured and is outside of what works.
#[must_use]
pub fn checks(positions: &[Position]) -> Vec<Check> {
    // These four have checks of their own, with more to say.
    let own = ["entry blade, upstream face", "pocket eye", "release eye", "discharge eye, downstream of the head"];
    // And these follow from others, or are looked at when a job is read.
    let follow = ["from pocket eye to release eye", "release blade, holding face", "supply eye"];
    positions
        .iter()
        .filter(|p| !own.contains(&p.name) && !follow.contains(&p.name))
        .filter_map(|p| {
            let x = p.found?;
            let name = format!("position: {}", p.name);
            let mend = || {
                format!(
                    "set it to {:.1} {u}, between {:.1} and {:.1} {u}; it is at {x:.1} {u}",
                    p.value,
                    p.low,
                    p.high,
                    u = p.unit
                )
            };
            Some(if x - p.low <= p.high - x {
                Check::at_least(name, x, p.low, p.unit, mend)
            } else {
                Check::at_most(name, x, p.high, p.unit, mend)
            })
        })
        .collect()
}

/// Travel from home, tips clear of the widest body, to contact, mm.
#[must_use]
pub fn jaw_travel_mm(job: &Job, w: &Worked) -> f64 {
    let m = &job.machine;
    let a = m.jaw_half_angle_deg.to_radians();
    // The flanks meet h/sin α from the body's centre; the tips lie m/tan α nearer to it.
    let apex = w.outline_min.to_flank_mm(m.jaw_half_angle_deg) / libm::sin(a);
    let tips = apex - m.jaw_half_mouth_mm / libm::tan(a);
    (w.outline_max.across_mm + CLEARANCE_MM - tips).max(0.0)
}
