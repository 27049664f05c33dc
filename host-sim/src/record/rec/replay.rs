//! The same core over a recording: the same bits, or the first difference.

use super::{Recording, Told};
use std::fmt;
use timing_core::{Digest, Machine, Setpoints, Station};

/// The first tick at which the core says another thing than was recorded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Difference {
    /// Number of the entry, 1 = first.
    pub tick: u64,
    /// Its time, µs.
    pub time_us: u64,
    /// What differs: recorded, replayed.
    pub what: String,
}

/// What came of a replay.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Replayed {
    /// Entries that gave the same bits.
    pub ticks: u64,
    /// [`Digest::digest`] of what was replayed.
    pub digest: u64,
    /// The first difference.
    pub difference: Option<Difference>,
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "tick {}, at {:.6} s: {}", self.tick, self.time_us as f64 * 1e-6, self.what)
    }
}

/// Replays up to the end or the first difference.
///
/// # Errors
/// When the core refuses the machine or product of the recording: one sentence.
pub fn replay(recording: &Recording) -> Result<Replayed, String> {
    replay_with(recording, &mut |_, _| {})
}

/// As [`replay`]; `tap` is shown every entry that gave the same bits, and the station after it.
///
/// # Errors
/// When the core refuses the machine or product of the recording: one sentence.
pub fn replay_with(recording: &Recording, tap: &mut dyn FnMut(&Told, &Station)) -> Result<Replayed, String> {
    let mut station = station(recording)?;
    let mut digest = Digest::new();
    for (i, told) in recording.told.iter().enumerate() {
        let out = station.tick(&told.inputs);
        digest.tick(told.inputs.now, &out);
        let again = Told::of(&told.inputs, &out);
        if again != *told {
            let difference =
                Difference { tick: i as u64 + 1, time_us: told.inputs.now.as_micros(), what: what(told, &again) };
            return Ok(Replayed { ticks: i as u64, digest: digest.digest(), difference: Some(difference) });
        }
        tap(told, &station);
    }
    Ok(Replayed { ticks: recording.told.len() as u64, digest: digest.digest(), difference: None })
}

/// The station as it was at power-up.
///
/// # Errors
/// When the core refuses the machine or product of the recording: one sentence.
pub(crate) fn station(recording: &Recording) -> Result<Station, String> {
    let machine = Machine::new(&recording.setup.machine).map_err(|e| e.words().to_owned())?;
    let setpoints = Setpoints::new(&recording.setup.product, &machine).map_err(|e| e.words().to_owned())?;
    Ok(Station::new(machine, setpoints))
}

fn what(was: &Told, is: &Told) -> String {
    if was.orders != is.orders {
        format!("orders {:#06x} recorded, {:#06x} replayed", was.orders.bits(), is.orders.bits())
    } else if (was.unit, was.mode) != (is.unit, is.mode) {
        let name = |t: &Told| format!("{} in {}", t.unit.name(), t.mode.name());
        format!("{} recorded, {} replayed", name(was), name(is))
    } else if was.events != is.events {
        format!("events {:?} recorded, {:?} replayed", was.events, is.events)
    } else {
        "the set-points of belt or rollers, or how many events were lost".to_owned()
    }
}
