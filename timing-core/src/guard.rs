//! The interlocks: one table, and a pure function from facts, what was, and what is asked, to what leaves.
//!
//! The guard vets *changes*. Each order that leaves is as it was, as asked, or (with the chain open) safe. It has no
//! memory and thinks of no order of its own. Removing energy is an order like any other: a gate shuts on a bottle, a
//! spring grip opens under the rollers. Only the safe vector outranks the table.

use crate::act::Wanted;
use crate::io::Actuator;
use crate::sense::strokes::Strokes;

/// What the guard needs to know, one bit each.
///
/// The first eighteen are the whereabouts of the six actuators: confirmed home, confirmed on work, and at the working end with
/// or without anything there.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Facts(pub(crate) u32);

macro_rules! facts {
    ($($name:ident = $fact:expr, $doc:expr;)*) => {
        impl Facts { $(#[doc = $doc] pub(crate) const $name: u32 = $fact;)* }
    };
}

/// Where the sets of actuators begin.
const HOME: u32 = 0;
const WORK: u32 = 6;
const THERE: u32 = 12;

/// The actuator is in the set that begins there.
const fn is(set: u32, a: Actuator) -> u32 {
    (a.bit() as u32) << set
}

facts! {
    ENTRY_SHUT = is(HOME, Actuator::EntryGate), "The entry gate is confirmed shut.";
    RELEASE_SHUT = is(HOME, Actuator::ReleaseGate), "The release gate is confirmed shut.";
    PLUNGER_HOME = is(HOME, Actuator::Plunger), "The plunger is confirmed up.";
    ROLLERS_HOME = is(HOME, Actuator::Rollers), "The rollers are confirmed back.";
    GRIP_WORK = is(WORK, Actuator::Grip), "The grip is confirmed on work.";
    PLUNGER_WORK = is(WORK, Actuator::Plunger), "The plunger is confirmed on a closure.";
    ROLLERS_WORK = is(WORK, Actuator::Rollers), "The rollers are confirmed in.";
    GRIP_THERE = is(THERE, Actuator::Grip), "The grip is confirmed at its working end, with or without a bottle.";
    PLUNGER_THERE = is(THERE, Actuator::Plunger), "The plunger is confirmed at its working end, with or without a closure.";
    CHAIN = 1 << 18, "The hard-wired chain is closed.";
    BOTTLE = 1 << 19, "A bottle is in the catch window (or placed there by hand).";
    CAP_OK = 1 << 20, "No closure sensor denies the closure.";
    HEAD_READY = 1 << 21, "The head is ready for one, or early release is proven and its last-stop mark watched.";
    PATH_CLEAR = 1 << 22, "No tracked bottle is under the release blade.";
    POCKET_SETTLED = 1 << 23, "The pocket has settled, or has been given its time.";
    CATCH_WINDOW = 1 << 24, "The grip has not been ordered for this bottle, and its contact would fall within the capture.";
    MOTION = 1 << 25, "The unit's state allows motion.";
    MANUAL = 1 << 26, "Manual mode.";
    DRY = 1 << 27, "Dry cycle: no bottle is meant to be there.";
    IDLE_SPIN = 1 << 28, "The profile lets the rollers idle-spin, and the unit executes.";
    HAND_STEP = 1 << 29, "Maintenance: a step over a bottle placed by hand.";
}

impl Facts {
    /// Where the actuators are.
    pub(crate) fn of(strokes: &Strokes) -> Self {
        let [home, work, over] = [strokes.home(), strokes.work(), strokes.over()].map(u32::from);
        Self(home << HOME | work << WORK | (work | over) << THERE)
    }

    /// With these, if `yes`.
    pub(crate) const fn with(self, bits: u32, yes: bool) -> Self {
        if yes { Self(self.0 | bits) } else { self }
    }

    pub(crate) const fn has(self, bits: u32) -> bool {
        self.0 & bits == bits
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
    /// The same in facts: all of any one of these sets.
    any_of: [u32; 4],
}

/// What a tick needs of a row: not its words.
#[derive(Clone, Copy)]
struct Lock {
    rule: u8,
    any_of: [u32; 4],
}

/// Orders are numbered below this.
const NUMBERS: usize = Order::Belt.number() as usize + 1;

/// The rows in the order of their orders' numbers, each order's as in the table; and where those of each number begin.
#[expect(clippy::indexing_slicing, reason = "a mistake would not compile")]
static LOCKS: ([Lock; RULES.len()], [u8; NUMBERS + 1]) = {
    let mut locks = [Lock { rule: 0, any_of: [0; 4] }; RULES.len()];
    let mut first = [0; NUMBERS + 1];
    let (mut number, mut filled) = (0, 0);
    while number < NUMBERS {
        let mut n = 0;
        while n < RULES.len() {
            let RuleRow { rule, order, any_of, .. } = RULES[n];
            if order.number() as usize == number {
                locks[filled] = Lock { rule, any_of };
                filled += 1;
            }
            n += 1;
        }
        number += 1;
        first[number] = filled as u8;
    }
    (locks, first)
};

/// The rows that speak of the order of this number.
fn locks_of(number: u32) -> &'static [Lock] {
    let (locks, first) = &LOCKS;
    let n = number as usize;
    match (first.get(n), first.get(n.saturating_add(1))) {
        (Some(&from), Some(&to)) => locks.get(usize::from(from)..usize::from(to)).unwrap_or(&[]),
        _ => &[],
    }
}

impl Lock {
    const fn allows(&self, facts: Facts) -> bool {
        let [a, b, c, d] = self.any_of;
        facts.has(a) || facts.has(b) || facts.has(c) || facts.has(d)
    }
}

/// The interlock table. An order leaves only if every row that speaks of it allows it.
pub const RULES: [RuleRow; 19] = {
    use Actuator::{EntryGate, Grip, Plunger, ReleaseGate, Rollers};
    use Facts as F;
    use Order::{Back, Work};
    const MANUAL: u32 = F::MANUAL;
    const MOVES: &str = "a unit state that allows motion";
    [
        row(
            2,
            Work(Plunger),
            "a bottle in the catch window (dry cycle: none) and the grip confirmed on it",
            &[F::GRIP_WORK | F::BOTTLE, F::GRIP_WORK | MANUAL, F::DRY | F::GRIP_THERE],
        ),
        row(
            2,
            Work(Rollers),
            "the plunger confirmed down on the closure (dry cycle: at full stroke)",
            &[F::PLUNGER_WORK, F::DRY | F::PLUNGER_THERE],
        ),
        row(
            3,
            Order::Spin,
            "rollers confirmed in and no closure sensor that denies the closure; or idle-spin by the profile in Execute; or Manual, rollers confirmed back",
            &[F::ROLLERS_WORK | F::CAP_OK, F::IDLE_SPIN, MANUAL | F::ROLLERS_HOME],
        ),
        row(4, Back(Grip), "rollers confirmed back", &[F::ROLLERS_HOME]),
        row(4, Back(Plunger), "rollers confirmed back", &[F::ROLLERS_HOME]),
        row(5, Work(EntryGate), "the release gate confirmed shut", &[F::RELEASE_SHUT]),
        row(5, Work(ReleaseGate), "the entry gate confirmed shut", &[F::ENTRY_SHUT]),
        row(
            6,
            Work(ReleaseGate),
            "the head ready for one, or early release proven and its last-stop mark watched",
            &[F::HEAD_READY, MANUAL],
        ),
        row(7, Back(ReleaseGate), "no tracked bottle under the release blade", &[F::PATH_CLEAR, MANUAL]),
        row(7, Back(EntryGate), "the pocket settled, or given its time", &[F::POCKET_SETTLED, MANUAL]),
        row(
            8,
            Work(Grip),
            "not yet ordered for this bottle, and contact predicted within the jaw's capture",
            &[F::CATCH_WINDOW, MANUAL, F::DRY, F::HAND_STEP],
        ),
        row(9, Back(Grip), "plunger confirmed up", &[F::PLUNGER_HOME, MANUAL]),
        row(11, Order::Belt, MOVES, &[F::MOTION]),
        row(11, Order::Spin, MOVES, &[F::MOTION]),
        row(11, Work(Grip), MOVES, &[F::MOTION]),
        row(11, Work(ReleaseGate), MOVES, &[F::MOTION]),
        row(11, Work(EntryGate), MOVES, &[F::MOTION]),
        row(11, Work(Plunger), MOVES, &[F::MOTION]),
        row(11, Work(Rollers), MOVES, &[F::MOTION]),
    ]
};

/// One to four sets of facts; those that are not given are the first again.
const fn row(rule: u8, order: Order, needs: &'static str, any: &[u32]) -> RuleRow {
    let any_of = match *any {
        [a] => [a; 4],
        [a, b] => [a, b, a, a],
        [a, b, c] => [a, b, c, a],
        [a, b, c, d] => [a, b, c, d],
        // Nothing allows it: no row of the table is written so, and a test would show it.
        _ => [u32::MAX; 4],
    };
    RuleRow { rule, order, needs, any_of }
}

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

/// The rule that forbids the order of this number, if any: the first in the table.
pub(crate) fn forbidden(facts: Facts, number: u32) -> Option<u8> {
    locks_of(number).iter().find(|lock| !lock.allows(facts)).map(|lock| lock.rule)
}

/// The working orders and returns among the bits of order numbers.
const WORKS: u32 = 0;
const BACKS: u32 = 8;
const SPIN: u32 = 1 << Order::Spin.number();
const BELT: u32 = 1 << Order::Belt.number();

/// Vets what is asked against what was: what leaves, and what was kept back, one bit per order number. With the chain open, or
/// a unit state that is safe by definition, nothing leaves but the safe vector.
pub(crate) fn vet(facts: Facts, was: Wanted, asked: Wanted, safe: bool) -> (Wanted, u32) {
    if safe || !facts.has(Facts::CHAIN) {
        return (Wanted::SAFE, 0);
    }
    let (from, to) = (was.work(), asked.work());
    // A valve that keeps its place without its coil may have left grip and plunger at work.
    let off = !(from | was.home());
    let back = from & !to | off & asked.home() & (Actuator::Grip.bit() | Actuator::Plunger.bit());
    let mut new = u32::from(to & !from) << WORKS | u32::from(back) << BACKS;
    if asked.spin() && !was.spin() {
        new |= SPIN;
    }
    if asked.belt() && !was.belt() {
        new |= BELT;
    }
    let mut kept = 0;
    while new != 0 {
        let number = new.trailing_zeros();
        if forbidden(facts, number).is_some() {
            kept |= 1 << number;
        }
        new &= new.wrapping_sub(1);
    }
    let mut leaves = asked;
    if kept != 0 {
        leaves.restore(((kept >> WORKS | kept >> BACKS) & 0x3f) as u8, was);
        leaves.set_spin(asked.spin() && kept & SPIN == 0);
        leaves.set_belt(asked.belt() && kept & BELT == 0);
    }
    // R5 between two orders of one tick: the gates are never opened together.
    let (entry, release) = (Actuator::EntryGate.bit(), Actuator::ReleaseGate.bit());
    if leaves.work() & !from & entry != 0 && leaves.work() & release != 0 {
        leaves.restore(entry, was);
    }
    (leaves, kept)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::io::Pose;
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
            Order::Spin => asked.set_spin(true),
            Order::Belt => asked.set_belt(true),
        }
        (was, asked)
    }

    #[test]
    fn each_order_leaves_with_its_facts_and_is_kept_back_by_its_rule_without() {
        for (order, facts, lost, rule) in CASES {
            let (was, asked) = change(order);
            assert_eq!(vet(Facts(facts), was, asked, false).0, asked, "{order:?} leaves");
            let (leaves, kept) = vet(Facts(facts & !lost), was, asked, false);
            assert_eq!(leaves, was, "{order:?} stays as it was");
            assert_eq!(kept, 1 << order.number(), "{order:?} is told");
            assert_eq!(forbidden(Facts(facts & !lost), u32::from(order.number())), Some(rule), "{order:?}");
        }
    }

    #[test]
    fn every_row_of_the_table_forbids_something_and_allows_something() {
        let mut rows = 0;
        for number in 0..32 {
            let of_table = RULES.iter().filter(|row| u32::from(row.order.number()) == number);
            let locks = locks_of(number);
            assert!(
                of_table.map(|row| (row.rule, row.any_of)).eq(locks.iter().map(|l| (l.rule, l.any_of))),
                "{number}"
            );
            for lock in locks {
                assert!(!lock.allows(Facts(0)), "R{} {number}", lock.rule);
                assert!(lock.allows(Facts(u32::MAX)), "R{} {number}", lock.rule);
            }
            rows += locks.len();
        }
        assert_eq!(rows, RULES.len());
    }

    #[test]
    fn what_a_dropped_coil_may_have_left_at_work_goes_back_in_order_too() {
        for a in [Grip, Plunger] {
            let mut asked = Wanted::SAFE;
            asked.set(a, Pose::Home);
            let (leaves, kept) = vet(Facts(Facts::CHAIN | Facts::MANUAL), Wanted::SAFE, asked, false);
            assert_eq!(leaves, Wanted::SAFE, "{a:?}");
            assert_eq!(kept, 1 << Order::Back(a).number());
            let back = Facts(Facts::CHAIN | Facts::MANUAL | Facts::ROLLERS_HOME);
            assert_eq!(vet(back, Wanted::SAFE, asked, false).0, asked, "{a:?}");
        }
    }

    #[test]
    fn the_chain_outranks_everything() {
        let mut was = Wanted::SAFE;
        was.set(Rollers, Pose::Work);
        was.set(Grip, Pose::Work);
        let open = !Facts::CHAIN;
        assert_eq!(vet(Facts(open), was, was, false).0, Wanted::SAFE);
        assert_eq!(vet(Facts(u32::MAX), was, was, true).0, Wanted::SAFE);
    }

    #[test]
    fn both_gates_asked_for_in_one_tick_do_not_both_open() {
        let mut asked = Wanted::SAFE;
        asked.set(EntryGate, Pose::Work);
        asked.set(ReleaseGate, Pose::Work);
        let leaves = vet(Facts(u32::MAX), Wanted::SAFE, asked, false).0;
        assert!(!(leaves.pose(EntryGate) == Pose::Work && leaves.pose(ReleaseGate) == Pose::Work));
    }
}
