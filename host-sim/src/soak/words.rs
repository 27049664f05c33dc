//! Events in words, for a failure.

use timing_core::{Event, EventKind, Fault, UnitState};

/// One event in words.
pub(super) fn line(t_us: u64, e: &Event) -> String {
    let state = |n: u64| UnitState::ALL.into_iter().find(|s| *s as u64 == n).map_or("", UnitState::name);
    let what = match e.kind {
        EventKind::State => format!("{} to {}", state(e.value as u64), state(u64::from(e.detail))),
        EventKind::Head => timing_core::HeadStep::ALL.get(usize::from(e.detail)).map_or("", |s| s.name()).to_owned(),
        EventKind::Feed => timing_core::FeedStep::ALL.get(usize::from(e.detail)).map_or("", |s| s.name()).to_owned(),
        EventKind::Fault => Fault::row_of(e.detail).map_or_else(String::new, |(r, n)| format!("{}, {n}", r.name)),
        _ => format!("{} {}", e.detail, e.value),
    };
    let why = e.why.words();
    format!("{:.6} s {:?}: {what}{}{why}", t_us as f64 * 1e-6, e.kind, if why.is_empty() { "" } else { ", " })
}
