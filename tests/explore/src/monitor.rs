//! The rules R1 … R16, judged from outside: orders, contacts as they were given, what the plant knows to be true, and the events
//! told. Shares nothing with the core's own interlock table.
//!
//! Contacts may lie, and rules bind orders: where a rule speaks of a confirmation, the contact counts; where it speaks of a
//! bottle, the plant counts, unless the bottle went astray in a way that nothing on the machine could show.

use crate::plant::Plant;
use crate::rules;
use crate::setup::{Kind, WARN_BEATS};
use crate::world::Said;
use timing_core::{Command, Contact, Event, Inputs, Mode, Request, UnitState};

/// A broken rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Breach {
    /// Its number, 1 … 16.
    pub rule: u8,
    /// What was wrong.
    pub what: &'static str,
}

/// How far the operator has given leave to move.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Leave {
    /// Clear is needed first.
    None,
    /// Reset is needed next.
    Cleared,
    /// Start is needed next.
    Reset,
    /// Started.
    Started,
}

/// What the rules must remember between ticks.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Monitor {
    /// How far the operator has given leave.
    pub leave: Leave,
    /// Beats for which the beacon has been on.
    pub warned: u8,
    /// Motion must be warned of first.
    pub warn_due: bool,
    /// Beats for which the contact of each actuator's ordered end has not been on, in a state that runs.
    pub unconfirmed: [u8; 6],
    /// Cells of belt travel for which the release eye has been blocked, in Execute.
    pub in_release: u8,
    /// The same for the discharge eye.
    pub in_discharge: u8,
    /// Beats for which the belt has been ordered without a count, in Execute.
    pub silent: u8,
    /// One more than the cells of belt travel for which the pocket eye has been blocked; 0: clear.
    pub in_pocket: u8,
    /// Good bottles of this batch.
    pub batch_good: u8,
    /// Bottles asked for.
    pub batch: u8,
    /// Manual: beats since spin, and since belt, was asked for.
    pub held: [u8; 2],
    /// Actuators ordered to work in this beat, one bit each.
    pub changed: u8,
}

/// One tick, from outside.
pub struct Tick<'a> {
    /// The kind of world.
    pub kind: Kind,
    /// What was true, whatever the core was shown.
    pub inputs: &'a Inputs,
    /// The plant at the end of this beat, with [`crate::plant::Bottle::place`].
    pub plant: &'a Plant,
    /// Counts by which the belt has moved in this beat.
    pub done: i64,
    /// What was said at the tick before.
    pub was: &'a Said,
    /// What is said now.
    pub is: &'a Said,
    /// What was told.
    pub events: &'a [Event],
    /// Events that found no room.
    pub events_lost: u8,
    /// The tick at the end of a beat.
    pub last: bool,
}

impl Tick<'_> {
    /// Whether a contact reads on.
    #[must_use]
    pub fn on(&self, c: Contact) -> bool {
        self.inputs.contacts.has(c)
    }

    /// Whether this tick took the command.
    #[must_use]
    pub fn asked(&self, c: Command) -> bool {
        self.inputs.request == Some(Request::Command(c))
    }

    /// Everything had to be dropped: rules about single orders give way.
    #[must_use]
    pub fn is_dropped(&self) -> bool {
        !self.on(Contact::Chain)
            || matches!(self.is.unit, UnitState::Aborting | UnitState::Aborted | UnitState::Clearing)
    }

    /// Production, so that the rules of the escapement and of the catch apply.
    #[must_use]
    pub fn is_production(&self) -> bool {
        self.is.mode == Mode::Production
    }
}

/// Where breaches go.
pub struct Tell<'a> {
    broken: &'a mut u32,
    first: &'a mut Option<Breach>,
}

impl Tell<'_> {
    /// A rule is broken, if `yes`.
    pub fn when(&mut self, yes: bool, rule: u8, what: &'static str) {
        if yes {
            *self.broken |= 1 << rule;
            self.first.get_or_insert(Breach { rule, what });
        }
    }
}

impl Monitor {
    /// At power-up.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            leave: Leave::Cleared,
            warned: 0,
            warn_due: true,
            unconfirmed: [0; 6],
            in_release: 0,
            in_discharge: 0,
            silent: 0,
            in_pocket: 0,
            batch_good: 0,
            batch: 0,
            held: [u8::MAX; 2],
            changed: 0,
        }
    }

    /// A beat begins.
    pub fn begin_beat(&mut self, _: &Plant) {
        self.changed = 0;
        for h in &mut self.held {
            *h = h.saturating_add(1).min(4);
        }
    }

    /// One tick.
    pub fn see(&mut self, t: &Tick<'_>, broken: &mut u32, first: &mut Option<Breach>) {
        let mut tell = Tell { broken, first };
        rules::course::see(self, t, &mut tell);
        rules::orders::see(self, t, &mut tell);
        rules::book::see(self, t, &mut tell);
    }

    /// The beat is over: what lasts is counted.
    pub fn end_beat(&mut self, plant: &Plant, said: &Said, broken: &mut u32, first: &mut Option<Breach>, counts: i64) {
        let mut tell = Tell { broken, first };
        rules::lasting::end_beat(self, plant, said, counts, &mut tell);
        self.warned = if said.orders.beacon() { (self.warned + 1).min(WARN_BEATS + 1) } else { self.warned };
        self.changed = 0;
    }
}

impl Default for Monitor {
    fn default() -> Self {
        Self::new()
    }
}
