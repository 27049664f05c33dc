//! All the physics of one job at one belt speed, worked out once: what the checks, the chart and the core's product are made of.

use super::outline::Outline;
use super::{carry, catch, escapement, scale, tighten};
use crate::job::measured::ShapeSpec;
use crate::job::spec::{ActuatorSpec, Job, TightenSpec};
use timing_core::Actuator;

/// From the belt's stop order to the drive's first change of speed, ms. Assumed; measure it on the machine.
pub const BELT_REACTION_MS: f64 = 50.0;
/// Friction between roller and closure. Assumed for elastomer rollers on a dry closure.
pub const ROLLER_MU: f64 = 0.6;
/// Clearance kept between bodies and tooling, mm.
pub const CLEARANCE_MM: f64 = 5.0;
/// Margin kept from eyes' windows and blades, mm.
pub const MARGIN_MM: f64 = 2.0;
/// Tick of a controller that wakes by time alone, ms: the lateness that the centring error allows for.
pub const TICK_MS: f64 = 1.0;

/// One job, worked out at one belt speed. Lengths in mm, times in ms, coordinates from the head centre.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Worked {
    /// Belt speed, mm/s.
    pub v_mm_s: f64,
    /// Encoder counts per mm.
    pub counts_per_mm: f64,
    /// Shortest, nominal, longest body along the belt.
    pub d_min_mm: f64,
    /// Nominal body.
    pub d_mm: f64,
    /// Longest body.
    pub d_max_mm: f64,
    /// The body in plan view: smallest, nominal, largest.
    pub outline_min: Outline,
    /// Nominal.
    pub outline: Outline,
    /// Largest.
    pub outline_max: Outline,
    /// Where the entry blade may stand.
    pub entry_window_mm: (f64, f64),
    /// Where the pocket eye may stand.
    pub pocket_window_mm: (f64, f64),
    /// Leading edge of the bottle that leans on the release blade.
    pub rest_mm: f64,
    /// Leading edge of the bottle that leans on the entry blade.
    pub second_mm: f64,
    /// Pick-up slip at the lowest friction: the most.
    pub slip_most_mm: f64,
    /// Pick-up slip at the highest friction: the least.
    pub slip_least_mm: f64,
    /// Slip of one belt stop or start.
    pub stop_slip_mm: f64,
    /// Travel to rest after a stop order.
    pub stop_mm: f64,
    /// Belt travel from the registered edge to the centre on the head centre.
    pub catch_mm: f64,
    /// Belt travel by which the grip is ordered early.
    pub lead_mm: f64,
    /// Distance off centre that the jaw still captures.
    pub capture_mm: f64,
    /// What may put the bottle off centre.
    pub centring: catch::Centring,
    /// Window of the release eye.
    pub eye_window_mm: (f64, f64),
    /// From the trailing edge's passage to the jaw's contact, as the window counts it.
    pub eye_lead_ms: f64,
    /// Belt travel from registration until the release gate is ordered shut.
    pub gate_shut_mm: f64,
    /// Settling travel that the pocket needs.
    pub settle_need_mm: f64,
    /// Settling travel that is used: what the job asks for, or what the pocket needs if that is more.
    pub settle_mm: f64,
    /// Belt travel after the release order within which the bottle must have shown itself.
    pub misfeed_mm: f64,
    /// Belt travel in the release eye that is a jam.
    pub jam_mm: f64,
    /// Belt travel from let-go until the head is free for the next catch, the most slip included.
    pub leave_mm: f64,
    /// Reach of the busy head upstream.
    pub head_clear_mm: f64,
    /// Coordinate of a newcomer's leading edge at which the belt must be ordered to stop.
    pub last_stop_mm: f64,
    /// Roller speed, whole revolutions a minute.
    pub rpm: u16,
    /// Spin time, ms: nominal; with seat only, how long the rollers stay closed.
    pub spin_ms: f64,
    /// Torque window, ms after the spin order; `(0, 0)` unless the torque ends tightening.
    pub torque_window_ms: (f64, f64),
    /// Application torque, N·m.
    pub torque_nm: f64,
}

/// The row of an actuator.
#[must_use]
pub fn stroke(job: &Job, a: Actuator) -> ActuatorSpec {
    // The array has a row for each; index() is its number.
    job.machine.actuators[a.index()]
}

/// From an order to work until contact, ms.
#[must_use]
pub fn to_work_ms(job: &Job, a: Actuator) -> f64 {
    let s = stroke(job, a);
    s.latency_ms + s.to_work_ms
}

/// From an order home until the end, ms.
#[must_use]
pub fn to_home_ms(job: &Job, a: Actuator) -> f64 {
    let s = stroke(job, a);
    s.latency_ms + s.to_home_ms
}

/// The body whose half length along the belt is `along_mm`; across, it is larger or smaller by as much as along.
fn outline(job: &Job, along_mm: f64) -> Outline {
    let (p, b) = (&job.product, &job.product.body);
    if b.shape == ShapeSpec::Round {
        return Outline::round(along_mm);
    }
    let (half, across) = (p.diameter_mm / 2.0, b.width_mm.unwrap_or(p.diameter_mm) / 2.0);
    let nominal = Outline { shape: b.shape, along_mm: half, across_mm: across, corner_mm: b.corner_mm };
    nominal.grown(along_mm - half)
}

/// How far upstream of its centre the busy head reaches, mm: the largest body and a clearance, or the jaw's mouth.
#[must_use]
pub fn head_clear_mm(d_max_mm: f64, jaw_half_mouth_mm: f64) -> f64 {
    (d_max_mm / 2.0 + CLEARANCE_MM).max(jaw_half_mouth_mm)
}

impl Worked {
    /// Works a job out at `v_mm_s`. The job has passed [`super::sane::check`].
    #[must_use]
    pub fn at(job: &Job, v_mm_s: f64) -> Self {
        let (m, p) = (&job.machine, &job.product);
        let v = v_mm_s;
        let (d, d_min, d_max) = (p.diameter_mm, p.diameter_mm - p.diameter_tol_mm, p.diameter_mm + p.diameter_tol_mm);
        let counts_per_mm = m.encoder_counts_per_rev / m.wheel_mm;
        let count_mm = 1.0 / counts_per_mm;
        let (outline_min, outline, outline_max) =
            (outline(job, d_min / 2.0), outline(job, d / 2.0), outline(job, d_max / 2.0));
        let rest_mm = m.release_blade_mm + outline.nose_mm(m.blade_tip_mm);
        let second_mm = m.entry_blade_mm + outline.nose_mm(m.blade_tip_mm);
        let (low, high) = (&outline_min, &outline_max);
        let entry_window_mm =
            escapement::entry_window_of(m.release_blade_mm, m.blade_mm, m.blade_tip_mm, low, high, 0.0);
        let pocket_window_mm =
            escapement::pocket_window_of(m.entry_blade_mm, m.release_blade_mm, m.blade_tip_mm, low, high, MARGIN_MM);
        let slip_most_mm = carry::pick_up_slip_mm(v, p.mu_min);
        let slip_least_mm = carry::pick_up_slip_mm(v, p.mu_max);

        let grip = stroke(job, Actuator::Grip);
        let catch_mm = catch::catch_travel_mm(d, m.release_eye_mm);
        let lead_mm = catch::lead_mm(v, grip.latency_ms, grip.to_work_ms);
        let slip_mm = carry::slip_remaining_mm(v, p.mu_min, m.release_eye_mm - rest_mm);
        // Both edges are taken to be late by the response to a bottle coming.
        let eye_mm = m.eye_beam_mm / 2.0 + v * (m.eye_on_ms / 2.0).max((m.eye_off_ms - m.eye_on_ms).abs()) / 1_000.0;
        // Trailing edge → eye clear → accepted → order → contact, the latest stroke; the early aim brings the order forward. The core gives the
        // eye a quarter more than its answer to a nose.
        let aim_ms = p.aim_early_mm / v * 1_000.0;
        let clear_ms = grip.spread_ms + m.eye_off_ms + m.contact_bounce_ms + m.eye_filter_ms;
        let known_ms = clear_ms.max(1.25 * (m.eye_on_ms + m.eye_filter_ms));
        let eye_lead_ms = grip.latency_ms + grip.to_work_ms + known_ms + aim_ms;
        // A body counts as over-long only beyond the longest and the uncertainty of its edges.
        let longer_mm = p.diameter_tol_mm + 3.0 * count_mm + eye_mm + slip_mm;
        let eye_window_mm =
            catch::eye_window_mm(rest_mm, slip_most_mm, MARGIN_MM, d, longer_mm.max(MARGIN_MM), v, eye_lead_ms);
        let trailing_known = m.release_eye_mm <= eye_window_mm.1;
        let accel = catch::wander_accel_mm_s2(v, job.run.wander, job.run.wander_period_s);
        let centring = catch::Centring {
            count_mm,
            tick_mm: v * TICK_MS / 1_000.0,
            stroke_mm: v * grip.spread_ms / 1_000.0,
            speed_mm: catch::speed_change_mm(accel, grip.latency_ms + grip.to_work_ms),
            age_mm: catch::sample_age_mm(accel, grip.latency_ms + grip.to_work_ms, p.speed_window_mm, v),
            slip_mm,
            eye_mm,
            body_mm: if trailing_known { 0.0 } else { p.diameter_tol_mm / 2.0 },
            aim_mm: p.aim_early_mm,
        };
        // A larger body meets the flanks further out and leaves less; beyond half a body the notion ends.
        let capture_mm = (m.jaw_half_mouth_mm - outline_max.jaw_touch_mm(m.jaw_half_angle_deg)).min(d_min / 2.0);

        let gate_margin = MARGIN_MM + centring.position_mm();
        let gate_shut_mm =
            escapement::gate_shut_travel_mm(d_max, m.release_eye_mm, m.release_blade_mm, m.blade_mm, gate_margin);
        let open = stroke(job, Actuator::ReleaseGate);
        // The way until the eye sees the nose, or until the tail leaves the pocket eye, whichever is longer.
        let way = (m.release_eye_mm - rest_mm).max(m.pocket_eye_mm - rest_mm + d_max).max(0.0);
        let see_ms =
            open.latency_ms + open.to_work_ms + open.spread_ms + m.eye_on_ms.max(m.eye_off_ms) + m.eye_filter_ms;
        let misfeed_mm = 1.1 * (v * see_ms / 1_000.0 + way + slip_most_mm) + 2.0 * CLEARANCE_MM;

        // The pocket's bottle runs on to the blade; one that grips the belt worse follows it later by the spread of slips.
        let settle_need_mm = (rest_mm - m.pocket_eye_mm).max(0.0) + (slip_most_mm - slip_least_mm) + MARGIN_MM;
        let head_clear_mm = head_clear_mm(d_max, m.jaw_half_mouth_mm);
        let stop_mm = carry::stop_travel_mm(v, BELT_REACTION_MS, m.belt_accel_mm_s2, p.mu_min);
        let torque_nm = if p.torque_nm > 0.0 { p.torque_nm } else { tighten::half_diameter_nm(p.cap_diameter_mm) };
        let seat_only = p.tighten == TightenSpec::SeatOnly;
        // The core drives whole revolutions a minute, so that is what the turns are timed with.
        let rpm = if seat_only { 0 } else { scale::rpm("roller_speed", p.roller_rpm).unwrap_or(0) };
        let cap_rpm = tighten::cap_rpm(f64::from(rpm), m.roller_diameter_mm, p.cap_diameter_mm);
        let turns = |n: f64| {
            if rpm == 0 { 0.0 } else { tighten::turns_ms(n, cap_rpm, m.roller_ramp_ms) }
        };
        let window = tighten::torque_window_turns(p.turns);
        let (spin_ms, torque_window_ms) = match p.tighten {
            TightenSpec::Turns => (turns(p.turns), (0.0, 0.0)),
            // On average half a turn passes before the threads meet.
            TightenSpec::Torque => (turns(p.turns + 0.5), (turns(window.0), turns(window.1))),
            TightenSpec::SeatOnly => (p.engage_dwell_ms, (0.0, 0.0)),
        };
        Self {
            v_mm_s: v,
            counts_per_mm,
            d_min_mm: d_min,
            d_mm: d,
            d_max_mm: d_max,
            outline_min,
            outline,
            outline_max,
            entry_window_mm,
            pocket_window_mm,
            rest_mm,
            second_mm,
            slip_most_mm,
            slip_least_mm,
            stop_slip_mm: carry::stop_slip_mm(v, m.belt_accel_mm_s2, p.mu_min),
            stop_mm,
            catch_mm,
            lead_mm,
            capture_mm,
            centring,
            eye_window_mm,
            eye_lead_ms,
            gate_shut_mm,
            settle_need_mm,
            settle_mm: p.settle_mm.max(settle_need_mm),
            misfeed_mm,
            jam_mm: 2.0 * d_max + 2.0 * CLEARANCE_MM,
            leave_mm: d_max / 2.0 + m.jaw_half_mouth_mm + slip_most_mm + CLEARANCE_MM,
            head_clear_mm,
            last_stop_mm: -head_clear_mm - stop_mm - centring.position_mm(),
            rpm,
            spin_ms,
            torque_window_ms,
            torque_nm,
        }
    }

    /// Mean pick-up slip, mm.
    #[must_use]
    pub fn slip_mm(&self) -> f64 {
        f64::midpoint(self.slip_most_mm, self.slip_least_mm)
    }

    /// Leaving travel as the core counts it, from the place where the mean slip has been taken off, mm.
    #[must_use]
    pub fn leave_core_mm(&self) -> f64 {
        self.leave_mm - self.slip_mm()
    }

    /// Uncertainty of that slip, and of one belt stop or start, mm.
    #[must_use]
    pub fn slip_u_mm(&self) -> f64 {
        (self.slip_most_mm - self.slip_least_mm) / 2.0 + self.stop_slip_mm
    }

    /// Time that `mm` of belt travel takes, ms.
    #[must_use]
    pub fn travel_ms(&self, mm: f64) -> f64 {
        mm / self.v_mm_s * 1_000.0
    }

    /// Belt travel in `ms`, mm.
    #[must_use]
    pub fn way_mm(&self, ms: f64) -> f64 {
        self.v_mm_s * ms / 1_000.0
    }
}
