//! The catch on the running belt: where the jaw must meet the bottle, how early it is ordered, how far off it may be.

/// Belt travel from a leading edge at the release eye to the bottle's centre on the head centre: D/2 − x_eye, mm (round bodies).
#[must_use]
pub fn catch_travel_mm(d_mm: f64, eye_mm: f64) -> f64 {
    d_mm / 2.0 - eye_mm
}

/// Belt travel during a stroke: v × (latency + travel to contact), mm.
#[must_use]
pub fn lead_mm(v_mm_s: f64, latency_ms: f64, to_contact_ms: f64) -> f64 {
    v_mm_s * (latency_ms + to_contact_ms) / 1_000.0
}

/// How far off centre a V jaw still captures a round body: m − r·cos α, mm, with m half its mouth and α the angle of a flank to
/// the jaw's axis.
#[must_use]
pub fn capture_mm(half_mouth_mm: f64, r_mm: f64, half_angle_deg: f64) -> f64 {
    half_mouth_mm - r_mm * libm::cos(half_angle_deg.to_radians())
}

/// The friction below which a V jaw still slides the body to its centre: tan((90° − α)/2).
#[must_use]
pub fn centring_friction(half_angle_deg: f64) -> f64 {
    libm::tan(((90.0 - half_angle_deg) / 2.0).to_radians())
}

/// Where the release eye may stand: (most upstream, most downstream), coordinates, mm. Empty when the first is the larger: no place
/// does at this speed.
///
/// Upstream, the bottle must ride without slip when its edge is seen: x_rest + s(μ_min) + margin. Downstream, its whole length must be known
/// before the grip is ordered: D/2 − D − tolerance − v·t, with t from the trailing edge's passage to the jaw's contact.
#[must_use]
pub fn eye_window_mm(
    rest_mm: f64,
    slip_mm: f64,
    margin_mm: f64,
    d_mm: f64,
    tol_mm: f64,
    v_mm_s: f64,
    lead_ms: f64,
) -> (f64, f64) {
    (rest_mm + slip_mm + margin_mm, d_mm / 2.0 - d_mm - tol_mm - v_mm_s * lead_ms / 1_000.0)
}

/// Steepest speed change of a belt that swings by ± `share` of `v_mm_s` with period `period_s` (sine): 2π·share·v/T, mm/s²; 0 without a
/// period.
#[must_use]
pub fn wander_accel_mm_s2(v_mm_s: f64, share: f64, period_s: f64) -> f64 {
    if period_s > 0.0 { 2.0 * core::f64::consts::PI * share * v_mm_s / period_s } else { 0.0 }
}

/// How far the belt is from where a constant speed would have brought it: ½·a·t², mm.
#[must_use]
pub fn speed_change_mm(accel_mm_s2: f64, t_ms: f64) -> f64 {
    let t = t_ms / 1_000.0;
    0.5 * accel_mm_s2 * t * t
}

/// How far a lead that goes by speed alone misses because its speed sample is old: a·t·τ, mm. The newest sample is the mean of one window, and up to one
/// window old: τ is at most one and a half windows.
#[must_use]
pub fn sample_age_mm(accel_mm_s2: f64, t_ms: f64, window_mm: f64, v_mm_s: f64) -> f64 {
    accel_mm_s2 * t_ms / 1_000.0 * 1.5 * window_mm / v_mm_s
}

/// What would be left of both, mm, if the lead also knew the belt's acceleration from two samples: the change of the acceleration itself, j·((t + τ)³ −
/// τ³)/6 with j = v·share·(2π/T)² and τ two windows, and the acceleration's own error from a clock of one microsecond.
#[must_use]
pub fn second_order_mm(v_mm_s: f64, share: f64, period_s: f64, t_ms: f64, window_mm: f64) -> f64 {
    if period_s <= 0.0 {
        return 0.0;
    }
    let (t, tau) = (t_ms / 1_000.0, 2.0 * window_mm / v_mm_s);
    let omega = 2.0 * core::f64::consts::PI / period_s;
    let jerk = v_mm_s * share * omega * omega;
    let blur = 2e-6 * v_mm_s * v_mm_s * v_mm_s / (window_mm * window_mm);
    jerk * ((t + tau) * (t + tau) * (t + tau) - tau * tau * tau) / 6.0 + blur * t * (t / 2.0 + tau)
}

/// Every contribution to the distance off centre at which the jaw meets a bottle, each at its bound, mm.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Centring {
    /// Whole encoder counts: edge and order are each seen to one count.
    pub count_mm: f64,
    /// The order leaves up to one millisecond late where the controller ticks by time alone.
    pub tick_mm: f64,
    /// Variation of the grip's stroke.
    pub stroke_mm: f64,
    /// Belt speed changing within the lead.
    pub speed_mm: f64,
    /// Age of the speed sample that the lead is reckoned with.
    pub age_mm: f64,
    /// Slip still to come when the edge was seen.
    pub slip_mm: f64,
    /// The eye: half its beam, and half its response.
    pub eye_mm: f64,
    /// Half the body's tolerance, where the trailing edge is not known in time.
    pub body_mm: f64,
    /// Aimed early on purpose.
    pub aim_mm: f64,
}

impl Centring {
    /// Their sum: the worst case, all at once and the same way, mm.
    #[must_use]
    pub fn sum_mm(&self) -> f64 {
        self.count_mm
            + self.tick_mm
            + self.stroke_mm
            + self.speed_mm
            + self.age_mm
            + self.slip_mm
            + self.eye_mm
            + self.body_mm
            + self.aim_mm
    }

    /// The share that is uncertainty of a freshly registered position: count, eye, slip, body, mm.
    #[must_use]
    pub fn position_mm(&self) -> f64 {
        self.count_mm + self.eye_mm + self.slip_mm + self.body_mm
    }

    /// The contributions by name, for the sheet.
    #[must_use]
    pub fn parts(&self) -> [(&'static str, f64); 9] {
        [
            ("encoder count", self.count_mm),
            ("tick", self.tick_mm),
            ("grip stroke spread", self.stroke_mm),
            ("belt speed change within the lead", self.speed_mm),
            ("age of the speed sample", self.age_mm),
            ("pick-up slip left at the eye", self.slip_mm),
            ("eye response and beam", self.eye_mm),
            ("body tolerance", self.body_mm),
            ("aimed early", self.aim_mm),
        ]
    }
}
