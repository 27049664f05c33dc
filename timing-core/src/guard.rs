//! The interlocks: one table, and a pure function from facts, what was, and what is asked, to what leaves.
//!
//! The guard vets *changes*. Each order that leaves is as it was, as asked, or (with the chain open) safe. It has no
//! memory and thinks of no order of its own. Removing energy is an order like any other: a gate shuts on a bottle, a
//! spring grip opens under the rollers. Only the safe vector outranks the table.

use crate::act::Wanted;
use crate::io::{Actuator, Pose};

/// What the guard needs to know, one bit each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Facts(pub(crate) u32);

macro_rules! facts {
    ($($name:ident = $bit:expr, $doc:expr;)*) => {
        impl Facts { $(#[doc = $doc] pub(crate) const $name: u32 = 1 << $bit;)* }
    };
}

facts! {
    CHAIN = 0, "The hard-wired chain is closed.";
    ENTRY_SHUT = 1, "The entry gate is confirmed shut.";
    RELEASE_SHUT = 2, "The release gate is confirmed shut.";
    GRIP_WORK = 3, "The grip is confirmed on work.";
    GRIP_THERE = 4, "The grip is confirmed at its working end, with or without a bottle.";
    PLUNGER_WORK = 5, "The plunger is confirmed on a closure.";
    PLUNGER_THERE = 6, "The plunger is confirmed at its working end, with or without a closure.";
    ROLLERS_WORK = 7, "The rollers are confirmed in.";
    ROLLERS_HOME = 8, "The rollers are confirmed back.";
    PLUNGER_HOME = 9, "The plunger is confirmed up.";
    BOTTLE = 10, "A bottle is in the catch window (or placed there by hand).";
    CAP_OK = 11, "No closure sensor denies the closure.";
    HEAD_READY = 12, "The head is ready for one, or early release is proven and its last-stop mark watched.";
    PATH_CLEAR = 13, "No tracked bottle is under the release blade.";
    POCKET_SETTLED = 14, "The pocket has settled, or has been given its time.";
    CATCH_WINDOW = 15, "The grip has not been ordered for this bottle, and its contact would fall within the capture.";
    MOTION = 16, "The unit's state allows motion.";
    MANUAL = 17, "Manual mode.";
    DRY = 18, "Dry cycle: no bottle is meant to be there.";
    IDLE_SPIN = 19, "The profile lets the rollers idle-spin, and the unit executes.";
    HAND_STEP = 20, "Maintenance: a step over a bottle placed by hand.";
}

impl Facts {
    pub(crate) const fn has(self, bits: u32) -> bool {
        self.0 & bits == bits
    }

    pub(crate) const fn any(self, bits: u32) -> bool {
        self.0 & bits != 0
    }
}

/// An order that a row of the table speaks of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// An actuator to its working end.
    Work(Actuator),
    /// An actuator from its working end back home (or its coil off).
    Back(Actuator),
    /// The roller drive on.
    Spin,
    /// The belt drive on.
    Belt,
}

/// One row: an order, and what must be so before it may leave.
#[derive(Clone, Copy)]
pub struct RuleRow {
    /// Number of the rule, 1 … 16.
    pub rule: u8,
    /// The order.
    pub order: Order,
    /// What must be so, in words.
    pub needs: &'static str,
    allows: fn(Facts) -> bool,
}

/// The interlock table. An order leaves only if every row that speaks of it allows it.
pub const RULES: [RuleRow; 19] = {
    use Actuator::{EntryGate, Grip, Plunger, ReleaseGate, Rollers};
    const fn row(rule: u8, order: Order, needs: &'static str, allows: fn(Facts) -> bool) -> RuleRow {
        RuleRow { rule, order, needs, allows }
    }
    [
        row(
            2,
            Order::Work(Plunger),
            "a bottle in the catch window (dry cycle: none) and the grip confirmed on it",
            |f| {
                f.has(Facts::GRIP_WORK) && f.any(Facts::BOTTLE | Facts::MANUAL) || f.has(Facts::DRY | Facts::GRIP_THERE)
            },
        ),
        row(2, Order::Work(Rollers), "the plunger confirmed down on the closure (dry cycle: at full stroke)", |f| {
            f.has(Facts::PLUNGER_WORK) || f.has(Facts::DRY | Facts::PLUNGER_THERE)
        }),
        row(
            3,
            Order::Spin,
            "rollers confirmed in and no closure sensor that denies the closure; or idle-spin by the profile in Execute; or Manual, rollers confirmed back",
            |f| {
                f.has(Facts::ROLLERS_WORK | Facts::CAP_OK)
                    || f.has(Facts::IDLE_SPIN)
                    || f.has(Facts::MANUAL | Facts::ROLLERS_HOME)
            },
        ),
        row(4, Order::Back(Grip), "rollers confirmed back", |f| f.has(Facts::ROLLERS_HOME)),
        row(4, Order::Back(Plunger), "rollers confirmed back", |f| f.has(Facts::ROLLERS_HOME)),
        row(5, Order::Work(EntryGate), "the release gate confirmed shut", |f| f.has(Facts::RELEASE_SHUT)),
        row(5, Order::Work(ReleaseGate), "the entry gate confirmed shut", |f| f.has(Facts::ENTRY_SHUT)),
        row(
            6,
            Order::Work(ReleaseGate),
            "the head ready for one, or early release proven and its last-stop mark watched",
            |f| f.any(Facts::HEAD_READY | Facts::MANUAL),
        ),
        row(7, Order::Back(ReleaseGate), "no tracked bottle under the release blade", |f| {
            f.any(Facts::PATH_CLEAR | Facts::MANUAL)
        }),
        row(7, Order::Back(EntryGate), "the pocket settled, or given its time", |f| {
            f.any(Facts::POCKET_SETTLED | Facts::MANUAL)
        }),
        row(
            8,
            Order::Work(Grip),
            "not yet ordered for this bottle, and contact predicted within the jaw's capture",
            |f| f.any(Facts::CATCH_WINDOW | Facts::MANUAL | Facts::DRY | Facts::HAND_STEP),
        ),
        row(9, Order::Back(Grip), "plunger confirmed up", |f| f.any(Facts::PLUNGER_HOME | Facts::MANUAL)),
        row(11, Order::Belt, "a unit state that allows motion", |f| f.has(Facts::MOTION)),
        row(11, Order::Spin, "a unit state that allows motion", |f| f.has(Facts::MOTION)),
        row(11, Order::Work(Grip), "a unit state that allows motion", |f| f.has(Facts::MOTION)),
        row(11, Order::Work(ReleaseGate), "a unit state that allows motion", |f| f.has(Facts::MOTION)),
        row(11, Order::Work(EntryGate), "a unit state that allows motion", |f| f.has(Facts::MOTION)),
        row(11, Order::Work(Plunger), "a unit state that allows motion", |f| f.has(Facts::MOTION)),
        row(11, Order::Work(Rollers), "a unit state that allows motion", |f| f.has(Facts::MOTION)),
    ]
};

impl Order {
    /// The order's number in events: actuator for Work, 8 + actuator for Back, 16 spin, 17 belt.
    #[must_use]
    pub const fn number(self) -> u8 {
        match self {
            Self::Work(a) => a as u8,
            Self::Back(a) => 8 | a as u8,
            Self::Spin => 16,
            Self::Belt => 17,
        }
    }
}

/// What the guard kept back: the first rule that forbade each order, by order number.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Kept {
    /// One bit per order number.
    pub(crate) orders: u32,
}

/// The rule that forbids `order`, if any.
pub(crate) fn forbidden(facts: Facts, order: Order) -> Option<u8> {
    RULES.iter().find(|r| r.order == order && !(r.allows)(facts)).map(|r| r.rule)
}

/// Vets what is asked against what was. With the chain open, or a unit state that is safe by definition, nothing leaves
/// but the safe vector.
pub(crate) fn vet(facts: Facts, was: &Wanted, asked: &Wanted, safe: bool) -> (Wanted, Kept) {
    let mut kept = Kept::default();
    if safe || !facts.has(Facts::CHAIN) {
        return (Wanted::SAFE, kept);
    }
    let mut leaves = *asked;
    let mut keep = |order: Order| {
        let no = forbidden(facts, order).is_some();
        if no {
            kept.orders |= 1 << order.number();
        }
        no
    };
    for a in Actuator::ALL {
        let (from, to) = (was.pose(a), asked.pose(a));
        let refused = match (from, to) {
            (Pose::Off | Pose::Home, Pose::Work) => keep(Order::Work(a)),
            (Pose::Work, Pose::Off | Pose::Home) => keep(Order::Back(a)),
            // A valve that keeps its place without its coil may have left these at work.
            (Pose::Off, Pose::Home) if matches!(a, Actuator::Grip | Actuator::Plunger) => keep(Order::Back(a)),
            _ => false,
        };
        if refused {
            leaves.set(a, from);
        }
    }
    if asked.spin && !was.spin && keep(Order::Spin) {
        leaves.spin = false;
    }
    if asked.belt && !was.belt && keep(Order::Belt) {
        leaves.belt = false;
    }
    // R5 between two orders of one tick: the gates are never opened together.
    let opens = |a: Actuator| leaves.pose(a) == Pose::Work && was.pose(a) != Pose::Work;
    if opens(Actuator::EntryGate) && leaves.pose(Actuator::ReleaseGate) == Pose::Work {
        leaves.set(Actuator::EntryGate, was.pose(Actuator::EntryGate));
    }
    (leaves, kept)
}

#[cfg(test)]
mod tests {
    use super::*;
    use Actuator::{EntryGate, Grip, Plunger, ReleaseGate, Rollers};

    const MOVES: u32 = Facts::CHAIN | Facts::MOTION;

    /// Each order with the facts under which it leaves, and the one fact whose loss keeps it back, by which rule.
    const CASES: [(Order, u32, u32, u8); 18] = [
        (Order::Work(Plunger), MOVES | Facts::GRIP_WORK | Facts::BOTTLE, Facts::GRIP_WORK, 2),
        (Order::Work(Plunger), MOVES | Facts::GRIP_WORK | Facts::BOTTLE, Facts::BOTTLE, 2),
        (Order::Work(Plunger), MOVES | Facts::DRY | Facts::GRIP_THERE, Facts::GRIP_THERE, 2),
        (Order::Work(Rollers), MOVES | Facts::PLUNGER_WORK, Facts::PLUNGER_WORK, 2),
        (Order::Spin, MOVES | Facts::ROLLERS_WORK | Facts::CAP_OK, Facts::ROLLERS_WORK, 3),
        (Order::Spin, MOVES | Facts::ROLLERS_WORK | Facts::CAP_OK, Facts::CAP_OK, 3),
        (Order::Spin, MOVES | Facts::MANUAL | Facts::ROLLERS_HOME, Facts::ROLLERS_HOME, 3),
        (Order::Back(Grip), Facts::CHAIN | Facts::ROLLERS_HOME | Facts::PLUNGER_HOME, Facts::ROLLERS_HOME, 4),
        (Order::Back(Plunger), Facts::CHAIN | Facts::ROLLERS_HOME, Facts::ROLLERS_HOME, 4),
        (Order::Work(EntryGate), MOVES | Facts::RELEASE_SHUT, Facts::RELEASE_SHUT, 5),
        (Order::Work(ReleaseGate), MOVES | Facts::ENTRY_SHUT | Facts::HEAD_READY, Facts::ENTRY_SHUT, 5),
        (Order::Work(ReleaseGate), MOVES | Facts::ENTRY_SHUT | Facts::HEAD_READY, Facts::HEAD_READY, 6),
        (Order::Back(ReleaseGate), Facts::CHAIN | Facts::PATH_CLEAR, Facts::PATH_CLEAR, 7),
        (Order::Back(EntryGate), Facts::CHAIN | Facts::POCKET_SETTLED, Facts::POCKET_SETTLED, 7),
        (Order::Work(Grip), MOVES | Facts::CATCH_WINDOW, Facts::CATCH_WINDOW, 8),
        (Order::Back(Grip), Facts::CHAIN | Facts::ROLLERS_HOME | Facts::PLUNGER_HOME, Facts::PLUNGER_HOME, 9),
        (Order::Belt, MOVES, Facts::MOTION, 11),
        (Order::Work(Grip), MOVES | Facts::CATCH_WINDOW, Facts::MOTION, 11),
    ];

    fn change(order: Order) -> (Wanted, Wanted) {
        let (mut was, mut asked) = (Wanted::SAFE, Wanted::SAFE);
        match order {
            Order::Work(a) => asked.set(a, Pose::Work),
            Order::Back(a) => {
                was.set(a, Pose::Work);
                asked.set(a, Pose::Home);
            }
            Order::Spin => asked.spin = true,
            Order::Belt => asked.belt = true,
        }
        (was, asked)
    }

    #[test]
    fn each_order_leaves_with_its_facts_and_is_kept_back_by_its_rule_without() {
        for (order, facts, lost, rule) in CASES {
            let (was, asked) = change(order);
            assert_eq!(vet(Facts(facts), &was, &asked, false).0, asked, "{order:?} leaves");
            let (leaves, kept) = vet(Facts(facts & !lost), &was, &asked, false);
            assert_eq!(leaves, was, "{order:?} stays as it was");
            assert_eq!(kept.orders, 1 << order.number(), "{order:?} is told");
            assert_eq!(forbidden(Facts(facts & !lost), order), Some(rule), "{order:?}");
        }
    }

    #[test]
    fn every_row_of_the_table_forbids_something_and_allows_something() {
        for row in &RULES {
            assert!(!(row.allows)(Facts(0)), "R{} {:?}", row.rule, row.order);
            assert!((row.allows)(Facts(u32::MAX)), "R{} {:?}", row.rule, row.order);
        }
    }

    #[test]
    fn what_a_dropped_coil_may_have_left_at_work_goes_back_in_order_too() {
        for a in [Grip, Plunger] {
            let mut asked = Wanted::SAFE;
            asked.set(a, Pose::Home);
            let (leaves, kept) = vet(Facts(Facts::CHAIN | Facts::MANUAL), &Wanted::SAFE, &asked, false);
            assert_eq!(leaves, Wanted::SAFE, "{a:?}");
            assert_eq!(kept.orders, 1 << Order::Back(a).number());
            let back = Facts(Facts::CHAIN | Facts::MANUAL | Facts::ROLLERS_HOME);
            assert_eq!(vet(back, &Wanted::SAFE, &asked, false).0, asked, "{a:?}");
        }
    }

    #[test]
    fn the_chain_outranks_everything() {
        let mut was = Wanted::SAFE;
        was.set(Rollers, Pose::Work);
        was.set(Grip, Pose::Work);
        let open = !Facts::CHAIN;
        assert_eq!(vet(Facts(open), &was, &was, false).0, Wanted::SAFE);
        assert_eq!(vet(Facts(u32::MAX), &was, &was, true).0, Wanted::SAFE);
    }

    #[test]
    fn both_gates_asked_for_in_one_tick_do_not_both_open() {
        let mut asked = Wanted::SAFE;
        asked.set(EntryGate, Pose::Work);
        asked.set(ReleaseGate, Pose::Work);
        let leaves = vet(Facts(u32::MAX), &Wanted::SAFE, &asked, false).0;
        assert!(!(leaves.pose(EntryGate) == Pose::Work && leaves.pose(ReleaseGate) == Pose::Work));
    }
}
