//! Strokes: where each actuator is, by its contact where one is fitted, else by its measured time plus margin.
//!
//! A contact confirms a stroke only after latency + filter has passed since the order: one that is on before was so from before, or
//! chatters, and proves nothing. One that stays off until then, or was seen to leave, counts as soon as it comes on.

use crate::act::Wanted;
use crate::io::{Actuator, Contact, Contacts, Pose};
use crate::local::{Deadline, Moves, Shift, Span};
use crate::machine::Machine;
use crate::sense::Seen;

/// Where an actuator is, as far as can be told.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
pub(crate) enum At {
    /// Not known: never ordered, overdue, or without energy.
    #[default]
    Unknown,
    /// Confirmed at its resting end.
    Home,
    /// Confirmed on work.
    Work,
    /// Confirmed at full stroke: nothing there.
    Over,
    /// On its way home.
    ToHome,
    /// On its way to work.
    ToWork,
}

/// What one tick brought, one bit per actuator.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct News {
    pub(crate) overdue: u8,
    pub(crate) lost: u8,
    /// The stroke that arrived by contact last in this tick, and how long after its order.
    pub(crate) took: Option<(Actuator, Pose, Span)>,
}

/// Where the six actuators are, and what is awaited of them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
#[repr(C)]
pub(crate) struct Strokes {
    /// Four sets: confirmed home, confirmed on work, confirmed at full stroke, whose contact counts.
    ends: Sets,
    /// Four sets: on the way home, on the way to work, arrived once and their contact lost, whose contact of full stroke counts.
    ways: Sets,
    /// The nearest deadline of all.
    next: Deadline,
    times: [Times; 6],
}

/// Four sets of actuators, one byte each: to take an actuator out of several is one operation.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
struct Sets(u32);

/// Which byte of [`Strokes::ends`].
const HOME: u32 = 0;
const WORK: u32 = 8;
const OVER: u32 = 16;
const TRUSTED: u32 = 24;
/// Which byte of [`Strokes::ways`].
const TO_HOME: u32 = 0;
const TO_WORK: u32 = 8;
const LOST: u32 = 16;
const OVER_TRUSTED: u32 = 24;
/// The first three sets.
const THREE: u32 = 0x01_01_01;

impl Sets {
    const fn get(self, set: u32) -> u8 {
        (self.0 >> set) as u8
    }

    const fn has(self, set: u32, bit: u8) -> bool {
        self.get(set) & bit != 0
    }

    const fn add(&mut self, set: u32, bit: u8) {
        self.0 |= (bit as u32) << set;
    }

    /// Of those in `which` these and no others.
    const fn put(&mut self, set: u32, which: u8, these: u8) {
        self.0 = self.0 & !((which as u32) << set) | (these as u32) << set;
    }

    /// Out of the first three sets.
    const fn leave_three(&mut self, bit: u8) {
        self.0 &= !(bit as u32).wrapping_mul(THREE);
    }
}

/// The times of a stroke under way.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
struct Times {
    /// When it must have arrived (or counts as arrived, where no contact is fitted).
    due: Deadline,
    /// When a contact that was on at the order begins to count.
    trust: Deadline,
    /// When it was ordered.
    since: Deadline,
}

impl Strokes {
    pub(crate) const fn at(&self, a: Actuator) -> At {
        let bit = a.bit();
        if self.ends.has(HOME, bit) {
            At::Home
        } else if self.ends.has(WORK, bit) {
            At::Work
        } else if self.ways.has(TO_HOME, bit) {
            At::ToHome
        } else if self.ways.has(TO_WORK, bit) {
            At::ToWork
        } else if self.ends.has(OVER, bit) {
            At::Over
        } else {
            At::Unknown
        }
    }

    pub(crate) const fn is_home(&self, a: Actuator) -> bool {
        self.ends.has(HOME, a.bit())
    }

    /// Those confirmed at their resting end.
    pub(crate) const fn home(&self) -> u8 {
        self.ends.get(HOME)
    }

    /// Those confirmed on work.
    pub(crate) const fn work(&self) -> u8 {
        self.ends.get(WORK)
    }

    /// Those confirmed at full stroke: nothing there.
    pub(crate) const fn over(&self) -> u8 {
        self.ends.get(OVER)
    }

    /// Those under way.
    pub(crate) const fn moving(&self) -> u8 {
        self.ways.get(TO_HOME) | self.ways.get(TO_WORK)
    }

    /// Orders have left for those in `which`, as `leaves` says.
    #[inline(never)]
    pub(crate) fn ordered(&mut self, which: u8, leaves: Wanted, seen: &Seen, m: &Machine) {
        let to_work = which & leaves.work();
        // Without a coil a spring brings it home; any other valve leaves it anywhere.
        let to_home = which & !to_work & (leaves.home() | m.spring);
        let on = Ends::of(seen.on);
        let over_stale = to_work & on.over & m.wired.over;
        let stale = to_home & on.home | to_work & on.work;
        let way = to_home | to_work;
        self.ends.leave_three(which);
        self.ways.leave_three(which);
        self.ways.add(TO_HOME, to_home);
        self.ways.add(TO_WORK, to_work);
        self.ends.put(TRUSTED, which, way & !stale);
        self.ways.put(OVER_TRUSTED, which, way & !over_stale);
        for ((times, row), a) in self.times.iter_mut().zip(&m.strokes).zip(Actuator::ALL) {
            let bit = a.bit();
            if which & bit == 0 {
                continue;
            }
            *times = Times::default();
            if way & bit != 0 {
                let limit = if to_work & bit != 0 { row.limit_work } else { row.limit_home };
                times.due = Deadline::after(seen.now, limit);
                times.since = Deadline::at(seen.now);
                if (stale | over_stale) & bit != 0 {
                    times.trust = Deadline::after(seen.now, row.trust);
                }
            }
        }
        self.refresh();
    }

    /// Those of unknown whereabouts: what was overdue is waited for anew after its cause was cured.
    pub(crate) const fn unknown(&self) -> u8 {
        !(self.home() | self.work() | self.over() | self.moving())
    }

    /// Energy is gone: nothing is known any more.
    pub(crate) fn forget(&mut self) {
        self.ends = Sets::default();
        self.ways = Sets::default();
        self.next = Deadline::NEVER;
        for times in &mut self.times {
            if times.due.is_armed() {
                *times = Times::default();
            }
        }
    }

    /// Takes one tick. Without an edge and before the next deadline nothing can have arrived.
    pub(crate) fn tick(&mut self, seen: &Seen, m: &Machine) -> News {
        let due = self.next.is_due(seen.now);
        if !due && seen.edges().and(STROKE_CONTACTS).is_empty() {
            return News::default();
        }
        self.follow(due, seen, m)
    }

    /// Something that may have been waited for has come.
    #[inline(never)]
    fn follow(&mut self, due: bool, seen: &Seen, m: &Machine) -> News {
        let on = Ends::of(seen.on);
        if !seen.rose.and(STROKE_CONTACTS).is_empty() {
            self.rise(&Ends::of(seen.rose), seen, m);
        }
        let mut fell = Ends::default();
        if !seen.fell.and(STROKE_CONTACTS).is_empty() {
            fell = Ends::of(seen.fell);
            self.leave_lost(&fell, seen, m);
        }
        let (to_home, to_work) = (self.ways.get(TO_HOME), self.ways.get(TO_WORK));
        let (in_time, late) = if due { self.fire(to_home | to_work, seen) } else { (0, 0) };
        self.ends.add(TRUSTED, in_time | to_home & fell.home | to_work & fell.work);
        self.ways.add(OVER_TRUSTED, in_time | to_work & fell.over & m.wired.over);

        let over = to_work & on.over & m.wired.over & self.ways.get(OVER_TRUSTED);
        let wired = to_home & m.wired.home | to_work & m.wired.work;
        let there = (to_home & on.home | to_work & on.work) & wired & self.ends.get(TRUSTED) & !over;
        let expired = late & !over & !there;
        let lost = self.ways.get(LOST);
        let by_time = expired & !wired & !lost;
        let mut news = News { overdue: expired & wired & !lost, lost: expired & lost, took: None };

        let done = over | there | expired;
        if done != 0 {
            self.ends.leave_three(done);
            self.ways.leave_three(done);
            self.ends.add(HOME, to_home & (there | by_time));
            self.ends.add(WORK, to_work & (there | by_time));
            self.ends.add(OVER, over);
            news.took = self.clear(done, there & !lost, to_home, seen);
        }
        self.refresh();
        news
    }

    /// Nothing more is awaited of those that are `done`; the last of those that went the whole way by contact, and how long
    /// it took.
    fn clear(&mut self, done: u8, whole: u8, to_home: u8, seen: &Seen) -> Option<(Actuator, Pose, Span)> {
        let mut took = None;
        for (times, a) in self.times.iter_mut().zip(Actuator::ALL) {
            let bit = a.bit();
            if done & bit != 0 {
                if whole & bit != 0 {
                    let pose = if to_home & bit != 0 { Pose::Home } else { Pose::Work };
                    took = Some((a, pose, seen.now.since(times.since.time())));
                }
                *times = Times::default();
            }
        }
        took
    }

    /// Contacts that came on, and mean something else than that a stroke is done.
    fn rise(&mut self, rose: &Ends, seen: &Seen, m: &Machine) {
        // What it was on has gone, whether or not a contact says so at its working end.
        let through = self.ends.get(WORK) & rose.over & m.wired.over;
        self.ends.leave_three(through);
        self.ends.add(OVER, through);
        // Before its valve can have answered no stroke is done: a contact that comes on so soon was on before the order, for less than
        // its filter, or chatters. It is as stale as one that had been on for long.
        let early = self.times.iter().zip(&m.strokes).zip(Actuator::ALL).fold(0, |set, ((t, row), a)| {
            let too_soon = t.since.is_armed() && seen.now.since(t.since.time()) < row.trust;
            if too_soon { set | a.bit() } else { set }
        });
        let stale = early & (self.ways.get(TO_HOME) & rose.home | self.ways.get(TO_WORK) & rose.work);
        let over_stale = early & rose.over & m.wired.over;
        self.ends.put(TRUSTED, stale, 0);
        self.ways.put(OVER_TRUSTED, over_stale, 0);
        for ((times, row), a) in self.times.iter_mut().zip(&m.strokes).zip(Actuator::ALL) {
            if (stale | over_stale) & a.bit() != 0 {
                times.trust = Deadline::after(times.since.time(), row.trust);
            }
        }
    }

    /// Of those under way: whose contact counts from now on, and whose time is over.
    fn fire(&mut self, under_way: u8, seen: &Seen) -> (u8, u8) {
        let (mut in_time, mut late) = (0, 0);
        for (times, a) in self.times.iter_mut().zip(Actuator::ALL) {
            if times.trust.fire(seen.now) {
                in_time |= a.bit();
            }
            if times.due.is_due(seen.now) {
                late |= a.bit();
            }
        }
        (in_time & under_way, late & under_way)
    }

    /// Confirmed ends whose contact has gone: wait for it to come back, or for the other one beyond.
    fn leave_lost(&mut self, fell: &Ends, seen: &Seen, m: &Machine) {
        let from_home = self.ends.get(HOME) & fell.home & m.wired.home;
        let from_work = self.ends.get(WORK) & fell.work & m.wired.work;
        let from_over = self.ends.get(OVER) & fell.over & m.wired.over;
        let gone = from_home | from_work | from_over;
        if gone == 0 {
            return;
        }
        self.ends.leave_three(gone);
        self.ends.add(TRUSTED, gone);
        self.ways.add(TO_HOME, from_home);
        self.ways.add(TO_WORK, from_work | from_over);
        self.ways.add(LOST, gone);
        self.ways.add(OVER_TRUSTED, gone);
        for ((times, row), a) in self.times.iter_mut().zip(&m.strokes).zip(Actuator::ALL) {
            if gone & a.bit() != 0 {
                times.due = Deadline::after(seen.now, Span::from_micros(row.margin));
            }
        }
    }

    fn refresh(&mut self) {
        self.next = self.times.iter().fold(Deadline::NEVER, |next, t| next.sooner(t.due).sooner(t.trust));
    }

    pub(crate) const fn due(&self) -> Deadline {
        self.next
    }
}

impl Moves for Strokes {
    fn shift(&mut self, by: Shift) {
        self.next.shift(by);
        for t in &mut self.times {
            for d in [&mut t.due, &mut t.trust, &mut t.since] {
                d.shift(by);
            }
        }
    }
}

/// The contacts of the actuators, by what they confirm: one bit per actuator.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub(crate) struct Ends {
    home: u8,
    work: u8,
    /// Full stroke; of the diverter, which has none, the full lane's.
    over: u8,
}

impl Ends {
    const fn of(contacts: Contacts) -> Self {
        let bits = contacts.bits() >> Contact::EntryGateHome.index();
        Self { home: every_third(bits), work: every_third(bits >> 1), over: every_third(bits >> 2) }
    }

    /// Those that are wired, and mean something.
    pub(crate) fn wired(fitted: Contacts) -> Self {
        let over = Actuator::ALL.into_iter().map(over_of).fold(Contacts::NONE, Contacts::or);
        Self { over: Self::of(fitted.and(over)).over, ..Self::of(fitted) }
    }
}

/// Bits 0, 3, 6 … 15, side by side: one contact of each actuator.
const fn every_third(bits: u32) -> u8 {
    let pairs = bits & 0x9249;
    let pairs = (pairs | pairs >> 2) & 0x30c3;
    let fours = (pairs | pairs >> 4) & 0x300f;
    (fours | fours >> 8) as u8
}

/// All of them. (The last of the diverter's three places is the full lane's: it has nothing at full stroke.)
const STROKE_CONTACTS: Contacts = Contacts::from_bits(0x3_ffff << Contact::EntryGateHome.index());

/// The contact at full stroke, of the actuators that can find nothing there; else none.
const fn over_of(a: Actuator) -> Contacts {
    match Contact::over_of(a) {
        Some(c) => c.bit(),
        None => Contacts::NONE,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_contact_is_found_at_its_actuator() {
        for a in Actuator::ALL {
            let seen = |c: Contact| Ends::of(c.bit());
            assert_eq!(seen(Contact::home_of(a)), Ends { home: a.bit(), ..Ends::default() });
            assert_eq!(seen(Contact::work_of(a)), Ends { work: a.bit(), ..Ends::default() });
            let over = Contact::over_of(a).map_or(0, |c| seen(c).over);
            assert_eq!(Ends::wired(Contacts::ALL).over & a.bit(), over);
        }
        assert_eq!(Ends::of(Contacts::ALL.without(STROKE_CONTACTS)), Ends::default());
    }

    #[test]
    fn one_contact_of_each_actuator() {
        for bits in 0..1_u32 << 18 {
            for third in 0..3 {
                let slow = (0..6).fold(0, |set, a| set | (bits >> (3 * a + third) & 1) << a);
                assert_eq!(u32::from(every_third(bits >> third)), slow, "{bits:b}");
            }
        }
    }
}
