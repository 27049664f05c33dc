//! The story around a fault in plain sentences: which step, what was awaited since when, what the interlocks kept back, how the strokes
//! had drifted before, what the operator did.

mod awaited;
mod drifted;

use super::Retold;
use crate::record::rec::Recording;
use crate::show::words;
use crate::trace::Moment;
use std::fmt::Write as _;
use timing_core::{Event, EventKind, FAULTS, FeedStep, HeadStep, UnitState};

/// A fault that a recording tells of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fault {
    /// When it was raised, µs.
    pub time_us: u64,
    /// Its number ([`timing_core::Fault::code`]).
    pub code: u16,
}

/// Every fault of the recording, in order of time.
#[must_use]
pub fn faults(retold: &Retold) -> Vec<Fault> {
    let of = |&(time_us, e): &(u64, Event)| (e.kind == EventKind::Fault).then_some(Fault { time_us, code: e.detail });
    retold.trace.events.iter().filter_map(of).collect()
}

/// How long before the fault the story begins at the earliest if no bottle was registered, µs.
const BEFORE_US: u64 = 5_000_000;
/// How long after the fault it ends, µs.
const AFTER_US: u64 = 60_000_000;
/// At most so many lines of what came after.
const AFTER_LINES: usize = 8;

/// A stretch of time, µs, with a fault in it.
pub(super) struct About<'a> {
    pub(super) recording: &'a Recording,
    pub(super) retold: &'a Retold,
    pub(super) time_us: u64,
}

/// The story around `fault`, or of the last bottle where there is none.
#[must_use]
pub fn explain(recording: &Recording, retold: &Retold, fault: Option<Fault>) -> String {
    let last = retold.trace.moments.last().map_or(0, |m| m.t_us);
    let time_us = fault.map_or(last.max(retold.trace.end_us), |f| f.time_us);
    let about = About { recording, retold, time_us };
    let mut text = String::new();
    match fault {
        Some(fault) => about.what_stopped(&mut text, fault),
        None => text.push_str("No fault was told. This is the last bottle's story.\n"),
    }
    about.bottle(&mut text);
    about.kept_back(&mut text);
    drifted::tell(&about, &mut text);
    if fault.is_some() {
        about.afterwards(&mut text);
    }
    text
}

impl About<'_> {
    fn events(&self) -> impl DoubleEndedIterator<Item = (u64, Event)> {
        self.retold.trace.events.iter().copied()
    }

    fn before(&self) -> impl DoubleEndedIterator<Item = (u64, Event)> {
        let until = self.time_us;
        self.events().filter(move |(t, _)| *t <= until)
    }

    fn what_stopped(&self, text: &mut String, fault: Fault) {
        let at = s(fault.time_us);
        let _ = writeln!(text, "Fault at {at}: {}.", words::fault(fault.code));
        awaited::tell(self, fault, text);
        let step = |kind, name: fn(u16) -> &'static str| {
            self.before().rev().filter(|(t, _)| *t < fault.time_us).find(|(_, e)| e.kind == kind).map_or_else(
                || "not begun".to_owned(),
                |(t, e)| format!("{}, for {}", name(e.detail), span(fault.time_us - t)),
            )
        };
        let head = step(EventKind::Head, |n| HeadStep::ALL.get(usize::from(n)).map_or("?", |h| h.name()));
        let feed = step(EventKind::Feed, |n| FeedStep::ALL.get(usize::from(n)).map_or("?", |f| f.name()));
        let _ = writeln!(text, "Just before, the head was in {head}; the feed in {feed}.");
        let left = self.events().find(|(t, e)| *t >= fault.time_us && e.kind == EventKind::State);
        if let Some((t, e)) = left {
            let _ = writeln!(text, "{}: {}", s(t), words::sentence(&e));
        }
        if let Some(row) = FAULTS.get(usize::from(fault.code & 31)) {
            let _ = writeln!(text, "Look first, after lock-out and venting, at: {}.", row.look);
        }
    }

    /// From when on the story is told: the registration of the last bottle.
    pub(super) fn begins_us(&self) -> u64 {
        let registered = self.before().rev().find(|(_, e)| e.kind == EventKind::Registered);
        registered.map_or(self.time_us.saturating_sub(BEFORE_US), |(t, _)| t)
    }

    fn bottle(&self, text: &mut String) {
        let from = self.begins_us();
        let Some((_, bottle)) = self.before().rev().find(|(_, e)| e.kind == EventKind::Registered) else {
            text.push_str("\nNo bottle had been registered before.\n");
            return;
        };
        let _ = writeln!(text, "\nThe last bottle before was number {}:", bottle.value);
        // Others that were still on their way have their own end.
        let other = |e: &Event| matches!(e.kind, EventKind::Counted | EventKind::Flagged) && e.value != bottle.value;
        let told = |e: &Event| {
            !other(e)
                && !matches!(
                    e.kind,
                    EventKind::Guarded | EventKind::Drift | EventKind::Blind | EventKind::Late | EventKind::Fault
                )
        };
        for (t, e) in self.before().filter(|(t, e)| *t >= from && told(e)) {
            let _ = writeln!(text, "  {}: {}", s(t), words::sentence(&e));
        }
    }

    fn kept_back(&self, text: &mut String) {
        let from = self.begins_us().min(self.time_us.saturating_sub(BEFORE_US));
        let kept: Vec<_> = self.before().filter(|(t, e)| *t >= from && e.kind == EventKind::Guarded).collect();
        if kept.is_empty() {
            let _ = writeln!(text, "\nThe interlocks kept nothing back in the {} before.", span(self.time_us - from));
            return;
        }
        text.push_str("\nThe interlocks kept back:\n");
        for (t, e) in kept {
            let _ = writeln!(text, "  {}: {}", s(t), words::sentence(&e));
        }
    }

    fn afterwards(&self, text: &mut String) {
        let until = self.time_us.saturating_add(AFTER_US);
        let within = |t: u64| t > self.time_us && t <= until;
        let asked = self.retold.requests.iter().filter(|(t, _)| within(*t));
        let mut lines: Vec<(u64, String)> = asked
            .map(|(t, r)| (*t, format!("asked for: {}.", words::request(timing_core::request_number(*r)))))
            .collect();
        let kinds = |e: &Event| matches!(e.kind, EventKind::State | EventKind::Refused | EventKind::Fault);
        lines.extend(self.events().filter(|(t, e)| within(*t) && kinds(e)).map(|(t, e)| (t, words::sentence(&e))));
        lines.sort_by_key(|(t, _)| *t);
        if lines.is_empty() {
            text.push_str("\nNothing was asked for afterwards in this recording.\n");
            return;
        }
        text.push_str("\nAfterwards:\n");
        for (t, line) in lines.iter().take(AFTER_LINES) {
            let _ = writeln!(text, "  {}: {line}", s(*t));
        }
        if lines.len() > AFTER_LINES {
            let _ = writeln!(text, "  and {} more.", lines.len() - AFTER_LINES);
        }
    }

    /// Since when `is` has held without a break up to the fault, by the moments before it; `None` if it did not.
    pub(super) fn since(&self, is: impl Fn(&Moment) -> bool) -> Option<u64> {
        let moments = &self.retold.trace.moments;
        let end = moments.partition_point(|m| m.t_us < self.time_us);
        let before = moments.get(..end).unwrap_or_default();
        before.iter().rev().take_while(|m| is(m)).last().map(|m| m.t_us)
    }

    /// The unit's state just before the fault.
    pub(super) fn unit(&self) -> Option<UnitState> {
        let moments = &self.retold.trace.moments;
        let end = moments.partition_point(|m| m.t_us < self.time_us);
        end.checked_sub(1).and_then(|i| moments.get(i)).map(|m| m.unit)
    }
}

/// A time since power-up.
pub(super) fn s(us: u64) -> String {
    format!("{:.3} s", us as f64 * 1e-6)
}

/// A length of time.
pub(super) fn span(us: u64) -> String {
    if us < 1_000_000 { format!("{:.1} ms", us as f64 * 1e-3) } else { format!("{:.2} s", us as f64 * 1e-6) }
}
