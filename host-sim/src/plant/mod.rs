//! The modelled line: belt, bottles, gates, head, eyes and diverter as physics. It knows the wires of the core
//! ([`timing_core::Contacts`], [`timing_core::Orders`]) and nothing of its logic.
//!
//! Motion between two events has constant acceleration and is computed in closed form; the plant jumps from event to event.
//! What the model leaves out is written down in the book's chapter on the model.
//!
//! ```text
//!  supply ▸ entry gate ▸ release gate ▸ release eye ▸ head ▸ discharge eye ▸ diverter ▸ out
//! ```
//!
//! The loop that drives it: take the least of [`Plant::next_event`], a time and a [`Plant::belt_reaches`]; [`Plant::advance`] to it;
//! read [`Plant::contacts`] and [`Plant::belt`]; [`Plant::obey`] what the controller says.

mod actuator;
mod belt;
mod bottle;
mod discharge;
mod draw;
mod eye;
mod faults;
mod gate;
mod head;
mod kin;
mod path;
mod row;
mod supply;

pub use bottle::{foot_stop_speed, queue_force};
pub use draw::Bounds;
pub use gate::{chord, free_width};

use crate::facts::{Fact, What};
use crate::job::spec::{FaultKind, InitialBottle, Job};
use crate::trace::BottlePath;
use actuator::{Cylinder, Stroke};
use belt::Belt;
use bottle::{Body, Kind};
use discharge::Lane;
use draw::Draw;
use eye::{Marks, What as Mark, Wires};
use faults::{Lies, World};
use gate::Gate;
use head::{Drive, Engaged, Jaw};
use kin::{NEVER, ceil_us};
use std::collections::VecDeque;
use supply::Supply;
use timing_core::{Actuator, Contact, Contacts, Orders, Speed};

/// Beams across the belt: pocket, release, discharge and supply eye, and the closure's sensor.
const SENSORS: usize = 5;
/// Number of the closure's sensor.
const CAP: u8 = 4;
const CONTACT_OF: [Contact; SENSORS] =
    [Contact::PocketEye, Contact::ReleaseEye, Contact::DischargeEye, Contact::SupplyEye, Contact::Cap];

/// Thickness of wall that glass shows to an eye, mm: an assumption of the model.
const GLASS_MM: f64 = 6.0;

/// Who has something to do next.
#[derive(Clone, Copy, Debug)]
enum Who {
    Belt,
    Cylinder(usize),
    Body(usize),
    Head,
    Supply,
    Lane,
    Wires,
}

/// The modelled line at one instant.
#[derive(Clone, Debug)]
pub struct Plant {
    now: u64,
    next: f64,
    who: Who,
    /// `next` must be looked up again.
    stale: bool,

    belt: Belt,
    row: VecDeque<Body>,
    gates: [Gate; 2],
    acts: [Cylinder; 6],
    wires: Wires,
    shadows: [u32; SENSORS],
    marks: Marks,
    supply: Supply,
    lane: Lane,

    jaw: Jaw,
    plunger_down: bool,
    engaged: Option<Engaged>,
    drive: Drive,
    head_te: f64,

    told: (Orders, Speed, u16),
    orders: Orders,
    world: World,
    lies: Lies,
    outfeed_blocked: bool,
    quirks: Vec<(u32, FaultKind)>,
    facts: Vec<Fact>,
    tracing: bool,
    paths: Vec<BottlePath>,
    bump_max: f64,

    // Draws, each kind from its own stream.
    bottles: Draw,
    strokes: Draw,
    gaps: Draw,

    // Figures of the job.
    kind: Kind,
    spread: bool,
    bounds: Option<Bounds>,
    mu: (f64, f64),
    diameter_tol: f64,
    blade_tip: f64,
    turns_needed: f64,
    roller_ratio: f64,
    line_owns_belt: bool,
    line_speed: f64,
    eye_on: f64,
    eye_off: f64,
    fitted: Contacts,
    jaw_half_mouth: f64,
    jaw_cos: f64,
    jaw_centres: bool,
    jaw_reach: f64,
    spawn_x: f64,
    room_x: f64,
    queue_head_x: f64,
    wedge_x: f64,
    outfeed_x: f64,
    hand_span: (f64, f64),
    initial: Vec<InitialBottle>,
}

/// Which contacts are wired, by the job.
pub(crate) fn fitted(job: &Job) -> Contacts {
    let m = &job.machine;
    let mut set = m.contacts;
    for c in [Contact::PocketEye, Contact::ReleaseEye, Contact::Chain, Contact::Guard] {
        set = set.with(c, true);
    }
    set = set.with(Contact::DischargeEye, m.discharge_eye_mm.is_some());
    set = set.with(Contact::SupplyEye, m.supply_eye_mm.is_some());
    for a in Actuator::ALL {
        let s = &m.actuators[a.index()];
        set = set.with(Contact::home_of(a), s.home).with(Contact::work_of(a), s.work);
        if let Some(over) = Contact::over_of(a) {
            set = set.with(over, s.over);
        }
    }
    set
}

impl Plant {
    /// The line of `job` at power-up: nothing energised, everything at home, the belt at rest if it is ours. All draws come from the job's seed.
    #[must_use]
    pub fn new(job: &Job) -> Self {
        Self::within(job, None)
    }

    /// As [`Self::new`], but with everything at `bounds` of its tolerance.
    #[must_use]
    pub fn within(job: &Job, bounds: Option<Bounds>) -> Self {
        let (m, p, run) = (&job.machine, &job.product, &job.run);
        let draw = |stream| Draw::new(run.seed, stream);
        let kind = Kind::new(p);
        let d = p.diameter_mm;
        let tol = p.diameter_tol_mm;
        let r_max = 0.5 * (d + tol);
        let half_angle = m.jaw_half_angle_deg.to_radians();
        let (sin, cos) = (libm::sin(half_angle), libm::cos(half_angle));
        // Where the closed jaw's tips stand across the lane, and how far along it they can touch a body.
        let tip = if sin > 0.0 { kind.r / sin - m.jaw_half_mouth_mm * cos / sin } else { 0.0 };
        let jaw_reach = m.jaw_half_mouth_mm + chord(kind.r, tip);
        // A flank pushes a body along the support only if friction does not lock it there.
        let jaw_centres = m.jaw_mu < libm::tan(0.5 * (core::f64::consts::FRAC_PI_2 - half_angle));
        let upstream = m.supply_eye_mm.map_or(m.entry_blade_mm, |x| x.min(m.entry_blade_mm));
        let spawn_x = upstream - 3.0 * d;
        let outfeed_x = m.discharge_eye_mm.unwrap_or(4.0 * d);
        let last = m.reject_mm.map_or(outfeed_x + d, |x| x + m.reject_length_mm);
        let gate = |face| Gate::new(face, m.blade_mm, m.blade_tip_mm, r_max);
        let over = |a: Actuator| Contact::over_of(a).is_some();
        let cpm = if m.wheel_mm > 0.0 { m.encoder_counts_per_rev / m.wheel_mm } else { 1.0 };
        let mut plant = Self {
            now: 0,
            next: 0.0,
            who: Who::Belt,
            stale: true,
            belt: Belt::new(m.belt_accel_mm_s2, run.wander, run.wander_period_s, cpm, run.encoder_slip),
            row: VecDeque::with_capacity(32),
            gates: [gate(m.entry_blade_mm), gate(m.release_blade_mm)],
            acts: Actuator::ALL.map(|a| Cylinder::new(&m.actuators[a.index()], over(a), run.spread)),
            wires: Wires::new(m.contact_bounce_ms * 1e3, draw(3)),
            shadows: [0; SENSORS],
            marks: Marks::default(),
            supply: Supply::new(run.supply, run.bottles.saturating_add(run.initial.len() as u32)),
            lane: Lane::default(),
            jaw: Jaw::Open,
            plunger_down: false,
            engaged: None,
            drive: Drive::new(m.roller_ramp_ms),
            head_te: NEVER,
            told: (Orders::SAFE, Speed::ZERO, 0),
            orders: Orders::SAFE,
            world: World::default(),
            lies: Lies::default(),
            outfeed_blocked: false,
            quirks: Vec::new(),
            facts: Vec::with_capacity(64),
            tracing: false,
            paths: Vec::new(),
            bump_max: 0.0,
            bottles: draw(1),
            strokes: draw(2),
            gaps: draw(4),
            kind,
            spread: run.spread,
            bounds,
            mu: (p.mu_min, p.mu_max),
            diameter_tol: 0.5 * tol,
            blade_tip: m.blade_tip_mm,
            turns_needed: p.turns,
            roller_ratio: if p.cap_diameter_mm > 0.0 { m.roller_diameter_mm / p.cap_diameter_mm } else { 1.0 },
            line_owns_belt: m.line_owns_belt,
            line_speed: p.speed_mm_s,
            eye_on: m.eye_on_ms * 1e3,
            eye_off: m.eye_off_ms * 1e3,
            fitted: fitted(job),
            jaw_half_mouth: m.jaw_half_mouth_mm,
            jaw_cos: cos,
            jaw_centres,
            jaw_reach,
            spawn_x,
            room_x: spawn_x + d + tol,
            queue_head_x: m.entry_blade_mm - chord(kind.r, m.blade_tip_mm),
            wedge_x: m.release_eye_mm + 10.0,
            outfeed_x,
            hand_span: (m.release_blade_mm, last),
            initial: run.initial.clone(),
        };
        if let Some(b) = bounds {
            for a in Actuator::ALL {
                plant.acts[a.index()].pin(&m.actuators[a.index()], b.stroke[a.index()]);
            }
        }
        plant.set_marks(job, last);
        if plant.line_owns_belt {
            plant.belt.start_running(plant.line_speed);
        }
        plant.first_bottles();
        // Levels at power-up are levels, not edges.
        for (c, n) in CONTACT_OF.into_iter().zip(plant.shadows) {
            plant.wires.settle(c);
            plant.wires.set(c, n > 0);
        }
        for a in Actuator::ALL {
            plant.wires.set(Contact::home_of(a), true);
        }
        plant.wires.set(Contact::UpstreamReady, true);
        plant.world_changed();
        plant
    }

    fn set_marks(&mut self, job: &Job, last: f64) {
        let (m, p) = (&job.machine, &job.product);
        let wall = p.transparent.then(|| GLASS_MM.min(0.15 * p.diameter_mm));
        let mut eyes = Draw::new(job.run.seed, 5);
        let places = [Some(m.pocket_eye_mm), Some(m.release_eye_mm), m.discharge_eye_mm, m.supply_eye_mm];
        for (s, place) in places.iter().enumerate() {
            let drawn = eyes.both_ways();
            let share = self.bounds.map_or(if self.spread { drawn } else { 0.0 }, |b| b.eye);
            if let Some(x) = place {
                self.marks.beam(s as u8, x + 0.5 * m.eye_beam_mm * share, wall);
            }
        }
        let cap_x = m.cap_eye_mm.unwrap_or(0.0);
        if self.fitted.has(Contact::Cap) {
            self.marks.mid.push((cap_x - self.kind.cap_r, Mark::Cap(true)));
            self.marks.mid.push((cap_x + self.kind.cap_r, Mark::Cap(false)));
        }
        // 1 mm further than the shut release gate lets the nose come.
        let nose = m.release_blade_mm + self.kind.r - chord(self.kind.r, m.blade_tip_mm);
        self.marks.lead.push((nose + 1.0, Mark::PastRelease));
        self.marks.mid.push((self.room_x, Mark::Room));
        self.marks.mid.push((self.jaw_reach, Mark::PastHead));
        if let Some(x) = m.reject_mm {
            self.marks.lead.push((x, Mark::RejectFrom));
        }
        self.marks.trail.push((last, Mark::PastReject));
        self.marks.mid.push((last + 2.0 * p.diameter_mm + 250.0, Mark::Exit));
        self.marks.sort();
    }

    /// The time, µs since power-up.
    #[must_use]
    pub const fn now(&self) -> u64 {
        self.now
    }

    /// When something may happen next: the first whole µs not before it, and after [`Self::now`]; `u64::MAX` if nothing will
    /// without another order.
    pub fn next_event(&mut self) -> u64 {
        ceil_us(self.due()).max(self.now + 1)
    }

    /// When something is due, and notes what. At one instant the belt goes first: what rides on it must know its motion.
    fn due(&mut self) -> f64 {
        if self.stale {
            self.stale = false;
            let (mut t, mut who) = (self.belt.until(), Who::Belt);
            let mut least = |x: f64, what: Who| {
                if x < t {
                    (t, who) = (x, what);
                }
            };
            for (i, a) in self.acts.iter().enumerate() {
                least(a.due(), Who::Cylinder(i));
            }
            for (i, b) in self.row.iter().enumerate() {
                least(b.te, Who::Body(i));
            }
            least(self.head_te, Who::Head);
            least(self.supply.te, Who::Supply);
            least(self.lane.due(), Who::Lane);
            least(self.wires.due(), Who::Wires);
            self.next = t;
            self.who = who;
        }
        self.next
    }

    /// Lets time go on to `to` (not beyond [`Self::next_event`] if nothing is to be missed; further is allowed, and everything
    /// on the way happens).
    ///
    /// Times that lie behind are ignored.
    pub fn advance(&mut self, to: u64) {
        let end = to as f64;
        while self.due() <= end {
            self.happen();
        }
        self.now = self.now.max(to);
    }

    /// What is due first happens.
    fn happen(&mut self) {
        let t = self.next;
        self.stale = true;
        match self.who {
            Who::Belt => {
                self.belt.turn();
                self.resettle_all(t);
                self.plan_supply(t);
            }
            Who::Cylinder(i) => {
                let stroke = self.acts[i].happen(&mut self.strokes);
                self.stroke(Actuator::ALL[i], t, stroke);
            }
            Who::Body(i) => self.body_event(i, t),
            Who::Head => self.head_event(t),
            Who::Supply => self.supply_event(t),
            Who::Lane => self.lane_event(t),
            Who::Wires => self.wires.toggle(),
        }
    }

    /// A cylinder did something: its work, and its reeds.
    fn stroke(&mut self, a: Actuator, t: f64, stroke: Stroke) {
        match a {
            Actuator::EntryGate => self.gate_stroke(0, t, stroke),
            Actuator::ReleaseGate => self.gate_stroke(1, t, stroke),
            Actuator::Grip | Actuator::Plunger | Actuator::Rollers => self.head_stroke(a, t, stroke),
            Actuator::Reject => self.reject_stroke(t, stroke),
        }
        self.reed(t, a.index());
        self.stale = true;
    }

    /// Sets the reeds of actuator `i` to where it is.
    fn reed(&mut self, t: f64, i: usize) {
        let (a, c) = (Actuator::ALL[i], &self.acts[i]);
        let (home, work, over) = (c.rests_at(0.0), c.rests_at(1.0), c.rests_at(2.0));
        self.wires.follow(t, Contact::home_of(a), home, 0.0);
        self.wires.follow(t, Contact::work_of(a), work, 0.0);
        if let Some(c) = Contact::over_of(a) {
            self.wires.follow(t, c, over, 0.0);
        }
        self.stale = true;
    }

    /// Coils, drives and set-points are as given from [`Self::now`] on. With the chain open nothing of it has power.
    pub fn obey(&mut self, orders: Orders, belt: Speed, spin_rpm: u16) {
        if self.told != (orders, belt, spin_rpm) {
            self.told = (orders, belt, spin_rpm);
            self.power();
        }
    }

    /// Passes on to coils and drives what has been told, as far as it has power.
    fn power(&mut self) {
        let t = self.now as f64;
        let (told, belt, rpm) = self.told;
        let orders = if self.world.chain_open() { Orders::SAFE } else { told };
        let changed = orders.bits() ^ self.orders.bits();
        self.orders = orders;
        if changed & 0x0FFF != 0 {
            for a in Actuator::ALL {
                self.acts[a.index()].coils(t, orders.work(a), orders.home(a));
            }
        }
        let target = if self.world.belt_stop {
            0.0
        } else if self.line_owns_belt {
            self.line_speed
        } else if orders.belt() && !self.world.drive_off {
            f64::from(belt.to_bits()) / 65_536.0
        } else {
            0.0
        };
        if self.belt.drive(t, target) {
            self.resettle_all(t);
            self.plan_supply(t);
        }
        let rpm = if orders.spin() && !self.world.drive_off { f64::from(rpm) } else { 0.0 };
        self.drive.drive(t, rpm);
        self.spin_changed(t);
        self.stale = true;
    }

    /// Contacts as they read now; those that are not fitted, or cannot be read, are off.
    #[must_use]
    pub fn contacts(&self) -> Contacts {
        let honest = self.wires.bits().without(self.lies.stuck);
        honest.or(self.lies.levels).and(self.fitted).without(self.lies.failed)
    }

    /// Contacts that cannot be read now.
    #[must_use]
    pub fn failed(&self) -> Contacts {
        self.lies.failed.and(self.fitted)
    }

    /// The encoder's count.
    #[must_use]
    pub fn belt(&self) -> i64 {
        self.belt.count(self.now)
    }

    /// The first whole µs at which the encoder read what it reads now.
    #[must_use]
    pub fn belt_at(&self) -> u64 {
        self.belt.edge(self.now)
    }

    /// The first whole µs after [`Self::now`] at which the encoder's count is at least `above` or at most `below`, if the belt goes
    /// on as it does; `u64::MAX` if that is not before its motion changes. Holds until [`Self::next_event`].
    #[must_use]
    pub fn belt_reaches(&self, above: i64, below: i64) -> u64 {
        self.belt.reaches(self.now, above, below, u64::MAX)
    }

    /// As [`Self::belt_reaches`], but `u64::MAX` if that is after `by`: cheaper, because most places that a controller waits for lie
    /// beyond the next event.
    #[must_use]
    pub fn belt_reaches_by(&self, above: i64, below: i64, by: u64) -> u64 {
        self.belt.reaches(self.now, above, below, by)
    }

    /// True speed of the belt, mm/s.
    #[must_use]
    pub fn belt_mm_s(&self) -> f64 {
        self.belt.v(self.now as f64)
    }

    /// What has happened since the last call, in time order.
    pub fn facts(&mut self) -> std::vec::Drain<'_, Fact> {
        self.facts.drain(..)
    }

    /// Whether something has happened that [`Self::facts`] has not told yet.
    #[must_use]
    pub const fn has_facts(&self) -> bool {
        !self.facts.is_empty()
    }

    /// Where the centre of bottle `number` is, mm; `None` if it has not come or is gone.
    #[must_use]
    pub fn place_of(&self, number: u32) -> Option<f64> {
        self.index(number).map(|i| self.arc(i, self.now as f64).x)
    }

    /// When the centre of bottle `number` reaches `x_mm` if it goes on as it does: [`Self::now`] if it is there or beyond, `u64::MAX` if it
    /// does not reach it, has not come or is gone. Ask again after each event.
    #[must_use]
    pub fn bottle_reaches(&self, number: u32, x_mm: f64) -> u64 {
        let Some(i) = self.index(number) else { return u64::MAX };
        let m = self.arc(i, self.now as f64);
        if m.x >= x_mm {
            return self.now;
        }
        let s = kin::reach(x_mm - m.x, m.v, m.a);
        if s == NEVER { u64::MAX } else { ceil_us(self.now as f64 + s * 1e6) }
    }

    /// The bottles on the line, the most downstream first: number, place of the centre and length, mm.
    pub fn bottles(&self) -> impl Iterator<Item = (u32, f64, f64)> + '_ {
        (0..self.row.len()).map(|i| (self.row[i].number, self.arc(i, self.now as f64).x, 2.0 * self.row[i].half))
    }

    /// How many bottles have come down the line.
    #[must_use]
    pub const fn entered(&self) -> u32 {
        self.supply.entered()
    }

    /// Whether all bottles of the run have come and gone.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.supply.left() == 0 && self.row.is_empty()
    }

    /// The largest speed, mm/s, at which two bottles have met so far.
    #[must_use]
    pub const fn hardest_bump(&self) -> f64 {
        self.bump_max
    }

    fn tell(&mut self, t: f64, i: usize, what: What) {
        let bottle = self.row[i].number;
        self.tell_of(t, bottle, what);
    }

    fn tell_of(&mut self, t: f64, bottle: u32, what: What) {
        self.facts.push(Fact { t_us: ceil_us(t), bottle, what });
    }

    fn tell_none(&mut self, t: f64, what: What) {
        self.tell_of(t, 0, what);
    }
}
