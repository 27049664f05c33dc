//! The line that the plant's tests run on: a round bottle of 65 mm at 100 mm/s. All figures are our own and invented.

use host_sim::facts::{Fact, What};
use host_sim::job::spec::{ActuatorSpec, ExpectSpec, Job, MachineSpec, ProductSpec, RunSpec, SupplySpec, TightenSpec};
use host_sim::plant::Plant;
use timing_core::{Actuator, CapPolicy, Contact, Contacts, Orders, Speed, ValveKind};

/// A cylinder: 20 ms latency, 100 ms travel, 30 ms more to full stroke.
pub(crate) fn cylinder(valve: ValveKind) -> ActuatorSpec {
    ActuatorSpec {
        valve,
        latency_ms: 20.0,
        to_work_ms: 100.0,
        to_over_ms: 30.0,
        to_home_ms: 100.0,
        spread_ms: 5.0,
        margin_ms: 100.0,
        home: true,
        work: true,
        over: true,
        drive: host_sim::job::measured::DriveSpec::default(),
    }
}

/// The reference job: no scatter, no bounce, no eye response, so that times can be told by hand.
pub(crate) fn job() -> Job {
    let contacts = [
        Contact::Air,
        Contact::Drive,
        Contact::Cap,
        Contact::Torque,
        Contact::UpstreamReady,
        Contact::DownstreamReady,
        Contact::RejectEye,
    ]
    .into_iter()
    .fold(Contacts::NONE, |s, c| s.with(c, true));
    Job {
        name: "reference".into(),
        title: "invented".into(),
        machine: MachineSpec {
            encoder_counts_per_rev: 4096.0,
            wheel_mm: 200.0,
            line_owns_belt: false,
            belt_speed_max_mm_s: 600.0,
            belt_accel_mm_s2: 1000.0,
            suspend_stops_belt: false,
            entry_blade_mm: -160.5,
            release_blade_mm: -100.9,
            blade_mm: 3.0,
            blade_tip_mm: 20.0,
            pocket_eye_mm: -115.0,
            release_eye_mm: -61.5,
            discharge_eye_mm: Some(110.0),
            supply_eye_mm: Some(-190.0),
            cap_eye_mm: None,
            reject_mm: Some(400.0),
            reject_length_mm: 80.0,
            jaw_half_mouth_mm: 40.0,
            jaw_half_angle_deg: 60.0,
            jaw_mu: 0.2,
            actuators: [cylinder(ValveKind::SpringReturn); 6],
            contacts,
            eye_on_ms: 0.0,
            eye_off_ms: 0.0,
            eye_beam_mm: 2.0,
            eye_filter_ms: 3.0,
            contact_filter_ms: 5.0,
            contact_bounce_ms: 0.0,
            safety_filter_ms: 100.0,
            sample_gap_ms: 20.0,
            belt_still_ms: 100.0,
            warn_ms: 1000.0,
            clear_ms: 1000.0,
            starve_ms: 5000.0,
            patience_ms: 20_000.0,
            roller_diameter_mm: 50.0,
            roller_ramp_ms: 100.0,
            idle_spin: false,
            air_bar: 5.0,
            set: host_sim::job::measured::SetSpec::default(),
        },
        product: ProductSpec {
            diameter_mm: 65.0,
            diameter_tol_mm: 1.0,
            height_mm: 180.0,
            cog_mm: 90.0,
            mass_kg: 0.55,
            mu_min: 0.15,
            mu_max: 0.25,
            transparent: false,
            cap_diameter_mm: 28.0,
            turns: 1.5,
            tighten: TightenSpec::Torque,
            torque_nm: 1.58,
            roller_rpm: 300.0,
            speed_mm_s: 100.0,
            seat_dwell_ms: 0.0,
            engage_dwell_ms: 0.0,
            disengage_dwell_ms: 0.0,
            settle_mm: 5.0,
            aim_early_mm: 0.0,
            cap: CapPolicy::AtHead,
            misses_to_hold: 3,
            early_release: false,
            speed_window_mm: 3.0,
            body: host_sim::job::measured::BodySpec::default(),
        },
        run: RunSpec {
            seed: 1,
            duration_s: 60.0,
            bottles: 10,
            batch: 0,
            supply: SupplySpec::Touching,
            wander: 0.0,
            wander_period_s: 2.0,
            spread: false,
            fixed_delays: false,
            encoder_slip: 0.0,
            initial: Vec::new(),
            script: Vec::new(),
            faults: Vec::new(),
        },
        expect: ExpectSpec::default(),
    }
}

/// A plant with a hand on every coil.
pub(crate) struct Bench {
    pub(crate) plant: Plant,
    pub(crate) orders: Orders,
    pub(crate) speed: i32,
    pub(crate) facts: Vec<Fact>,
    /// Every change of the contacts: time and levels.
    pub(crate) edges: Vec<(u64, Contacts)>,
}

impl Bench {
    pub(crate) fn new(job: &Job) -> Self {
        let mut plant = Plant::new(job);
        plant.set_tracing(true);
        let edges = vec![(0, plant.contacts())];
        Self { plant, orders: Orders::SAFE, speed: job.product.speed_mm_s as i32, facts: Vec::new(), edges }
    }

    pub(crate) fn obey(&mut self) {
        self.plant.obey(self.orders, Speed::from_mm_per_s(self.speed), 300);
        self.note();
    }

    pub(crate) fn belt(&mut self, on: bool) {
        self.orders = self.orders.with_belt(on);
        self.obey();
    }

    pub(crate) fn spin(&mut self, on: bool) {
        self.orders = self.orders.with_spin(on);
        self.obey();
    }

    pub(crate) fn coil(&mut self, a: Actuator, on: bool) {
        self.orders = self.orders.with_coils(a, on, false);
        self.obey();
    }

    fn note(&mut self) {
        self.facts.extend(self.plant.facts());
        let c = self.plant.contacts();
        if self.edges.last().is_none_or(|e| e.1 != c) {
            self.edges.push((self.plant.now(), c));
        }
    }

    /// Runs to `t` µs, event by event.
    pub(crate) fn run_to(&mut self, t: u64) {
        while self.plant.now() < t {
            let to = self.plant.next_event().min(t);
            self.plant.advance(to);
            self.note();
        }
    }

    /// Runs until `done`, at most to `limit` µs; says when.
    pub(crate) fn run_until(&mut self, limit: u64, done: impl Fn(&Self) -> bool) -> Option<u64> {
        while !done(self) {
            if self.plant.now() >= limit {
                return None;
            }
            let to = self.plant.next_event().min(limit);
            self.plant.advance(to);
            self.note();
        }
        Some(self.plant.now())
    }

    pub(crate) fn has(&self, c: Contact) -> bool {
        self.plant.contacts().has(c)
    }

    /// Times of the rising or falling edges of `c`, µs.
    pub(crate) fn edges_of(&self, c: Contact, rising: bool) -> Vec<u64> {
        let pair = self.edges.windows(2);
        pair.filter(|w| w[0].1.has(c) != w[1].1.has(c) && w[1].1.has(c) == rising).map(|w| w[1].0).collect()
    }

    pub(crate) fn facts_of(&self, bottle: u32) -> Vec<What> {
        self.facts.iter().filter(|f| f.bottle == bottle).map(|f| f.what).collect()
    }

    pub(crate) fn when(&self, bottle: u32, is: impl Fn(&What) -> bool) -> Option<u64> {
        self.facts.iter().find(|f| f.bottle == bottle && is(&f.what)).map(|f| f.t_us)
    }
}

/// A controller for the bench: lets bottle after bottle through, closing each with fixed waits on the reeds. It knows the geometry and
/// the true places, so it is no model of the real one.
pub(crate) fn close_bottles(b: &mut Bench, n: u32, limit: u64) {
    use Actuator as A;
    b.belt(true);
    b.coil(A::Reject, true);
    for k in 1..=n {
        b.coil(A::EntryGate, true);
        let full = b.run_until(limit, |b| b.plant.place_of(k).is_some_and(|x| x >= -127.3));
        assert!(
            full.is_some(),
            "bottle {k} does not come into the pocket: {:?}",
            b.plant.bottles().collect::<Vec<_>>()
        );
        b.coil(A::EntryGate, false);
        let shut = b.run_until(limit, |b| b.has(Contact::EntryGateHome));
        assert!(shut.is_some(), "entry gate does not shut before bottle {k}");
        b.coil(A::ReleaseGate, true);
        // The jaw takes 120 ms: 12 mm at 100 mm/s.
        let lead = f64::from(b.speed) * 0.12;
        while b.plant.place_of(k).is_some_and(|x| x < -lead) {
            let t = b.plant.bottle_reaches(k, -lead).min(b.plant.next_event());
            assert!(t < limit, "bottle {k} does not reach the head");
            b.plant.advance(t);
            b.note();
        }
        b.coil(A::ReleaseGate, false);
        b.coil(A::Grip, true);
        let _ = b.run_until(limit, |b| b.has(Contact::GripWork) || b.has(Contact::GripOver));
        b.coil(A::Plunger, true);
        let _ = b.run_until(limit, |b| b.has(Contact::PlungerWork) || b.has(Contact::PlungerOver));
        if b.has(Contact::PlungerWork) {
            b.coil(A::Rollers, true);
            let _ = b.run_until(limit, |b| b.has(Contact::RollersWork) || b.has(Contact::RollersOver));
            b.spin(true);
            let late = b.plant.now() + 800_000;
            let _ = b.run_until(late, |b| b.has(Contact::Torque));
            b.spin(false);
            b.coil(A::Rollers, false);
            let _ = b.run_until(limit, |b| b.has(Contact::RollersHome));
        }
        b.coil(A::Plunger, false);
        let _ = b.run_until(limit, |b| b.has(Contact::PlungerHome));
        b.coil(A::Grip, false);
        let _ = b.run_until(limit, |b| b.has(Contact::GripHome) && b.has(Contact::ReleaseGateHome));
    }
}
