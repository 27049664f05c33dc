//! Where bottles come from.
//!
//! Only the last stretch of the queue is modelled: a bottle enters some diameters upstream of the entry gate and the supply
//! eye. What waits further upstream is a number.

use super::Plant;
use super::bottle::{Body, Due, Hold, Motion};
use super::gate::chord;
use super::kin::{G, NEVER, reach};
use crate::facts::What;
use crate::job::spec::{FaultKind, SupplySpec};

/// The supply.
#[derive(Clone, Debug)]
pub(super) struct Supply {
    kind: SupplySpec,
    /// Bottles that are still to enter.
    left: u32,
    /// Number of the next one.
    next: u32,
    /// Bottles that wait upstream of the model.
    waiting: u32,
    /// Belt travel at which the next one arrives, mm.
    arrives: f64,
    /// When that is, µs.
    pub(super) te: f64,
    starved: bool,
}

impl Supply {
    /// A supply of `bottles`.
    pub(super) const fn new(kind: SupplySpec, bottles: u32) -> Self {
        Self { kind, left: bottles, next: 1, waiting: 0, arrives: 0.0, te: NEVER, starved: false }
    }

    /// Bottles that have not entered yet.
    pub(super) const fn left(&self) -> u32 {
        self.left
    }

    /// Bottles that have entered.
    pub(super) const fn entered(&self) -> u32 {
        self.next - 1
    }
}

impl Plant {
    /// A new body with its draws. Always the same number of draws, so that no bottle depends on another's luck.
    fn new_body(&mut self) -> Body {
        let number = self.supply.next;
        self.supply.next += 1;
        self.supply.left = self.supply.left.saturating_sub(1);
        let (mu, size, thread) = (self.bottles.unit(), self.bottles.both_ways(), self.bottles.unit());
        let (mu, size, thread) = match self.bounds {
            Some(b) => (b.friction, b.body, b.thread),
            None if self.spread => (mu, size, thread),
            None => (0.5, 0.0, thread),
        };
        let r = self.kind.r + size * self.diameter_tol;
        let mut b = Body {
            number,
            half: r,
            r,
            chord: chord(r, self.blade_tip),
            grip_a: (self.mu.0 + mu * (self.mu.1 - self.mu.0)) * G,
            cap: true,
            thread,
            crossed: false,
            loose: false,
            motion: Motion::Still(0.0),
            hold: Hold::None,
            contact: false,
            linked: false,
            hung: false,
            jams: false,
            down: false,
            gripped: false,
            seated: false,
            in_reject: false,
            marks: [0; 3],
            mark_x: 0.0,
            beams: 0,
            te: NEVER,
            due: Due::Nothing,
        };
        let mut k = 0;
        while k < self.quirks.len() {
            let (n, quirk) = self.quirks[k];
            if n == number {
                Self::mar(&mut b, &quirk);
            }
            // A pair is asked for by its first bottle.
            if let FaultKind::StuckPair(first) = quirk
                && first + 1 == number
            {
                b.linked = true;
            }
            k += 1;
        }
        b
    }

    /// Puts the next bottle at `x` at the end of the row, touching the last one or riding.
    pub(super) fn enter(&mut self, t: f64, x: f64, touching: bool) {
        let mut b = self.new_body();
        let touching = touching || b.linked;
        let (mut x, mut v) = (x, self.belt.v(t));
        if let Some(last) = self.row.back() {
            let most = last.half + b.half;
            let ahead = self.arc(self.row.len() - 1, t);
            if touching {
                x = ahead.x - most;
                v = ahead.v;
                b.contact = true;
            }
        } else {
            b.linked = false;
        }
        b.motion = Motion::Still(x);
        self.row.push_back(b);
        let i = self.row.len() - 1;
        self.begin_path(i);
        self.tell(t, i, What::Entered);
        self.remark(i, t, x);
        self.settle(i, t, x, v);
        let number = self.row[i].number;
        let paired = self.quirks.iter().any(|q| q.1 == FaultKind::StuckPair(number));
        if paired && self.supply.left > 0 {
            self.enter(t, x, true);
        }
    }

    /// Before anything moves: what stands in the machine, and the queue behind it.
    pub(super) fn first_bottles(&mut self) {
        let mut initial = self.initial.clone();
        initial.sort_by(|a, b| b.x_mm.total_cmp(&a.x_mm));
        for s in &initial {
            self.enter(0.0, s.x_mm, false);
            let i = self.row.len() - 1;
            self.row[i].cap = s.cap;
            // Bodies placed into each other touch instead.
            if i > 0 && s.x_mm > self.arc(i - 1, 0.0).x - self.pitch(i) - 1e-6 {
                let (x, v) = (self.arc(i - 1, 0.0).x - self.pitch(i), self.arc(i - 1, 0.0).v);
                self.row[i].contact = true;
                self.settle(i, 0.0, x, v);
            }
            let x = self.arc(i, 0.0).x;
            self.remark(i, 0.0, x);
        }
        match self.supply.kind {
            SupplySpec::Touching => {
                self.supply.waiting = u32::MAX;
                if self.supply.left > 0 {
                    // The queue stands against the shut entry gate, or behind what stands further upstream.
                    let rest = self.queue_head_x;
                    let behind = self
                        .row
                        .back()
                        .is_some_and(|b| self.arc(self.row.len() - 1, 0.0).x - b.half - self.kind.r < rest);
                    self.enter(0.0, rest, behind);
                    self.room_at_the_end(0.0);
                }
            }
            SupplySpec::Pitch(_) | SupplySpec::Random(_) => self.plan_supply(0.0),
        }
    }

    /// Body `i` has left room for another behind it.
    pub(super) fn room(&mut self, i: usize, t: f64) {
        if i + 1 == self.row.len() {
            self.room_at_the_end(t);
        }
    }

    /// If there is room behind the last body, and one waits, it comes.
    pub(super) fn room_at_the_end(&mut self, t: f64) {
        while self.supply.waiting > 0 && self.supply.left > 0 && !self.supply.starved {
            let Some(last) = self.row.len().checked_sub(1) else {
                self.take_waiting();
                self.enter(t, self.spawn_x, false);
                continue;
            };
            let x = self.arc(last, t).x;
            // The event that asks comes at the mark, to the last bit or so.
            if x < self.room_x - 1e-6 {
                return;
            }
            // A queue upstream closes up to what is ahead while that is near; else it comes as it is. At power-up it stands.
            let near = t == 0.0 || x < self.room_x + 4.0 * self.kind.r;
            self.take_waiting();
            self.enter(t, self.spawn_x, near);
        }
    }

    fn take_waiting(&mut self) {
        if self.supply.waiting != u32::MAX {
            self.supply.waiting -= 1;
        }
    }

    /// Looks up when the next bottle arrives.
    pub(super) fn plan_supply(&mut self, t: f64) {
        let dry = self.supply.starved || self.supply.left <= self.supply.waiting;
        self.supply.te = if dry || matches!(self.supply.kind, SupplySpec::Touching) {
            NEVER
        } else {
            let b = self.belt.arc(t);
            t + reach(self.supply.arrives - b.x, b.v, b.a) * 1e6
        };
        self.stale = true;
    }

    /// A bottle arrives at the model's upstream end.
    pub(super) fn supply_event(&mut self, t: f64) {
        let d = 2.0 * self.kind.r;
        let pitch = match self.supply.kind {
            SupplySpec::Touching => d,
            SupplySpec::Pitch(p) => p.max(d),
            SupplySpec::Random(p) => d + (p - d).max(0.0) * self.gaps.exponential(),
        };
        self.supply.arrives += pitch;
        let last = self.row.len().checked_sub(1).map(|i| self.arc(i, t).x);
        if self.supply.waiting == 0 && last.is_none_or(|x| x >= self.room_x) {
            self.enter(t, self.spawn_x, false);
        } else {
            self.supply.waiting = self.supply.waiting.saturating_add(1);
            self.room_at_the_end(t);
        }
        self.plan_supply(t);
    }

    /// Bottles stop coming, or come again, from `t` on.
    pub(super) fn starve(&mut self, t: f64, starved: bool) {
        if self.supply.starved == starved {
            return;
        }
        self.supply.starved = starved;
        if !starved {
            let x = self.belt.x(t);
            if self.supply.arrives < x {
                self.supply.arrives = x;
            }
            self.room_at_the_end(t);
        }
        self.plan_supply(t);
    }
}
