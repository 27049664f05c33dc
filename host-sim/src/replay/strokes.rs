//! Each stroke of a recording: ordered when, and when its contact came.

use crate::record::rec::Told;
use timing_core::{Actuator, Contact, Contacts, MachineProfile, Orders, Pose, ValveKind};

/// One stroke of an actuator to an end that has a contact.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stroke {
    /// The actuator.
    pub actuator: Actuator,
    /// The end it was ordered to.
    pub to: Pose,
    /// When, µs.
    pub ordered_us: u64,
    /// How long after the order its contact came on, µs; `None` if it did not come before the next order, or was on already.
    pub took_us: Option<u64>,
}

/// Watches orders and contacts for strokes.
pub(super) struct Strokes {
    fitted: Contacts,
    spring: [bool; 6],
    sent: [Pose; 6],
    /// Per actuator the place in `all` of the stroke whose contact is awaited.
    awaited: [Option<usize>; 6],
    all: Vec<Stroke>,
}

impl Strokes {
    pub(super) fn new(m: &MachineProfile) -> Self {
        let spring = m.actuators.map(|a| a.valve == ValveKind::SpringReturn);
        Self { fitted: m.fitted, spring, sent: [Pose::Off; 6], awaited: [None; 6], all: Vec::new() }
    }

    pub(super) fn see(&mut self, told: &Told) {
        let now = told.inputs.now.as_micros();
        for a in Actuator::ALL {
            let i = a.index();
            if let Some(n) = self.awaited[i]
                && let Some(stroke) = self.all.get_mut(n)
                && ends_of(a, stroke.to).any(|c| told.inputs.contacts.has(c))
            {
                stroke.took_us = Some(now.saturating_sub(stroke.ordered_us));
                self.awaited[i] = None;
            }
            let to = self.pose(a, told.orders);
            if to == self.sent[i] {
                continue;
            }
            self.sent[i] = to;
            self.awaited[i] = None;
            let wired = ends_of(a, to).any(|c| self.fitted.has(c));
            if to == Pose::Off || !wired {
                continue;
            }
            // A contact that is on before the stroke says nothing of it.
            if !ends_of(a, to).any(|c| told.inputs.contacts.has(c)) {
                self.awaited[i] = Some(self.all.len());
            }
            self.all.push(Stroke { actuator: a, to, ordered_us: now, took_us: None });
        }
    }

    /// Where an actuator is sent: without a coil a spring brings it home, and any other valve leaves the last word standing.
    fn pose(&self, a: Actuator, orders: Orders) -> Pose {
        let before = self.sent[a.index()];
        match (orders.work(a), orders.home(a)) {
            (true, _) => Pose::Work,
            (false, true) => Pose::Home,
            (false, false) if self.spring[a.index()] && before != Pose::Off => Pose::Home,
            (false, false) => before,
        }
    }

    pub(super) fn finish(self) -> Vec<Stroke> {
        self.all
    }
}

/// The contacts that end a stroke: on the way to work also full stroke.
pub(super) fn ends_of(a: Actuator, to: Pose) -> impl Iterator<Item = Contact> {
    let first = match to {
        Pose::Home => Some(Contact::home_of(a)),
        Pose::Work => Some(Contact::work_of(a)),
        Pose::Off => None,
    };
    first.into_iter().chain((to == Pose::Work).then(|| Contact::over_of(a)).flatten())
}
