//! The world around the station: bottles on cells, actuators with three places, contacts that may lie, an operator.
//!
//! Knows nothing of the core but its wires.

use crate::deed::{Beat, Deed};
use crate::setup::{CELL, Kind, at};
use heapless::Vec;
use timing_core::{Actuator, Contact, Contacts, Orders};

/// Most bottles in any world.
pub const ROOM: usize = 4;

/// One bottle.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Bottle {
    /// Cell of its centre; the head centre is 0, downstream is positive.
    pub x: i8,
    /// Cells moved in the beat that goes on; 0 between beats.
    pub dx: i8,
    /// It has a closure.
    pub cap: bool,
    /// It fell or is wedged: it stays where it is until hands take it.
    pub fallen: bool,
    /// It slips past both gates.
    pub pushy: bool,
    /// Where it is does not follow from the belt since it was seen.
    pub astray: bool,
    /// Catches ordered for it.
    pub catches: u8,
}

impl Bottle {
    const fn new(x: i8) -> Self {
        Self { x, dx: 0, cap: true, fallen: false, pushy: false, astray: false, catches: 0 }
    }

    /// Belt counts from the head centre when the belt has moved `done` of this beat's counts.
    #[must_use]
    pub fn place(&self, done: i64) -> i64 {
        i64::from(self.x) * CELL - if self.dx == 0 { 0 } else { CELL - done }
    }
}

/// Where an actuator is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Reach {
    /// At its resting end.
    #[default]
    Home,
    /// Somewhere between.
    Between,
    /// At its working end.
    Work,
}

/// Everything outside the station.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Plant {
    /// Bottles, the one furthest downstream first.
    pub bottles: Vec<Bottle, ROOM>,
    /// Where each actuator is.
    pub reach: [Reach; 6],
    /// Actuators that do not move, one bit each.
    pub jammed: u8,
    /// Contacts that read on, whatever is.
    pub stuck_on: Contacts,
    /// Contacts that read off, whatever is.
    pub stuck_off: Contacts,
    /// The belt moved in the last beat.
    pub moved: bool,
    /// Beats since the encoder's last count, to its bound.
    pub still: u8,
    /// The encoder is silent.
    pub silent: bool,
    /// No bottles come.
    pub starved: bool,
    /// Beats of spin so far, for the torque contact.
    pub spun: u8,
    /// The clutch does not slip.
    pub no_torque: bool,
    /// The release eye or the encoder lied, or a bottle was taken: what the core knows of places may be wrong.
    pub blind: bool,
    /// A bottle was placed at the head; in Manual the head is jogged then, else the gates and the belt.
    pub hand: bool,
    /// What was read last.
    pub contacts: Contacts,
}

impl Plant {
    /// At power-up: everything home; `hand`: a bottle stands at the head.
    #[must_use]
    pub fn new(kind: Kind, hand: bool) -> Self {
        let mut p = Self {
            bottles: Vec::new(),
            reach: [Reach::Home; 6],
            jammed: 0,
            stuck_on: Contacts::NONE,
            stuck_off: Contacts::NONE,
            moved: false,
            still: 4,
            silent: false,
            starved: !kind.is_production(),
            spun: 0,
            no_torque: false,
            blind: false,
            hand,
            contacts: Contacts::NONE,
        };
        if hand {
            let _ = p.bottles.push(Bottle::new(0));
        }
        p.contacts = p.read(kind);
        p
    }

    /// Whether something lasts that hands can cure.
    #[must_use]
    pub fn can_cure(&self, kind: Kind) -> bool {
        let lies = self.bottles.iter().any(|b| self.is_pinned(b)) || !self.stuck_on.or(self.stuck_off).is_empty();
        let starved = self.starved && kind.is_production();
        lies || self.jammed != 0 || self.silent || starved || self.no_torque || self.bottles.iter().any(|b| b.fallen)
    }

    /// Whether a blade has come down on `b`.
    fn is_pinned(&self, b: &Bottle) -> bool {
        let between = |a: Actuator| self.reach[a.index()] == Reach::Between;
        b.x == at::UNDER_RELEASE && between(Actuator::ReleaseGate)
            || b.x == at::UNDER_ENTRY && between(Actuator::EntryGate)
    }

    /// Everything that lasts is cured; what fell, or stands under a blade, is taken out.
    pub fn cure(&mut self, kind: Kind) {
        self.stuck_on = Contacts::NONE;
        self.stuck_off = Contacts::NONE;
        self.jammed = 0;
        self.silent = false;
        self.no_torque = false;
        self.starved = !kind.is_production();
        let (before, seen) = (self.bottles.len(), self.clone());
        self.bottles.retain(|b| !b.fallen && !seen.is_pinned(b));
        self.blind |= self.bottles.len() < before;
    }

    /// Hands take out whatever stands beyond the entry gate.
    pub fn empty(&mut self) {
        self.bottles.retain(|b| b.x <= at::QUEUE);
    }

    /// Whether `deed` would do anything in a beat under `orders`.
    #[must_use]
    pub fn can(&self, deed: Deed, orders: Orders, kind: Kind) -> bool {
        let nth = |i: u8| self.bottles.get(usize::from(i));
        match deed {
            Deed::Flip(c) => !self.stuck_on.or(self.stuck_off).has(c),
            Deed::Stick(c) => !self.stuck_on.or(self.stuck_off).has(c),
            Deed::Late(a) => {
                let to = if orders.work(a) { Reach::Work } else { Reach::Home };
                self.reach[a.index()] != to && self.jammed & (1 << a.index()) == 0
            }
            Deed::Jam(a) => self.jammed & (1 << a.index()) == 0,
            Deed::Slip(i) => {
                orders.belt()
                    && nth(i)
                        .is_some_and(|b| !b.fallen && b.x > at::QUEUE && !self.is_held(b, orders, &Beat::default()))
            }
            Deed::Fall(i) => nth(i).is_some_and(|b| !b.fallen && b.x > at::QUEUE),
            Deed::Take(i) => nth(i).is_some_and(|b| b.x > at::QUEUE),
            Deed::Double => self.bottles.iter().any(|b| !b.pushy && b.x <= at::POCKET),
            Deed::Stray(x) => self.bottles.len() < kind.room() && self.bottles.iter().all(|b| b.x.abs_diff(x) >= 2),
            Deed::Bare => self.bottles.iter().any(|b| b.cap && b.x <= at::POCKET),
            Deed::Coast => self.moved && !orders.belt(),
            Deed::Back => !orders.belt(),
            Deed::Silent => !self.silent,
            Deed::Starve => !self.starved,
            Deed::Crossed => orders.spin() && self.spun == 0,
            Deed::NoTorque => !self.no_torque,
            Deed::Ask(_) => true,
        }
    }

    const fn is_gripping(&self) -> bool {
        matches!(self.reach[Actuator::Grip as usize], Reach::Work)
    }

    /// Whether the grip holds `b` for the next beat: an opening jaw frees it at once.
    #[must_use]
    pub fn is_held(&self, b: &Bottle, orders: Orders, beat: &Beat) -> bool {
        let stays = orders.work(Actuator::Grip)
            || self.jammed & (1 << Actuator::Grip.index()) != 0
            || beat.has(Deed::Late(Actuator::Grip));
        self.is_gripping() && stays && b.x.abs() <= 1
    }

    /// What happens besides, at the beginning of a beat.
    fn befall(&mut self, beat: &Beat) {
        for deed in &beat.deeds {
            match *deed {
                Deed::Stick(c) => {
                    let on = self.contacts.has(c);
                    self.stuck_on = self.stuck_on.with(c, !on);
                    self.stuck_off = self.stuck_off.with(c, on);
                    self.blind |= c == Contact::ReleaseEye;
                }
                Deed::Flip(c) => self.blind |= c == Contact::ReleaseEye,
                Deed::Jam(a) => self.jammed |= 1 << a.index(),
                Deed::Fall(i) => {
                    if let Some(b) = self.bottles.get_mut(usize::from(i)) {
                        b.fallen = true;
                        b.astray = true;
                    }
                }
                Deed::Double => {
                    if let Some(b) = self.bottles.iter_mut().find(|b| !b.pushy && b.x <= at::POCKET) {
                        b.pushy = true;
                        b.astray = true;
                    }
                }
                Deed::Bare => {
                    if let Some(b) = self.bottles.iter_mut().find(|b| b.cap && b.x <= at::POCKET) {
                        b.cap = false;
                    }
                }
                Deed::Silent => {
                    self.silent = true;
                    self.blind = true;
                }
                Deed::Back => self.blind = true,
                Deed::Starve => self.starved = true,
                Deed::NoTorque => self.no_torque = true,
                Deed::Take(_)
                | Deed::Stray(_)
                | Deed::Late(_)
                | Deed::Slip(_)
                | Deed::Coast
                | Deed::Crossed
                | Deed::Ask(_) => {}
            }
        }
        // Last, because they change who is the how manieth.
        for deed in &beat.deeds {
            match *deed {
                Deed::Take(i) if usize::from(i) < self.bottles.len() => {
                    self.bottles.remove(usize::from(i));
                    self.blind = true;
                }
                Deed::Stray(x) => {
                    let i = self.bottles.iter().position(|b| b.x < x).unwrap_or(self.bottles.len());
                    let _ = self.bottles.insert(i, Bottle { astray: true, ..Bottle::new(x) });
                }
                _ => {}
            }
        }
    }

    /// One beat under `orders`. Returns the encoder's counts; [`Bottle::dx`] tells who moved.
    pub fn advance(&mut self, orders: Orders, beat: &Beat, kind: Kind) -> i64 {
        self.befall(beat);
        self.moved = orders.belt() || (beat.has(Deed::Coast) && self.moved);
        if self.moved {
            self.carry(orders, beat);
        }
        self.stroke(orders, beat);
        self.spun = if orders.spin() { (self.spun + 1).min(3) } else { 0 };
        let flips = beat.deeds.iter().fold(Contacts::NONE, |set, d| match *d {
            Deed::Flip(c) => set.with(c, true),
            Deed::Crossed => set.with(Contact::Torque, true),
            _ => set,
        });
        self.supply(kind);
        self.contacts = self.read(kind).differing(flips);
        match (self.moved && !self.silent, beat.has(Deed::Back)) {
            (true, _) => CELL,
            (false, true) => -CELL,
            (false, false) => 0,
        }
    }

    /// The belt carries every bottle that nothing holds by one cell.
    fn carry(&mut self, orders: Orders, beat: &Beat) {
        let release_open = self.reach[Actuator::ReleaseGate.index()] == Reach::Work;
        let entry_open = self.reach[Actuator::EntryGate.index()] == Reach::Work;
        // Between its ends a blade may still let pass who is under it, and holds everybody else.
        let seen = self.clone();
        let mut ahead = i8::MAX;
        for (i, b) in self.bottles.iter_mut().enumerate() {
            let gate = match b.x {
                at::POCKET | at::UNDER_RELEASE => release_open || b.pushy,
                at::QUEUE | at::UNDER_ENTRY => entry_open || b.pushy,
                _ => true,
            };
            let slips = beat.has(Deed::Slip(i as u8));
            let held = seen.is_held(b, orders, beat);
            let free = !b.fallen && !held && !slips && gate && i16::from(b.x) < i16::from(ahead) - 2;
            if free {
                b.dx = 1;
                b.x += 1;
                b.pushy &= b.x <= at::UNDER_RELEASE;
            } else if !held && b.x > at::POCKET {
                b.astray = true;
            }
            ahead = b.x;
        }
        self.bottles.retain(|b| b.x < at::GONE);
    }

    /// Every actuator goes where its coil sends it, in one beat; a blade stalls on a bottle.
    fn stroke(&mut self, orders: Orders, beat: &Beat) {
        for a in Actuator::ALL {
            let i = a.index();
            if self.jammed & (1 << i) != 0 {
                continue;
            }
            let to = if orders.work(a) { Reach::Work } else { Reach::Home };
            let under = match a {
                Actuator::EntryGate => at::UNDER_ENTRY,
                Actuator::ReleaseGate => at::UNDER_RELEASE,
                _ => i8::MIN,
            };
            let stalls = to == Reach::Home && self.reach[i] != to && self.bottles.iter().any(|b| b.x == under);
            let late = beat.has(Deed::Late(a)) && self.reach[i] != to;
            self.reach[i] = if stalls || late { Reach::Between } else { to };
        }
    }

    /// The next bottle comes up to the entry gate as soon as there is room.
    fn supply(&mut self, kind: Kind) {
        let room = self.bottles.len() < kind.room() && self.bottles.iter().all(|b| b.x.abs_diff(at::QUEUE) >= 2);
        if room && !self.starved {
            let _ = self.bottles.push(Bottle::new(at::QUEUE));
        }
    }

    /// What the contacts read, flips aside.
    fn read(&self, kind: Kind) -> Contacts {
        let seen = |x: i8| self.bottles.iter().any(|b| b.x == x || b.x == x - 1);
        let reach = |a: Actuator| self.reach[a.index()];
        let home = |a: Actuator| reach(a) == Reach::Home;
        let in_grip = self.bottles.iter().find(|b| b.x.abs() <= 1);
        let grips = self.is_gripping();
        let presses = reach(Actuator::Plunger) == Reach::Work;
        let on_cap = presses && grips && in_grip.is_some_and(|b| b.cap);
        let rolls = reach(Actuator::Rollers) == Reach::Work;
        let torque = self.spun >= 2 && rolls && on_cap && !self.no_torque;
        let true_ones = [
            (Contact::PocketEye, seen(at::POCKET)),
            (Contact::ReleaseEye, seen(at::RELEASE_EYE)),
            (Contact::DischargeEye, seen(at::DISCHARGE_EYE)),
            (Contact::EntryGateHome, home(Actuator::EntryGate)),
            (Contact::ReleaseGateHome, home(Actuator::ReleaseGate)),
            (Contact::GripHome, home(Actuator::Grip)),
            (Contact::GripWork, grips && in_grip.is_some()),
            (Contact::GripOver, grips && in_grip.is_none()),
            (Contact::PlungerHome, home(Actuator::Plunger)),
            (Contact::PlungerWork, on_cap),
            (Contact::PlungerOver, presses && !on_cap),
            (Contact::RollersHome, home(Actuator::Rollers)),
            (Contact::RollersWork, rolls && on_cap),
            (Contact::RollersOver, rolls && !on_cap),
            (Contact::Torque, torque),
            (Contact::Chain, true),
            (Contact::Guard, true),
            (Contact::Air, true),
        ];
        let all = true_ones.into_iter().fold(Contacts::NONE, |set, (c, on)| set.with(c, on));
        all.or(self.stuck_on).without(self.stuck_off).and(kind.fitted())
    }

    /// A beat is over.
    pub fn settle(&mut self) {
        for b in &mut self.bottles {
            b.dx = 0;
        }
    }
}
