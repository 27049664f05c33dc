//! Contacts: raw levels to clean edges, each with the time and belt place of its *first* raw edge.
//!
//! A new level counts when it has lasted for its filter time; the filter is a deadline, never a number of samples. The
//! first raw edge is remembered across bounce until the old level has itself lasted for the filter time. Chain, guard,
//! air and drive are lost unfiltered and regained filtered.

use crate::io::{Contact, Contacts, Inputs};
use crate::machine::Machine;
use crate::units::{Deadline, Duration, Instant, Place};

/// Contacts that are lost at once.
pub(crate) const SAFETY: Contacts =
    Contact::Chain.bit().or(Contact::Guard.bit()).or(Contact::Air.bit()).or(Contact::Drive.bit());
const EYES: Contacts = Contact::PocketEye
    .bit()
    .or(Contact::ReleaseEye.bit())
    .or(Contact::DischargeEye.bit())
    .or(Contact::SupplyEye.bit())
    .or(Contact::RejectEye.bit());
/// How long an input may be unreadable before that is a fault.
const FAILED_PATIENCE: Duration = Duration::from_millis(20);

/// Where the eyes' edges were first seen raw; kept from the first raw edge until it is accepted, or was bounce.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub(crate) struct Latches {
    pub(crate) pocket: Place,
    pub(crate) release: Place,
    pub(crate) discharge: Place,
}

impl Latches {
    const NONE: Self = Self { pocket: Place::NOWHERE, release: Place::NOWHERE, discharge: Place::NOWHERE };

    const fn of(&mut self, c: Contact) -> Option<&mut Place> {
        match c {
            Contact::PocketEye => Some(&mut self.pocket),
            Contact::ReleaseEye => Some(&mut self.release),
            Contact::DischargeEye => Some(&mut self.discharge),
            _ => None,
        }
    }
}

/// What one tick brought.
#[derive(Clone, Copy, Default)]
pub(crate) struct Edges {
    pub(crate) rose: Contacts,
    pub(crate) fell: Contacts,
    pub(crate) failed: Contacts,
    /// Where the eyes' edges of this tick were first seen raw.
    pub(crate) at: Latches,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub(crate) struct Filter {
    raw: Contacts,
    stable: Contacts,
    /// Contacts whose level is not settled.
    unsettled: Contacts,
    due: [Deadline; 32],
    next: Deadline,
    /// Unreadable now, and since when that becomes a fault.
    failed: Contacts,
    failed_due: Deadline,
    latches: Latches,
}

impl Filter {
    pub(crate) const fn new() -> Self {
        Self {
            raw: Contacts::NONE,
            stable: Contacts::NONE,
            unsettled: Contacts::NONE,
            due: [Deadline::NEVER; 32],
            next: Deadline::NEVER,
            failed: Contacts::NONE,
            failed_due: Deadline::NEVER,
            latches: Latches::NONE,
        }
    }

    /// Takes over the levels of the first tick without edges: levels at power-up are not edges.
    pub(crate) fn start(&mut self, inputs: &Inputs, m: &Machine) {
        let raw = self.levels(inputs, m);
        self.raw = raw;
        self.stable = raw;
    }

    /// Levels that count as read: unreadable ones keep their last level, but safety contacts are lost.
    fn levels(&self, inputs: &Inputs, m: &Machine) -> Contacts {
        let failed = inputs.failed.and(m.fitted);
        let kept = self.raw.and(failed).without(SAFETY);
        inputs.contacts.and(m.fitted).without(failed).or(kept)
    }

    /// Whether these inputs bring nothing new before the next deadline.
    pub(crate) fn is_quiet(&self, inputs: &Inputs, m: &Machine) -> bool {
        self.levels(inputs, m) == self.raw && inputs.failed.and(m.fitted) == self.failed
    }

    pub(crate) fn tick(&mut self, inputs: &Inputs, m: &Machine) -> Edges {
        let now = inputs.now;
        let mut edges = Edges::default();
        let failed = inputs.failed.and(m.fitted);
        if failed != self.failed {
            self.failed = failed;
            self.failed_due = if failed.is_empty() { Deadline::NEVER } else { Deadline::after(now, FAILED_PATIENCE) };
        }
        if self.failed_due.fire(now) {
            edges.failed = failed;
        }
        let raw = self.levels(inputs, m);
        let changed = raw.differing(self.raw);
        self.raw = raw;
        if !changed.is_empty() {
            self.note(changed, inputs, m, &mut edges);
        }
        if self.next.is_due(now) {
            self.settle(now, &mut edges);
        }
        edges
    }

    /// Raw edges: arm the filter, latch the first.
    fn note(&mut self, changed: Contacts, inputs: &Inputs, m: &Machine, edges: &mut Edges) {
        let now = inputs.now;
        for c in changed.iter() {
            let on = self.raw.has(c);
            if SAFETY.has(c) && !on {
                if self.stable.has(c) {
                    self.stable = self.stable.with(c, false);
                    edges.fell = edges.fell.with(c, true);
                }
                self.unsettled = self.unsettled.with(c, false);
                self.arm(c, Deadline::NEVER);
                continue;
            }
            if on != self.stable.has(c) && !self.unsettled.has(c) {
                self.latch(c, inputs);
            }
            self.unsettled = self.unsettled.with(c, true);
            self.arm(c, Deadline::after(now, filter_time(c, m)));
        }
        self.rearm();
    }

    /// Levels that have lasted: clean edges, or the end of a bounce.
    fn settle(&mut self, now: Instant, edges: &mut Edges) {
        for c in self.unsettled.iter() {
            let Some(due) = self.due.get_mut(c.index()) else { continue };
            if !due.fire(now) {
                continue;
            }
            self.unsettled = self.unsettled.with(c, false);
            let on = self.raw.has(c);
            let place = self.latches.of(c).map_or(Place::NOWHERE, |p| core::mem::replace(p, Place::NOWHERE));
            if on != self.stable.has(c) {
                self.stable = self.stable.with(c, on);
                if let Some(p) = edges.at.of(c) {
                    *p = place;
                }
                if on {
                    edges.rose = edges.rose.with(c, true);
                } else {
                    edges.fell = edges.fell.with(c, true);
                }
            }
        }
        self.rearm();
    }

    fn latch(&mut self, c: Contact, inputs: &Inputs) {
        let captured = match c {
            Contact::ReleaseEye => inputs.release_latch,
            Contact::DischargeEye => inputs.discharge_latch,
            _ => None,
        };
        if let Some(p) = self.latches.of(c) {
            *p = Place::at(captured.unwrap_or(inputs.belt));
        }
    }

    fn arm(&mut self, c: Contact, d: Deadline) {
        if let Some(slot) = self.due.get_mut(c.index()) {
            *slot = d;
        }
    }

    fn rearm(&mut self) {
        self.next = Deadline::NEVER;
        for c in self.unsettled.iter() {
            if let Some(d) = self.due.get(c.index())
                && d.instant() < self.next.instant()
            {
                self.next = *d;
            }
        }
    }

    pub(crate) const fn stable(&self) -> Contacts {
        self.stable
    }

    /// Inputs that cannot be read now.
    pub(crate) const fn failing(&self) -> Contacts {
        self.failed
    }

    pub(crate) fn due(&self) -> Deadline {
        if self.failed_due.instant() < self.next.instant() { self.failed_due } else { self.next }
    }

    pub(crate) fn rebase(&mut self, dt: i64, dp: i64) {
        for d in &mut self.due {
            *d = d.rebased(dt);
        }
        self.next = self.next.rebased(dt);
        self.failed_due = self.failed_due.rebased(dt);
        let l = &mut self.latches;
        for p in [&mut l.pocket, &mut l.release, &mut l.discharge] {
            *p = p.rebased(dp);
        }
    }
}

fn filter_time(c: Contact, m: &Machine) -> Duration {
    if SAFETY.has(c) {
        m.safety_filter
    } else if EYES.has(c) {
        m.eye_filter
    } else {
        m.contact_filter
    }
}
