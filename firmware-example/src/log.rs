//! What a station says, as lines of a log (feature `defmt`): for whoever stands beside the machine with a debug probe.
//!
//! How each thing reads is settled in `timing-core`; here is only which of them are worth how much. The log is no record: it holds what happened, not what was
//! read, and cannot be replayed.

use timing_core::{Event, EventKind, Outputs};

/// Tells the events of a tick, oldest first, and how many found no room.
pub fn tell(out: &Outputs<'_>) {
    for e in out.events {
        event(e);
    }
    if out.events_lost > 0 {
        defmt::warn!("{=u8} events found no room", out.events_lost);
    }
}

/// Tells one event: faults as errors, what needs somebody's eye as warnings, each step of each bottle for debugging only.
pub fn event(e: &Event) {
    match e.kind {
        EventKind::Fault => defmt::error!("{}", e),
        EventKind::Refused
        | EventKind::Guarded
        | EventKind::Drift
        | EventKind::Late
        | EventKind::Blind
        | EventKind::Flagged => defmt::warn!("{}", e),
        EventKind::State | EventKind::Mode | EventKind::Counted => defmt::info!("{}", e),
        EventKind::Head
        | EventKind::Feed
        | EventKind::Registered
        | EventKind::CatchOrdered
        | EventKind::Caught
        | EventKind::Tightened
        | EventKind::Length => defmt::debug!("{}", e),
    }
}
