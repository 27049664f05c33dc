//! The wires as they stand after all changes of one time.

use super::map::{Map, Wire};
use crate::capture::Change;
use timing_core::{Actuator, Contact, Contacts, Orders};

/// All wires at one time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct View {
    pub(super) at_ns: u64,
    pub(super) belt: i64,
    pub(super) contacts: Contacts,
    pub(super) orders: Orders,
}

impl View {
    pub(super) fn rose(&self, was: &Self, c: Contact) -> bool {
        self.contacts.has(c) && !was.contacts.has(c)
    }

    pub(super) fn fell(&self, was: &Self, c: Contact) -> bool {
        was.rose(self, c)
    }

    /// Whether actuator `a` is ordered to work now and was not.
    pub(super) fn sent(&self, was: &Self, a: Actuator) -> bool {
        self.orders.work(a) && !was.orders.work(a)
    }
}

/// From changes of channels to views.
pub(super) struct Feed<'m> {
    map: &'m Map,
    /// As it was at the last time that is over.
    was: Option<View>,
    /// As it is, with the changes of its time that came so far.
    is: View,
    changed: bool,
    /// Contacts as they are wired, bounce and all.
    raw: u32,
    deaf_until: [u64; 32],
    encoded: bool,
    encoder: [bool; 2],
    count: i64,
    known: bool,
    illegal: u64,
}

impl<'m> Feed<'m> {
    pub(super) fn new(map: &'m Map) -> Self {
        Self {
            map,
            was: None,
            is: View::default(),
            changed: false,
            raw: 0,
            deaf_until: [0; 32],
            encoded: map.wires.iter().flatten().any(|w| matches!(w, Wire::Encoder(_))),
            encoder: [false; 2],
            count: 0,
            known: false,
            illegal: 0,
        }
    }

    /// Takes in a change; the step from the time before to the one that is over by it.
    pub(super) fn take(&mut self, change: Change) -> Option<(View, View)> {
        let wires = self.map.wires.get(change.channel as usize).filter(|w| !w.is_empty())?;
        let mut step = None;
        if change.at_ns > self.is.at_ns && self.changed {
            step = self.over();
        }
        self.is.at_ns = change.at_ns;
        self.changed = true;
        for wire in wires {
            match *wire {
                Wire::Contact(n, turned) => {
                    let bit = u32::from((change.value != 0) != turned) << n;
                    self.raw = self.raw & !(1 << n) | bit;
                }
                Wire::Order(n, turned) => {
                    let bit = u16::from((change.value != 0) != turned) << n;
                    self.is.orders = Orders::from_bits(self.is.orders.bits() & !(1 << n) | bit);
                }
                Wire::Encoder(b) => self.encoder[usize::from(b)] = change.value != 0,
                Wire::Count => self.is.belt = change.value.cast_signed(),
            }
        }
        step
    }

    /// The time that is under way is over.
    fn over(&mut self) -> Option<(View, View)> {
        self.changed = false;
        self.believe();
        self.decode();
        let before = self.was.replace(self.is)?;
        Some((before, self.is))
    }

    /// A contact that turned is believed at once; what it does within its bounce after that is not heard.
    fn believe(&mut self) {
        let mut differ = self.raw ^ self.is.contacts.bits();
        while differ != 0 {
            let bit = differ.trailing_zeros();
            differ &= differ - 1;
            let until = &mut self.deaf_until[bit as usize & 31];
            if self.is.at_ns >= *until {
                *until = self.is.at_ns.saturating_add(self.map.bounce_ns);
                self.is.contacts = Contacts::from_bits(self.is.contacts.bits() ^ 1 << bit);
            }
        }
    }

    /// The two channels of the encoder, after all changes of one time: four counts a period, forwards if A leads.
    fn decode(&mut self) {
        if !self.encoded {
            return;
        }
        let [a, b] = self.encoder;
        // Place in the cycle 00, 10, 11, 01.
        let place = match (a, b) {
            (false, false) => 0,
            (true, false) => 1,
            (true, true) => 2,
            (false, true) => 3,
        };
        let moved = (place - self.count).rem_euclid(4);
        if !self.known {
            // Counting begins at the first levels, whatever they are.
            self.known = true;
            self.count = place;
            return;
        }
        let went = match moved {
            0 => 0,
            1 => 1,
            3 => -1,
            _ => {
                self.illegal += 1;
                0
            }
        };
        self.is.belt += went;
        // After an edge that was missed nobody knows which way it went: the cycle goes on from where it stands.
        self.count = if moved == 2 { self.count + 2 } else { self.count + went };
    }

    pub(super) fn finish(&mut self, until_ns: u64) -> Option<(View, View)> {
        let step = if self.changed { self.over() } else { None };
        self.is.at_ns = until_ns;
        step
    }

    pub(super) const fn illegal(&self) -> u64 {
        self.illegal
    }
}
