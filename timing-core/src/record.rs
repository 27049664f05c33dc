//! What a station was given and what it said, as few bytes: the entries of a recording.
//!
//! A [`Coder`] stands beside the station and turns each tick that mattered into one entry; a tick at which nothing was due, and
//! nothing differed, leaves none (the laws of wake: such a tick changes nothing). Entries hold differences to the entry before, so
//! they are read from the first one on; the first is told against everything zero. Reading is the host's business.
//!
//! An entry, LEB128 throughout, signed numbers as zigzag:
//!
//! | part | there if | what |
//! |---|---|---|
//! | head | always | bit 7: one contact changed, its number in bits 0 … 4; bit 6: the belt is not where it was expected; bit 5: `more` follows. Without bit 7, bits 0 … 4 are the low bits of the time |
//! | time | always | µs since the entry before; without head bit 7 without its low 5 bits |
//! | belt | head bit 6 | how many counts more than expected; then, if the edge of the entry before was timed, by how many µs the edge is later than expected (0 if it is not timed now) |
//! | more | head bit 5 | one byte, a bit for each of the parts that follow in this order |
//! | orders | more bit 0 | the orders that changed |
//! | set-points | more bit 1 | belt speed (signed raw Q16.16 mm/s), roller speed (rpm) |
//! | unit | more bit 2 | unit state + 32 × mode, one byte |
//! | events | more bit 3 | each: kind (bits 0 … 4), bit 5: a value, bit 6: a reason, bit 7: another event follows; then detail, reason, value |
//! | contacts | more bit 4 | the contacts that changed, if several |
//! | failed | more bit 5 | the failed inputs that changed |
//! | request | more bit 6 | its number ([`crate::request_number`]), then what belongs to it |
//! | seldom | more bit 7 | one byte. Bit 0: the time goes back; bit 1: whether count edges are timed changed, and if they are now, the edge's µs after this tick follow, signed; bits 2 and 3: release and discharge latch follow, 0 = none, else 1 + zigzag; bit 4: events lost follow |
//!
//! Where the belt is expected: [`Reckoning`].

mod ring;

pub use ring::Recorder;

use crate::event::{Event, EventKind, Why, request_number};
use crate::io::{Inputs, Outputs, Request, Wake};
use crate::units::{Counts, Instant};

/// The most bytes of one entry.
pub const ENTRY_MAX: usize = 224;

/// Head of an entry: one contact changed.
pub const ONE_CONTACT: u8 = 0x80;
/// Head of an entry: the belt is not where it was expected.
pub const BELT: u8 = 0x40;
/// Head of an entry: more follows.
pub const MORE: u8 = 0x20;

/// Where time and belt were at the entry before, and where the belt is expected next: what the writer and the reader of entries must
/// work out alike.
///
/// A count takes p/256 µs, measured over the last 16 counts or more. From the newest edge, or where edges are not timed from the entry before,
/// a time `us` later is expected to find ⌊`us` · 256 ÷ p⌋ counts more, and the newest edge `counts` · p ÷ 256 later. All in 32 bits; where they
/// do not suffice, no movement is expected.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Reckoning {
    now: u64,
    belt: i64,
    at: u64,
    timed: bool,
    pace: Pace,
}

impl Reckoning {
    /// Time of the entry before, µs.
    #[must_use]
    pub const fn now(&self) -> u64 {
        self.now
    }

    /// The belt then.
    #[must_use]
    pub const fn belt(&self) -> i64 {
        self.belt
    }

    /// When its newest edge came, µs; `None` if edges were not timed.
    #[must_use]
    pub const fn newest(&self) -> Option<u64> {
        if self.timed { Some(self.at) } else { None }
    }

    /// Counts that the belt is expected to have gone at `now`, µs.
    #[must_use]
    pub const fn counts(&self, now: u64) -> i64 {
        let since = if self.timed { now.wrapping_sub(self.at) } else { now.abs_diff(self.now) };
        self.pace.counts(since) as i64
    }

    /// When the newest edge is expected if the belt `went` so many counts, µs.
    #[must_use]
    pub const fn edge(&self, went: i64) -> u64 {
        self.at.wrapping_add(self.pace.takes(went))
    }

    /// Goes on to an entry at `now`, µs, with the belt there and its newest edge, if that is timed.
    pub fn go(&mut self, now: u64, belt: i64, newest: Option<u64>) {
        let at = newest.unwrap_or(now);
        self.pace.learn(at, belt);
        (self.now, self.belt, self.at, self.timed) = (now, belt, at, newest.is_some());
    }
}

/// How fast the last counts came.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Pace {
    per_count: u32,
    from: (u64, i64),
}

impl Pace {
    /// Counts that are expected `us` after the newest edge.
    const fn counts(&self, us: u64) -> u32 {
        if us >= 1 << 24 {
            return 0;
        }
        match ((us as u32) << 8).checked_div(self.per_count) {
            Some(n) => n,
            None => 0,
        }
    }

    /// Time that `counts` are expected to take, µs.
    const fn takes(&self, counts: i64) -> u64 {
        if counts < 0 || counts >= 1 << 16 || self.per_count >= 1 << 24 {
            return 0;
        }
        (counts.unsigned_abs().wrapping_mul(self.per_count as u64)) >> 8
    }

    /// Learns that the newest edge is `belt`, at `at`.
    const fn learn(&mut self, at: u64, belt: i64) {
        let (us, counts) = (at.wrapping_sub(self.from.0), belt.wrapping_sub(self.from.1));
        if counts >= 0 && counts < 16 {
            return;
        }
        self.from = (at, belt);
        self.per_count = if counts > 0 && counts < 1 << 16 && us < 1 << 24 {
            match ((us as u32) << 8).checked_div(counts as u32) {
                Some(n) => n,
                None => 0,
            }
        } else {
            0
        };
    }
}

/// The bytes of one tick: none, one entry, or two (where a tick that nobody asked for was the last before one that came too late).
#[derive(Clone, Debug)]
pub struct Entry {
    bytes: [u8; ENTRY_MAX],
    len: usize,
    entries: u8,
}

impl Entry {
    const fn new() -> Self {
        Self { bytes: [0; ENTRY_MAX], len: 0, entries: 0 }
    }

    /// The bytes.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        self.bytes.get(..self.len).unwrap_or(&[])
    }

    /// How many entries the bytes are: 0, 1 or 2.
    #[must_use]
    pub const fn entries(&self) -> u8 {
        self.entries
    }

    fn byte(&mut self, b: u8) {
        if let Some(place) = self.bytes.get_mut(self.len) {
            *place = b;
            self.len = self.len.saturating_add(1);
        }
    }

    fn number(&mut self, mut n: u64) {
        while n > 0x7f {
            self.byte(n as u8 | 0x80);
            n >>= 7;
        }
        self.byte(n as u8);
    }

    fn signed(&mut self, n: i64) {
        self.number(zigzag(n));
    }
}

const fn zigzag(n: i64) -> u64 {
    (n.wrapping_shl(1) ^ (n >> 63)).cast_unsigned()
}

/// Turns ticks into entries.
#[derive(Clone, Debug, Default)]
pub struct Coder {
    before: Reckoning,
    contacts: u32,
    failed: u32,
    latches: [Option<Counts>; 2],
    orders: u16,
    set: (i32, u16),
    unit: u8,
    wake: Option<Wake>,
    /// A tick at which nothing was due, the last one so far.
    skipped: Option<Instant>,
}

impl Coder {
    /// At the beginning: the first entry is told against everything zero.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes in one tick: what the station was given, and what it said.
    pub fn tick(&mut self, inputs: &Inputs, out: &Outputs<'_>) -> Entry {
        let mut e = Entry::new();
        if let Some(wake) = self.wake {
            if self.is_quiet(inputs, &wake) {
                self.skipped = Some(inputs.now);
                return e;
            }
            // How late a tick is, is counted from the last one, whether it mattered or not.
            if let Some(now) = self.skipped
                && (inputs.now > wake.at || inputs.now < now)
            {
                self.quiet(now.as_micros(), &mut e);
            }
        }
        self.skipped = None;
        self.wake = Some(out.wake);
        self.entry(inputs, out, &mut e);
        e
    }

    /// As the station itself sees it: nothing differs, nothing is due.
    fn is_quiet(&self, inputs: &Inputs, wake: &Wake) -> bool {
        inputs.contacts.bits() == self.contacts
            && inputs.failed.bits() == self.failed
            && inputs.now < wake.at
            && inputs.now.as_micros() >= self.skipped.map_or(self.before.now(), Instant::as_micros)
            && inputs.belt > wake.below
            && inputs.belt < wake.above
            && inputs.request.is_none()
    }

    /// An entry that says a time and nothing else; the belt as it was.
    fn quiet(&mut self, now: u64, e: &mut Entry) {
        e.entries = e.entries.saturating_add(1);
        let us = now.wrapping_sub(self.before.now());
        let (counts, newest) = (self.before.counts(now), self.before.newest());
        e.byte((us & 31) as u8 | if counts != 0 { BELT } else { 0 });
        e.number(us >> 5);
        if counts != 0 {
            e.signed(counts.wrapping_neg());
            if newest.is_some() {
                e.signed(0);
            }
        }
        self.before.go(now, self.before.belt(), newest);
    }

    fn entry(&mut self, inputs: &Inputs, out: &Outputs<'_>, e: &mut Entry) {
        e.entries = e.entries.saturating_add(1);
        let now = inputs.now.as_micros();
        let back = now < self.before.now();
        let us = now.abs_diff(self.before.now());
        let flipped = inputs.contacts.bits() ^ self.contacts;
        let one = flipped.is_power_of_two();

        // The belt.
        let newest = inputs.belt_at.map(Instant::as_micros);
        let was_timed = self.before.newest().is_some();
        let went = inputs.belt.get().wrapping_sub(self.before.belt());
        let more_counts = went.wrapping_sub(self.before.counts(now));
        let later = match newest {
            Some(at) if was_timed => at.wrapping_sub(self.before.edge(went)).cast_signed(),
            _ => 0,
        };
        let belt = more_counts != 0 || later != 0;

        // What else there is.
        let set = (out.belt_speed.to_bits(), out.spin_rpm);
        let unit = out.unit as u8 | (out.mode as u8) << 5;
        let latches = [inputs.release_latch, inputs.discharge_latch];
        let bit = |n: u8, there: bool| if there { 1u8 << (n & 7) } else { 0 };
        let seldom = bit(0, back)
            | bit(1, newest.is_some() != was_timed)
            | bit(2, latches[0] != self.latches[0])
            | bit(3, latches[1] != self.latches[1])
            | bit(4, out.events_lost != 0);
        let more = bit(0, out.orders.bits() != self.orders)
            | bit(1, set != self.set)
            | bit(2, unit != self.unit)
            | bit(3, !out.events.is_empty())
            | bit(4, flipped != 0 && !one)
            | bit(5, inputs.failed.bits() != self.failed)
            | bit(6, inputs.request.is_some())
            | bit(7, seldom != 0);

        let head = if belt { BELT } else { 0 } | if more != 0 { MORE } else { 0 };
        if one {
            e.byte(head | ONE_CONTACT | (flipped.trailing_zeros() & 31) as u8);
            e.number(us);
        } else {
            e.byte(head | (us & 31) as u8);
            e.number(us >> 5);
        }
        if belt {
            e.signed(more_counts);
            if was_timed {
                e.signed(later);
            }
        }
        if more != 0 {
            e.byte(more);
        }
        if more & 1 != 0 {
            e.number(u64::from(out.orders.bits() ^ self.orders));
        }
        if more & 2 != 0 {
            e.signed(i64::from(set.0));
            e.number(u64::from(set.1));
        }
        if more & 4 != 0 {
            e.byte(unit);
        }
        for (i, event) in out.events.iter().enumerate() {
            write_event(e, *event, i.saturating_add(1) < out.events.len());
        }
        if more & 16 != 0 {
            e.number(u64::from(flipped));
        }
        if more & 32 != 0 {
            e.number(u64::from(inputs.failed.bits() ^ self.failed));
        }
        if let Some(request) = inputs.request {
            write_request(e, request);
        }
        if seldom != 0 {
            e.byte(seldom);
            if let Some(at) = newest.filter(|_| !was_timed) {
                e.signed(at.wrapping_sub(now).cast_signed());
            }
            for (now, was) in latches.into_iter().zip(self.latches) {
                if now != was {
                    e.number(now.map_or(0, |c| zigzag(c.get()).saturating_add(1)));
                }
            }
            if out.events_lost != 0 {
                e.byte(out.events_lost);
            }
        }

        self.before.go(now, inputs.belt.get(), newest);
        (self.contacts, self.failed, self.latches) = (inputs.contacts.bits(), inputs.failed.bits(), latches);
        (self.orders, self.set, self.unit) = (out.orders.bits(), set, unit);
    }
}

fn write_event(e: &mut Entry, event: Event, another: bool) {
    const { assert!(EventKind::ALL.len() <= 32 && Why::ALL.len() <= 128) };
    let has_value = if event.value != 0 { 0x20 } else { 0 };
    let has_why = if event.why as u8 != 0 { 0x40 } else { 0 };
    e.byte(event.kind as u8 | has_value | has_why | if another { 0x80 } else { 0 });
    e.number(u64::from(event.detail));
    if has_why != 0 {
        e.byte(event.why as u8);
    }
    if has_value != 0 {
        e.signed(i64::from(event.value));
    }
}

fn write_request(e: &mut Entry, request: Request) {
    e.byte(request_number(request) as u8);
    match request {
        Request::Mode(mode) => e.byte(mode as u8),
        Request::Batch(n) => e.number(u64::from(n)),
        Request::Jog(actuator, pose) => {
            e.byte(actuator as u8);
            e.byte(pose as u8);
        }
        Request::Declare(n) => e.byte(n),
        Request::Command(_) | Request::JogSpin | Request::JogBelt | Request::Step | Request::DryCycle => {}
    }
}
