//! What goes wrong, and what hands do.

use super::Plant;
use super::bottle::{Body, Hold, Motion};
use super::kin::G;
use crate::facts::What;
use crate::job::spec::{Action, FaultKind};
use timing_core::{Contact, Contacts};

/// Least friction that a bottle can be given.
const SLIPPERIEST: f64 = 0.03;

/// Contacts that lie or fail.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Lies {
    /// These read as `levels` says.
    pub(super) stuck: Contacts,
    /// Levels of the stuck ones.
    pub(super) levels: Contacts,
    /// These cannot be read.
    pub(super) failed: Contacts,
}

/// What the plant's surroundings do wrong, by hand or by fault.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct World {
    pub(super) chain_hand: bool,
    pub(super) chain_fault: bool,
    pub(super) guard_hand: bool,
    pub(super) guard_fault: bool,
    pub(super) air_low: bool,
    pub(super) drive_off: bool,
    pub(super) belt_stop: bool,
    pub(super) down_not_ready: bool,
}

impl World {
    /// Whether the hard-wired chain is open.
    pub(super) const fn chain_open(&self) -> bool {
        self.chain_hand || self.chain_fault
    }
}

impl Plant {
    /// Gives a body the fault that its number asks for.
    pub(super) fn mar(b: &mut Body, kind: &FaultKind) {
        match *kind {
            FaultKind::NoCap(_) => b.cap = false,
            FaultKind::Crossed(_) => b.crossed = true,
            FaultKind::LooseThread(_) => b.loose = true,
            FaultKind::LongBottle(_, length) => b.half = 0.5 * length,
            FaultKind::Hung(_) => b.hung = true,
            FaultKind::Jam(_) => b.jams = true,
            _ => {}
        }
    }

    /// Something goes wrong now. A fault of a bottle that has not come yet waits for it; one that is past the place stays well.
    pub fn begin(&mut self, kind: &FaultKind) {
        self.switch_fault(kind, true);
    }

    /// What went wrong is over. Bottles stay as they are: hung and wedged ones until they are freed.
    pub fn end(&mut self, kind: &FaultKind) {
        self.switch_fault(kind, false);
    }

    fn switch_fault(&mut self, kind: &FaultKind, on: bool) {
        let t = self.now as f64;
        match *kind {
            FaultKind::NoCap(n)
            | FaultKind::Crossed(n)
            | FaultKind::LooseThread(n)
            | FaultKind::LongBottle(n, _)
            | FaultKind::StuckPair(n)
            | FaultKind::Hung(n)
            | FaultKind::Jam(n) => {
                if on {
                    self.fault_of_bottle(n, kind, t);
                }
            }
            FaultKind::Taken(n) => {
                if on {
                    self.take(n, t);
                }
            }
            FaultKind::Slow(a, factor) => {
                let _ = self.acts[a.index()].slow(t, if on { factor } else { 1.0 });
            }
            FaultKind::Stuck(a) => {
                let stroke = self.acts[a.index()].stick(t, on);
                self.stroke(a, t, stroke);
            }
            FaultKind::ContactStuck(c, level) => {
                self.lies.stuck = self.lies.stuck.with(c, on);
                self.lies.levels = self.lies.levels.with(c, on && level);
            }
            FaultKind::InputFailed(c) => self.lies.failed = self.lies.failed.with(c, on),
            FaultKind::EncoderDead => self.belt.deaden(self.now, on),
            FaultKind::EncoderJump(n) => {
                if on {
                    self.belt.jump(self.now, n);
                }
            }
            FaultKind::Starved => {
                self.wires.set(Contact::UpstreamReady, !on);
                self.starve(t, on);
            }
            FaultKind::OutfeedBlocked => {
                self.outfeed_blocked = on;
                for i in 0..self.row.len() {
                    self.resettle(i, t);
                }
            }
            FaultKind::DownstreamNotReady => self.world.down_not_ready = on,
            FaultKind::BeltStop => self.world.belt_stop = on,
            FaultKind::ChainOpen => self.world.chain_fault = on,
            FaultKind::GuardOpen => self.world.guard_fault = on,
            FaultKind::AirLow => {
                self.world.air_low = on;
                for a in timing_core::Actuator::ALL {
                    let stroke = self.acts[a.index()].air(t, on);
                    self.stroke(a, t, stroke);
                }
            }
            FaultKind::DriveNotReady => self.world.drive_off = on,
        }
        self.world_changed();
    }

    fn fault_of_bottle(&mut self, n: u32, kind: &FaultKind, t: f64) {
        if n > self.supply.entered() {
            self.quirks.push((n, *kind));
            return;
        }
        let Some(i) = self.index(n) else { return };
        if let FaultKind::StuckPair(_) = kind {
            if i + 1 < self.row.len() {
                self.row[i + 1].linked = self.row[i + 1].contact;
            } else if n == self.supply.entered() {
                self.quirks.push((n, *kind));
            }
        }
        Self::mar(&mut self.row[i], kind);
        let x = self.arc(i, t).x;
        self.remark(i, t, x);
        self.resettle(i, t);
    }

    /// A hand does something.
    pub fn act(&mut self, action: &Action) {
        let t = self.now as f64;
        match *action {
            Action::Request(_) => {}
            Action::OpenChain => self.world.chain_hand = true,
            Action::CloseChain => self.world.chain_hand = false,
            Action::OpenGuard => self.world.guard_hand = true,
            Action::CloseGuard => self.world.guard_hand = false,
            Action::Take(n) => self.take(n, t),
            Action::TakeAll => {
                let (from, to) = self.hand_span;
                while let Some(i) = (0..self.row.len()).find(|&i| {
                    let x = self.arc(i, t).x;
                    x >= from && x <= to
                }) {
                    let n = self.row[i].number;
                    self.take(n, t);
                }
            }
            Action::Free(n) => self.free(n, t),
        }
        self.world_changed();
    }

    /// Bottle `number` falls over where it is; nothing if it is not on the line or lies already.
    pub fn fell(&mut self, number: u32) {
        let t = self.now as f64;
        if let Some(i) = self.index(number).filter(|&i| !self.row[i].down) {
            self.row[i].down = true;
            self.tell(t, i, What::Tipped);
            self.stale = true;
        }
    }

    /// Bottle `number` has only this share of its friction with the belt from now on; nothing if it is not on the line.
    pub fn grease(&mut self, number: u32, share: f64) {
        let t = self.now as f64;
        if let Some(i) = self.index(number) {
            // Wet glass on wet steel, at the least.
            self.row[i].grip_a = (self.row[i].grip_a * share.clamp(0.01, 1.0)).max(SLIPPERIEST * G);
            self.resettle(i, t);
            self.stale = true;
        }
    }

    fn take(&mut self, n: u32, t: f64) {
        if let Some(i) = self.index(n) {
            self.tell(t, i, What::Taken);
            self.remove(i, t);
        }
    }

    fn free(&mut self, n: u32, t: f64) {
        let Some(i) = self.index(n) else {
            self.quirks.retain(|q| q.0 != n);
            return;
        };
        let b = &mut self.row[i];
        b.hung = false;
        b.jams = false;
        b.down = false;
        let was_linked = std::mem::take(&mut b.linked);
        b.contact &= !was_linked;
        if let Hold::Blade(g) = b.hold {
            // Drawn out from under the blade, back to where the gate will hold it.
            b.hold = Hold::None;
            let g = usize::from(g);
            let rest = self.gates[g].rest(&self.row[i]);
            let x = self.arc(i, t).x.min(rest);
            self.row[i].motion = Motion::Still(x);
            if self.gates[g].stalled_on == n {
                self.unstall(g, t);
            }
        }
        // The other of a stuck pair is free of it, too.
        if let Some(next) = self.row.get_mut(i + 1).filter(|n| n.linked) {
            next.linked = false;
            next.hold = if next.hold == Hold::Partner { Hold::None } else { next.hold };
        }
        if self.row[i].hold == Hold::Partner {
            self.row[i].hold = Hold::None;
        }
        self.resettle(i, t);
    }

    /// Sets the wires of the surroundings, and takes power from what has lost it.
    pub(super) fn world_changed(&mut self) {
        let w = self.world;
        let line_runs = !w.belt_stop && (self.line_owns_belt || self.orders.belt());
        for (c, level) in [
            (Contact::Chain, !w.chain_open()),
            (Contact::Guard, !w.guard_hand && !w.guard_fault),
            (Contact::Air, !w.air_low),
            (Contact::Drive, !w.drive_off),
            (Contact::DownstreamReady, !w.down_not_ready),
            (Contact::LineBelt, line_runs),
        ] {
            self.wires.set(c, level);
        }
        self.power();
        self.stale = true;
    }
}
