//! What is bolted down: [`MachineProfile`] as measured, [`Machine`] as validated.
//!
//! Coordinates are millimetres from the head centre, downstream positive. [`Machine::new`] checks every relation once and
//! turns lengths into encoder counts; the rest of the core cannot meet an invalid machine.

use crate::io::{Actuator, Contact, Contacts, SAMPLE_GAP_MAX};
use crate::local::Span;
use crate::sense::strokes::Ends;
use crate::units::{CountsPerMm, Duration, Millimetres, Rate, Speed};

/// Who starts and stops the belt.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum BeltOwner {
    /// This station.
    Ours,
    /// The line: this station may only watch it.
    Line,
}

/// Kind of valve; decides what the actuator does without coil or without air.
///
/// | kind | coil lost | air lost | air returns |
/// |---|---|---|---|
/// | spring return | goes home | stays or sags | goes where its coil says |
/// | detented | stays, stays pressed | sags | goes where it was last sent, **by itself** |
/// | centre-closed | stays, trapped air | sags | stays |
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ValveKind {
    /// One coil; a spring brings the actuator home.
    SpringReturn,
    /// Two coils; a detent keeps the last order.
    Detented,
    /// Two coils; all ports closed in the middle.
    CentreClosed,
}

/// One actuator.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ActuatorProfile {
    /// Its valve.
    pub valve: ValveKind,
    /// From order to first motion, 0 … 500 ms.
    pub latency: Duration,
    /// From first motion to contact on work, 0 … 5 s.
    pub to_work: Duration,
    /// From first motion to the resting end, 0 … 5 s.
    pub to_home: Duration,
    /// How much longer a stroke may take before it is a fault, 5 ms … 5 s.
    pub margin: Duration,
}

impl ActuatorProfile {
    /// A spring-return actuator with the same stroke time both ways.
    #[must_use]
    pub const fn spring(latency_ms: u64, travel_ms: u64, margin_ms: u64) -> Self {
        Self {
            valve: ValveKind::SpringReturn,
            latency: Duration::from_millis(latency_ms),
            to_work: Duration::from_millis(travel_ms),
            to_home: Duration::from_millis(travel_ms),
            margin: Duration::from_millis(margin_ms),
        }
    }
}

/// What is bolted down, as measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct MachineProfile {
    /// Belt encoder scale, ×4 decoded; 0.5 … 1 000 counts/mm.
    pub counts_per_mm: CountsPerMm,
    /// Who starts and stops the belt.
    pub belt_owner: BeltOwner,
    /// The fastest the belt can go; 1 … 3 000 mm/s. Faster counts are an encoder jump.
    pub belt_speed_max: Speed,
    /// Longest time from belt order to full speed, or to rest; up to 10 s.
    pub belt_ramp: Duration,
    /// Whether Suspended stops our belt (when what is sensed as full is another conveyor).
    pub suspend_stops_belt: bool,
    /// Holding face of the release gate's blade, upstream of the head: negative.
    pub release_blade: Millimetres,
    /// Beam of the release eye: between the release blade and the head.
    pub release_eye: Millimetres,
    /// Beam of the discharge eye, if fitted: downstream of the head.
    pub discharge_eye: Option<Millimetres>,
    /// Where closures are sensed upstream of the head, if the cap contact is not at the head itself; a bottle's centre
    /// is there when the cap contact is read.
    pub cap_eye: Option<Millimetres>,
    /// Where the diverter takes hold, if fitted: downstream of the discharge.
    pub reject: Option<Millimetres>,
    /// Belt travel over which the diverter acts on a bottle, from [`Self::reject`].
    pub reject_length: Millimetres,
    /// Reach of a held bottle and the head's tooling upstream of the head centre: a newcomer's leading edge must
    /// stay clear of it while the head is busy.
    pub head_clear: Millimetres,
    /// The six actuators, in the order of [`Actuator`].
    pub actuators: [ActuatorProfile; 6],
    /// The contacts that are wired.
    pub fitted: Contacts,
    /// Response of the photo-eyes to a bottle coming, 0 … 50 ms.
    pub eye_on: Duration,
    /// Filter of the photo-eyes: how long a new level must last, 0 … 200 ms.
    pub eye_filter: Duration,
    /// Filter of every other contact, 0 … 200 ms. Chain, guard, air and drive are *lost* unfiltered.
    pub contact_filter: Duration,
    /// How long chain, guard, air and drive must be back before they count, 10 ms … 5 s.
    pub safety_filter: Duration,
    /// No count for so long: the belt stands. At least the sample gap.
    pub belt_still: Duration,
    /// How far the belt may creep back before it is reversed; at least 2 counts.
    pub reverse_tolerance: Millimetres,
    /// Longest time between ticks, 1 ms … 1 s.
    pub sample_gap: Duration,
    /// How long the beacon warns before motion, 0.5 … 60 s.
    pub warn: Duration,
    /// How long a cause outside must be gone before Suspended ends by itself, 0 … 60 s.
    pub clear: Duration,
    /// How long the pocket may stay empty before that is called starved, 0.1 … 600 s.
    pub starve: Duration,
    /// Bound on every acting state, beyond its own strokes and travel, 1 … 600 s.
    pub patience: Duration,
    /// Whether the rollers may idle-spin in Execute.
    pub idle_spin: bool,
}

/// One broken rule of a [`MachineProfile`]; each says what to mend.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum MachineError {
    /// The encoder scale must lie within 0.5 … 1 000 counts/mm.
    CountsPerMm,
    /// The fastest belt must lie within 1 … 3 000 mm/s.
    BeltSpeedMax,
    /// The release blade must lie upstream of the head (negative) and downstream of −10 m.
    ReleaseBlade,
    /// The release eye must lie between the release blade and the head.
    ReleaseEye,
    /// The discharge eye must lie downstream of the head, within 10 m.
    DischargeEye,
    /// The upstream cap position must lie between the release blade and the head.
    CapEye,
    /// The diverter must lie downstream of the discharge eye (or the head), within 10 m, and act over a positive length.
    Reject,
    /// The head's clear line must lie upstream of the head centre and downstream of the release blade.
    HeadClear,
    /// An actuator's latency, travel or margin is out of range.
    Stroke(Actuator),
    /// Release eye, pocket eye, chain and guard must be fitted; positions and contacts must be given together.
    Fitted(Contact),
    /// A filter or response is out of range.
    Filter,
    /// A waiting time (still, gap, warn, clear, starve, patience, ramp) is out of range.
    Waiting,
    /// The reverse tolerance must be at least 2 counts and at most 100 mm.
    ReverseTolerance,
}

impl MachineError {
    /// What is wrong, and what would mend it, for people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::CountsPerMm => "encoder scale must lie within 0.5 … 1000 counts/mm",
            Self::BeltSpeedMax => "fastest belt speed must lie within 1 … 3000 mm/s",
            Self::ReleaseBlade => "release blade must lie upstream of the head (negative), within 10 m",
            Self::ReleaseEye => "release eye must lie between the release blade and the head centre",
            Self::DischargeEye => "discharge eye must lie downstream of the head centre, within 10 m",
            Self::CapEye => "upstream cap position must lie between the release blade and the head centre",
            Self::Reject => {
                "diverter must lie downstream of the discharge eye, within 10 m, with a positive length of action"
            }
            Self::HeadClear => "head clear line must lie between the release blade and the head centre",
            Self::Stroke(_) => {
                "latency up to 500 ms, travel up to 5 s, margin 5 ms … 5 s (and longer than the contact filter)"
            }
            Self::Fitted(_) => {
                "pocket eye, release eye, chain and guard must be fitted; an eye and its position go together"
            }
            Self::Filter => "eye response up to 50 ms, filters up to 200 ms, safety filter 10 ms … 5 s",
            Self::Waiting => {
                "sample gap 1 ms … 1 s, belt-still time from the sample gap to 5 s, ramp up to 10 s, warning 0.5 … 60 s, \
                 clear time up to 60 s, starve time 0.1 … 600 s, patience 1 … 600 s"
            }
            Self::ReverseTolerance => "reverse tolerance must be at least 2 counts and at most 100 mm",
        }
    }
}

/// One validated stroke table row, microseconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub(crate) struct Stroke {
    pub(crate) valve: ValveKind,
    pub(crate) latency: u32,
    pub(crate) to_work: u32,
    pub(crate) to_home: u32,
    pub(crate) margin: u32,
    /// From order to fault, either way.
    pub(crate) limit_work: Span,
    pub(crate) limit_home: Span,
    /// From order to when a contact that was on already counts.
    pub(crate) trust: Span,
}

impl Stroke {
    const ZERO: Self = Self {
        valve: ValveKind::SpringReturn,
        latency: 0,
        to_work: 0,
        to_home: 0,
        margin: 0,
        limit_work: Span::ZERO,
        limit_home: Span::ZERO,
        trust: Span::ZERO,
    };

    /// From order to contact on work.
    pub(crate) const fn out(&self) -> u32 {
        self.latency.saturating_add(self.to_work)
    }
}

/// A validated machine: geometry in encoder counts, times in microseconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Machine {
    pub(crate) scale: CountsPerMm,
    pub(crate) ours: bool,
    pub(crate) suspend_stops_belt: bool,
    pub(crate) idle_spin: bool,
    pub(crate) rate_max: Rate,
    pub(crate) ramp: Span,
    /// More counts than the fastest belt can bring between two looks.
    pub(crate) jump: i32,
    pub(crate) release_blade: i32,
    pub(crate) release_eye: i32,
    pub(crate) discharge_eye: Option<i32>,
    pub(crate) cap_eye: Option<i32>,
    pub(crate) reject: Option<i32>,
    pub(crate) reject_length: i32,
    pub(crate) head_clear: i32,
    pub(crate) strokes: [Stroke; 6],
    /// Whose valves spring back: no coil sends them home. One bit per actuator.
    pub(crate) spring: u8,
    pub(crate) wired: Ends,
    pub(crate) fitted: Contacts,
    pub(crate) eye_on: u32,
    pub(crate) eye_filter: Span,
    pub(crate) contact_filter: Span,
    pub(crate) safety_filter: Span,
    pub(crate) still: Span,
    pub(crate) reverse: i32,
    pub(crate) gap: Span,
    /// More than that between two ticks is a fault.
    pub(crate) gap_twice: Span,
    pub(crate) warn: Span,
    pub(crate) clear: Span,
    pub(crate) starve: Span,
    pub(crate) patience: Span,
}

/// What the fastest belt brings in the time between two looks, and a quarter more, and a little for slow encoders.
const fn jump(rate_max: Rate, still: Duration) -> i32 {
    let most = rate_max.travel(still.as_micros_u32());
    most.saturating_add(most / 4).saturating_add(16)
}

const fn within(d: Duration, lo_us: u64, hi_us: u64) -> bool {
    d.as_micros() >= lo_us && d.as_micros() <= hi_us
}

impl Machine {
    /// Validates a profile.
    ///
    /// # Errors
    /// The first broken rule, in the order of [`MachineError`].
    pub fn new(p: &MachineProfile) -> Result<Self, MachineError> {
        use MachineError as E;
        let scale = p.counts_per_mm;
        if !(1 << 15..=1_000 << 16).contains(&scale.to_bits()) {
            return Err(E::CountsPerMm);
        }
        if p.belt_speed_max < Speed::from_mm_per_s(1) || p.belt_speed_max > Speed::from_mm_per_s(3_000) {
            return Err(E::BeltSpeedMax);
        }
        Self::check_geometry(p)?;
        let mut strokes = [Stroke::ZERO; 6];
        let mut spring = 0;
        for ((slot, a), name) in strokes.iter_mut().zip(&p.actuators).zip(Actuator::ALL) {
            let ok = within(a.latency, 0, 500_000)
                && within(a.to_work, 0, 5_000_000)
                && within(a.to_home, 0, 5_000_000)
                && within(a.margin, 5_000, 5_000_000)
                && a.margin > p.contact_filter;
            if !ok {
                return Err(E::Stroke(name));
            }
            if matches!(a.valve, ValveKind::SpringReturn) {
                spring |= name.bit();
            }
            let around = Span::of(a.latency.plus(a.margin));
            *slot = Stroke {
                valve: a.valve,
                latency: a.latency.as_micros_u32(),
                to_work: a.to_work.as_micros_u32(),
                to_home: a.to_home.as_micros_u32(),
                margin: a.margin.as_micros_u32(),
                limit_work: around.plus(Span::of(a.to_work)),
                limit_home: around.plus(Span::of(a.to_home)),
                trust: Span::of(a.latency.plus(p.contact_filter)),
            };
        }
        Self::check_fitted(p)?;
        if !within(p.eye_on, 0, 50_000)
            || !within(p.eye_filter, 0, 200_000)
            || !within(p.contact_filter, 0, 200_000)
            || !within(p.safety_filter, 10_000, 5_000_000)
        {
            return Err(E::Filter);
        }
        let waiting = within(p.sample_gap, 1_000, SAMPLE_GAP_MAX.as_micros())
            && within(p.belt_still, p.sample_gap.as_micros(), 5_000_000)
            && within(p.belt_ramp, 0, 10_000_000)
            && within(p.warn, 500_000, 60_000_000)
            && within(p.clear, 0, 60_000_000)
            && within(p.starve, 100_000, 600_000_000)
            && within(p.patience, 1_000_000, 600_000_000);
        if !waiting {
            return Err(E::Waiting);
        }
        if scale.counts(p.reverse_tolerance) < 2 || p.reverse_tolerance > Millimetres::from_mm(100) {
            return Err(E::ReverseTolerance);
        }
        Ok(Self {
            scale,
            ours: matches!(p.belt_owner, BeltOwner::Ours),
            suspend_stops_belt: p.suspend_stops_belt,
            idle_spin: p.idle_spin,
            rate_max: scale.rate(p.belt_speed_max),
            ramp: Span::of(p.belt_ramp),
            jump: jump(scale.rate(p.belt_speed_max), p.belt_still),
            release_blade: scale.counts(p.release_blade),
            release_eye: scale.counts(p.release_eye),
            discharge_eye: p.discharge_eye.map(|x| scale.counts(x)),
            cap_eye: p.cap_eye.map(|x| scale.counts(x)),
            reject: p.reject.map(|x| scale.counts(x)),
            reject_length: scale.counts_up(p.reject_length),
            head_clear: scale.counts_up(p.head_clear),
            strokes,
            spring,
            wired: Ends::wired(p.fitted),
            fitted: p.fitted,
            eye_on: p.eye_on.as_micros_u32(),
            eye_filter: Span::of(p.eye_filter),
            contact_filter: Span::of(p.contact_filter),
            safety_filter: Span::of(p.safety_filter),
            still: Span::of(p.belt_still),
            reverse: scale.counts(p.reverse_tolerance),
            gap: Span::of(p.sample_gap),
            gap_twice: Span::of(p.sample_gap).plus(Span::of(p.sample_gap)),
            warn: Span::of(p.warn),
            clear: Span::of(p.clear),
            starve: Span::of(p.starve),
            patience: Span::of(p.patience),
        })
    }

    fn check_geometry(p: &MachineProfile) -> Result<(), MachineError> {
        use MachineError as E;
        let zero = Millimetres::ZERO;
        let far = Millimetres::from_mm(10_000);
        if p.release_blade >= zero || p.release_blade < Millimetres::from_mm(-10_000) {
            return Err(E::ReleaseBlade);
        }
        if p.release_eye <= p.release_blade || p.release_eye >= zero {
            return Err(E::ReleaseEye);
        }
        if p.discharge_eye.is_some_and(|x| x <= zero || x > far) {
            return Err(E::DischargeEye);
        }
        if p.cap_eye.is_some_and(|x| x <= p.release_blade || x >= zero) {
            return Err(E::CapEye);
        }
        let after = p.discharge_eye.unwrap_or(zero);
        if p.reject.is_some_and(|x| x <= after || x > far) || (p.reject.is_some() && p.reject_length <= zero) {
            return Err(E::Reject);
        }
        if p.head_clear <= zero || p.head_clear >= zero.minus(p.release_blade) {
            return Err(E::HeadClear);
        }
        Ok(())
    }

    fn check_fitted(p: &MachineProfile) -> Result<(), MachineError> {
        for c in [Contact::PocketEye, Contact::ReleaseEye, Contact::Chain, Contact::Guard] {
            if !p.fitted.has(c) {
                return Err(MachineError::Fitted(c));
            }
        }
        if p.fitted.has(Contact::DischargeEye) != p.discharge_eye.is_some() {
            return Err(MachineError::Fitted(Contact::DischargeEye));
        }
        if p.fitted.has(Contact::RejectEye) && p.reject.is_none() {
            return Err(MachineError::Fitted(Contact::RejectEye));
        }
        if p.cap_eye.is_some() && !p.fitted.has(Contact::Cap) {
            return Err(MachineError::Fitted(Contact::Cap));
        }
        Ok(())
    }

    /// The strokes of `a`.
    pub(crate) fn stroke(&self, a: Actuator) -> &Stroke {
        // There are six of both; the compiler knows, and a lookup that could fail would need an answer everywhere.
        let [first, ..] = &self.strokes;
        self.strokes.get(a.index()).unwrap_or(first)
    }

    /// The encoder scale.
    #[must_use]
    pub const fn counts_per_mm(&self) -> CountsPerMm {
        self.scale
    }

    /// The contacts that are wired.
    #[must_use]
    pub const fn fitted(&self) -> Contacts {
        self.fitted
    }
}
