//! Entries back into what the station was given and what it said.

use timing_core::record::{BELT, MORE, ONE_CONTACT, Reckoning};
use timing_core::{
    Actuator, Command, Contacts, Counts, Event, EventKind, Inputs, Instant, Mode, Orders, Outputs, Pose, Request,
    Speed, UnitState, Why,
};

/// One tick as it was recorded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// What the station was given.
    pub inputs: Inputs,
    /// The orders that left.
    pub orders: Orders,
    /// Set-point of the belt.
    pub belt_speed: Speed,
    /// Set-point of the rollers, rpm.
    pub spin_rpm: u16,
    /// Unit state.
    pub unit: UnitState,
    /// Mode.
    pub mode: Mode,
    /// What happened.
    pub events: Vec<Event>,
    /// Events that found no room.
    pub events_lost: u8,
}

impl Told {
    /// A tick as the station was given it and answered.
    #[must_use]
    pub fn of(inputs: &Inputs, out: &Outputs<'_>) -> Self {
        Self {
            inputs: *inputs,
            orders: out.orders,
            belt_speed: out.belt_speed,
            spin_rpm: out.spin_rpm,
            unit: out.unit,
            mode: out.mode,
            events: out.events.to_vec(),
            events_lost: out.events_lost,
        }
    }
}

/// The entries of one run of bytes, from the first entry of a recording on; `None` if any is not whole or means nothing.
#[must_use]
pub fn decode(bytes: &[u8]) -> Option<Vec<Told>> {
    let mut told = Vec::new();
    Decoder::default().all(bytes, &mut told).then_some(told)
}

#[derive(Debug, Default)]
pub(super) struct Decoder {
    before: Reckoning,
    contacts: u32,
    failed: u32,
    latches: [Option<Counts>; 2],
    orders: u16,
    speed: i32,
    rpm: u16,
    unit: u8,
}

struct Bytes<'a>(&'a [u8]);

impl Bytes<'_> {
    fn byte(&mut self) -> Option<u8> {
        let (first, rest) = self.0.split_first()?;
        self.0 = rest;
        Some(*first)
    }

    fn number(&mut self) -> Option<u64> {
        let mut n = 0;
        for shift in (0..64).step_by(7) {
            let b = self.byte()?;
            n |= u64::from(b & 0x7f) << shift;
            if b & 0x80 == 0 {
                return Some(n);
            }
        }
        None
    }

    fn signed(&mut self) -> Option<i64> {
        self.number().map(unzigzag)
    }
}

const fn unzigzag(n: u64) -> i64 {
    (n >> 1).cast_signed() ^ (n & 1).cast_signed().wrapping_neg()
}

impl Decoder {
    /// Decodes whole entries; `false` if one is not whole, or means nothing: those before it are there.
    pub(super) fn all(&mut self, bytes: &[u8], told: &mut Vec<Told>) -> bool {
        let mut from = Bytes(bytes);
        while !from.0.is_empty() {
            let Some(one) = self.one(&mut from) else { return false };
            told.push(one);
        }
        true
    }

    fn one(&mut self, from: &mut Bytes<'_>) -> Option<Told> {
        let head = from.byte()?;
        let mut us = from.number()?;
        if head & ONE_CONTACT == 0 {
            us = us.wrapping_shl(5) | u64::from(head & 31);
        } else {
            self.contacts ^= 1 << (head & 31);
        }
        let (mut more_counts, mut later) = (0, 0);
        if head & BELT != 0 {
            more_counts = from.signed()?;
            if self.before.newest().is_some() {
                later = from.signed()?;
            }
        }
        let more = if head & MORE != 0 { from.byte()? } else { 0 };
        let rest = self.rest(from, more)?;
        let before = &mut self.before;
        let now = if rest.back { before.now().wrapping_sub(us) } else { before.now().wrapping_add(us) };
        let went = before.counts(now).wrapping_add(more_counts);
        let newest = match (before.newest().is_some(), rest.retimed) {
            (true, false) => Some(before.edge(went).wrapping_add(later.cast_unsigned())),
            (false, true) => Some(now.wrapping_add(rest.edge.cast_unsigned())),
            (false, false) | (true, true) => None,
        };
        before.go(now, before.belt().wrapping_add(went), newest);
        Some(self.told(rest))
    }

    fn told(&mut self, rest: Rest) -> Told {
        self.orders ^= rest.orders;
        self.contacts ^= rest.contacts;
        self.failed ^= rest.failed;
        if let Some((speed, rpm)) = rest.set {
            (self.speed, self.rpm) = (speed, rpm);
        }
        self.unit = rest.unit.unwrap_or(self.unit);
        for (latch, new) in self.latches.iter_mut().zip(rest.latches) {
            *latch = new.unwrap_or(*latch);
        }
        let [unit, mode] = [self.unit & 31, self.unit >> 5];
        Told {
            inputs: Inputs {
                now: Instant::from_micros(self.before.now()),
                belt: Counts::new(self.before.belt()),
                belt_at: self.before.newest().map(Instant::from_micros),
                contacts: Contacts::from_bits(self.contacts),
                failed: Contacts::from_bits(self.failed),
                release_latch: self.latches[0],
                discharge_latch: self.latches[1],
                request: rest.request,
            },
            orders: Orders::from_bits(self.orders),
            belt_speed: Speed::from_bits(self.speed),
            spin_rpm: self.rpm,
            unit: UnitState::ALL.into_iter().find(|u| *u as u8 == unit).unwrap_or(UnitState::Stopped),
            mode: MODES.into_iter().find(|m| *m as u8 == mode).unwrap_or(Mode::Production),
            events: rest.events,
            events_lost: rest.lost,
        }
    }

    /// All that follows `more`.
    fn rest(&self, from: &mut Bytes<'_>, more: u8) -> Option<Rest> {
        let mut r = Rest::default();
        if more & 1 != 0 {
            r.orders = u16::try_from(from.number()?).ok()?;
        }
        if more & 2 != 0 {
            r.set = Some((i32::try_from(from.signed()?).ok()?, u16::try_from(from.number()?).ok()?));
        }
        if more & 4 != 0 {
            r.unit = Some(from.byte()?);
        }
        let mut another = more & 8 != 0;
        while another {
            let b = from.byte()?;
            r.events.push(event(from, b)?);
            another = b & 0x80 != 0;
        }
        if more & 16 != 0 {
            r.contacts = u32::try_from(from.number()?).ok()?;
        }
        if more & 32 != 0 {
            r.failed = u32::try_from(from.number()?).ok()?;
        }
        if more & 64 != 0 {
            r.request = Some(request(from)?);
        }
        if more & 128 != 0 {
            let seldom = from.byte()?;
            r.back = seldom & 1 != 0;
            r.retimed = seldom & 2 != 0;
            if r.retimed && self.before.newest().is_none() {
                r.edge = from.signed()?;
            }
            for (i, latch) in r.latches.iter_mut().enumerate() {
                if seldom & (4 << i) != 0 {
                    let n = from.number()?;
                    *latch = Some(n.checked_sub(1).map(|n| Counts::new(unzigzag(n))));
                }
            }
            if seldom & 16 != 0 {
                r.lost = from.byte()?;
            }
        }
        Some(r)
    }
}

const MODES: [Mode; 3] = [Mode::Production, Mode::Maintenance, Mode::Manual];

#[derive(Default)]
struct Rest {
    orders: u16,
    set: Option<(i32, u16)>,
    unit: Option<u8>,
    events: Vec<Event>,
    contacts: u32,
    failed: u32,
    request: Option<Request>,
    back: bool,
    retimed: bool,
    /// µs from this tick to the belt's newest edge, where edges are timed from here on.
    edge: i64,
    latches: [Option<Option<Counts>>; 2],
    lost: u8,
}

fn event(from: &mut Bytes<'_>, b: u8) -> Option<Event> {
    let kind = *EventKind::ALL.get(usize::from(b & 31))?;
    let detail = u16::try_from(from.number()?).ok()?;
    let why = if b & 0x40 != 0 { *Why::ALL.get(usize::from(from.byte()?))? } else { Why::Plain };
    let value = if b & 0x20 != 0 { i32::try_from(from.signed()?).ok()? } else { 0 };
    Some(Event { kind, why, detail, value })
}

fn request(from: &mut Bytes<'_>) -> Option<Request> {
    Some(match from.byte()? {
        10 => {
            let n = from.byte()?;
            Request::Mode(MODES.into_iter().find(|m| *m as u8 == n)?)
        }
        11 => Request::Batch(u32::try_from(from.number()?).ok()?),
        12 => {
            let actuator = *Actuator::ALL.get(usize::from(from.byte()?))?;
            let pose = *[Pose::Off, Pose::Home, Pose::Work].get(usize::from(from.byte()?))?;
            Request::Jog(actuator, pose)
        }
        13 => Request::JogSpin,
        14 => Request::JogBelt,
        15 => Request::Step,
        16 => Request::DryCycle,
        17 => Request::Declare(from.byte()?),
        n => Request::Command(Command::ALL.into_iter().find(|c| *c as u8 == n)?),
    })
}
