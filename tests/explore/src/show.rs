//! A way through the world, beat by beat, for people.

use crate::deed::Beat;
use crate::model::Found;
use crate::plant::Reach;
use crate::recovery::Recovery;
use crate::setup::BEAT_US;
use crate::world::World;
use std::fmt::Write;
use timing_core::{Actuator, Event, EventKind, FAULTS, FeedStep, HeadStep, Orders, UnitState};

/// The whole timeline to a breach.
#[must_use]
pub fn timeline(found: &Found) -> String {
    let mut out = format!("{}: broken after {} beats\n", found.name, found.beats.len());
    let mut beats = found.beats.clone();
    let told = beats.len();
    if found.name.starts_with("recovers") {
        let end = beats.iter().fold(found.from.clone(), |w, b| w.after(b));
        beats.extend(Recovery::replay(&end));
    } else if found.name == "comes to rest" {
        beats.extend(std::iter::repeat_n(Beat::default(), 30));
    }
    let mut w = found.from.clone();
    line(&mut out, 0, "power-up", &w, "");
    for (i, beat) in beats.iter().enumerate() {
        if i == told {
            w.plant.starved |= found.name == "comes to rest";
            out.push_str("      from here on nothing more goes wrong\n");
        }
        let mut words = String::new();
        let mut next = w.clone();
        next.beat(beat, &mut |events, lost| {
            for e in events {
                let _ = write!(words, " {};", event(e));
            }
            if lost > 0 {
                let _ = write!(words, " {lost} more;");
            }
        });
        let what = beat.to_string();
        let dull = what.is_empty() && words.is_empty() && next.broken == 0 && shape(&next) == shape(&w);
        if !dull {
            line(&mut out, i + 1, &what, &next, &words);
        }
        w = next;
    }
    out
}

/// What a reader would miss if it changed untold.
fn shape(w: &World) -> (Orders, u32, Vec<i8>) {
    (w.said.orders, w.plant.contacts.bits(), w.plant.bottles.iter().map(|b| b.x).collect())
}

fn line(out: &mut String, n: usize, what: &str, w: &World, events: &str) {
    let s = &w.said;
    let _ = writeln!(
        out,
        "{n:4} {:7.1} s  {:12} {:10} {:9}  orders {:32}  bottles {:18}  contacts {}{}{}",
        n as f64 * BEAT_US as f64 / 1e6,
        s.unit.name(),
        s.head.name(),
        s.feed.name(),
        orders(s.orders),
        bottles(w),
        contacts(w),
        if what.is_empty() { String::new() } else { format!("\n               {what}") },
        if events.is_empty() { String::new() } else { format!("\n              {events}") },
    );
    if let Some(b) = w.first {
        let _ = writeln!(out, "               R{} BROKEN: {}", b.rule, b.what);
    }
}

fn orders(o: Orders) -> String {
    let mut parts: Vec<&str> = Actuator::ALL.into_iter().filter(|a| o.work(*a)).map(Actuator::name).collect();
    for (on, name) in [(o.belt(), "belt"), (o.spin(), "spin"), (o.beacon(), "beacon")] {
        if on {
            parts.push(name);
        }
    }
    if parts.is_empty() { "-".to_owned() } else { parts.join("+") }
}

fn bottles(w: &World) -> String {
    let each = w.plant.bottles.iter().map(|b| {
        let marks = [(b.fallen, "f"), (!b.cap, "u"), (b.pushy, "p"), (b.astray, "a")];
        let marks: String = marks.iter().filter(|(on, _)| *on).map(|(_, m)| *m).collect();
        format!("{}{marks}", b.x)
    });
    each.collect::<Vec<_>>().join(" ")
}

fn contacts(w: &World) -> String {
    let on: Vec<&str> = w.plant.contacts.iter().map(|c| c.name()).collect();
    let between = Actuator::ALL.into_iter().filter(|a| w.plant.reach[a.index()] == Reach::Between);
    let between: Vec<String> = between.map(|a| format!("({} between)", a.name())).collect();
    format!("{} {}", on.join(", "), between.join(" "))
}

/// An event in words.
#[must_use]
pub fn event(e: &Event) -> String {
    let why = if e.why.words().is_empty() { String::new() } else { format!(" ({})", e.why.words()) };
    let n = usize::from(e.detail);
    let what = match e.kind {
        EventKind::State => {
            UnitState::ALL.into_iter().find(|s| *s as usize == n).map_or("?", UnitState::name).to_owned()
        }
        EventKind::Head => HeadStep::ALL.get(n).map_or("?", |h| h.name()).to_owned(),
        EventKind::Feed => FeedStep::ALL.get(n).map_or("?", |f| f.name()).to_owned(),
        EventKind::Fault => format!("FAULT {} {}", FAULTS.get(n & 31).map_or("?", |f| f.name), n >> 5),
        other => format!("{other:?} {} {}", e.detail, e.value),
    };
    format!("{what}{why}")
}
