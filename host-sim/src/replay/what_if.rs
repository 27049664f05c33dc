//! What if one set-point had been another: the core over the recorded contacts with it changed, as far as those still answer.
//!
//! Up to the time asked for, the core runs as it was recorded; from there on with the changed set-point. Contacts and belt are those of the
//! recording. They answer the orders of the recording, so they answer the changed run only until its orders part from the recorded ones:
//! that is where it ends. Between two entries of the recording the belt is taken to have gone evenly, and the core is called there too, when
//! and where it asks for it.

mod keys;

pub use keys::{KEYS, Wish};

use super::counts_per_mm;
use crate::record::rec::{Recording, Told, station};
use crate::show::words;
use std::fmt::Write as _;
use timing_core::{Counts, Inputs, Instant, Machine, Orders, Setpoints, Station};

/// How far from the parting the same order is looked for, µs.
const AROUND_US: u64 = 10_000_000;

/// When and where an order was given or taken back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Turn {
    /// Time, µs.
    pub time_us: u64,
    /// The belt, counts.
    pub belt: i64,
}

/// Where the changed run's orders part from the recorded ones.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Parting {
    /// When, µs.
    pub time_us: u64,
    /// The first order that differs: its bit in [`Orders`].
    pub order: u8,
    /// Whether it is given (else taken back).
    pub on: bool,
    /// When the recording does so.
    pub recorded: Option<Turn>,
    /// When the changed run does so. Where that is after the parting: with the contacts as they stood at the parting.
    pub changed: Option<Turn>,
}

/// What came of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WhatIf {
    /// From when on the set-point was changed, µs.
    pub from_us: u64,
    /// Last time that was compared, µs.
    pub until_us: u64,
    /// Where the orders part; `None` if they never do.
    pub parting: Option<Parting>,
}

/// Runs a recording again with one set-point changed from `from_us` on.
///
/// # Errors
/// When the core refuses the recorded or the changed machine or product: one sentence.
pub fn what_if(recording: &Recording, wish: &Wish, from_us: u64) -> Result<WhatIf, String> {
    let (machine, product) = wish.changed(&recording.setup);
    let refused = |words: &str| format!("{}: the controller refuses it: {words}", wish.text());
    let machine = Machine::new(&machine).map_err(|e| refused(e.words()))?;
    let setpoints = Setpoints::new(&product, &machine).map_err(|e| refused(e.words()))?;
    let mut run = Run { station: station(recording)?, told: &recording.told, recorded: Orders::SAFE };
    let begin = recording.told.partition_point(|t| t.inputs.now.as_micros() < from_us);
    for told in recording.told.get(..begin).unwrap_or_default() {
        run.station.tick(&told.inputs);
        run.recorded = told.orders;
    }
    run.station.swap(machine, setpoints);
    let parting = run.on(begin);
    let until_us = parting.map_or_else(|| recording.told.last().map_or(0, |t| t.inputs.now.as_micros()), |p| p.time_us);
    Ok(WhatIf { from_us, until_us, parting })
}

struct Run<'a> {
    station: Station,
    told: &'a [Told],
    recorded: Orders,
}

impl Run<'_> {
    /// From entry `begin` on, up to the first order that differs.
    fn on(&mut self, begin: usize) -> Option<Parting> {
        for i in begin..self.told.len() {
            let told = self.told.get(i)?;
            let before = std::mem::replace(&mut self.recorded, told.orders);
            let out = self.station.tick(&told.inputs);
            let orders = out.orders;
            let mut wake = (out.wake.at, (out.wake.below, out.wake.above));
            if orders != told.orders {
                return Some(self.parting(i, &told.inputs, before, orders));
            }
            let Some(next) = self.told.get(i + 1) else { break };
            let mut at = Inputs { request: None, ..told.inputs };
            while let Some(between) = due(&at, &next.inputs, wake.0, wake.1) {
                let out = self.station.tick(&between);
                let orders = out.orders;
                wake = (out.wake.at, (out.wake.below, out.wake.above));
                if orders != self.recorded {
                    return Some(self.parting(i, &between, self.recorded, orders));
                }
                at = between;
            }
        }
        None
    }

    /// At the inputs `at`, of entry `i` or after it: `before` were the orders of both, `orders` are those of the changed run.
    fn parting(&mut self, i: usize, at: &Inputs, before: Orders, orders: Orders) -> Parting {
        let bit = (orders.bits() ^ self.recorded.bits()).trailing_zeros() as u8;
        let has = |o: Orders| o.bits() >> bit & 1 == 1;
        let here = Turn { time_us: at.now.as_micros(), belt: at.belt.get() };
        let changed_turned = has(orders) != has(before);
        let on = !has(before);
        let near = |t: &Turn| t.time_us - here.time_us <= AROUND_US;
        let (recorded, changed) = if changed_turned {
            let after = self.told.get(i + 1..).unwrap_or_default();
            let turn = after.iter().find(|t| has(t.orders) == on);
            (turn.map(|t| Turn { time_us: t.inputs.now.as_micros(), belt: t.inputs.belt.get() }), Some(here))
        } else {
            (Some(here), self.late(i, at, |o| has(o) == on))
        };
        Parting {
            time_us: here.time_us,
            order: bit,
            on,
            recorded: recorded.filter(near),
            changed: changed.filter(near),
        }
    }

    /// When the changed run gives its order after all, while contacts stay as they are at `at` and the belt goes as it was recorded.
    fn late(&mut self, i: usize, at: &Inputs, turned: impl Fn(Orders) -> bool) -> Option<Turn> {
        let mut at = Inputs { request: None, ..*at };
        let until = at.now.as_micros().saturating_add(AROUND_US);
        let mut wake = None;
        for next in self.told.get(i + 1..).unwrap_or_default() {
            let next = Inputs { contacts: at.contacts, failed: at.failed, request: None, ..next.inputs };
            if next.now.as_micros() > until {
                break;
            }
            loop {
                let between = wake.and_then(|(t, places)| due(&at, &next, t, places));
                at = between.unwrap_or(next);
                let out = self.station.tick(&at);
                if turned(out.orders) {
                    return Some(Turn { time_us: at.now.as_micros(), belt: at.belt.get() });
                }
                wake = Some((out.wake.at, (out.wake.below, out.wake.above)));
                if between.is_none() {
                    break;
                }
            }
        }
        None
    }
}

/// The next inputs before those of `to` at which the core wants to be called, if any.
fn due(from: &Inputs, to: &Inputs, at: Instant, (below, above): (Counts, Counts)) -> Option<Inputs> {
    let (t0, t1) = (from.now.as_micros(), to.now.as_micros());
    let (b0, b1) = (from.belt.get(), to.belt.get());
    let by_time = at.as_micros().max(t0 + 1);
    // The belt goes evenly: where is it `us` after `from`, and when has it gone `counts`?
    let length = t1.saturating_sub(t0).max(1);
    let belt_at = |t: u64| b0 + (i128::from(b1 - b0) * i128::from(t - t0) / i128::from(length)) as i64;
    let reaches = |place: i64| {
        let ahead = i128::from(place - b0);
        let whole = i128::from(b1 - b0);
        (whole != 0 && ahead * whole.signum() > 0 && ahead.abs() <= whole.abs())
            .then(|| t0 + (ahead.unsigned_abs() * u128::from(length)).div_ceil(whole.unsigned_abs()) as u64)
    };
    let by_place = [reaches(above.get()), reaches(below.get())].into_iter().flatten().min();
    let t = by_place.map_or(by_time, |p| p.min(by_time)).max(t0 + 1);
    (t < t1).then(|| Inputs {
        now: Instant::from_micros(t),
        belt: Counts::new(belt_at(t)),
        // Of the newest edge nothing is known in between but that it has come.
        belt_at: from.belt_at.map(|edge| if belt_at(t) == b0 { edge } else { Instant::from_micros(t) }),
        request: None,
        ..*from
    })
}

/// What came of it, in sentences.
#[must_use]
pub fn tell(recording: &Recording, wish: &Wish, came: &WhatIf) -> String {
    let s = |us: u64| format!("{:.3} s", us as f64 * 1e-6);
    let mut text = format!("With {} from {} on", wish.text(), s(came.from_us));
    let Some(p) = &came.parting else {
        let _ = writeln!(text, ", every order is the same up to the end of the recording, {}.", s(came.until_us));
        return text;
    };
    let _ = writeln!(text, ", every order is the same before {}.", s(p.time_us));
    let word = if p.on { "given" } else { "taken back" };
    let _ = write!(text, "The order \"{}\" is {word} ", words::order(p.order));
    let mm = |counts: i64| counts as f64 / counts_per_mm(recording.setup.machine.counts_per_mm);
    let apart = |from: Turn, to: Turn| {
        format!("{:.1} ms and {:.1} mm of belt", (to.time_us - from.time_us) as f64 * 1e-3, mm(to.belt - from.belt))
    };
    let _ = match (p.recorded, p.changed) {
        (Some(recorded), Some(changed)) if changed.time_us <= recorded.time_us => {
            writeln!(text, "{} earlier than recorded.", apart(changed, recorded))
        }
        (Some(recorded), Some(changed)) => {
            writeln!(text, "{} later than recorded, if contacts stay as they were.", apart(recorded, changed))
        }
        (Some(_), None) => writeln!(
            text,
            "there in the recording, and not within 10 s with the change, if contacts stay as they were."
        ),
        (None, _) => writeln!(text, "then, and not in the 10 s after in the recording."),
    };
    text.push_str(
        "From there on the recorded contacts answer other orders, and nothing more can be said from them: rehearse the change against the \
         modelled line.\n",
    );
    text
}
