//! Where each actuator was sent, and what its contacts say: the judge's own bookkeeping.

use timing_core::{Actuator, Contact, Contacts, Orders, ValveKind};

use crate::job::spec::{ActuatorSpec, MachineSpec};

/// Microseconds of a time in milliseconds, to the nearest.
pub(super) fn us(ms: f64) -> u64 {
    // A float-to-integer cast saturates: a negative or absurd time ends at a bound.
    (ms * 1_000.0 + 0.5) as u64
}

/// Where the coils last sent an actuator.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sent {
    /// Not known: never ordered, or trapped half way.
    Unknown,
    /// To its resting end.
    Home,
    /// To its working end.
    Work,
}

/// One end of a stroke.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum End {
    Home,
    Work,
}

/// One actuator.
#[derive(Clone, Copy, Debug)]
pub(super) struct Motion {
    spec: ActuatorSpec,
    pub(super) sent: Sent,
    /// When it was sent there.
    pub(super) since: u64,
    /// Since when its contact is waited for: after an Unhold once more.
    awaited: u64,
    /// Whether a stroke that never came was already told.
    pub(super) overdue_told: bool,
}

impl Motion {
    fn new(spec: ActuatorSpec) -> Self {
        let sent = match spec.valve {
            ValveKind::SpringReturn => Sent::Home,
            ValveKind::Detented | ValveKind::CentreClosed => Sent::Unknown,
        };
        Self { spec, sent, since: 0, awaited: 0, overdue_told: false }
    }

    /// Nominal time from order to an end, µs.
    pub(super) fn stroke(&self, end: End) -> u64 {
        let travel = match end {
            End::Home => self.spec.to_home_ms,
            End::Work => self.spec.to_work_ms,
        };
        us(self.spec.latency_ms + travel)
    }

    /// After which time, from order to end, a stroke that is not confirmed is a fault, µs, without filters.
    pub(super) fn bound(&self, end: End) -> u64 {
        self.stroke(end) + us(self.spec.to_over_ms + self.spec.spread_ms + self.spec.margin_ms)
    }

    fn target(&self, t: u64, work: bool, home: bool) -> Sent {
        match (self.spec.valve, work, home) {
            (_, true, true) => Sent::Unknown,
            (_, true, false) => Sent::Work,
            (_, false, true) | (ValveKind::SpringReturn, false, false) => Sent::Home,
            (ValveKind::Detented, false, false) => self.sent,
            (ValveKind::CentreClosed, false, false) => {
                // Trapped air holds it; half way if the coil was dropped before the stroke was over.
                let needed = match self.sent {
                    Sent::Work => self.stroke(End::Work),
                    Sent::Home => self.stroke(End::Home),
                    Sent::Unknown => 0,
                };
                if t.saturating_sub(self.since) < needed { Sent::Unknown } else { self.sent }
            }
        }
    }
}

/// All actuators and contacts.
#[derive(Clone, Debug)]
pub(super) struct Watch {
    motions: [Motion; 6],
    /// As the core was given them.
    on: Contacts,
    /// When each contact last changed.
    changed: [Option<u64>; 32],
    /// When contacts were last read.
    read_at: u64,
    filter: u64,
}

impl Watch {
    pub(super) fn new(machine: &MachineSpec) -> Self {
        Self {
            motions: machine.actuators.map(Motion::new),
            on: Contacts::NONE,
            changed: [None; 32],
            read_at: 0,
            filter: us(machine.contact_filter_ms),
        }
    }

    pub(super) fn motion(&self, a: Actuator) -> &Motion {
        &self.motions[a.index()]
    }

    pub(super) fn motion_mut(&mut self, a: Actuator) -> &mut Motion {
        &mut self.motions[a.index()]
    }

    /// Takes the contacts at `t`; what could not be read keeps its level. Between ticks a level is what it was.
    pub(super) fn read(&mut self, t: u64, contacts: Contacts, failed: Contacts) {
        let on = contacts.without(failed).or(self.on.and(failed));
        for c in on.differing(self.on).iter() {
            self.changed[c.index()] = Some(t);
        }
        self.on = on;
        self.read_at = t;
    }

    /// Takes the orders at `t` and says which actuators were sent elsewhere, each with where it was sent before.
    pub(super) fn obey(&mut self, t: u64, orders: Orders) -> Vec<(Actuator, Sent, Sent)> {
        let mut moved = Vec::new();
        for (m, a) in self.motions.iter_mut().zip(Actuator::ALL) {
            let to = m.target(t, orders.work(a), orders.home(a));
            if to == m.sent {
                continue;
            }
            moved.push((a, m.sent, to));
            // Sent where its contact says that it already is: it does not move, and its contact is not stale.
            let there = match to {
                Sent::Home => m.spec.home && self.on.has(Contact::home_of(a)),
                Sent::Work => m.spec.work && self.on.has(Contact::work_of(a)),
                Sent::Unknown => false,
            };
            if m.sent != Sent::Unknown || !there {
                m.since = t;
            }
            m.awaited = m.since;
            m.sent = to;
            m.overdue_told = false;
        }
        moved
    }

    /// What was overdue is waited for once more.
    pub(super) fn await_again(&mut self, t: u64) {
        for m in &mut self.motions {
            m.awaited = t;
        }
    }

    /// The level of a contact as last read.
    pub(super) fn reads(&self, c: Contact) -> bool {
        self.on.has(c)
    }

    /// Whether a contact is on, or was within its filter: a bounce is not a loss.
    pub(super) fn on(&self, t: u64, c: Contact) -> bool {
        self.on.has(c) || self.changed[c.index()].is_some_and(|at| t - at <= self.filter)
    }

    /// Whether a contact was on at or after `since`.
    pub(super) fn on_since(&self, since: u64, c: Contact) -> bool {
        self.on.has(c) || self.changed[c.index()].is_some_and(|at| at > since)
    }

    fn fresh(&self, t: u64, m: &Motion, c: Contact) -> bool {
        // On, and either seen to change since the order or read after the valve's latency: a stale contact confirms nothing.
        let off_at = if self.on.has(c) { self.changed[c.index()] } else { Some(self.read_at) };
        let changed = off_at.is_some_and(|at| at > m.since);
        self.on(t, c) && (changed || t.saturating_sub(m.since) >= us(m.spec.latency_ms))
    }

    /// Whether `a` is at an end: by its contact where fitted, else by its nominal stroke time.
    pub(super) fn at(&self, t: u64, a: Actuator, end: End) -> bool {
        let m = self.motion(a);
        let (sent, against, fitted, contact) = match end {
            End::Home => (Sent::Home, Sent::Work, m.spec.home, Contact::home_of(a)),
            End::Work => (Sent::Work, Sent::Home, m.spec.work, Contact::work_of(a)),
        };
        if m.sent == against {
            false
        } else if fitted {
            self.fresh(t, m, contact)
        } else {
            m.sent == sent && t.saturating_sub(m.since) >= m.stroke(end)
        }
    }

    /// Whether a contact has been on for its filter: one that chatters says nothing.
    pub(super) fn steady(&self, t: u64, c: Option<Contact>) -> bool {
        c.is_some_and(|c| self.on.has(c) && self.changed[c.index()].is_none_or(|at| t - at >= self.filter))
    }

    /// Whether `a` is at full stroke, where that is sensed: there is nothing between.
    pub(super) fn over(&self, t: u64, a: Actuator) -> bool {
        let m = self.motion(a);
        m.spec.over && Contact::over_of(a).is_some_and(|c| self.fresh(t, m, c))
    }

    /// Whether the end that `a` was sent to has a contact that has still not come `slack` after its bound.
    pub(super) fn overdue(&self, t: u64, a: Actuator, slack: u64) -> bool {
        let m = self.motion(a);
        let (end, fitted) = match m.sent {
            Sent::Unknown => return false,
            Sent::Home => (End::Home, m.spec.home),
            Sent::Work => (End::Work, m.spec.work),
        };
        // The springs' resting ends at power-up were never ordered.
        let ordered = m.since > 0;
        let late = t.saturating_sub(m.awaited) > m.bound(end) + self.filter + slack;
        let contact = match end {
            End::Home => Contact::home_of(a),
            End::Work => Contact::work_of(a),
        };
        let came = self.on_since(m.since, contact) || self.over(t, a);
        ordered && fitted && late && !came
    }
}
