//! The people around the machine: they do what the unit waits for, more or less soon, and work in other modes.

use crate::soak::dice::Dice;
use crate::soak::draws::People;
use timing_core::{Actuator, Command, Mode, Pose, Request, UnitState};

/// What somebody does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Act {
    /// A button.
    Press(Request),
    /// Everything hung, wedged, stuck or fallen stands free again.
    FreeAll,
    /// Everything from the entry gate's blade on is taken out.
    TakeAll,
    /// The other product is loaded.
    Load,
}

/// What can be seen of the unit.
#[derive(Clone, Copy, Debug)]
pub(super) struct View {
    pub(super) unit: UnitState,
    pub(super) mode: Mode,
    pub(super) inside: u32,
}

#[derive(Clone, Debug)]
pub(super) struct Operator {
    people: People,
    dice: Dice,
    next_at: u64,
    wanted: Mode,
    /// Another product is to be loaded.
    product: bool,
    unholds: u32,
    /// Trouble is over: the declared script.
    quiet: bool,
    stops: u32,
    batch_asked: bool,
}

impl Operator {
    pub(super) fn new(people: People) -> Self {
        Self {
            people,
            dice: Dice::new(people.seed),
            next_at: 200_000,
            wanted: Mode::Production,
            product: false,
            unholds: 0,
            quiet: false,
            stops: 0,
            batch_asked: false,
        }
    }

    pub(super) const fn next(&self) -> u64 {
        self.next_at
    }

    /// Works in this mode from now on.
    pub(super) const fn work_in(&mut self, mode: Mode) {
        if !self.quiet {
            self.wanted = mode;
        }
    }

    /// Wants another product loaded, or no longer.
    pub(super) const fn change_product(&mut self, on: bool) {
        self.product = on && !self.quiet;
    }

    /// The other product was loaded.
    pub(super) const fn loaded(&mut self) {
        self.product = false;
    }

    /// Trouble is over. From now on the declared script: what is stuck is freed; Clear, Reset, Start, Unhold as the unit waits for
    /// them, half a second after; after two Unholds in vain, Stop, and what is inside is taken out.
    pub(super) const fn settle(&mut self, now: u64) {
        self.quiet = true;
        self.wanted = Mode::Production;
        self.product = false;
        self.unholds = 0;
        self.next_at = now + 500_000;
    }

    /// What is done now, in this order.
    pub(super) fn acts(&mut self, now: u64, view: &View) -> Vec<Act> {
        let (low, high) = if self.quiet { (0.5, 0.5) } else { self.people.react_s };
        self.next_at = now + (self.dice.between(low, high + 1e-6) * 1e6) as u64;
        if view.mode != self.wanted {
            return self.towards_mode(view);
        }
        match view.mode {
            Mode::Production => self.produce(view),
            Mode::Maintenance | Mode::Manual => self.service(now, view),
        }
    }

    fn press(command: Command) -> Vec<Act> {
        vec![Act::Press(Request::Command(command))]
    }

    fn towards_mode(&self, view: &View) -> Vec<Act> {
        use UnitState as S;
        match view.unit {
            S::Stopped | S::Idle | S::Aborted => vec![Act::Press(Request::Mode(self.wanted))],
            S::Suspended | S::Execute | S::Held | S::Completed => Self::press(Command::Stop),
            _ => Vec::new(),
        }
    }

    fn produce(&mut self, view: &View) -> Vec<Act> {
        use UnitState as S;
        match view.unit {
            S::Aborted => Self::press(Command::Clear),
            S::Stopped => self.at_rest(view),
            S::Idle => {
                if self.product && view.inside == 0 {
                    return vec![Act::Load];
                }
                Self::press(Command::Start)
            }
            S::Held => self.held(),
            S::Completed => Self::press(Command::Reset),
            S::Suspended if self.quiet || self.dice.chance(0.05) => Self::press(Command::Unsuspend),
            S::Execute if self.product => Self::press(Command::Stop),
            S::Execute => {
                if self.dice.chance(0.1) {
                    self.unholds = 0;
                }
                Vec::new()
            }
            _ => Vec::new(),
        }
    }

    fn at_rest(&mut self, view: &View) -> Vec<Act> {
        self.unholds = 0;
        if self.quiet && !self.batch_asked {
            self.batch_asked = true;
            return vec![Act::FreeAll, Act::Press(Request::Batch(0))];
        }
        if self.product && view.inside == 0 {
            return vec![Act::Load];
        }
        let mut acts = Vec::new();
        if self.quiet || self.dice.chance(self.people.frees) {
            acts.push(Act::FreeAll);
        }
        if self.quiet && self.stops > 0 {
            acts.push(Act::TakeAll);
        }
        if !self.quiet && self.dice.chance(0.1) {
            acts.push(Act::Press(Request::Batch(self.dice.below(8) as u32)));
            return acts;
        }
        acts.push(Act::Press(Request::Command(Command::Reset)));
        acts
    }

    fn held(&mut self) -> Vec<Act> {
        let mut acts = Vec::new();
        if self.quiet || self.dice.chance(self.people.frees) {
            acts.push(Act::FreeAll);
        }
        if self.unholds >= if self.quiet { 2 } else { self.people.patience } {
            self.unholds = 0;
            self.stops += 1;
            acts.push(Act::Press(Request::Command(Command::Stop)));
        } else {
            self.unholds += 1;
            acts.push(Act::Press(Request::Command(Command::Unhold)));
        }
        acts
    }

    /// Manual: one button after the other, now and then several times a second. Maintenance: steps and dry cycles.
    fn service(&mut self, now: u64, view: &View) -> Vec<Act> {
        use UnitState as S;
        match view.unit {
            S::Aborted => Self::press(Command::Clear),
            S::Stopped => Self::press(Command::Reset),
            S::Idle => Self::press(Command::Start),
            S::Held if self.dice.chance(0.5) => Self::press(Command::Unhold),
            S::Held | S::Completed | S::Suspended => Self::press(Command::Stop),
            S::Execute => {
                let next = if view.mode == Mode::Manual { self.dice.wild(0.02, 0.6) } else { self.dice.wild(0.1, 3.0) };
                self.next_at = now + (next * 1e6) as u64;
                vec![Act::Press(self.button(view.mode))]
            }
            _ => Vec::new(),
        }
    }

    fn button(&mut self, mode: Mode) -> Request {
        if mode == Mode::Maintenance {
            return if self.dice.chance(0.5) { Request::Step } else { Request::DryCycle };
        }
        match self.dice.below(8) {
            0 | 1 => Request::JogSpin,
            2 => Request::JogBelt,
            _ => Request::Jog(self.dice.pick(&Actuator::ALL), self.dice.pick(&[Pose::Work, Pose::Home])),
        }
    }
}
