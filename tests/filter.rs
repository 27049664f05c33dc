//! Contacts: bounce as published, and the filter against the standard's timers.
//!
//! Bounce: J. Ganssle, *A Guide to Debouncing* (2004, rev. 2008), figures as quoted in public repositories: of 18 switches 16 bounced
//! 1557 µs on the mean and 6200 µs at most; one outlier took 157 ms and once read 1 for 81 ms, 0 for 42 ms, then 1. Traces:
//! `gsuberland/switch_bouncing` (public domain): a worn rocker switch whose last edge on one release came after 105.5 ms, with a quiet
//! gap of 82 ms. Timers: TON and TOF of IEC 61131-3 (from memory of the standard; vectors computed from its state machine).

use crate::bench::{Bench, profile};
use timing_core::{
    Contact, Contacts, Duration, EventKind, Inputs, Instant, Machine, MachineProfile, Setpoints, Station, UnitState,
    Why, example,
};

/// Levels that follow a true edge: (ms after it, level), the level at 0 being the edge itself.
type Bounce = &'static [(u64, bool)];

/// The worst of the 16 switches: chatter for 6.2 ms (here 6, in steps of the bench).
const WORST_OF_16: Bounce = &[(0, true), (1, false), (2, true), (4, false), (6, true)];
/// The outlier: 1 for 81 ms, 0 for 42 ms, then 1.
const OUTLIER: Bounce = &[(0, true), (81, false), (123, true)];
/// The worn rocker: chatter, 82 ms of quiet, and a last edge after 105.5 ms (here 106).
const ROCKER: Bounce = &[(0, true), (1, false), (2, true), (24, false), (106, true)];

/// The bench up to the first bottle in the release eye, which bounces so at its rise (or fall); on to the end of the bottle.
fn with_bounce(bounce: Bounce, on_rise: bool, m: &MachineProfile) -> Bench {
    let mut b = Bench::with(m, &example::product());
    b.start();
    let eye = |b: &Bench| b.contacts().has(Contact::ReleaseEye);
    b.until("a bottle in the release eye", 20_000, eye);
    if !on_rise {
        b.until("it leaves the eye", 2_000, |b| !eye(b));
    }
    let from = b.ms;
    for pair in bounce.windows(2) {
        let level = pair[0].1 == on_rise;
        b.forced = vec![(Contact::ReleaseEye, level)];
        b.run(pair[1].0 - (b.ms - from));
    }
    b.forced.clear();
    b.supply = false;
    let ended = |b: &Bench| b.station.inside() == 0 && b.station.tally().registered > 0;
    b.until("it is delivered", 30_000, |b| ended(b) || b.unit() == UnitState::Held);
    b
}

/// A bouncing release eye does not double a bottle, nor raise a fault, nor move the bottle's place.
#[test]
fn published_bounce_does_not_double_a_bottle() {
    let place = |b: &Bench| b.told(EventKind::CatchOrdered)[0].0;
    let clean = place(&with_bounce(&[(0, true), (1, true)], true, &profile()));
    assert!(clean > 0);
    for (name, bounce) in [("worst of 16", WORST_OF_16), ("outlier", OUTLIER), ("rocker", ROCKER)] {
        let b = with_bounce(bounce, true, &profile());
        let t = b.station.tally();
        assert_eq!((t.registered, t.found, t.good), (1, 0, 1), "{name}: {t:?} {:?}", b.told(EventKind::Fault));
        assert!(b.told(EventKind::Fault).is_empty(), "{name}");
        // The place is that of the first raw edge: the catch is ordered in the very same tick as without bounce, though the level
        // was accepted up to 126 ms, 12.6 mm, later.
        assert_eq!(place(&b), clean, "{name}: when the catch was ordered");
    }
}

/// A trailing edge that chatters longer than the filter is none of a second body's: the bottle is delivered, nothing is held.
#[test]
fn a_bouncing_trailing_edge_does_not_double_a_bottle() {
    for (name, bounce) in [("worst of 16", WORST_OF_16), ("outlier", OUTLIER), ("rocker", ROCKER)] {
        let b = with_bounce(bounce, false, &profile());
        let t = b.station.tally();
        assert_eq!((t.registered, t.found, t.good), (1, 0, 1), "{name}: {t:?} {:?}", b.told(EventKind::Fault));
        assert!(b.told(EventKind::Fault).is_empty(), "{name}");
    }
}

/// What lasts as long as a body is one: a quarter of the shortest bottle, and the unit holds for a stray.
#[test]
fn what_follows_a_bottle_and_lasts_is_a_second_body() {
    // 10 mm at the bench's 100 mm/s, and 30 mm: a quarter of its shortest bottle lies between.
    const SHORT: Bounce = &[(0, true), (40, false), (140, true)];
    const LONG: Bounce = &[(0, true), (40, false), (340, true)];
    for (bounce, held) in [(SHORT, false), (LONG, true)] {
        let b = with_bounce(bounce, false, &profile());
        let ms = bounce[2].0 - bounce[1].0;
        assert_eq!(b.unit() == UnitState::Held, held, "{ms} ms");
        let strays = b.told(EventKind::Registered).iter().filter(|(_, e)| e.why == Why::Stray).count();
        assert_eq!(strays, usize::from(held), "{ms} ms");
    }
}

/// One contact of a fresh station, the filter 100 ms, everything else quiet; ticked when it asks and when the contact changes.
struct Timer {
    station: Station,
    rest: Contacts,
    raw: bool,
    now: u64,
    wake: u64,
}

const PT: u64 = 100_000;

impl Timer {
    /// At power-up the contact reads `level`.
    fn new(level: bool) -> Self {
        let mut m = example::machine();
        m.contact_filter = Duration::from_micros(PT);
        m.eye_filter = Duration::from_micros(PT);
        let machine = Machine::new(&m).expect("a machine");
        let setpoints = Setpoints::new(&example::product(), &machine).expect("a product");
        let mut t =
            Self { station: Station::new(machine, setpoints), rest: example::at_rest(), raw: level, now: 0, wake: 0 };
        t.tick();
        t
    }

    fn tick(&mut self) {
        let contacts = self.rest.with(Contact::PocketEye, self.raw);
        let inputs = Inputs { now: Instant::from_micros(self.now), contacts, ..Inputs::default() };
        self.wake = self.station.tick(&inputs).wake.at.as_micros();
    }

    /// Lets time pass up to `ms`, honouring every wake.
    fn to(&mut self, ms: u64) {
        let end = ms * 1_000;
        while self.wake <= end {
            self.now = self.wake;
            self.tick();
        }
        self.now = end;
        self.tick();
    }

    fn set(&mut self, ms: u64, level: bool) {
        self.to(ms);
        self.raw = level;
        self.tick();
    }

    /// The filtered level, as the station's own debug text shows it.
    fn q(&self) -> bool {
        let text = format!("{:?}", self.station);
        let stable = text.split("stable: Contacts(").nth(1).and_then(|s| s.split(')').next()).expect("the level");
        Contacts::from_bits(stable.parse().expect("bits")).has(Contact::PocketEye)
    }

    fn run(level: bool, edges: &[(u64, bool)], at: &[(u64, bool)]) {
        let mut t = Self::new(level);
        let mut edges = edges.iter().peekable();
        for &(ms, want) in at {
            while let Some(&&(e, l)) = edges.peek() {
                if e > ms {
                    break;
                }
                t.set(e, l);
                edges.next();
            }
            t.to(ms);
            assert_eq!(t.q(), want, "at {ms} ms, from {level}");
        }
    }
}

/// Rising: the filter is an on-delay, TON. PT 100 ms; the standard's Q, at times in ms after 100 edges.
///
/// What corresponds: Q of TON as long as the input's pulses below PT are *inputs while Q is false*. What does not: a TON drops Q at once
/// with its input, the filter only PT later (there it is the off-delay, below); and ET has no counterpart.
#[test]
fn a_rising_contact_is_an_on_delay() {
    // TON full.
    Timer::run(false, &[(100, true)], &[(100, false), (190, false), (199, false), (200, true), (290, true)]);
    // TON drop before PT, and a second, longer pulse.
    let edges = [(100, true), (190, false), (250, true)];
    Timer::run(false, &edges, &[(180, false), (190, false), (250, false), (340, false), (350, true)]);
    // TON one-scan gap: the delay begins anew.
    Timer::run(
        false,
        &[(100, true), (180, false), (190, true)],
        &[(180, false), (280, false), (289, false), (290, true)],
    );
    // TON, input first seen late, at 105: the delay counts from what was seen.
    Timer::run(false, &[(105, true)], &[(203, false), (205, true)]);
}

/// A drop at exactly PT: the standard's block, evaluated in that scan with its input false, never sets Q. The filter's deadline is due in
/// the same tick as the drop; here the tick at the deadline comes first, as a controller that honours wakes calls it, and Q rises.
#[test]
fn a_drop_at_exactly_the_delay_is_decided_by_what_is_ticked_first() {
    // Without a tick at the deadline, the drop restarts the filter and Q never rises: the standard's result.
    let mut t = Timer::new(false);
    t.set(100, true);
    t.now = 200_000;
    t.raw = false;
    t.tick();
    assert!(!t.q());
    t.to(400);
    assert!(!t.q());
    // With it, Q is true from 200 until the off-delay has passed.
    Timer::run(false, &[(100, true), (200, false)], &[(199, false), (299, true), (300, false)]);
}

/// Falling: the filter is an off-delay, TOF, once Q is true; at power-up levels are taken over without delay either way.
#[test]
fn a_falling_contact_is_an_off_delay() {
    // TOF full: Q stays for PT after the fall.
    Timer::run(
        true,
        &[(200, false)],
        &[(100, true), (200, true), (290, true), (299, true), (300, false), (400, false)],
    );
    // TOF re-rise before PT: the delay begins anew at the next fall.
    let edges = [(200, false), (290, true), (350, false)];
    Timer::run(true, &edges, &[(280, true), (290, true), (350, true), (440, true), (449, true), (450, false)]);
    // TOF at power-up with its input false: no off-delay.
    Timer::run(false, &[], &[(0, false), (200, false)]);
}
