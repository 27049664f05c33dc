//! Stroke times: from an order to the contact that ends the stroke.

use super::map::Map;
use super::stat::Stat;
use super::view::View;
use crate::drift::{BASELINE, Baseline, Ewma, LEAST_MS, STROKE_LAMBDA};
use serde::Serialize;
use timing_core::{Actuator, Contact, Orders};

/// The strokes of one actuator to one end.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StrokeTimes {
    /// The actuator.
    pub actuator: &'static str,
    /// Whether to its working end (else home).
    pub to_work: bool,
    /// From the order until the contact of the end that it leaves is off, ms.
    pub left_ms: Option<Stat>,
    /// From the order until the contact of the end that it goes to is on, ms.
    pub took_ms: Option<Stat>,
    /// Standard deviation of that, ms.
    pub spread_ms: f64,
    /// Orders after which that contact did not come before the next order.
    pub missing: u64,
    /// Whether and since when it takes longer or shorter than at first.
    pub drifted: Option<Drifted>,
}

/// A stroke that takes another time than at first: its weighted mean left the limits of its first strokes.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Drifted {
    /// Since when, s.
    pub since_s: f64,
    /// Mean of the first strokes, ms.
    pub from_ms: f64,
    /// Weighted mean at the end, ms.
    pub to_ms: f64,
}

#[derive(Clone, Debug, Default)]
struct Side {
    left: Stat,
    took: Stat,
    missing: u64,
    first: Vec<f64>,
    average: Option<Ewma>,
    since: Option<u64>,
}

impl Side {
    fn add(&mut self, ms: f64, at_ns: u64) {
        self.took.add(ms);
        match &mut self.average {
            None => {
                self.first.push(ms);
                if self.first.len() == BASELINE {
                    self.average = Some(Ewma::new(STROKE_LAMBDA, Baseline::of(&self.first)));
                }
            }
            Some(average) => {
                average.take(ms);
                let (lo, hi) = average.limits();
                let far = libm::fabs(average.mean() - (lo + hi) / 2.0) >= LEAST_MS;
                self.since = if average.has_drifted() && far { self.since.or(Some(at_ns)) } else { None };
            }
        }
    }
}

pub(super) struct Strokes {
    wired: [[bool; 2]; 6],
    two_coils: [bool; 6],
    ordered: [bool; 6],
    /// Per actuator: whether to work, when it was ordered, whether it has left.
    under_way: [Option<(bool, u64, bool)>; 6],
    sides: [[Side; 2]; 6],
}

impl Strokes {
    pub(super) fn new(map: &Map) -> Self {
        let orders = Orders::from_bits(map.orders);
        let wired = Actuator::ALL.map(|a| [map.has(Contact::home_of(a)), map.has(Contact::work_of(a))]);
        Self {
            wired,
            two_coils: Actuator::ALL.map(|a| orders.home(a)),
            ordered: Actuator::ALL.map(|a| orders.work(a)),
            under_way: [None; 6],
            sides: Default::default(),
        }
    }

    pub(super) fn step(&mut self, was: &View, is: &View) {
        for a in Actuator::ALL {
            self.arrive(a, was, is);
            self.send(a, was, is);
        }
    }

    fn send(&mut self, a: Actuator, was: &View, is: &View) {
        let i = a.index();
        if !self.ordered[i] {
            return;
        }
        let home = if self.two_coils[i] {
            is.orders.home(a) && !was.orders.home(a)
        } else {
            was.orders.work(a) && !is.orders.work(a)
        };
        let to_work = is.sent(was, a);
        if !to_work && !home {
            return;
        }
        if let Some((side, _, _)) = self.under_way[i].take()
            && self.wired[i][usize::from(side)]
        {
            self.sides[i][usize::from(side)].missing += 1;
        }
        let goal = if to_work { Contact::work_of(a) } else { Contact::home_of(a) };
        // A contact that is on before the stroke says nothing of it.
        if self.wired[i][usize::from(to_work)] && !is.contacts.has(goal) {
            self.under_way[i] = Some((to_work, is.at_ns, false));
        }
    }

    fn arrive(&mut self, a: Actuator, was: &View, is: &View) {
        let i = a.index();
        let Some((to_work, from, left)) = self.under_way[i] else { return };
        let (goal, start) = if to_work {
            (Contact::work_of(a), Contact::home_of(a))
        } else {
            (Contact::home_of(a), Contact::work_of(a))
        };
        let ms = (is.at_ns - from) as f64 * 1e-6;
        let side = &mut self.sides[i][usize::from(to_work)];
        if !left && self.wired[i][usize::from(!to_work)] && is.fell(was, start) {
            side.left.add(ms);
            self.under_way[i] = Some((to_work, from, true));
        }
        if is.contacts.has(goal) {
            side.add(ms, is.at_ns);
            self.under_way[i] = None;
        }
    }

    pub(super) fn finish(self) -> Vec<StrokeTimes> {
        let mut all = Vec::new();
        for (a, sides) in Actuator::ALL.into_iter().zip(self.sides) {
            for (to_work, side) in [false, true].into_iter().zip(sides) {
                if side.took.n == 0 && side.missing == 0 {
                    continue;
                }
                let some = |s: Stat| (s.n > 0).then_some(s);
                let drifted = side.since.zip(side.average).map(|(at, average)| Drifted {
                    since_s: at as f64 * 1e-9,
                    from_ms: Baseline::of(&side.first).mean,
                    to_ms: average.mean(),
                });
                all.push(StrokeTimes {
                    actuator: a.name(),
                    to_work,
                    left_ms: some(side.left),
                    took_ms: some(side.took),
                    spread_ms: side.took.sd(),
                    missing: side.missing,
                    drifted,
                });
            }
        }
        all
    }
}
