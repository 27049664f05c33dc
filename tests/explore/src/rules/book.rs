//! R12, R13: every bottle is accounted for.

use crate::monitor::{Monitor, Tell, Tick};
use crate::setup::Kind;
use timing_core::{EventKind, Request, UnitState as S, request_number};

pub(crate) fn see(m: &mut Monitor, t: &Tick<'_>, tell: &mut Tell<'_>) {
    let (w, i) = (&t.was.tally, &t.is.tally);
    let ended = i.good + i.rejected + i.removed + i.lost;
    tell.when(i.registered + i.found != ended + t.is.inside, 12, "the counts do not balance");
    let pairs = [
        (w.registered, i.registered),
        (w.found, i.found),
        (w.good, i.good),
        (w.rejected, i.rejected),
        (w.removed, i.removed),
        (w.lost, i.lost),
    ];
    tell.when(pairs.iter().any(|(a, b)| b < a), 12, "a count shrank");
    batch(m, t, tell);
}

/// R13, with a count of our own.
fn batch(m: &mut Monitor, t: &Tick<'_>, tell: &mut Tell<'_>) {
    if t.kind != Kind::Batch {
        return;
    }
    if let Some(Request::Batch(n)) = t.inputs.request {
        let refused = request_number(Request::Batch(n));
        if !t.events.iter().any(|e| e.kind == EventKind::Refused && e.detail == refused) {
            (m.batch, m.batch_good) = (n.min(9) as u8, 0);
        }
    }
    // Reset after Completed: the same batch once more.
    let anew = (S::Resetting as u16, S::Completed as i32);
    if t.events.iter().any(|e| e.kind == EventKind::State && (e.detail, e.value) == anew) {
        m.batch_good = 0;
    }
    let more = t.is.tally.good.saturating_sub(t.was.tally.good);
    if m.batch != 0 {
        m.batch_good = m.batch_good.saturating_add(more as u8);
        tell.when(m.batch_good > m.batch, 13, "more delivered than the batch");
    }
    let completes = matches!(t.is.unit, S::Completing) && !matches!(t.was.unit, S::Completing);
    tell.when(completes && m.batch_good != m.batch, 13, "completed short of the batch");
    tell.when(completes && t.is.inside > 0, 13, "completed with bottles inside");
}
