//! The list of conditions that a plan must meet, in the order of a bottle's way.

use super::chart::freed_ms;
use super::checks::Check;
use super::worked::{CLEARANCE_MM, Worked, stroke, to_home_ms, to_work_ms};
use super::{carry, catch, escapement, tighten};
use crate::job::spec::{Job, TightenSpec};
use timing_core::Actuator;

/// Lateral play that the entry blade's window must leave, mm to each bottle.
pub const BLADE_PLAY_MM: f64 = 1.0;

/// All conditions of a job at one belt speed, but those of early release and of the cycle.
#[must_use]
pub fn conditions(job: &Job, w: &Worked) -> Vec<Check> {
    let mut all = escapement_checks(job, w);
    all.extend(eye_checks(job, w));
    all.extend(catch_checks(job, w));
    all.extend(stand_checks(job, w));
    all.extend(head_checks(job, w));
    all.extend(super::forces::checks(job, w));
    all.extend(super::closure::checks(job));
    all
}

fn escapement_checks(job: &Job, w: &Worked) -> Vec<Check> {
    let m = &job.machine;
    let (low, high) = w.entry_window_mm;
    let to_bottle = (m.entry_blade_mm - low).min(high - m.entry_blade_mm);
    let best = f64::midpoint(low, high);
    let fit = || {
        if (high - low) / 2.0 < BLADE_PLAY_MM {
            format!(
                "no place fits this blade: blade_thickness is {:.1} mm, and between touching bottles {:.1} mm are free at blade_tip {:.1} mm, less the \
             tolerance; use a blade of at most {:.1} mm, reach less far in (blade_tip), or narrow the diameter's tolerance",
                m.blade_mm,
                w.outline.free_width_mm(m.blade_tip_mm),
                m.blade_tip_mm,
                (m.blade_mm + high - low - 2.0 * BLADE_PLAY_MM).max(0.0)
            )
        } else {
            format!(
                "set the entry blade's upstream face at {best:.1} mm ({:.1} mm from where it is)",
                best - m.entry_blade_mm
            )
        }
    };
    let (p_low, p_high) = w.pocket_window_mm;
    let mut all = vec![
        Check::at_least("entry blade between first and second bottle", to_bottle, BLADE_PLAY_MM, "mm", fit),
        Check::at_least("pocket eye clear of the bottle at the entry gate", m.pocket_eye_mm, p_low, "mm", || {
            format!("set the pocket eye between {p_low:.1} and {p_high:.1} mm")
        }),
        Check::at_most("pocket eye blocked by the bottle at the release gate", m.pocket_eye_mm, p_high, "mm", || {
            format!("set the pocket eye between {p_low:.1} and {p_high:.1} mm")
        }),
    ];
    if let Some(rails) = m.set.rail_start_mm {
        let play = rails / 2.0 - w.outline_min.across_mm;
        let (low, high) = escapement::entry_window_of(
            m.release_blade_mm,
            m.blade_mm,
            m.blade_tip_mm,
            &w.outline_min,
            &w.outline_max,
            play,
        );
        all.push(Check::at_least(
            "entry blade between bottles that stand aside within the rails",
            (m.entry_blade_mm - low).min(high - m.entry_blade_mm),
            0.0,
            "mm",
            || {
                if low < high {
                    format!(
                        "set the entry blade at {:.1} mm, or close the rails (rail_width_start)",
                        f64::midpoint(low, high)
                    )
                } else {
                    format!(
                        "close the rails (rail_width_start): {play:.1} mm of play to each side leave the blade no place"
                    )
                }
            },
        ));
    }
    all
}

fn eye_checks(job: &Job, w: &Worked) -> Vec<Check> {
    let m = &job.machine;
    let (low, high) = w.eye_window_mm;
    let mend = || {
        if low <= high {
            format!("set the release eye between {low:.1} and {high:.1} mm")
        } else {
            format!(
                "no place for the release eye at this speed: it must stand downstream of {low:.1} mm, where pick-up slip ends (release_blade, friction_min, \
             belt_speed), and upstream of {high:.1} mm, where the body is measured in time for the grip (diameter, belt_speed, strokes of the grip); move \
             the gates at least {:.1} mm upstream, slow the belt, or quicken the grip",
                low - high
            )
        }
    };
    let accept_ms = m.eye_on_ms + m.eye_filter_ms;
    vec![
        Check::at_least("release eye past the pick-up slip", m.release_eye_mm, low, "mm", mend).of_speed(),
        Check::at_most("release eye early enough to measure the body", m.release_eye_mm, high, "mm", mend).of_speed(),
        Check::at_least(
            "body in the release eye longer than its filter",
            w.travel_ms(w.d_min_mm),
            2.0 * accept_ms,
            "ms",
            "shorten the eye filter or slow the belt",
        )
        .of_speed(),
        Check::at_least(
            "travel left for the lead of the grip",
            w.catch_mm - job.product.aim_early_mm - w.way_mm(accept_ms),
            w.lead_mm,
            "mm",
            "slow the belt, quicken the grip, or move the release eye upstream",
        )
        .of_speed(),
    ]
}

fn catch_checks(job: &Job, w: &Worked) -> Vec<Check> {
    let (m, p) = (&job.machine, &job.product);
    // When the grip is known to be open, and the next is let go, the last has been free for its stroke and the contact's filter.
    let grip = stroke(job, Actuator::Grip);
    let told_ms = if grip.home { m.contact_filter_ms } else { grip.margin_ms };
    let open_ms = (grip.to_home_ms - grip.spread_ms).max(0.0) + told_ms;
    let mut all = vec![
        Check::at_most(
            "belt speed",
            w.v_mm_s,
            m.belt_speed_max_mm_s,
            "mm/s",
            "slow the belt, or correct belt_speed_max",
        )
        .of_speed(),
        Check::at_most(
            "centring error against the jaw's capture",
            w.centring.sum_mm(),
            w.capture_mm,
            "mm",
            "slow the belt, steady the grip's stroke, move the release eye downstream of the slip, or widen the jaw",
        )
        .of_speed(),
        // A bottle may part from the belt at the stop, and again at the start.
        Check::at_most(
            "uncertainty after a belt stop, against the capture",
            w.centring.position_mm() + 2.0 * w.slip_u_mm(),
            w.capture_mm,
            "mm",
            "slow the belt, soften its ramp, or widen the jaw",
        )
        .of_speed(),
        Check::at_most(
            "jaw friction lets the V centre",
            m.jaw_mu,
            catch::centring_friction(m.jaw_half_angle_deg),
            "",
            "line the jaw with a slicker material, or take a smaller half angle",
        ),
        Check::at_most(
            "bottle at the release gate clear of the head",
            w.rest_mm,
            -w.head_clear_mm,
            "mm",
            "move the gates upstream, or take a jaw with a narrower mouth",
        ),
        Check::at_least(
            "head free before the next catch is ordered",
            w.d_mm / 2.0 - w.rest_mm - job.product.aim_early_mm - w.lead_mm
                + w.way_mm(freed_ms(job, Actuator::ReleaseGate) + open_ms)
                + w.slip_least_mm,
            w.leave_mm,
            "mm",
            "move the gates upstream, quicken the grip, or slow the belt",
        )
        .of_speed(),
    ];
    if let Some(x) = m.discharge_eye_mm {
        // A bottle is free as soon as the grip moves. One that the eye sees before its let-go is known belongs to nobody.
        let way = x - m.eye_beam_mm / 2.0 - w.d_max_mm / 2.0;
        let seen_ms = carry::ride_ms(w.v_mm_s, p.mu_max, way) + m.eye_on_ms + m.eye_filter_ms;
        let told_ms = grip.to_home_ms
            + grip.spread_ms
            + if grip.home { m.contact_bounce_ms + m.contact_filter_ms } else { grip.margin_ms };
        all.push(
            Check::at_least(
                "let-go known before the bottle reaches the discharge eye",
                seen_ms,
                told_ms,
                "ms",
                "quicken the grip's way back, wire its home contact, move the discharge eye downstream, or slow the belt",
            )
            .of_speed(),
        );
    }
    all
}

fn stand_checks(job: &Job, w: &Worked) -> Vec<Check> {
    let (m, p) = (&job.machine, &job.product);
    let mut all = vec![
        Check::at_most(
            "bottle slides before it tips at pick-up",
            p.mu_max,
            carry::tip_limit(w.d_min_mm, p.cog_mm),
            "",
            "lubricate the belt, or guide the bottle at the height of its centre of gravity",
        ),
        Check::at_most(
            "belt speed against a stop at the foot (worst case)",
            w.v_mm_s,
            carry::foot_stop_mm_s(w.d_min_mm, p.height_mm, p.cog_mm),
            "mm/s",
            "slow the belt; a blade near the centre of gravity is kinder than one at the foot",
        )
        .of_speed(),
        // Friction passes on no more than it can; a gentle belt asks for less.
        Check::at_most(
            "bottle stands a belt start or stop",
            (m.belt_accel_mm_s2 / carry::G_MM_S2).min(p.mu_max),
            carry::tip_limit(w.d_min_mm, p.cog_mm),
            "g",
            "soften the belt's ramp (belt_acceleration), or guide the bottle at the height of its centre of gravity",
        ),
    ];
    if let Some(h) = m.set.grip_height_mm.filter(|h| *h < p.cog_mm) {
        all.push(
            Check::at_most(
                "belt speed against tipping over the jaw at the catch",
                w.v_mm_s,
                carry::catch_tip_mm_s(w.d_min_mm, p.height_mm, p.cog_mm, h),
                "mm/s",
                || {
                    format!(
                        "raise jaw and support towards the centre of gravity ({:.0} mm), or slow the belt",
                        p.cog_mm
                    )
                },
            )
            .of_speed(),
        );
    }
    if let Some(a) = m.set.belt_coast_mm_s2.filter(|_| p.early_release) {
        all.push(
            Check::at_most(
                "belt cut off: a bottle at its last-stop mark coasts to the busy head at most",
                carry::coast_mm(w.v_mm_s, a, p.mu_min),
                -w.head_clear_mm - w.last_stop_mm,
                "mm",
                "fit a brake, slow the belt, or set early_release = false",
            )
            .of_speed(),
        );
    }
    all
}

fn head_checks(job: &Job, w: &Worked) -> Vec<Check> {
    let (m, p) = (&job.machine, &job.product);
    let mut all = Vec::new();
    if p.tighten != TightenSpec::SeatOnly {
        all.push(Check::at_least(
            "roller speed",
            p.roller_rpm,
            1.0,
            "rpm",
            "give roller_speed, or tighten = \"seat only\"",
        ));
    }
    if p.tighten == TightenSpec::Torque {
        let (from, to) = tighten::torque_window_turns(p.turns);
        all.push(Check::at_least(
            "torque window",
            to - from,
            1.0,
            "turns",
            "a thread starts anywhere within one turn: open the window earlier or close it later",
        ));
    }
    for a in Actuator::ALL {
        let s = stroke(job, a);
        // A full stroke must reach its contact before it counts as overdue.
        let over = if s.over { s.to_over_ms } else { 0.0 };
        let need = s.spread_ms + over + m.contact_bounce_ms + m.contact_filter_ms;
        all.push(Check::at_least(
            format!("margin of the {} covers its spread, over-travel, bounce and filter", a.name()),
            s.margin_ms,
            need,
            "ms",
            || format!("set margin of the {} above {need:.0} ms", a.name()),
        ));
    }
    if let Some(x) = m.discharge_eye_mm {
        let need = 1.5 * w.d_max_mm + CLEARANCE_MM;
        all.push(Check::at_least("discharge eye far enough from the head", x, need, "mm", || {
            format!("set the discharge eye at {need:.1} mm or further")
        }));
    }
    all
}

/// Conditions that need the cycle.
#[must_use]
pub fn pitch_checks(job: &Job, w: &Worked, cycle_ms: f64) -> Vec<Check> {
    let m = &job.machine;
    if m.reject_mm.is_none() {
        return Vec::new();
    }
    let strokes = to_work_ms(job, Actuator::Reject) + to_home_ms(job, Actuator::Reject);
    let u = w.centring.position_mm() + w.slip_u_mm();
    let need = w.d_max_mm + m.reject_length_mm + w.way_mm(strokes) + 2.0 * u;
    vec![
        Check::at_least(
            "pitch of bottles at the diverter",
            w.way_mm(cycle_ms),
            need,
            "mm",
            "shorten the diverter, quicken it, or let the bottles come slower",
        )
        .of_speed(),
    ]
}
