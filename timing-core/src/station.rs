//! The station: state, tables, and one tick.

use crate::act;
use crate::admit;
use crate::cx::Cx;
use crate::decide::{self, Ctl, FeedStep, HeadStep};
use crate::event::{Event, EventKind, Why};
use crate::guard::{self, Order};
use crate::io::{Actuator, Contact, Inputs, Orders, Outputs, Wake};
use crate::machine::Machine;
use crate::product::Setpoints;
use crate::sense::{Seen, belt};
use crate::tally::{Book, EVENTS, Tally, Tell};
use crate::unit::{Mode, UnitState};
use crate::units::{Counts, Deadline, Duration, Instant, Place, Speed};
use crate::watch::{self, Found};

/// The control core of one bottle-closing station.
///
/// One call in, one value out: [`Station::tick`] takes what was read and returns what to do, what happened, and when to
/// be called again. Same inputs, same bits, on every target. No clock, no allocation, no global, no panic.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Station {
    ctl: Ctl,
    book: Book,
    machine: Machine,
    setpoints: Setpoints,
    said: Said,
    events: heapless::Vec<Event, EVENTS>,
    events_lost: u8,
    /// Nothing due: leave at once. Only tests switch this off, to find forgotten wakes.
    shortcut: bool,
    powered: bool,
    /// The last tick went through all stages.
    decided: bool,
}

/// What was last said, and when.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
struct Said {
    orders: Orders,
    wake: Wake,
    last: Instant,
    /// When and where the next thing is due to anything but contacts and belt.
    rest_at: Deadline,
    rest_above: Place,
}

/// A product may be loaded only in Stopped or Idle with nothing inside.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NotAtRest;

impl Station {
    /// A station at power-up: everything off, nothing known.
    #[must_use]
    pub fn new(machine: Machine, setpoints: Setpoints) -> Self {
        Self {
            ctl: Ctl::new(),
            book: Book::default(),
            machine,
            setpoints,
            said: Said {
                orders: Orders::SAFE,
                wake: Wake { at: Instant::ZERO, below: Counts::ZERO, above: Counts::ZERO },
                last: Instant::ZERO,
                rest_at: Deadline::NEVER,
                rest_above: Place::NOWHERE,
            },
            events: heapless::Vec::new(),
            events_lost: 0,
            shortcut: true,
            powered: false,
            decided: false,
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

    /// One tick: takes what was read, returns what to do.
    ///
    /// Call it when the last [`Wake`] says so, at any change of a contact, or with a request; more often does no harm and
    /// changes nothing, less often makes everything as late as the call.
    pub fn tick(&mut self, inputs: &Inputs) -> Outputs<'_> {
        self.events.clear();
        self.events_lost = 0;
        self.decided = false;
        if self.shortcut && self.is_quiet(inputs) {
            self.said.last = inputs.now;
            return self.say();
        }
        let back = inputs.now < self.said.last;
        // "Nothing is awaited" is stored as the far end of time and belt: nothing real may stand there.
        let inputs = Inputs {
            now: inputs.now.max(self.said.last).min(Instant::LAST),
            belt: inputs.belt.clamp(Counts::FIRST, Counts::LAST),
            ..*inputs
        };
        if !self.powered {
            self.power_up(&inputs);
            self.reckon();
        } else {
            let late = inputs.now > self.said.wake.at;
            let seen = self.sense(&inputs);
            let news = back || late || self.is_news(&seen) || inputs.request.is_some();
            if news || !self.shortcut {
                self.decided = true;
                self.work(&inputs, &seen, back);
                self.reckon();
            }
        }
        self.said.last = inputs.now;
        self.said.wake = self.wake(&inputs);
        self.say()
    }

    /// Nothing changed, nothing is due.
    fn is_quiet(&self, inputs: &Inputs) -> bool {
        let w = &self.said.wake;
        self.powered
            && inputs.now < w.at
            && inputs.now >= self.said.last
            && inputs.belt > w.below
            && inputs.belt < w.above
            && inputs.request.is_none()
            && self.ctl.filter.is_quiet(inputs, &self.machine)
    }

    /// Levels at power-up are not edges; nothing that was before is known.
    fn power_up(&mut self, inputs: &Inputs) {
        self.powered = true;
        self.ctl.again = true;
        self.ctl.filter.start(inputs, &self.machine);
        self.ctl.belt.start(inputs);
        let chain = self.ctl.filter.stable().has(Contact::Chain);
        let mut tell = Tell { events: &mut self.events, lost: &mut self.events_lost };
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

    /// What contacts and belt bring.
    fn sense(&mut self, inputs: &Inputs) -> Seen {
        let (ctl, m) = (&mut self.ctl, &self.machine);
        let edge_at = inputs.belt_at.map_or(inputs.now, |t| t.min(inputs.now));
        let edges = ctl.filter.tick(inputs, m);
        let belt_news = ctl.belt.tick(inputs, edge_at, m);
        Seen {
            now: inputs.now,
            belt: inputs.belt,
            edge_at,
            on: ctl.filter.stable(),
            rose: edges.rose,
            fell: edges.fell,
            failed: edges.failed,
            belt_news,
            at: edges.at,
        }
    }

    /// Whether what was sensed, or what is due, can change anything: bounce and a belt that goes on as it went do not.
    fn is_news(&self, seen: &Seen) -> bool {
        let gap = self.machine.gap.plus(self.machine.gap);
        !seen.rose.or(seen.fell).or(seen.failed).is_empty()
            || seen.belt_news != belt::News::default()
            || self.said.rest_at.is_due(seen.now)
            || self.said.rest_above.is_due(seen.belt)
            || seen.now.since(self.said.last) > gap
    }

    fn work(&mut self, inputs: &Inputs, seen: &Seen, back: bool) {
        let Self { ctl, book, machine: m, setpoints: s, events, events_lost, said, .. } = self;
        let mut tell = Tell { events, lost: events_lost };
        let course = (ctl.unit.state, ctl.unit.phase);
        let late = inputs.now.since(said.wake.at);
        if late > Duration::ZERO {
            book.lateness(late, &mut tell);
        }
        let strokes = ctl.strokes.tick(seen, m);
        if let Some((a, pose, took)) = strokes.took {
            book.stroke(a, pose, took, m, &mut tell);
        }
        let mut cx = Cx { seen, m, s, book, tell: &mut tell };
        // Track.
        admit::run(ctl, &mut cx);
        let track = track(ctl, &mut cx);
        // Watch.
        let gap = back || inputs.now.since(said.last) > m.gap.plus(m.gap);
        watch::run(ctl, &mut cx, &Found { strokes, track, gap });
        // Decide.
        if let Some(request) = inputs.request {
            decide::request(ctl, &mut cx, request);
        }
        let asked = decide::run(ctl, &mut cx);
        // Guard.
        let facts = ctl.facts(&cx);
        let (leaves, kept) = guard::vet(facts, &ctl.was, &asked, ctl.unit.is_safe());
        tell_kept(ctl, kept.orders, facts, &mut cx);
        // Act.
        give(ctl, &leaves, &mut cx);
        // What lasts (an open guard, an overfull lane) may mean more in the new state than it did in the old.
        ctl.again |= course != (ctl.unit.state, ctl.unit.phase);
        said.orders = act::orders(&leaves, m);
    }

    fn say(&self) -> Outputs<'_> {
        let orders = self.said.orders;
        Outputs {
            orders,
            belt_speed: if orders.belt() { self.setpoints.speed } else { Speed::ZERO },
            spin_rpm: if orders.spin() { self.setpoints.spin_rpm } else { 0 },
            unit: self.ctl.unit.state,
            mode: self.ctl.unit.mode,
            wake: self.said.wake,
            events: &self.events,
            events_lost: self.events_lost,
        }
    }

    /// When and where the next thing is due to anything but contacts and belt. Holds until the next tick that works.
    fn reckon(&mut self) {
        let ctl = &self.ctl;
        let mut at = Deadline::NEVER;
        let mut soonest = |d: Deadline| {
            if d.instant() < at.instant() {
                at = d;
            }
        };
        for d in [
            ctl.strokes.due(),
            ctl.unit.warn,
            ctl.unit.bound,
            ctl.unit.clear,
            ctl.feed.settle_limit,
            ctl.jog.spin,
            ctl.jog.belt,
            ctl.watch.grace,
        ] {
            soonest(d);
        }
        if ctl.unit.state == UnitState::Execute {
            soonest(ctl.feed.starve);
        }
        if ctl.unit.runs_head() {
            soonest(ctl.head.dwell);
            soonest(ctl.head.contact_at);
            soonest(ctl.head.early);
        }
        let mut above = Place::NOWHERE;
        for p in [ctl.track.due(), ctl.feed.long, ctl.feed.jam, ctl.feed.stray, ctl.unit.flush, ctl.watch.discharge] {
            nearest(&mut above, p);
        }
        if ctl.unit.runs_head() {
            for p in [ctl.head.order, ctl.head.leave, ctl.head.last_stop] {
                nearest(&mut above, p);
            }
        }
        if ctl.unit.runs_feed() {
            for p in [ctl.feed.settle, ctl.feed.misfeed, ctl.feed.shut] {
                nearest(&mut above, p);
            }
        }
        self.said.rest_at = if ctl.again { Deadline::NOW } else { at };
        self.said.rest_above = above;
    }

    /// When and where to be called again.
    fn wake(&self, inputs: &Inputs) -> Wake {
        let (ctl, now) = (&self.ctl, inputs.now);
        let mut at = Deadline::after(now, self.machine.gap);
        for d in [self.said.rest_at, ctl.filter.due(), ctl.belt.due()] {
            if d.instant() < at.instant() {
                at = d;
            }
        }
        let (below, above) = ctl.belt.bounds(&self.machine);
        let mut above = Place::at(above);
        nearest(&mut above, self.said.rest_above);
        Wake {
            at: at.instant().max(now.plus(decide::AT_ONCE)),
            below: below.min(inputs.belt.ahead(-1)),
            above: above.counts().max(inputs.belt.ahead(1)),
        }
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
        self.shortcut = on;
    }

    /// For measurements: whether the last tick went through all stages, and not only looked whether there was anything to do.
    #[doc(hidden)]
    #[must_use]
    pub const fn has_decided(&self) -> bool {
        self.decided
    }

    /// For tests: whether two stations would decide alike from here on.
    #[doc(hidden)]
    #[must_use]
    pub fn same_control(&self, other: &Self) -> bool {
        self.ctl == other.ctl && self.said.orders == other.said.orders && self.book.tally == other.book.tally
    }

    /// Moves every stored time by `dt` µs and every stored place by `dp` counts, so that states can be compared.
    pub fn rebase(&mut self, dt: i64, dp: i64) {
        self.ctl.rebase(dt, dp);
        self.ctl.watch.rebase_places(dp);
        let w = &mut self.said.wake;
        w.at = Deadline::at(w.at).rebased(dt).instant();
        w.below = Place::at(w.below).rebased(dp).counts();
        w.above = Place::at(w.above).rebased(dp).counts();
        self.said.last = Deadline::at(self.said.last).rebased(dt).instant();
        self.said.rest_at = self.said.rest_at.rebased(dt);
        self.said.rest_above = self.said.rest_above.rebased(dp);
        self.book.last_good = Deadline::at(self.book.last_good).rebased(dt).instant();
    }
}

/// A place that has been reached and waits for something else is no reason to wake.
fn nearest(above: &mut Place, p: Place) {
    if p.counts() < above.counts() {
        *above = p;
    }
}

/// Follows the bottles; while flushing, what comes past the discharge eye is only counted.
fn track(ctl: &mut Ctl, cx: &mut Cx<'_, '_>) -> crate::track::News {
    let rate = admit::response_rate(ctl, cx.s.rate);
    let flushing = ctl.unit.flush.is_armed();
    ctl.track.tick(cx, rate, flushing.then_some(&mut ctl.unit.flush_seen))
}

/// Tells what the interlocks kept back, once.
fn tell_kept(ctl: &mut Ctl, kept: u32, facts: guard::Facts, cx: &mut Cx<'_, '_>) {
    let new = kept & !ctl.kept;
    ctl.kept = kept;
    if new == 0 {
        return;
    }
    let works = Actuator::ALL.map(Order::Work);
    let backs = Actuator::ALL.map(Order::Back);
    for order in works.into_iter().chain(backs).chain([Order::Spin, Order::Belt]) {
        if new & (1 << order.number()) != 0 {
            let rule = guard::forbidden(facts, order).unwrap_or(0);
            cx.tell.say(EventKind::Guarded, Why::Interlock, u16::from(rule), i32::from(order.number()));
        }
    }
}

/// What leaves becomes what was; strokes and watchdogs learn of it.
fn give(ctl: &mut Ctl, leaves: &act::Wanted, cx: &mut Cx<'_, '_>) {
    for a in Actuator::ALL {
        let pose = leaves.pose(a);
        if pose != ctl.was.pose(a) {
            ctl.strokes.ordered(a, pose, cx.seen.now, cx.seen.on, cx.m);
        }
    }
    let reject = leaves.pose(Actuator::Reject);
    if reject != ctl.was.pose(Actuator::Reject) && reject != crate::io::Pose::Work {
        ctl.track.diverted_all(cx.tell);
    }
    if leaves.belt && !ctl.was.belt {
        ctl.belt.resample(cx.seen.belt, cx.seen.edge_at, cx.s.window, cx.s.rate);
    }
    if leaves.belt != ctl.was.belt {
        ctl.watch.grace =
            if leaves.belt { Deadline::after(cx.seen.now, cx.m.ramp.plus(cx.m.still)) } else { Deadline::NEVER };
    }
    if ctl.unit.is_safe() || !cx.seen.is(Contact::Chain) {
        ctl.strokes.forget();
    }
    ctl.was = *leaves;
}
