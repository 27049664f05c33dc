//! What is closed today: [`Product`] as planned, [`Setpoints`] as validated for one machine.
//!
//! Distances are for what the belt does, times for what an actuator does. The host's plan computes a [`Product`] from
//! measurements; [`Setpoints::new`] re-checks it against the machine and turns lengths into counts.

use crate::io::{Actuator, Contact};
use crate::lead;
use crate::local::Span;
use crate::machine::Machine;
use crate::units::{Duration, Millimetres, Rate, Speed};

/// How tightening ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Tighten {
    /// No spin: grip, plunger and rollers close for this long.
    SeatOnly(Duration),
    /// Spin for this long: turns ÷ closure speed, ramp included; 10 ms … 10 s.
    Turns(Duration),
    /// Spin until the torque contact; before `earliest` the thread is crossed, by `latest` it is loose.
    Torque {
        /// Earliest honest slip after spin is ordered.
        earliest: Duration,
        /// Latest honest slip after spin is ordered; at most 10 s.
        latest: Duration,
    },
}

/// Where the closure's presence is sensed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum CapPolicy {
    /// Nowhere; a bottle without a closure is found only by the plunger's over-travel, if that is fitted.
    Unsensed,
    /// By the cap contact at the head, after Seat.
    AtHead,
    /// By the cap contact at the machine's upstream cap position.
    Upstream,
}

/// What is closed today.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Product {
    /// Belt speed; up to the machine's fastest.
    pub speed: Speed,
    /// Shortest body length along the belt.
    pub body_min: Millimetres,
    /// Nominal body length along the belt (the diameter of a round body), 5 … 500 mm.
    pub body: Millimetres,
    /// Longest body length along the belt.
    pub body_max: Millimetres,
    /// Belt travel from the registered edge to the bottle's centre on the head centre (round: D/2 − x_eye).
    pub catch_travel: Millimetres,
    /// How much earlier than that the jaw should meet the bottle, ≥ 0.
    pub catch_early: Millimetres,
    /// Largest distance off centre, either way, at which the jaw still captures.
    pub capture: Millimetres,
    /// Uncertainty of a freshly registered position, ≥ 0.
    pub u_base: Millimetres,
    /// Belt travel from registration after which the release gate may shut.
    pub gate_shut_travel: Millimetres,
    /// Belt travel for which the pocket eye must have been blocked before the pocket counts as full.
    pub settle_travel: Millimetres,
    /// Belt travel after release within which the release eye must see the bottle and the pocket eye must clear.
    pub misfeed_travel: Millimetres,
    /// Belt travel after which a body still in the release eye is a jam; longer than the longest body.
    pub jam_travel: Millimetres,
    /// Belt travel after letting go until the bottle has left the head.
    pub leave_travel: Millimetres,
    /// Belt travel that a bottle does not share when it is picked up by the running belt (between the slips at the highest and lowest friction).
    pub slip: Millimetres,
    /// Uncertainty of that slip, and of each stop or start of the belt with a bottle on it, ≥ 0.
    pub slip_u: Millimetres,
    /// Belt travel needed to stop, reaction included (v·t + v²/2a).
    pub stop_travel: Millimetres,
    /// Pause between plunger confirmed and rollers ordered, 0 … 5 s.
    pub seat_dwell: Duration,
    /// Pause between rollers confirmed and spin, 0 … 5 s.
    pub engage_dwell: Duration,
    /// Pause between spin off and rollers back, 0 … 5 s.
    pub disengage_dwell: Duration,
    /// How tightening ends.
    pub tighten: Tighten,
    /// Roller speed, 1 … 6 000 rpm (0 with [`Tighten::SeatOnly`]).
    pub spin_rpm: u16,
    /// Where the closure is sensed.
    pub cap: CapPolicy,
    /// Failed bottles in a row before the unit holds; 1 … 100.
    pub misses_to_hold: u8,
    /// Early release: this long after the grip is confirmed the next bottle may be let go, `None` = only when the
    /// head has let go.
    pub early: Option<Duration>,
    /// Belt travel sampled for each speed, 0.5 … 50 mm (at least 2 counts).
    pub speed_window: Millimetres,
}

/// One broken rule of a [`Product`] on its machine; each says what to mend.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ProductError {
    /// Belt speed must be above zero and at most the machine's fastest.
    Speed,
    /// Body lengths must satisfy 5 mm ≤ min ≤ nominal ≤ max ≤ 500 mm.
    Body,
    /// The catch travel must be positive and reach no further than the release eye's distance plus one body.
    CatchTravel,
    /// The lead at this speed, and the early aim, must fit into the catch travel.
    Lead,
    /// Capture must be positive, at most half a body, and larger than the base uncertainty.
    Capture,
    /// The release gate must shut after the longest body has passed its blade, and before a second one could.
    GateShut,
    /// Settle, misfeed, leave or stop travel is negative, or the misfeed travel is shorter than the way to the release eye.
    Travel,
    /// The jam travel must be longer than the longest body.
    Jam,
    /// Slip and its uncertainty must not be negative.
    Slip,
    /// A dwell is longer than 5 s.
    Dwell,
    /// Tighten times out of range, or the window upside down.
    Tighten,
    /// Roller speed out of range.
    Spin,
    /// The torque end needs the torque contact.
    NoTorqueContact,
    /// The cap policy needs the cap contact (at its upstream position).
    NoCapContact,
    /// Misses to hold must be 1 … 100.
    Misses,
    /// Early release: the last-stop mark would lie before the release gate.
    Early,
    /// The speed window must be 0.5 … 50 mm, and at least 2 counts.
    Window,
}

impl ProductError {
    /// What is wrong, and what would mend it, for people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Speed => "belt speed must be above zero and at most the machine's fastest",
            Self::Body => "body lengths must satisfy 5 mm ≤ shortest ≤ nominal ≤ longest ≤ 500 mm",
            Self::CatchTravel => "catch travel must be positive and end at the head",
            Self::Lead => {
                "lead at this speed does not fit into the catch travel: slow the belt, quicken the grip, or move the release eye upstream"
            }
            Self::Capture => "capture must be positive, at most half a body, and larger than the base uncertainty",
            Self::GateShut => "release gate must shut after the longest body has passed its blade",
            Self::Travel => {
                "settle, misfeed, leave and stop travel must not be negative, and misfeed travel must reach the release eye"
            }
            Self::Jam => "jam travel must be longer than the longest body",
            Self::Slip => "slip and its uncertainty must not be negative",
            Self::Dwell => "a dwell is longer than 5 s",
            Self::Tighten => "tighten time must be 10 ms … 10 s, and a torque window must open before it shuts",
            Self::Spin => "roller speed must be 1 … 6000 rpm",
            Self::NoTorqueContact => "ending on torque needs the torque contact",
            Self::NoCapContact => "this cap policy needs the cap contact where it is sensed",
            Self::Misses => "misses to hold must be 1 … 100",
            Self::Early => "early release is refused: the last-stop mark would lie before the release gate",
            Self::Window => "speed window must be 0.5 … 50 mm and at least 2 counts",
        }
    }
}

/// Validated set-points of a product on a machine: distances in counts, times in microseconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Setpoints {
    pub(crate) speed: Speed,
    pub(crate) rate: Rate,
    pub(crate) body_min: i32,
    pub(crate) body: i32,
    pub(crate) body_max: i32,
    pub(crate) catch_travel: i32,
    pub(crate) catch_early: i32,
    pub(crate) capture: i32,
    pub(crate) u_base: i32,
    pub(crate) gate_shut: i32,
    pub(crate) settle: i32,
    pub(crate) misfeed: i32,
    pub(crate) jam: i32,
    pub(crate) leave: i32,
    pub(crate) slip: i32,
    pub(crate) slip_u: i32,
    pub(crate) stop: i32,
    pub(crate) seat_dwell: Span,
    pub(crate) engage_dwell: Span,
    pub(crate) disengage_dwell: Span,
    pub(crate) tighten: Tightening,
    pub(crate) spin_rpm: u16,
    pub(crate) cap: CapPolicy,
    pub(crate) misses_to_hold: u8,
    pub(crate) early: Option<Span>,
    pub(crate) window: i32,
    /// How many speed windows the middle of a grip stroke lies ahead of the middle of the newest one, 8 fraction bits.
    pub(crate) windows_ahead: u32,
    /// Belt travel while the diverter moves, a quarter more than at the nominal speed.
    pub(crate) reject_lead: i32,
    /// Belt travel while an eye responds and its filter runs, a quarter more than at the nominal speed.
    pub(crate) eye_lag: i32,
}

/// How tightening ends, as the station keeps it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub(crate) enum Tightening {
    SeatOnly(Span),
    Turns(Span),
    Torque { earliest: Span, latest: Span },
}

impl Tightening {
    const fn of(t: Tighten) -> Self {
        match t {
            Tighten::SeatOnly(hold) => Self::SeatOnly(Span::of(hold)),
            Tighten::Turns(time) => Self::Turns(Span::of(time)),
            Tighten::Torque { earliest, latest } => {
                Self::Torque { earliest: Span::of(earliest), latest: Span::of(latest) }
            }
        }
    }
}

/// Room for a belt that runs faster than nominal, and for rounding.
const fn quarter_more(counts: i32) -> i32 {
    counts.saturating_add(counts / 4).saturating_add(1)
}

/// Half the grip's stroke, and one window: on the mean, the newest window ended half a window before the order, and its
/// middle lies half a window before that.
fn windows_ahead(window: i32, rate: Rate, m: &Machine) -> u32 {
    let stroke = m.stroke(Actuator::Grip).out();
    let travel = u32::try_from(rate.travel(stroke / 2)).unwrap_or(0);
    let window = u32::try_from(window).unwrap_or(1).max(1);
    travel.saturating_mul(256).checked_div(window).unwrap_or(0).saturating_add(256).min(16 << 8)
}

impl Setpoints {
    /// Validates a product for a machine.
    ///
    /// # Errors
    /// The first broken rule, in the order of [`ProductError`].
    pub fn new(p: &Product, m: &Machine) -> Result<Self, ProductError> {
        use ProductError as E;
        let zero = Millimetres::ZERO;
        let n = |x: Millimetres| m.scale.counts(x);
        let up = |x: Millimetres| m.scale.counts_up(x);
        let rate = m.scale.rate(p.speed);
        if p.speed <= Speed::ZERO || rate > m.rate_max || rate == Rate::ZERO {
            return Err(E::Speed);
        }
        let body_ok = p.body_min >= Millimetres::from_mm(5)
            && p.body_min <= p.body
            && p.body <= p.body_max
            && p.body_max <= Millimetres::from_mm(500);
        if !body_ok {
            return Err(E::Body);
        }

        let eye = m.release_eye;
        if p.catch_travel <= zero || n(p.catch_travel) > up(p.body_max).saturating_sub(eye) {
            return Err(E::CatchTravel);
        }
        let lead = lead::lead(rate, m, Actuator::Grip);
        if p.catch_early < zero || lead.saturating_add(n(p.catch_early)) >= n(p.catch_travel) {
            return Err(E::Lead);
        }
        let half = Millimetres::from_bits(p.body_max.to_bits() / 2);
        if p.capture <= zero || p.capture > half || p.u_base < zero || p.u_base >= p.capture {
            return Err(E::Capture);
        }
        let to_eye = m.release_eye.saturating_sub(m.release_blade);
        let past_blade = up(p.body_max).saturating_sub(to_eye);
        if n(p.gate_shut_travel) < past_blade.max(0) {
            return Err(E::GateShut);
        }
        let travels = p.settle_travel >= zero && p.leave_travel > zero && p.stop_travel >= zero;
        if !travels || p.misfeed_travel <= zero {
            return Err(E::Travel);
        }
        if n(p.jam_travel) <= up(p.body_max) {
            return Err(E::Jam);
        }
        if p.slip < zero || p.slip_u < zero {
            return Err(E::Slip);
        }
        Self::check_times(p, m)?;
        if !(1..=100).contains(&p.misses_to_hold) {
            return Err(E::Misses);
        }
        if p.early.is_some() && lead::last_stop(up(p.stop_travel), up(p.u_base), m) <= eye {
            return Err(E::Early);
        }
        let window_ok = p.speed_window >= Millimetres::from_um(500) && p.speed_window <= Millimetres::from_mm(50);
        if !window_ok || n(p.speed_window) < 2 {
            return Err(E::Window);
        }
        Ok(Self {
            speed: p.speed,
            rate,
            body_min: n(p.body_min),
            body: n(p.body),
            body_max: up(p.body_max),
            catch_travel: n(p.catch_travel),
            catch_early: n(p.catch_early),
            capture: n(p.capture),
            u_base: up(p.u_base),
            gate_shut: up(p.gate_shut_travel),
            settle: up(p.settle_travel),
            misfeed: up(p.misfeed_travel),
            jam: up(p.jam_travel),
            leave: up(p.leave_travel),
            slip: n(p.slip),
            slip_u: up(p.slip_u),
            stop: up(p.stop_travel),
            seat_dwell: Span::of(p.seat_dwell),
            engage_dwell: Span::of(p.engage_dwell),
            disengage_dwell: Span::of(p.disengage_dwell),
            tighten: Tightening::of(p.tighten),
            spin_rpm: p.spin_rpm,
            cap: p.cap,
            misses_to_hold: p.misses_to_hold,
            early: p.early.map(Span::of),
            window: n(p.speed_window),
            windows_ahead: windows_ahead(n(p.speed_window), rate, m),
            reject_lead: quarter_more(lead::home_lead(rate, m, Actuator::Reject)),
            eye_lag: quarter_more(rate.travel(m.eye_on.saturating_add(m.eye_filter.as_micros()))),
        })
    }

    fn check_times(p: &Product, m: &Machine) -> Result<(), ProductError> {
        use ProductError as E;
        let dwell_max = Duration::from_millis(5_000);
        if p.seat_dwell > dwell_max || p.engage_dwell > dwell_max || p.disengage_dwell > dwell_max {
            return Err(E::Dwell);
        }
        let shortest = Duration::from_millis(10);
        let longest = Duration::from_millis(10_000);
        let tighten_ok = match p.tighten {
            Tighten::SeatOnly(t) => t <= longest,
            Tighten::Turns(t) => t >= shortest && t <= longest,
            Tighten::Torque { earliest, latest } => earliest < latest && latest <= longest && latest >= shortest,
        };
        if !tighten_ok {
            return Err(E::Tighten);
        }
        let spins = !matches!(p.tighten, Tighten::SeatOnly(_));
        if p.spin_rpm > 6_000 || (spins && p.spin_rpm == 0) {
            return Err(E::Spin);
        }
        if matches!(p.tighten, Tighten::Torque { .. }) && !m.fitted.has(Contact::Torque) {
            return Err(E::NoTorqueContact);
        }
        let cap_ok = match p.cap {
            CapPolicy::Unsensed => true,
            CapPolicy::AtHead => m.fitted.has(Contact::Cap) && m.cap_eye.is_none(),
            CapPolicy::Upstream => m.fitted.has(Contact::Cap) && m.cap_eye.is_some(),
        };
        if !cap_ok {
            return Err(E::NoCapContact);
        }
        Ok(())
    }

    /// Belt travel from the registered edge to the bottle's centre on the head centre, counts.
    #[must_use]
    pub const fn catch_travel(&self) -> i32 {
        self.catch_travel
    }

    /// The belt speed.
    #[must_use]
    pub const fn speed(&self) -> Speed {
        self.speed
    }
}
