//! Delays: from a trigger to the order that follows it, in seconds and in belt travel. Which of the two is the steadier tells whether the
//! machine times or measures.

use super::map::Map;
use super::stat::Stat;
use super::view::View;
use serde::Serialize;
use timing_core::{Actuator, Contact, Orders};

/// Which is steadier.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Steadier {
    /// Seconds: the machine times.
    Time,
    /// Belt travel: the machine measures.
    Travel,
    /// The belt hardly wandered, or too little was seen: it cannot be told.
    Untold,
}

/// One delay.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Delay {
    /// What begins it.
    pub from: &'static str,
    /// What ends it.
    pub to: &'static str,
    /// In seconds.
    pub seconds: Stat,
    /// In belt travel, mm.
    pub travel_mm: Option<Stat>,
    /// Which of the two is steadier.
    pub steadier: Steadier,
}

type Turns = fn(&View, &View) -> bool;
type Mapped = fn(&Map) -> bool;

struct Pair {
    from: (&'static str, Turns, Mapped),
    to: (&'static str, Turns, Mapped),
}

/// An order as the map has it.
fn ordered(map: &Map, a: Actuator) -> bool {
    Orders::from_bits(map.orders).work(a)
}

macro_rules! contact {
    ($name:literal, on $c:ident) => {
        ($name, |w, i| i.rose(w, Contact::$c), |m| m.has(Contact::$c))
    };
}

macro_rules! order {
    ($name:literal, work $a:ident) => {
        ($name, |w, i| i.sent(w, Actuator::$a), |m| ordered(m, Actuator::$a))
    };
    ($name:literal, back $a:ident) => {
        ($name, |w, i| w.orders.work(Actuator::$a) && !i.orders.work(Actuator::$a), |m| ordered(m, Actuator::$a))
    };
    ($name:literal, on $o:ident) => {
        ($name, |w, i| i.orders.$o() && !w.orders.$o(), |m| Orders::from_bits(m.orders).$o())
    };
    ($name:literal, off $o:ident) => {
        ($name, |w, i| w.orders.$o() && !i.orders.$o(), |m| Orders::from_bits(m.orders).$o())
    };
}

const PAIRS: [Pair; 11] = [
    Pair { from: contact!("release eye blocked", on ReleaseEye), to: order!("grip close", work Grip) },
    Pair { from: contact!("release eye blocked", on ReleaseEye), to: order!("release gate shut", back ReleaseGate) },
    Pair { from: contact!("pocket eye blocked", on PocketEye), to: order!("entry gate shut", back EntryGate) },
    Pair { from: contact!("grip on work", on GripWork), to: order!("plunger down", work Plunger) },
    Pair { from: contact!("plunger on work", on PlungerWork), to: order!("rollers in", work Rollers) },
    Pair { from: contact!("rollers on work", on RollersWork), to: order!("spin", on spin) },
    Pair { from: order!("spin", on spin), to: order!("spin off", off spin) },
    Pair { from: order!("spin off", off spin), to: order!("rollers back", back Rollers) },
    Pair { from: contact!("rollers home", on RollersHome), to: order!("plunger up", back Plunger) },
    Pair { from: contact!("plunger home", on PlungerHome), to: order!("grip open", back Grip) },
    Pair { from: order!("beacon", on beacon), to: order!("belt run", on belt) },
];

/// The belt must wander by so much, as a share, that time and travel can be told apart.
const APART: f64 = 1.5;

#[derive(Clone, Copy, Default)]
struct Awaited {
    /// When and where the trigger came; more than one since the last order make it ambiguous.
    since: Option<(u64, i64)>,
    triggers: u32,
    seconds: Stat,
    travel: Stat,
}

pub(super) struct Delays {
    mapped: [bool; PAIRS.len()],
    awaited: [Awaited; PAIRS.len()],
    measured: bool,
}

impl Delays {
    pub(super) fn new(map: &Map) -> Self {
        let mapped = PAIRS.each_ref().map(|p| (p.from.2)(map) && (p.to.2)(map));
        Self { mapped, awaited: [Awaited::default(); PAIRS.len()], measured: map.belt.is_some() }
    }

    pub(super) fn step(&mut self, was: &View, is: &View, counts_per_mm: Option<f64>) {
        for ((pair, awaited), _) in PAIRS.iter().zip(&mut self.awaited).zip(self.mapped).filter(|(_, mapped)| *mapped) {
            let triggered = (pair.from.1)(was, is);
            if triggered && awaited.since.is_none() {
                // An order may follow in the same moment.
                (awaited.since, awaited.triggers) = (Some((is.at_ns, is.belt)), 1);
            } else if triggered {
                awaited.triggers += 1;
            }
            if (pair.to.1)(was, is) {
                if let Some((at_ns, belt)) = awaited.since.filter(|_| awaited.triggers == 1) {
                    awaited.seconds.add((is.at_ns - at_ns) as f64 * 1e-9);
                    awaited.travel.add((is.belt - belt) as f64 / counts_per_mm.unwrap_or(1.0));
                }
                (awaited.since, awaited.triggers) = (None, 0);
            }
        }
    }

    pub(super) fn finish(self) -> Vec<Delay> {
        let seen = PAIRS.iter().zip(self.awaited).filter(|(_, a)| a.seconds.n > 0);
        let delay = |(pair, a): (&Pair, Awaited)| Delay {
            from: pair.from.0,
            to: pair.to.0,
            seconds: a.seconds,
            travel_mm: self.measured.then_some(a.travel),
            steadier: if self.measured { steadier(&a.seconds, &a.travel) } else { Steadier::Untold },
        };
        seen.map(delay).collect()
    }
}

fn steadier(seconds: &Stat, travel: &Stat) -> Steadier {
    match (seconds.relative(), travel.relative()) {
        (Some(s), Some(t)) if s > APART * t && s > 0.002 => Steadier::Travel,
        (Some(s), Some(t)) if t > APART * s && t > 0.002 => Steadier::Time,
        _ => Steadier::Untold,
    }
}
