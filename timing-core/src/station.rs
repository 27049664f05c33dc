//! The station: state, tables, and one tick.

use crate::act;
use crate::admit;
use crate::cx::Cx;
use crate::decide::{self, Ctl, FeedStep, HeadStep};
use crate::event::{Event, EventKind, Why};
use crate::guard;
use crate::io::{Actuator, Contact, Contacts, Inputs, Orders, Outputs, Pose, Wake};
use crate::local::{Deadline, Moves, Origin, Place, Shift, Span, Spot, Time, shift_all};
use crate::machine::Machine;
use crate::product::Setpoints;
use crate::sense::{From, Seen};
use crate::tally::{Book, EVENTS, Tally, Tell};
use crate::unit::{Mode, UnitState};
use crate::units::{Counts, Duration, Instant, Speed};
use crate::watch::{self, Found};

/// The control core of one bottle-closing station.
///
/// One call in, one value out: [`Station::tick`] takes what was read and returns what to do, what happened, and when to
/// be called again. Same inputs, same bits, on every target. No clock, no allocation, no global, no panic.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
#[repr(C)]
pub struct Station {
    said: Said,
    events: heapless::Vec<Event, EVENTS>,
    origin: Origin,
    ctl: Ctl,
    book: Book,
    machine: Machine,
    setpoints: Setpoints,
    /// Ticks that went through all stages.
    decided: u32,
}

/// What was last said, and when: all that a tick needs at which nothing is due.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "restore", derive(serde::Deserialize))]
#[repr(C)]
struct Said {
    unit: UnitState,
    mode: Mode,
    events_lost: u8,
    powered: bool,
    /// Nothing due: leave at once. Only tests switch this off, to find forgotten wakes.
    shortcut: bool,
    orders: Orders,
    spin_rpm: u16,
    last: Instant,
    wake: Wake,
    /// As they were read last.
    contacts: Contacts,
    failed: Contacts,
    belt_speed: Speed,
    /// The time of the wake.
    awake: Deadline,
    /// When and where the next thing is due to anything but contacts and belt.
    rest_at: Deadline,
    rest_above: Place,
}

/// A short time in which nothing needs to be looked at.
const AT_ONCE: Span = Span::from_micros(1);

/// A product may be loaded only in Stopped or Idle with nothing inside.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NotAtRest;

impl Station {
    /// A station at power-up: everything off, nothing known.
    #[must_use]
    pub fn new(machine: Machine, setpoints: Setpoints) -> Self {
        Self {
            said: Said {
                unit: UnitState::Stopped,
                mode: Mode::Production,
                events_lost: 0,
                powered: false,
                shortcut: true,
                orders: Orders::SAFE,
                spin_rpm: 0,
                last: Instant::ZERO,
                wake: Wake { at: Instant::ZERO, below: Counts::ZERO, above: Counts::ZERO },
                contacts: Contacts::NONE,
                failed: Contacts::NONE,
                belt_speed: Speed::ZERO,
                awake: Deadline::NOW,
                rest_at: Deadline::NEVER,
                rest_above: Place::NOWHERE,
            },
            events: heapless::Vec::new(),
            origin: Origin::ZERO,
            ctl: Ctl::new(),
            book: Book::default(),
            machine,
            setpoints,
            decided: 0,
        }
    }

    /// Changes the product.
    ///
    /// # Errors
    /// [`NotAtRest`] unless the unit is in Stopped or Idle with nothing inside. `setpoints` must have been validated for
    /// this station's machine.
    pub fn load(&mut self, setpoints: Setpoints) -> Result<(), NotAtRest> {
        let at_rest = matches!(self.ctl.unit.state, UnitState::Stopped | UnitState::Idle);
        if !at_rest || self.ctl.inside() > 0 {
            return Err(NotAtRest);
        }
        self.setpoints = setpoints;
        Ok(())
    }

    /// On the desk, to ask what would have been: from here on another machine or product. What is under way goes on as it was begun;
    /// nothing of this is meant for a machine, where [`Self::load`] waits for rest.
    #[cfg(feature = "desk")]
    pub fn swap(&mut self, machine: Machine, setpoints: Setpoints) {
        (self.machine, self.setpoints) = (machine, setpoints);
        // Nothing may rest on what was reckoned with the old ones.
        self.said.wake.at = Instant::ZERO;
        self.said.rest_at = Deadline::NOW;
    }

    /// One tick: takes what was read, returns what to do.
    ///
    /// Call it when the last [`Wake`] says so, at any change of a contact, or with a request; more often does no harm and
    /// changes nothing, less often makes everything as late as the call.
    pub fn tick(&mut self, inputs: &Inputs) -> Outputs<'_> {
        if self.said.is_quiet(inputs) {
            self.said.last = inputs.now;
            return self.said.outputs(&[], 0);
        }
        self.look(inputs);
        self.said.outputs(&self.events, self.said.events_lost)
    }

    /// Something may have changed, or is due.
    #[inline(never)]
    fn look(&mut self, inputs: &Inputs) {
        self.events.clear();
        self.said.events_lost = 0;
        let back = inputs.now < self.said.last;
        let instant = if back { self.said.last } else { inputs.now };
        let (now, belt, far) = match self.origin.reach(instant, inputs.belt) {
            Some((now, belt)) => (now, belt, false),
            None => self.follow(instant, inputs.belt),
        };
        if self.said.powered {
            let late = now.since(self.said.awake.time());
            let gap = back || now.since(self.origin.recent(self.said.last)) > self.machine.gap_twice;
            let mut seen = Seen::new(now, belt, late, gap, self.ctl.filter.stable());
            if self.sense(inputs, &mut seen) || !self.said.shortcut {
                self.work(inputs, seen);
                self.reckon();
            }
        } else {
            self.power_up(inputs, belt);
            self.reckon();
        }
        let said = &mut self.said;
        (said.last, said.failed) = (instant, inputs.failed);
        // Without the shortcut no tick may find them as they were.
        said.contacts = if said.shortcut { inputs.contacts } else { inputs.contacts.differing(Contacts::ALL) };
        (said.unit, said.mode) = (self.ctl.unit.state, self.ctl.unit.mode);
        self.wake(now, belt);
        if far {
            self.stay_awake(instant, inputs.belt);
        }
    }

    /// At the very ends of time and belt there is no room for what lies ahead: every tick counts.
    #[cold]
    fn stay_awake(&mut self, now: Instant, belt: Counts) {
        let (now, belt) = (now.min(Instant::LAST), belt.clamp(Counts::FIRST, Counts::LAST));
        self.said.last = now;
        self.said.awake = Deadline::NOW;
        self.said.wake = Wake { at: now.plus(Duration::from_micros(1)), below: belt.ahead(-1), above: belt.ahead(1) };
    }

    /// Moves the origin up; `true` if even so `belt` is out of its reach.
    #[cold]
    #[inline(never)]
    fn follow(&mut self, now: Instant, belt: Counts) -> (Time, Spot, bool) {
        let by = self.origin.renew(now, belt);
        self.shift(by);
        // The last tick may have been long ago.
        self.said.last = self.origin.instant(self.origin.time(self.said.last));
        match self.origin.reach(now, belt) {
            Some((now, belt)) => (now, belt, false),
            None => (self.origin.time(now), self.origin.spot(belt), true),
        }
    }

    /// Levels at power-up are not edges; nothing that was before is known.
    #[cold]
    #[inline(never)]
    fn power_up(&mut self, inputs: &Inputs, belt: Spot) {
        self.said.powered = true;
        self.ctl.again = true;
        self.ctl.filter.start(inputs, &self.machine);
        self.ctl.belt.start(belt);
        let chain = self.ctl.filter.stable().has(Contact::Chain);
        let mut tell = Tell { events: &mut self.events, lost: &mut self.said.events_lost };
        for c in [Contact::DischargeEye, Contact::SupplyEye] {
            if !self.machine.fitted.has(c) {
                tell.push(Event::blind(c));
            }
        }
        if !chain {
            self.ctl.unit.state = UnitState::Aborted;
        }
        tell.push(Event::state(self.ctl.unit.state, UnitState::Stopped, Why::Plain));
    }

    /// What contacts and belt bring; `true` if that, or what is due, can change anything. Bounce and a belt that goes on as it
    /// went cannot.
    fn sense(&mut self, inputs: &Inputs, seen: &mut Seen) -> bool {
        let Self { ctl, machine: m, origin, said, .. } = self;
        let from = From { inputs, origin, m };
        ctl.filter.tick(&from, seen);
        ctl.belt.tick(seen, &from);
        seen.gap
            || seen.late > Span::ZERO
            || !seen.edges().or(seen.failed).is_empty()
            || !seen.belt_news.is_empty()
            || said.rest_at.is_due(seen.now)
            || said.rest_above.is_due(seen.belt)
            || inputs.request.is_some()
    }

    /// All stages after sensing.
    #[inline(never)]
    fn work(&mut self, inputs: &Inputs, seen: Seen) {
        self.decided = self.decided.wrapping_add(1);
        let Self { ctl, book, machine: m, setpoints: s, events, said, origin, .. } = self;
        let tell = Tell { events, lost: &mut said.events_lost };
        let mut cx = Cx { seen, m, s, book, tell, from: From { inputs, origin, m } };
        let course = (ctl.unit.state, ctl.unit.phase);
        if cx.seen.late > Span::ZERO {
            cx.book.lateness(cx.seen.late, &mut cx.tell);
        }
        let strokes = ctl.strokes.tick(&cx.seen, m);
        if let Some((a, pose, took)) = strokes.took {
            cx.book.stroke(a, pose, took, m, &mut cx.tell);
        }
        // Track.
        admit::run(ctl, &mut cx);
        let track = track(ctl, &mut cx);
        // Watch.
        watch::run(ctl, &mut cx, &Found { strokes, track });
        // Decide.
        if let Some(request) = inputs.request {
            decide::request(ctl, &mut cx, request);
        }
        let asked = decide::run(ctl, &mut cx);
        // Guard and act, where there is anything to vet.
        let safe = ctl.unit.is_safe() || !cx.seen.is(Contact::Chain);
        if safe || asked != ctl.was || ctl.awaits {
            let facts = ctl.facts(&cx);
            let (leaves, kept) = guard::vet(facts, ctl.was, asked, ctl.unit.is_safe());
            tell_kept(ctl, kept, facts, &mut cx);
            give(ctl, leaves, safe, &mut cx);
            said.give(act::orders(leaves, m), s);
        } else {
            ctl.kept = 0;
        }
        // What lasts (an open guard, an overfull lane) may mean more in the new state than it did in the old.
        ctl.again |= course != (ctl.unit.state, ctl.unit.phase);
    }

    /// When and where the next thing is due to anything but contacts and belt. Holds until the next tick that works.
    fn reckon(&mut self) {
        let ctl = &self.ctl;
        let (unit, head, feed) = (&ctl.unit, &ctl.head, &ctl.feed);
        let mut at = ctl.strokes.due().sooner(unit.warn).sooner(unit.bound).sooner(unit.clear);
        at = at.sooner(feed.settle_limit).sooner(ctl.jog.spin).sooner(ctl.jog.belt).sooner(ctl.watch.grace);
        // A place that has been reached and waits for something else is no reason to wake.
        let mut above = ctl.track.due().nearer(feed.long).nearer(feed.jam).nearer(feed.stray);
        above = above.nearer(unit.flush).nearer(ctl.watch.discharge);
        if unit.state == UnitState::Execute {
            at = at.sooner(feed.starve);
        }
        if unit.runs_head() {
            at = at.sooner(head.dwell).sooner(head.contact_at).sooner(head.early);
            above = above.nearer(head.order).nearer(head.leave).nearer(head.last_stop);
        }
        if unit.runs_feed() {
            above = above.nearer(feed.settle).nearer(feed.misfeed).nearer(feed.shut);
        }
        self.said.rest_at = if ctl.again { Deadline::NOW } else { at };
        self.said.rest_above = above;
    }

    /// When and where to be called again.
    fn wake(&mut self, now: Time, belt: Spot) {
        let (ctl, said) = (&self.ctl, &mut self.said);
        let furthest = Deadline::after(now, self.machine.gap);
        let at = furthest.sooner(said.rest_at).sooner(ctl.filter.due()).sooner(ctl.belt.due());
        let (below, above) = ctl.belt.bounds();
        let above = above.nearer(said.rest_above);
        said.awake = at.later(Deadline::after(now, AT_ONCE));
        said.wake = Wake {
            at: self.origin.instant(said.awake.time()),
            below: self.origin.counts(below.min(belt.ahead(-1))),
            above: self.origin.counts(above.spot().max(belt.ahead(1))),
        };
    }

    /// Moves everything that is counted from the origin.
    #[cold]
    #[inline(never)]
    fn shift(&mut self, by: Shift) {
        self.ctl.shift(by);
        let Said { awake, rest_at, rest_above, .. } = &mut self.said;
        shift_all(&mut [awake, rest_at, rest_above], by);
    }

    /// The book: counts, rate, drift, lateness.
    #[must_use]
    pub const fn book(&self) -> &Book {
        &self.book
    }

    /// What was counted since power-up.
    #[must_use]
    pub const fn tally(&self) -> &Tally {
        &self.book.tally
    }

    /// Bottles inside: tracked, or of unknown whereabouts.
    #[must_use]
    pub fn inside(&self) -> u32 {
        self.ctl.inside()
    }

    /// What the head is doing.
    #[must_use]
    pub const fn head(&self) -> HeadStep {
        self.ctl.head.step
    }

    /// What the escapement is doing.
    #[must_use]
    pub const fn feed(&self) -> FeedStep {
        self.ctl.feed.step
    }

    /// State of the unit.
    #[must_use]
    pub const fn unit(&self) -> UnitState {
        self.ctl.unit.state
    }

    /// Mode of the unit.
    #[must_use]
    pub const fn mode(&self) -> Mode {
        self.ctl.unit.mode
    }

    /// The validated machine.
    #[must_use]
    pub const fn machine(&self) -> &Machine {
        &self.machine
    }

    /// The validated set-points.
    #[must_use]
    pub const fn setpoints(&self) -> &Setpoints {
        &self.setpoints
    }

    /// For tests: do the whole work at every tick, so that a forgotten wake shows.
    #[doc(hidden)]
    pub fn set_shortcut(&mut self, on: bool) {
        self.said.shortcut = on;
        self.said.wake.at = Instant::ZERO;
    }

    /// For measurements: how many ticks went through all stages, and did not only look whether there was anything to do.
    #[doc(hidden)]
    #[must_use]
    pub const fn decided(&self) -> u32 {
        self.decided
    }

    /// For tests: whether two stations would decide alike from here on.
    #[doc(hidden)]
    #[must_use]
    pub fn same_control(&self, other: &Self) -> bool {
        let (mut a, mut b) = (self.clone(), other.clone());
        let (now, belt) = (a.said.last.max(b.said.last), b.said.wake.below);
        for one in [&mut a, &mut b] {
            let by = one.origin.renew(now, belt);
            one.shift(by);
        }
        a.ctl == b.ctl && a.said.orders == b.said.orders && a.book.tally == b.book.tally
    }

    /// Sets the clock forward by `dt` µs and counts the belt from `dp` counts further on, so that states can be compared: every
    /// stored time and place moves along.
    pub fn rebase(&mut self, dt: i64, dp: i64) {
        let time = |t: &mut Instant| *t = Instant::from_micros(t.as_micros().saturating_add_signed(dt));
        let place = |c: &mut Counts| *c = c.plus(Counts::new(dp));
        let Said { wake, last, .. } = &mut self.said;
        for t in [&mut wake.at, last, &mut self.book.last_good] {
            time(t);
        }
        for c in [&mut wake.below, &mut wake.above] {
            place(c);
        }
        let (now, belt) = (*last, wake.below);
        let by = self.origin.renew(now, belt).set(dt, dp);
        self.shift(by);
    }
}

impl Said {
    /// Nothing changed, nothing is due. Before power-up something is due at once.
    fn is_quiet(&self, inputs: &Inputs) -> bool {
        inputs.contacts == self.contacts
            && inputs.failed == self.failed
            && inputs.now < self.wake.at
            && inputs.now >= self.last
            && inputs.belt > self.wake.below
            && inputs.belt < self.wake.above
            && inputs.request.is_none()
    }

    fn give(&mut self, orders: Orders, s: &Setpoints) {
        self.orders = orders;
        self.belt_speed = if orders.belt() { s.speed } else { Speed::ZERO };
        self.spin_rpm = if orders.spin() { s.spin_rpm } else { 0 };
    }

    const fn outputs<'a>(&self, events: &'a [Event], events_lost: u8) -> Outputs<'a> {
        Outputs {
            unit: self.unit,
            mode: self.mode,
            events_lost,
            orders: self.orders,
            spin_rpm: self.spin_rpm,
            wake: self.wake,
            belt_speed: self.belt_speed,
            events,
        }
    }
}

/// Follows the bottles; while flushing, what comes past the discharge eye is only counted.
#[inline(never)]
fn track(ctl: &mut Ctl, cx: &mut Cx<'_>) -> crate::track::News {
    let (belt, set) = (&ctl.belt, cx.s.rate);
    let flushing = ctl.unit.flush.is_armed();
    ctl.track.tick(cx, || admit::response_rate(belt, set), flushing.then_some(&mut ctl.unit.flush_seen))
}

/// Tells what the interlocks kept back, once.
fn tell_kept(ctl: &mut Ctl, kept: u32, facts: guard::Facts, cx: &mut Cx<'_>) {
    let mut new = kept & !ctl.kept;
    ctl.kept = kept;
    while new != 0 {
        let number = new.trailing_zeros();
        new &= new.wrapping_sub(1);
        let rule = guard::forbidden(facts, number).unwrap_or(0);
        cx.tell.say(EventKind::Guarded, Why::Interlock, u16::from(rule), number.cast_signed());
    }
}

/// What leaves becomes what was; strokes and watchdogs learn of it.
#[inline(never)]
fn give(ctl: &mut Ctl, leaves: act::Wanted, safe: bool, cx: &mut Cx<'_>) {
    let moved = leaves.moved(ctl.was);
    let waits = if core::mem::take(&mut ctl.awaits) { ctl.strokes.unknown() } else { 0 };
    if moved | waits != 0 {
        ctl.strokes.ordered(moved | waits, leaves, &cx.seen, cx.m);
    }
    if moved & Actuator::Reject.bit() != 0 && leaves.pose(Actuator::Reject) != Pose::Work {
        ctl.track.diverted_all(&mut cx.tell);
    }
    if leaves.belt() && !ctl.was.belt() {
        ctl.belt.resample(cx.seen.belt, cx.from.edge_at(cx.seen.now), cx.s.window, cx.s.rate);
    }
    if leaves.belt() != ctl.was.belt() {
        ctl.watch.grace =
            if leaves.belt() { Deadline::after(cx.seen.now, cx.m.ramp.plus(cx.m.still)) } else { Deadline::NEVER };
    }
    if safe {
        ctl.strokes.forget();
    }
    ctl.was = leaves;
}
