//! Plain words for what the core tells: one sentence per event.

use crate::verdict::RunResult;
use timing_core::{
    Actuator, Command, Contact, Event, EventKind, Fault, FeedStep, HeadStep, Mode, Order, Pose, RULES, UnitState, Why,
};

/// The event's kind as one lower-case word, as `events.csv` has it.
#[must_use]
pub const fn kind(kind: EventKind) -> &'static str {
    match kind {
        EventKind::State => "state",
        EventKind::Mode => "mode",
        EventKind::Head => "head",
        EventKind::Feed => "feed",
        EventKind::Registered => "registered",
        EventKind::Counted => "counted",
        EventKind::Flagged => "flagged",
        EventKind::CatchOrdered => "catch ordered",
        EventKind::Caught => "caught",
        EventKind::Fault => "fault",
        EventKind::Refused => "refused",
        EventKind::Guarded => "guarded",
        EventKind::Tightened => "tightened",
        EventKind::Drift => "drift",
        EventKind::Blind => "blind",
        EventKind::Late => "late",
        EventKind::Length => "length",
    }
}

/// What an order does, by its bit in [`timing_core::Orders`], 0 … 15.
#[must_use]
pub const fn order(bit: u8) -> &'static str {
    match bit {
        0 => "entry gate open",
        1 => "release gate open",
        2 => "grip close",
        3 => "plunger down",
        4 => "rollers in",
        5 => "reject pass on",
        6 => "entry gate shut",
        7 => "release gate shut",
        8 => "grip open",
        9 => "plunger up",
        10 => "rollers back",
        11 => "reject divert",
        12 => "belt run",
        13 => "spin",
        14 => "beacon",
        15 => "ready to line",
        _ => "unknown order",
    }
}

/// The order that the guard kept back, by its number in events ([`Order::number`]).
fn guarded(number: i32) -> Option<Order> {
    let moves = Actuator::ALL.into_iter().flat_map(|a| [Order::Work(a), Order::Back(a)]);
    moves.chain([Order::Spin, Order::Belt]).find(|o| i32::from(o.number()) == number)
}

const fn order_name(o: Order) -> &'static str {
    match o {
        Order::Work(a) => order(a as u8),
        Order::Back(a) => order(6 + a as u8),
        Order::Spin => order(13),
        Order::Belt => order(12),
    }
}

/// A fault's name with the actuator or contact it carries, from its code.
#[must_use]
pub fn fault(code: u16) -> String {
    let Some((row, index)) = Fault::row_of(code) else {
        return format!("fault {code}");
    };
    let of = match row.fault {
        Fault::StrokeOverdue(_) | Fault::StrokeLost(_) => Actuator::ALL.get(index).map(|a| a.name()),
        Fault::InputFailed(_) => Contact::ALL.get(index).map(|c| c.name()),
        _ => None,
    };
    match of {
        Some(of) => format!("{} ({of})", row.name),
        None => row.name.to_owned(),
    }
}

/// A request's name, from the number by which a refusal names it ([`timing_core::event::request_number`]).
#[must_use]
pub fn request(number: u16) -> String {
    let command = Command::ALL.into_iter().find(|c| *c as u16 == number);
    match (command, number) {
        (Some(c), _) => c.name().to_owned(),
        (None, 10) => "Change of mode".to_owned(),
        (None, 11) => "Change of batch".to_owned(),
        (None, 12) => "Jog of an actuator".to_owned(),
        (None, 13) => "Jog of the roller drive".to_owned(),
        (None, 14) => "Jog of the belt".to_owned(),
        (None, 15) => "Single step".to_owned(),
        (None, 16) => "Dry cycle".to_owned(),
        (None, 17) => "Declaration of bottles taken out".to_owned(),
        (None, n) => format!("Request {n}"),
    }
}

fn state(number: i64) -> String {
    UnitState::ALL
        .into_iter()
        .find(|s| *s as i64 == number)
        .map_or_else(|| format!("state {number}"), |s| s.name().to_owned())
}

fn ms(us: i32) -> String {
    let tenths = (i64::from(us) + 50).div_euclid(100);
    format!("{}.{} ms", tenths / 10, (tenths % 10).abs())
}

/// " (because)", or nothing.
fn because(why: Why) -> String {
    match why.words() {
        "" => String::new(),
        words => format!(" ({words})"),
    }
}

/// What happened, as one sentence for people.
#[must_use]
pub fn sentence(e: &Event) -> String {
    let number = usize::from(e.detail);
    let why = because(e.why);
    let v = e.value;
    match e.kind {
        EventKind::State => {
            format!("The unit went from {} to {}{why}.", state(i64::from(v)), state(i64::from(e.detail)))
        }
        EventKind::Mode => {
            let mode = [Mode::Production, Mode::Maintenance, Mode::Manual].into_iter().find(|m| *m as u16 == e.detail);
            format!("The mode is now {}{why}.", mode.map_or_else(|| format!("mode {number}"), |m| m.name().to_owned()))
        }
        EventKind::Head => {
            format!("The head is now in {}{why}.", HeadStep::ALL.get(number).map_or("an unknown step", |s| s.name()))
        }
        EventKind::Feed => {
            format!("The feed is now in {}{why}.", FeedStep::ALL.get(number).map_or("an unknown step", |s| s.name()))
        }
        EventKind::Registered => format!("Bottle {v} was registered at the release eye{why}."),
        EventKind::Counted => match e.why {
            // A number of them, and no bottle's own.
            Why::Found => {
                format!("{} found that nobody knew of.", plural(v.max(0) as usize, "bottle was", "bottles were"))
            }
            Why::Plain => format!("Bottle {v} was counted."),
            why => format!("Bottle {v} was counted as {}.", why.words()),
        },
        EventKind::Flagged => match e.why {
            Why::Plain => format!("Bottle {v} was flagged for reject."),
            why => format!("Bottle {v} was flagged for reject: {}.", why.words()),
        },
        EventKind::CatchOrdered => match v {
            0 => format!("The grip was ordered on its computed place{why}."),
            v if v > 0 => format!("The grip was ordered {v} counts past its computed place{why}."),
            v => format!("The grip was ordered {} counts before its computed place{why}.", v.unsigned_abs()),
        },
        EventKind::Caught => match v {
            0 => format!("The jaw met the bottle, centred by prediction{why}."),
            v if v > 0 => format!("The jaw met the bottle, {v} counts late by prediction{why}."),
            v => format!("The jaw met the bottle, {} counts early by prediction{why}.", v.unsigned_abs()),
        },
        EventKind::Fault => match Fault::row_of(e.detail) {
            Some((row, _)) => format!("Fault: {}. After lock-out: {}.", fault(e.detail), row.look),
            None => format!("Fault {}.", e.detail),
        },
        EventKind::Refused => match e.why {
            Why::Plain => format!("{} was refused.", request(e.detail)),
            why => format!("{} was refused: {}.", request(e.detail), why.words()),
        },
        EventKind::Guarded => {
            let kept = guarded(v);
            let order = kept.map_or("unknown order", order_name);
            // Why it was kept back stands in the table of rules.
            let needs = kept.and_then(|o| RULES.iter().find(|r| u16::from(r.rule) == e.detail && r.order == o));
            match needs {
                Some(row) => format!("Rule R{number} kept an order back: {order}. Needed: {}.", row.needs),
                None => format!("Rule R{number} kept an order back: {order}."),
            }
        }
        EventKind::Tightened => format!("Tightening ended after {} of spin{why}.", ms(v)),
        EventKind::Drift => {
            let (name, end) = match e.drifted() {
                Some((a, Pose::Work)) => (a.name(), " on its way to work"),
                Some((a, _)) => (a.name(), " on its way home"),
                None => ("unknown actuator", ""),
            };
            format!("The {name} took {} longer{end} than its profile says{why}.", ms(v))
        }
        EventKind::Blind => {
            let name = Contact::ALL.get(number).map_or("unknown contact", |c| c.name());
            format!("What only the contact \"{name}\" could tell will not be noticed{why}.")
        }
        EventKind::Late => format!("The controller was called {} later than it asked for{why}.", ms(v)),
        EventKind::Length => format!("The released body measured {v} counts{why}."),
    }
}

fn plural(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// What a failed run fell short of, in a few words; empty for one that passed.
#[must_use]
pub fn shortfall(r: &RunResult) -> String {
    if r.pass {
        return String::new();
    }
    let failed = r.checks.iter().filter(|c| !c.ok).count();
    let mut parts = Vec::new();
    if failed > 0 {
        parts.push(format!("{failed} of {} not met", plural(r.checks.len(), "check", "checks")));
    }
    if !r.breaches.is_empty() {
        parts.push(plural(r.breaches.len(), "rule breach", "rule breaches"));
    }
    if parts.is_empty() { "no reason recorded".to_owned() } else { parts.join(", ") }
}

/// The verdict as one sentence.
#[must_use]
pub fn verdict(r: &RunResult) -> String {
    match (r.pass, r.checks.len()) {
        (true, 0) => "PASS: no rule was broken; nothing else was expected.".to_owned(),
        (true, n) => format!("PASS: {} met, no rule broken.", plural(n, "check", "checks")),
        (false, _) => format!("FAIL: {}.", shortfall(r)),
    }
}

/// Whether registered + found = good + rejected + removed + lost + inside.
#[must_use]
pub fn identity_holds(r: &RunResult) -> bool {
    let c = &r.counted;
    let sum = |parts: &[u32]| parts.iter().map(|n| u64::from(*n)).sum::<u64>();
    sum(&[c.registered, c.found]) == sum(&[c.good, c.rejected, c.removed, c.lost, c.inside])
}
