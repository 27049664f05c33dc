//! The small worlds: an invented machine measured in cells and beats, and one set-up for each model.
//!
//! A beat is 100 ms, a cell is what the belt moves in a beat: 10 mm, 100 counts. A bottle is two cells long; every stroke takes
//! one beat, with a margin of one beat. Contacts and eyes are not filtered, so that each flip of one beat is taken as real: the
//! hardest case. Other times are the shortest that the core accepts.

use timing_core::{
    ActuatorProfile, BeltOwner, CapPolicy, Contact, Contacts, CountsPerMm, Duration, Machine, MachineProfile,
    Millimetres, Mode, Product, Setpoints, Speed, Station, Tighten,
};

/// One beat, µs.
pub const BEAT_US: u64 = 100_000;
/// One cell, counts: one count a millisecond on the running belt.
pub const CELL: i64 = 100;
/// Beats for which the beacon must warn.
pub const WARN_BEATS: u8 = 5;
/// Where things are, cells from the head centre to a bottle's centre.
pub mod at {
    /// Where a bottle waits at the release gate.
    pub const POCKET: i8 = -6;
    /// A bottle here is under the release blade.
    pub const UNDER_RELEASE: i8 = -5;
    /// Where a bottle waits at the entry gate.
    pub const QUEUE: i8 = -8;
    /// A bottle here is under the entry blade.
    pub const UNDER_ENTRY: i8 = -7;
    /// The release eye sees a bottle at this cell and the one before.
    pub const RELEASE_EYE: i8 = -4;
    /// The discharge eye sees a bottle at this cell and the one before.
    pub const DISCHARGE_EYE: i8 = 3;
    /// A bottle here has left the world.
    pub const GONE: i8 = 8;
    /// The pocket eye sees a bottle here and at [`POCKET`].
    pub const POCKET_FIRST: i8 = -7;
}
/// Belt travel after which a body in the release eye is a jam, cells.
pub const JAM_CELLS: u8 = 4;

/// What is explored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Production without end, tightening by turns.
    Line,
    /// A batch of two.
    Batch,
    /// Early release: a bottle is let go while the head is busy.
    Early,
    /// Tightening ends by the torque contact.
    Torque,
    /// Every actuator by itself, by hand.
    Manual,
    /// Dry cycle, and single steps over a bottle placed by hand.
    Maintenance,
}

impl Kind {
    /// All of them.
    pub const ALL: [Self; 6] = [Self::Line, Self::Batch, Self::Early, Self::Torque, Self::Manual, Self::Maintenance];

    /// The name on the command line and in tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Line => "line",
            Self::Batch => "batch",
            Self::Early => "early",
            Self::Torque => "torque",
            Self::Manual => "manual",
            Self::Maintenance => "maintenance",
        }
    }

    /// The mode in which it works.
    #[must_use]
    pub const fn mode(self) -> Mode {
        match self {
            Self::Line | Self::Batch | Self::Early | Self::Torque => Mode::Production,
            Self::Manual => Mode::Manual,
            Self::Maintenance => Mode::Maintenance,
        }
    }

    /// Whether bottles come along the belt.
    #[must_use]
    pub const fn is_production(self) -> bool {
        matches!(self.mode(), Mode::Production)
    }

    /// Most bottles in the world at once.
    #[must_use]
    pub const fn room(self) -> usize {
        if self.is_production() { 3 } else { 1 }
    }

    /// Bottles asked for.
    #[must_use]
    pub const fn batch(self) -> u32 {
        if matches!(self, Self::Batch) { 2 } else { 0 }
    }

    /// The station at power-up.
    ///
    /// # Panics
    /// If the core refuses the machine or the product, which the tests would show.
    #[must_use]
    pub fn station(self) -> Station {
        let machine = Machine::new(&self.machine()).expect("a machine that can work");
        let setpoints = Setpoints::new(&self.product(), &machine).expect("a product that fits it");
        Station::new(machine, setpoints)
    }

    /// The contacts that are wired.
    #[must_use]
    pub fn fitted(self) -> Contacts {
        let base = [
            Contact::PocketEye,
            Contact::ReleaseEye,
            Contact::DischargeEye,
            Contact::EntryGateHome,
            Contact::ReleaseGateHome,
            Contact::GripHome,
            Contact::GripWork,
            Contact::GripOver,
            Contact::PlungerHome,
            Contact::PlungerWork,
            Contact::PlungerOver,
            Contact::RollersHome,
            Contact::RollersWork,
            Contact::Chain,
            Contact::Guard,
            Contact::Air,
        ];
        let set = base.into_iter().fold(Contacts::NONE, |set, c| set.with(c, true));
        set.with(Contact::Torque, matches!(self, Self::Torque))
            .with(Contact::RollersOver, matches!(self, Self::Maintenance))
    }

    fn machine(self) -> MachineProfile {
        let mm = Millimetres::from_mm;
        let ms = Duration::from_millis;
        MachineProfile {
            counts_per_mm: CountsPerMm::from_bits(10 << 16),
            belt_owner: BeltOwner::Ours,
            belt_speed_max: Speed::from_mm_per_s(200),
            belt_ramp: ms(0),
            suspend_stops_belt: false,
            release_blade: mm(-50),
            release_eye: mm(-40),
            discharge_eye: Some(mm(30)),
            cap_eye: None,
            reject: Some(mm(40)),
            reject_length: mm(10),
            head_clear: mm(10),
            actuators: [ActuatorProfile::spring(0, 100, 100); 6],
            fitted: self.fitted(),
            eye_on: ms(0),
            eye_filter: ms(0),
            contact_filter: ms(0),
            safety_filter: ms(100),
            belt_still: ms(200),
            reverse_tolerance: mm(2),
            sample_gap: ms(200),
            warn: ms(500),
            clear: ms(200),
            starve: ms(800),
            patience: ms(2_000),
            idle_spin: false,
        }
    }

    fn product(self) -> Product {
        let mm = Millimetres::from_mm;
        let ms = Duration::from_millis;
        Product {
            speed: Speed::from_mm_per_s(100),
            body_min: mm(20),
            body: mm(20),
            body_max: mm(20),
            catch_travel: mm(50),
            catch_early: mm(0),
            capture: mm(5),
            u_base: mm(1),
            gate_shut_travel: mm(10),
            settle_travel: mm(10),
            misfeed_travel: mm(40),
            jam_travel: mm(10 * i32::from(JAM_CELLS)),
            leave_travel: mm(20),
            slip: mm(0),
            slip_u: mm(1),
            stop_travel: mm(0),
            seat_dwell: ms(0),
            engage_dwell: ms(0),
            disengage_dwell: ms(0),
            tighten: match self {
                Self::Torque => Tighten::Torque { earliest: ms(150), latest: ms(400) },
                _ => Tighten::Turns(ms(200)),
            },
            spin_rpm: 300,
            cap: CapPolicy::Unsensed,
            misses_to_hold: 2,
            early: matches!(self, Self::Early).then_some(ms(200)),
            speed_window: mm(10),
        }
    }
}
