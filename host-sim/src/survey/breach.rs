//! What orders and contacts show against the rules of a safe sequence, as far as wires can show it; independent of core and judge.

use super::map::Map;
use super::view::View;
use serde::Serialize;
use timing_core::{Actuator, Contact, Orders};

/// A rule that was broken.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Breach {
    /// Rule, as the handbook numbers it.
    pub rule: u8,
    /// When, s.
    pub at_s: f64,
    /// What the wires show.
    pub what: &'static str,
}

pub(super) struct Breaches {
    contacts: u32,
    orders: Orders,
    /// What stood broken at the last step, one bit each.
    standing: u32,
}

/// Everything that moves: coils, belt and spin.
fn moves(o: Orders) -> bool {
    o.belt() || o.spin() || Actuator::ALL.into_iter().any(|a| o.work(a) || o.home(a))
}

impl Breaches {
    pub(super) fn new(map: &Map) -> Self {
        Self { contacts: map.contacts, orders: Orders::from_bits(map.orders), standing: 0 }
    }

    const fn wired(&self, c: Contact) -> bool {
        self.contacts >> c as u8 & 1 == 1
    }

    /// The contact is wired, and off.
    fn off(&self, v: &View, c: Contact) -> bool {
        self.wired(c) && !v.contacts.has(c)
    }

    pub(super) fn step(&mut self, was: &View, is: &View) -> Vec<Breach> {
        use Actuator as A;
        use Contact as C;
        let sent = |a| is.sent(was, a);
        let back = |a: A| was.orders.work(a) && !is.orders.work(a);
        // Everything dropped at once with the chain is what it should be.
        let dropped = !moves(is.orders);
        let rollers_home = !self.off(is, C::RollersHome);
        let full = |c| self.wired(c) && is.contacts.has(c);
        let both = is.orders.work(A::EntryGate) && is.orders.work(A::ReleaseGate);
        let list: [(u8, bool, &'static str); 9] = [
            (1, self.off(is, C::Chain) && moves(is.orders), "something is energised while the safety chain is open"),
            (2, sent(A::Plunger) && self.off(is, C::GripWork), "the plunger is sent down before the grip is on work"),
            (2, sent(A::Plunger) && full(C::GripOver), "the plunger is sent down though the grip found nothing"),
            (2, sent(A::Rollers) && self.off(is, C::PlungerWork), "the rollers are sent in before the plunger is down"),
            (3, is.orders.spin() && self.off(is, C::RollersWork), "the rollers spin before they are in"),
            (4, back(A::Grip) && !rollers_home && !dropped, "the grip is sent back while the rollers are not"),
            (4, back(A::Plunger) && !rollers_home && !dropped, "the plunger is sent up while the rollers are not back"),
            (5, both && self.orders.work(A::EntryGate), "both gates are ordered open"),
            (
                5,
                (sent(A::EntryGate) && self.off(is, C::ReleaseGateHome))
                    || (sent(A::ReleaseGate) && self.off(is, C::EntryGateHome)),
                "a gate is ordered open before the other is shut",
            ),
        ];
        let mut told = Vec::new();
        let mut standing = 0;
        for (i, (rule, broken, what)) in list.into_iter().enumerate() {
            if !broken {
                continue;
            }
            standing |= 1 << i;
            if self.standing >> i & 1 == 0 {
                told.push(Breach { rule, at_s: is.at_ns as f64 * 1e-9, what });
            }
        }
        self.standing = standing;
        told
    }
}
