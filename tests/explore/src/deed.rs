//! What may happen in a beat: the operator's usual hand, and deeds that go wrong, each of which costs one of the budget.

use crate::plant::{Plant, ROOM};
use crate::setup::Kind;
use crate::world::Said;
use heapless::Vec;
use std::fmt;
use timing_core::{Actuator, Command, Contact, Mode, Pose, Request, UnitState};

/// Most deeds in one beat.
pub const DEEDS: usize = 3;

/// One thing that goes wrong in a beat.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Deed {
    /// A contact reads the opposite at the end of this beat.
    Flip(Contact),
    /// A contact sticks at the opposite of what it read, until it is cured.
    Stick(Contact),
    /// An actuator that moves gets no further than half-way in this beat.
    Late(Actuator),
    /// An actuator stays where it is, until it is cured.
    Jam(Actuator),
    /// The n-th bottle stays where it is for this beat, the belt running under it.
    Slip(u8),
    /// The n-th bottle falls or wedges, and stays until it is taken out.
    Fall(u8),
    /// The n-th bottle is taken away by hand.
    Take(u8),
    /// The bottle in the pocket, or the next, slips past the gates.
    Double,
    /// A bottle is put by hand onto this cell.
    Stray(i8),
    /// The bottle in the pocket, or the next, has no closure.
    Bare,
    /// The belt runs on for this beat, though it is not ordered.
    Coast,
    /// The encoder is turned back by one cell.
    Back,
    /// The encoder is silent, until it is cured.
    Silent,
    /// No bottles come, until that is cured.
    Starve,
    /// The clutch slips in the first beat of spin.
    Crossed,
    /// The clutch does not slip, until it is cured.
    NoTorque,
    /// Something is asked for that is out of place, or untimely.
    Ask(Request),
}

/// One beat: what the operator does in the usual course, and what goes wrong.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Beat {
    /// The usual request.
    pub press: Option<Request>,
    /// Whatever lasts is cured.
    pub cure: bool,
    /// What goes wrong.
    pub deeds: Vec<Deed, DEEDS>,
}

impl Beat {
    /// Whether `deed` is among them.
    #[must_use]
    pub fn has(&self, deed: Deed) -> bool {
        self.deeds.contains(&deed)
    }

    /// What is asked for, usual or not.
    #[must_use]
    pub fn request(&self) -> Option<Request> {
        let asked = self.deeds.iter().find_map(|d| if let Deed::Ask(r) = d { Some(*r) } else { None });
        self.press.or(asked)
    }
}

impl fmt::Display for Beat {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut parts = std::vec::Vec::new();
        if self.cure {
            parts.push("cure".to_owned());
        }
        if let Some(r) = self.press {
            parts.push(request_words(r));
        }
        for d in &self.deeds {
            parts.push(match d {
                Deed::Flip(c) => format!("!{} flips", c.name()),
                Deed::Stick(c) => format!("!{} sticks", c.name()),
                Deed::Late(a) => format!("!{} late", a.name()),
                Deed::Jam(a) => format!("!{} jams", a.name()),
                Deed::Ask(r) => format!("!{}", request_words(*r)),
                other => format!("!{other:?}"),
            });
        }
        f.write_str(&parts.join(", "))
    }
}

fn request_words(r: Request) -> String {
    match r {
        Request::Command(c) => c.name().to_owned(),
        Request::Mode(m) => m.name().to_owned(),
        other => format!("{other:?}"),
    }
}

/// What an operator usually asks for in this state, once there is no reason not to.
#[must_use]
pub fn usual(kind: Kind, unit: UnitState, mode: Mode) -> Option<Request> {
    let command = match unit {
        UnitState::Stopped | UnitState::Idle if mode != kind.mode() => return Some(Request::Mode(kind.mode())),
        UnitState::Aborted => Command::Clear,
        UnitState::Stopped | UnitState::Completed => Command::Reset,
        UnitState::Idle => Command::Start,
        UnitState::Held => Command::Unhold,
        _ => return None,
    };
    Some(Request::Command(command))
}

/// Everything the operator may do for nothing in this state, besides waiting.
fn free(kind: Kind, said: &Said, lasts: bool, hand: bool) -> std::vec::Vec<Request> {
    let (unit, mode) = (said.unit, said.mode);
    let mut all = std::vec::Vec::new();
    if kind == Kind::Batch && matches!(unit, UnitState::Stopped | UnitState::Completed) {
        all.push(Request::Batch(kind.batch()));
    }
    // Unhold is for causes that are cured; careless, it costs one like any other deed out of place.
    all.extend(usual(kind, unit, mode).filter(|_| unit != UnitState::Held || !lasts));
    if unit == UnitState::Execute && mode == kind.mode() {
        match mode {
            Mode::Manual => {
                // To the other end. Head and gates have nothing to do with each other, and are jogged in worlds of their own.
                let (head, gates) = (
                    &[Actuator::Grip, Actuator::Plunger, Actuator::Rollers],
                    &[Actuator::EntryGate, Actuator::ReleaseGate],
                );
                let jogged: &[Actuator] = if hand { head } else { gates };
                for a in jogged {
                    let to = if said.orders.work(*a) { Pose::Home } else { Pose::Work };
                    all.push(Request::Jog(*a, to));
                }
                all.push(if hand { Request::JogSpin } else { Request::JogBelt });
            }
            Mode::Maintenance => all.extend([Request::Step, Request::DryCycle]),
            Mode::Production => {}
        }
    }
    all
}

/// Every single deed that this kind of world knows.
#[must_use]
pub fn catalogue(kind: Kind) -> std::vec::Vec<Deed> {
    let mut all = std::vec::Vec::new();
    for c in kind.fitted().iter() {
        all.push(Deed::Flip(c));
        all.push(Deed::Stick(c));
    }
    for a in Actuator::ALL {
        all.extend([Deed::Late(a), Deed::Jam(a)]);
    }
    for i in 0..ROOM.min(kind.room()) as u8 {
        all.extend([Deed::Slip(i), Deed::Fall(i), Deed::Take(i)]);
    }
    all.extend([Deed::Bare, Deed::Coast, Deed::Back, Deed::Silent, Deed::Stray(0)]);
    if kind.is_production() {
        all.extend([Deed::Double, Deed::Stray(-3), Deed::Stray(2), Deed::Starve]);
    }
    if kind == Kind::Torque {
        all.extend([Deed::Crossed, Deed::NoTorque]);
    }
    all.extend(Command::ALL.map(|c| Deed::Ask(Request::Command(c))));
    all.extend([Mode::Production, Mode::Maintenance, Mode::Manual].map(|m| Deed::Ask(Request::Mode(m))));
    let odd = [
        Request::Batch(1),
        Request::Jog(Actuator::Plunger, Pose::Work),
        Request::JogSpin,
        Request::JogBelt,
        Request::Step,
        Request::DryCycle,
        Request::Declare(1),
    ];
    all.extend(odd.map(Deed::Ask));
    all
}

/// Whether a deed concerns what is special to this kind of world. What is left out happens in the world of [`Kind::Line`], whose
/// escapement and head are the same.
#[must_use]
pub fn concerns(kind: Kind, deed: Deed) -> bool {
    use Actuator as A;
    use Contact as C;
    match (kind, deed) {
        (Kind::Line | Kind::Maintenance, _) => true,
        (Kind::Manual, Deed::Flip(c) | Deed::Stick(c)) => {
            !matches!(c, C::PocketEye | C::ReleaseEye | C::DischargeEye | C::Guard | C::Air)
        }
        (Kind::Manual, Deed::Slip(_) | Deed::Fall(_) | Deed::Stray(_)) => false,
        (Kind::Manual, _) => true,
        (Kind::Batch, Deed::Flip(c) | Deed::Stick(c)) => {
            matches!(c, C::ReleaseEye | C::DischargeEye | C::Chain)
        }
        (Kind::Batch, Deed::Late(a) | Deed::Jam(a)) => matches!(a, A::ReleaseGate | A::Grip),
        (Kind::Batch, Deed::Back | Deed::Silent | Deed::Coast) => false,
        (Kind::Early, Deed::Flip(c) | Deed::Stick(c)) => {
            matches!(c, C::PocketEye | C::ReleaseEye | C::DischargeEye | C::GripHome | C::GripWork | C::Chain)
        }
        (Kind::Early, Deed::Late(a) | Deed::Jam(a)) => matches!(a, A::ReleaseGate | A::Grip | A::Plunger | A::Rollers),
        (Kind::Torque, Deed::Flip(c) | Deed::Stick(c)) => {
            matches!(c, C::Torque | C::GripWork | C::PlungerWork | C::RollersHome | C::RollersWork | C::Chain)
        }
        (Kind::Torque, Deed::Late(a) | Deed::Jam(a)) => matches!(a, A::Grip | A::Plunger | A::Rollers),
        (Kind::Torque, Deed::Back | Deed::Silent | Deed::Coast | Deed::Starve | Deed::Double | Deed::Stray(_)) => false,
        (Kind::Early | Kind::Torque, Deed::Ask(r)) => matches!(r, Request::Command(_)),
        (Kind::Batch | Kind::Early | Kind::Torque, _) => true,
    }
}

/// Every beat that may come next: each free choice with each set of at most `left` deeds.
pub fn beats(kind: Kind, catalogue: &[Deed], plant: &Plant, said: &Said, left: u8, out: &mut std::vec::Vec<Beat>) {
    let (orders, unit) = (said.orders, said.unit);
    let mut choices = std::vec![Beat::default()];
    for r in free(kind, said, plant.can_cure(kind), plant.hand) {
        choices.push(Beat { press: Some(r), ..Beat::default() });
    }
    if !unit.is_acting() && plant.can_cure(kind) {
        choices.push(Beat { cure: true, ..Beat::default() });
    }
    let can: std::vec::Vec<Deed> = if left == 0 {
        std::vec::Vec::new()
    } else {
        catalogue.iter().copied().filter(|d| plant.can(*d, orders, kind)).collect()
    };
    for choice in choices {
        add(&can, choice, usize::from(left), out);
    }
}

fn add(from: &[Deed], so_far: Beat, left: usize, out: &mut std::vec::Vec<Beat>) {
    out.push(so_far.clone());
    if left == 0 {
        return;
    }
    for (i, d) in from.iter().enumerate() {
        if matches!(d, Deed::Ask(_)) && so_far.request().is_some() {
            continue;
        }
        let mut next = so_far.clone();
        if next.deeds.push(*d).is_ok() {
            add(&from[i + 1..], next, left - 1, out);
        }
    }
}
