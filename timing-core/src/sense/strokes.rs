//! Strokes: where each actuator is, by its contact where one is fitted, else by its measured time plus margin.
//!
//! A contact confirms a stroke only after latency + filter has passed since the order, or after it was seen to leave
//! (or was off when the order was given): a stale contact proves nothing.

use crate::io::{Actuator, Contact, Contacts, Pose};
use crate::machine::{Machine, ValveKind};
use crate::sense::Seen;
use crate::units::{Deadline, Duration, Instant};

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

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
struct Stroke {
    at: At,
    /// When it must have arrived (or counts as arrived, where no contact is fitted).
    due: Deadline,
    /// When a contact that was on at the order begins to count.
    trust: Deadline,
    trusted: bool,
    /// The same for the contact of full stroke.
    over_trusted: bool,
    /// It had arrived, and its contact was lost.
    lost: bool,
    /// While under way: when it was ordered.
    since: Deadline,
}

/// What one tick brought, one bit per actuator.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct News {
    pub(crate) arrived: u8,
    pub(crate) overdue: u8,
    pub(crate) lost: u8,
    /// The stroke that arrived by contact last in this tick, and how long after its order.
    pub(crate) took: Option<(Actuator, Pose, Duration)>,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub(crate) struct Strokes {
    each: [Stroke; 6],
    /// The nearest deadline of all.
    next: Deadline,
}

impl Strokes {
    pub(crate) fn at(&self, a: Actuator) -> At {
        self.each.get(a.index()).map_or(At::Unknown, |s| s.at)
    }

    pub(crate) fn is(&self, a: Actuator, at: At) -> bool {
        self.at(a) == at
    }

    /// An order has left for `a`.
    pub(crate) fn ordered(&mut self, a: Actuator, pose: Pose, now: Instant, on: Contacts, m: &Machine) {
        let (Some(s), Some(row)) = (self.each.get_mut(a.index()), m.strokes.get(a.index())) else { return };
        let goes_home = match pose {
            Pose::Work => false,
            Pose::Home => true,
            Pose::Off if matches!(row.valve, ValveKind::SpringReturn) => true,
            Pose::Off => {
                *s = Stroke { at: At::Unknown, ..Stroke::default() };
                self.refresh();
                return;
            }
        };
        let (at, contact, travel) = if goes_home {
            (At::ToHome, Contact::home_of(a), row.to_home)
        } else {
            (At::ToWork, Contact::work_of(a), row.to_work)
        };
        let stroke = u64::from(row.latency).saturating_add(u64::from(travel));
        let limit = Duration::from_micros(stroke.saturating_add(u64::from(row.margin)));
        let stale = on.has(contact);
        let over_stale = !goes_home && Contact::over_of(a).is_some_and(|c| m.fitted.has(c) && on.has(c));
        let trust = Duration::from_micros(u64::from(row.latency)).plus(m.contact_filter);
        *s = Stroke {
            at,
            due: Deadline::after(now, limit),
            trust: if stale || over_stale { Deadline::after(now, trust) } else { Deadline::NEVER },
            trusted: !stale,
            over_trusted: !over_stale,
            lost: false,
            since: Deadline::at(now),
        };
        self.refresh();
    }

    /// Waits anew for a stroke that was overdue, after its cause was cured.
    pub(crate) fn await_again(&mut self, a: Actuator, pose: Pose, now: Instant, on: Contacts, m: &Machine) {
        if self.is(a, At::Unknown) {
            self.ordered(a, pose, now, on, m);
        }
    }

    /// Energy is gone: nothing is known any more.
    pub(crate) fn forget(&mut self) {
        *self = Self::default();
    }

    /// Takes one tick. Without an edge and before the next deadline nothing can have arrived.
    pub(crate) fn tick(&mut self, seen: &Seen, m: &Machine) -> News {
        if seen.rose.or(seen.fell).is_empty() && !self.next.is_due(seen.now) {
            return News::default();
        }
        let mut news = News::default();
        for a in Actuator::ALL {
            let (Some(s), Some(row)) = (self.each.get_mut(a.index()), m.strokes.get(a.index())) else { continue };
            let bit = 1u8 << a.index();
            if s.at == At::Work && Contact::over_of(a).is_some_and(|c| m.fitted.has(c) && seen.rising(c)) {
                // What it was on has gone, whether or not a contact says so at its working end.
                s.arrive(At::Over);
                news.arrived |= bit;
            }
            if s.settle_lost(a, seen, m) {
                s.due = Deadline::after(seen.now, Duration::from_micros(u64::from(row.margin)));
            }
            let (contact, pose, arrived) = match s.at {
                At::ToHome => (Contact::home_of(a), Pose::Home, At::Home),
                At::ToWork => (Contact::work_of(a), Pose::Work, At::Work),
                At::Home | At::Work | At::Over | At::Unknown => continue,
            };
            s.doubt_early(seen, contact, Contact::over_of(a), row.latency, m);
            let full = Contact::over_of(a).filter(|c| m.fitted.has(*c) && s.at == At::ToWork);
            let in_time = s.trust.fire(seen.now);
            s.trusted |= in_time || seen.falling(contact);
            s.over_trusted |= in_time || full.is_some_and(|c| seen.falling(c));
            let over = full.is_some_and(|c| s.over_trusted && seen.is(c));
            let fitted = m.fitted.has(contact);
            let by_contact = fitted && s.trusted && seen.is(contact);
            if over {
                s.arrive(At::Over);
                news.arrived |= bit;
            } else if by_contact {
                if !s.lost {
                    news.took = Some((a, pose, seen.now.since(s.since.instant())));
                }
                s.arrive(arrived);
                news.arrived |= bit;
            } else if s.due.fire(seen.now) {
                if !fitted && !s.lost {
                    s.arrive(arrived);
                    news.arrived |= bit;
                } else {
                    if s.lost {
                        news.lost |= bit;
                    } else {
                        news.overdue |= bit;
                    }
                    s.arrive(At::Unknown);
                }
            }
        }
        self.refresh();
        news
    }

    fn refresh(&mut self) {
        self.next = Deadline::NEVER;
        for s in &self.each {
            for d in [s.due, s.trust] {
                if d.instant() < self.next.instant() {
                    self.next = d;
                }
            }
        }
    }

    pub(crate) const fn due(&self) -> Deadline {
        self.next
    }

    pub(crate) fn rebase(&mut self, dt: i64) {
        self.next = self.next.rebased(dt);
        for s in &mut self.each {
            s.due = s.due.rebased(dt);
            s.trust = s.trust.rebased(dt);
            s.since = s.since.rebased(dt);
        }
    }
}

impl Stroke {
    fn arrive(&mut self, at: At) {
        self.at = at;
        self.due = Deadline::NEVER;
        self.trust = Deadline::NEVER;
        self.since = Deadline::NEVER;
        self.lost = false;
    }

    /// A contact that was on before the order, but not for its filter yet, is as stale as one that had been on for long.
    fn doubt_early(&mut self, seen: &Seen, contact: Contact, full: Option<Contact>, latency: u32, m: &Machine) {
        if !self.since.is_armed() || seen.now.since(self.since.instant()) >= m.contact_filter {
            return;
        }
        let stale = seen.rising(contact);
        let over_stale = full.is_some_and(|c| seen.rising(c));
        self.trusted &= !stale;
        self.over_trusted &= !over_stale;
        if stale || over_stale {
            let trust = Duration::from_micros(u64::from(latency)).plus(m.contact_filter);
            self.trust = Deadline::after(self.since.instant(), trust);
        }
    }

    /// A confirmed end whose contact has gone: wait for it to come back, or for full stroke. `true` if so.
    fn settle_lost(&mut self, a: Actuator, seen: &Seen, m: &Machine) -> bool {
        let contact = match self.at {
            At::Home => Contact::home_of(a),
            At::Work => Contact::work_of(a),
            At::Over | At::Unknown | At::ToHome | At::ToWork => return false,
        };
        if !m.fitted.has(contact) || !seen.falling(contact) {
            return false;
        }
        self.at = if self.at == At::Home { At::ToHome } else { At::ToWork };
        self.trusted = true;
        self.over_trusted = true;
        self.lost = true;
        true
    }
}
