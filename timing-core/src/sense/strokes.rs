//! Strokes: where each actuator is, by its contact where one is fitted, else by its measured time plus margin.
//!
//! A contact confirms a stroke only after latency + filter has passed since the order, or after it was seen to leave
//! (or was off when the order was given): a stale contact proves nothing.

use crate::io::{Actuator, Contact, Contacts, Pose};
use crate::local::{Deadline, Moves, Shift, Span};
use crate::machine::Machine;
use crate::sense::Seen;

/// Where an actuator is, as far as can be told.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
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

/// One bit per actuator throughout; an actuator is in one of the first five, or of unknown whereabouts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub(crate) struct Strokes {
    home: u8,
    work: u8,
    over: u8,
    to_home: u8,
    to_work: u8,
    /// Whose contact counts.
    trusted: u8,
    /// The same for the contact of full stroke.
    over_trusted: u8,
    /// Those that had arrived, and whose contact was lost.
    lost: u8,
    times: [Times; 6],
    /// The nearest deadline of all.
    next: Deadline,
}

/// The times of a stroke under way.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
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
        if self.home & bit != 0 {
            At::Home
        } else if self.work & bit != 0 {
            At::Work
        } else if self.to_home & bit != 0 {
            At::ToHome
        } else if self.to_work & bit != 0 {
            At::ToWork
        } else if self.over & bit != 0 {
            At::Over
        } else {
            At::Unknown
        }
    }

    pub(crate) const fn is_home(&self, a: Actuator) -> bool {
        self.home & a.bit() != 0
    }

    /// Those confirmed at their resting end.
    pub(crate) const fn home(&self) -> u8 {
        self.home
    }

    /// Those confirmed on work.
    pub(crate) const fn work(&self) -> u8 {
        self.work
    }

    /// Those confirmed at full stroke: nothing there.
    pub(crate) const fn over(&self) -> u8 {
        self.over
    }

    /// Those under way.
    pub(crate) const fn moving(&self) -> u8 {
        self.to_home | self.to_work
    }

    /// An order has left for `a`.
    pub(crate) fn ordered(&mut self, a: Actuator, pose: Pose, seen: &Seen, m: &Machine) {
        let (bit, row) = (a.bit(), m.stroke(a));
        self.settle(bit);
        let Some(times) = self.times.get_mut(a.index()) else { return };
        *times = Times::default();
        let goes_home = match pose {
            Pose::Work => false,
            Pose::Home => true,
            Pose::Off => row.springs_back(),
        };
        if pose == Pose::Off && !goes_home {
            self.trusted &= !bit;
            self.over_trusted &= !bit;
            self.refresh();
            return;
        }
        let (contact, travel) =
            if goes_home { (Contact::home_of(a), row.to_home) } else { (Contact::work_of(a), row.to_work) };
        let limit = row.latency.saturating_add(travel).saturating_add(row.margin);
        let stale = seen.is(contact);
        let over_stale = !goes_home && !seen.on.and(m.fitted).and(over_of(a)).is_empty();
        times.due = Deadline::after(seen.now, Span::from_micros(limit));
        times.since = Deadline::at(seen.now);
        if stale || over_stale {
            times.trust = Deadline::after(seen.now, Span::from_micros(row.latency).plus(m.contact_filter));
        }
        put(&mut self.trusted, bit, !stale);
        put(&mut self.over_trusted, bit, !over_stale);
        if goes_home {
            self.to_home |= bit;
        } else {
            self.to_work |= bit;
        }
        self.refresh();
    }

    /// Waits anew for what was overdue, after its cause was cured.
    pub(crate) fn await_again(&mut self, was: impl Fn(Actuator) -> Pose, seen: &Seen, m: &Machine) {
        for a in Actuator::ALL {
            if self.at(a) == At::Unknown {
                self.ordered(a, was(a), seen, m);
            }
        }
    }

    /// Energy is gone: nothing is known any more.
    pub(crate) fn forget(&mut self) {
        let under_way = self.moving();
        if self.home | self.work | self.over | under_way | self.trusted | self.over_trusted != 0 {
            *self = Self::default();
        }
    }

    /// Takes one tick. Without an edge and before the next deadline nothing can have arrived.
    pub(crate) fn tick(&mut self, seen: &Seen, m: &Machine) -> News {
        let mut news = News::default();
        let edges = seen.edges();
        let due = self.next.is_due(seen.now);
        if !due && edges.and(STROKE_CONTACTS).is_empty() {
            return news;
        }
        for a in Actuator::ALL {
            if !edges.and(contacts_of(a)).is_empty() || (due && self.is_due(a, seen)) {
                self.follow(a, seen, m, &mut news);
            }
        }
        self.refresh();
        news
    }

    fn is_due(&self, a: Actuator, seen: &Seen) -> bool {
        self.times.get(a.index()).is_some_and(|t| t.due.is_due(seen.now) || t.trust.is_due(seen.now))
    }

    /// Something that `a` may have waited for has come.
    fn follow(&mut self, a: Actuator, seen: &Seen, m: &Machine, news: &mut News) {
        let (bit, row) = (a.bit(), m.stroke(a));
        self.leave_lost(a, seen, m);
        let Some(times) = self.times.get_mut(a.index()) else { return };
        if self.lost & bit != 0 && !times.due.is_armed() {
            times.due = Deadline::after(seen.now, Span::from_micros(row.margin));
        }
        let (contact, pose) = match (self.to_home & bit != 0, self.to_work & bit != 0) {
            (true, _) => (Contact::home_of(a), Pose::Home),
            (_, true) => (Contact::work_of(a), Pose::Work),
            (false, false) => return,
        };
        let full = if pose == Pose::Work { over_of(a).and(m.fitted) } else { Contacts::NONE };
        let in_time = times.trust.fire(seen.now);
        if in_time || seen.falling(contact) {
            self.trusted |= bit;
        }
        if in_time || !full.and(seen.fell).is_empty() {
            self.over_trusted |= bit;
        }
        let fitted = m.fitted.has(contact);
        let was_lost = self.lost & bit != 0;
        if self.over_trusted & bit != 0 && !full.and(seen.on).is_empty() {
            self.arrive(a, Some(At::Over));
        } else if fitted && self.trusted & bit != 0 && seen.is(contact) {
            if !was_lost {
                news.took = Some((a, pose, seen.now.since(times.since.time())));
            }
            self.arrive(a, Some(if pose == Pose::Home { At::Home } else { At::Work }));
        } else if times.due.fire(seen.now) {
            if !fitted && !was_lost {
                self.arrive(a, Some(if pose == Pose::Home { At::Home } else { At::Work }));
            } else {
                if was_lost {
                    news.lost |= bit;
                } else {
                    news.overdue |= bit;
                }
                self.arrive(a, None);
            }
        }
    }

    /// A confirmed end whose contact has gone: wait for it to come back, or for full stroke.
    fn leave_lost(&mut self, a: Actuator, seen: &Seen, m: &Machine) {
        let bit = a.bit();
        let gone = |c: Contact| m.fitted.has(c) && seen.falling(c);
        if self.home & bit != 0 && gone(Contact::home_of(a)) {
            self.home &= !bit;
            self.to_home |= bit;
        } else if self.work & bit != 0 && gone(Contact::work_of(a)) {
            self.work &= !bit;
            self.to_work |= bit;
        } else {
            return;
        }
        self.trusted |= bit;
        self.over_trusted |= bit;
        self.lost |= bit;
    }

    /// `a` is here (or nobody knows where), and nothing more is awaited of it.
    fn arrive(&mut self, a: Actuator, at: Option<At>) {
        let bit = a.bit();
        self.settle(bit);
        match at {
            Some(At::Home) => self.home |= bit,
            Some(At::Over) => self.over |= bit,
            Some(_) => self.work |= bit,
            None => {}
        }
        if let Some(times) = self.times.get_mut(a.index()) {
            *times = Times::default();
        }
    }

    /// Takes the actuator out of every set of whereabouts.
    fn settle(&mut self, bit: u8) {
        for set in
            [&mut self.home, &mut self.work, &mut self.over, &mut self.to_home, &mut self.to_work, &mut self.lost]
        {
            *set &= !bit;
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

const fn put(set: &mut u8, bit: u8, on: bool) {
    if on {
        *set |= bit;
    } else {
        *set &= !bit;
    }
}

/// The contacts of `a`: home, on work, at full stroke. Three each, in the order of the actuators.
const fn contacts_of(a: Actuator) -> Contacts {
    Contacts::from_bits((7 << Contact::EntryGateHome.index()) << (3 * a.index()))
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

const _: () = {
    let mut n = 0;
    while n < Actuator::ALL.len() {
        let a = Actuator::ALL[n];
        let all = contacts_of(a);
        assert!(all.has(Contact::home_of(a)) && all.has(Contact::work_of(a)));
        assert!(over_of(a).without(all).is_empty());
        n += 1;
    }
};
