//! Contacts: raw levels to clean edges, each with the time and belt place of its *first* raw edge.
//!
//! A new level counts when it has lasted for its filter time; the filter is a deadline, never a number of samples. The
//! first raw edge is remembered across bounce until the old level has itself lasted for the filter time. Chain, guard,
//! air and drive are lost unfiltered and regained filtered.

use crate::io::{Contact, Contacts, Inputs};
use crate::local::{Deadline, Moves, Place, Shift, Span, shift_all};
use crate::machine::Machine;
use crate::sense::{From, Seen};

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
const FAILED_PATIENCE: Span = Span::from_micros(20_000);

/// Where the eyes' edges were first seen raw; kept from the first raw edge until it is accepted, or was bounce.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
pub(crate) struct Latches {
    pub(crate) pocket: Place,
    pub(crate) release: Place,
    pub(crate) discharge: Place,
}

impl Latches {
    pub(crate) const NONE: Self = Self { pocket: Place::NOWHERE, release: Place::NOWHERE, discharge: Place::NOWHERE };
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
#[repr(C)]
pub(crate) struct Filter {
    raw: Contacts,
    stable: Contacts,
    /// Contacts whose level is not settled.
    unsettled: Contacts,
    next: Deadline,
    /// Unreadable now, and since when that becomes a fault.
    failed: Contacts,
    failed_due: Deadline,
    latches: Latches,
    due: [Deadline; 32],
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

    pub(crate) fn tick(&mut self, from: &From<'_>, seen: &mut Seen) {
        let failed = from.inputs.failed.and(from.m.fitted);
        if failed != self.failed {
            self.failed = failed;
            self.failed_due =
                if failed.is_empty() { Deadline::NEVER } else { Deadline::after(seen.now, FAILED_PATIENCE) };
        }
        if self.failed_due.fire(seen.now) {
            seen.failed = failed;
        }
        let raw = self.levels(from.inputs, from.m);
        let changed = raw.differing(self.raw);
        self.raw = raw;
        if !changed.is_empty() {
            self.note(changed, from, seen);
        }
        if self.next.is_due(seen.now) {
            self.settle(seen);
        }
        seen.on = self.stable;
    }

    /// Raw edges: arm the filter, latch the first.
    #[inline(never)]
    fn note(&mut self, changed: Contacts, from: &From<'_>, seen: &mut Seen) {
        let lost = changed.and(SAFETY).without(self.raw);
        if !lost.is_empty() {
            seen.fell = lost.and(self.stable);
            self.stable = self.stable.without(lost);
            self.unsettled = self.unsettled.without(lost);
            for n in lost.numbers() {
                if let Some(slot) = self.due.get_mut(n) {
                    *slot = Deadline::NEVER;
                }
            }
        }
        let wait = changed.without(lost);
        let first = wait.and(self.raw.differing(self.stable)).without(self.unsettled).and(EYES);
        if !first.is_empty() {
            self.latch(first, from, seen);
        }
        self.unsettled = self.unsettled.or(wait);
        for n in wait.numbers() {
            if let Some(slot) = self.due.get_mut(n) {
                *slot = Deadline::after(seen.now, filter_time(Contacts::from_bits(1 << n), from.m));
            }
        }
        self.rearm();
    }

    /// Levels that have lasted: clean edges, or the end of a bounce.
    #[inline(never)]
    fn settle(&mut self, seen: &mut Seen) {
        let mut done = Contacts::NONE;
        for n in self.unsettled.numbers() {
            if let Some(due) = self.due.get_mut(n)
                && due.fire(seen.now)
            {
                done = done.or(Contacts::from_bits(1 << n));
            }
        }
        self.unsettled = self.unsettled.without(done);
        let edges = done.and(self.raw.differing(self.stable));
        self.stable = self.stable.differing(edges);
        seen.rose = seen.rose.or(edges.and(self.raw));
        seen.fell = seen.fell.or(edges.without(self.raw));
        if !done.and(EYES).is_empty() {
            let take = |c: Contact, from: &mut Place, to: &mut Place| {
                if done.has(c) {
                    let place = core::mem::take(from);
                    if edges.has(c) {
                        *to = place;
                    }
                }
            };
            take(Contact::PocketEye, &mut self.latches.pocket, &mut seen.at.pocket);
            take(Contact::ReleaseEye, &mut self.latches.release, &mut seen.at.release);
            take(Contact::DischargeEye, &mut self.latches.discharge, &mut seen.at.discharge);
        }
        self.rearm();
    }

    fn latch(&mut self, first: Contacts, from: &From<'_>, seen: &Seen) {
        let at = |captured: Option<_>| Place::at(captured.map_or(seen.belt, |c| from.origin.spot(c)));
        if first.has(Contact::PocketEye) {
            self.latches.pocket = Place::at(seen.belt);
        }
        if first.has(Contact::ReleaseEye) {
            self.latches.release = at(from.inputs.release_latch);
        }
        if first.has(Contact::DischargeEye) {
            self.latches.discharge = at(from.inputs.discharge_latch);
        }
    }

    fn rearm(&mut self) {
        self.next = Deadline::NEVER;
        for n in self.unsettled.numbers() {
            if let Some(d) = self.due.get(n) {
                self.next = self.next.sooner(*d);
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

    pub(crate) const fn due(&self) -> Deadline {
        self.next.sooner(self.failed_due)
    }
}

impl Moves for Filter {
    fn shift(&mut self, by: Shift) {
        for d in &mut self.due {
            d.shift(by);
        }
        let Latches { pocket, release, discharge } = &mut self.latches;
        shift_all(&mut [&mut self.next, &mut self.failed_due, pocket, release, discharge], by);
    }
}

const fn filter_time(one: Contacts, m: &Machine) -> Span {
    if !one.and(SAFETY).is_empty() {
        m.safety_filter
    } else if !one.and(EYES).is_empty() {
        m.eye_filter
    } else {
        m.contact_filter
    }
}
