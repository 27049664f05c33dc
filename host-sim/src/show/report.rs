//! `report.html`: one self-contained page about one rehearsal. No script, no request to anywhere; prints on A4 and Letter.

use super::page::page;
use super::span::{View, seconds};
use super::timing::timing;
use super::travel::travel;
use super::words;
use crate::trace::Trace;
use crate::verdict::{Centring, Comparison, Outcome, RunResult};
use maud::{Markup, PreEscaped, html};
use timing_core::{Event, EventKind};

/// Faults whose surroundings are listed.
const FAULTS: usize = 5;
/// Events listed around one fault.
const EVENTS: usize = 40;
/// Breaches listed.
const BREACHES: usize = 50;

/// The report on one rehearsal as a self-contained HTML file.
#[must_use]
pub fn report(r: &RunResult) -> String {
    let title = if r.title.is_empty() { r.job.as_str() } else { r.title.as_str() };
    page(
        &format!("{title} – rehearsal"),
        "",
        &html! {
            h1 { (title) }
            p.job { "Rehearsal of the job “" (r.job) "” on a modelled line: no figure here was measured on a machine." }
            (verdict(r))
            (cautions())
            (checks(r))
            (bottles(r))
            (placement(r))
            (breaches(r))
            (charts(r, title))
            (events(&r.trace))
            (provenance(r))
        },
    )
}

fn verdict(r: &RunResult) -> Markup {
    html! {
        div class=(if r.pass { "verdict pass" } else { "verdict fail" }) {
            (mark(r.pass))
            p {
                (words::verdict(r))
                small {
                    (r.bottles_in) " bottles came, " (r.counted.good) " left good at " (format!("{:.1}", r.rate_per_min))
                    " a minute, " (format!("{:.1}", r.simulated_s)) " s simulated"
                    @if !r.state.is_empty() { "; the unit ended in " (r.state) }
                    "."
                }
            }
        }
    }
}

/// A tick in a ring or a cross in a square: told apart by shape.
fn mark(pass: bool) -> Markup {
    html! {
        @if pass {
            svg viewBox="0 0 64 64" role="img" aria-label="pass" {
                circle cx="32" cy="32" r="28" fill="#e3f1ea" stroke="#00694d" stroke-width="5" {}
                path d="M18 33l10 11 19-23" fill="none" stroke="#00694d" stroke-width="7" {}
            }
        } @else {
            svg viewBox="0 0 64 64" role="img" aria-label="fail" {
                rect x="4" y="4" width="56" height="56" fill="#8a3700" {}
                path d="M19 19l26 26M45 19l-26 26" fill="none" stroke="#fff" stroke-width="8" {}
            }
        }
    }
}

fn cautions() -> Markup {
    html! {
        div.caution {
            strong { "Before anything moves" }
            ul {
                li { "This is a functional controller and its rehearsal, not a safety device. Emergency stop, guards and air dump stay hard-wired and act without it." }
                li { "Lock out the drives and vent the air before hands go in. Cylinders may move by themselves when air returns." }
                li { "A rehearsal shows what the model knows. Commission slowly, with an empty belt first, then with one bottle." }
                li { "Local codes and the judgement of licensed persons decide, not this page." }
            }
        }
    }
}

fn checks(r: &RunResult) -> Markup {
    html! {
        h2 { "What was expected" }
        @if r.checks.is_empty() {
            p { "The job expects nothing in particular; only the rules of the interlocks were watched." }
        } @else {
            table {
                thead { tr { th { "Check" } th { "Came" } th { "Met" } } }
                tbody {
                    @for c in &r.checks {
                        tr class=(if c.ok { "yes" } else { "no" }) {
                            td { (c.expected) } td { (c.got) } td { (if c.ok { "yes" } else { "NO" }) }
                        }
                    }
                }
            }
        }
    }
}

fn bottles(r: &RunResult) -> Markup {
    let c = &r.counted;
    html! {
        h2 { "What became of the bottles" }
        p { "Every bottle the controller registered or found must be accounted for:" }
        p.sum {
            "registered " b { (c.registered) } " + found " b { (c.found) } " = good " b { (c.good) } " + rejected " b { (c.rejected) }
            " + removed " b { (c.removed) } " + lost " b { (c.lost) } " + inside " b { (c.inside) }
            " — " strong { (if words::identity_holds(r) { "it adds up." } else { "IT DOES NOT ADD UP." }) }
        }
        p { "Judged from the model's physics, not from what the controller believes:" }
        table {
            thead { tr { th { "Outcome" } th.n { "Bottles" } } }
            tbody {
                @for (outcome, n) in Outcome::ALL.iter().zip(r.outcomes) {
                    @if n > 0 { tr { td { (outcome.word()) } td.n { (n) } } }
                }
                @if r.outcomes.iter().all(|n| *n == 0) { tr { td { "none" } td.n { "0" } } }
            }
        }
    }
}

fn placement(r: &RunResult) -> Markup {
    let row = |name: &str, c: &Centring| {
        html! {
            tr {
                td { (name) } td.n { (c.n) } td.n { (format!("{:+.2}", c.mean_mm)) }
                td.n { (format!("{:.2}", c.rms_mm)) } td.n { (format!("{:.2}", c.max_mm)) }
            }
        }
    };
    html! {
        h2 { "Placement of the catch" }
        @if r.placement.n == 0 && r.centring.n == 0 {
            p { "Nothing was caught." }
        } @else {
            p {
                "Order against its computed place: " (r.placement.n) " catch orders, the latest "
                b { (r.placement.max_counts) " encoder counts" } " past its place."
            }
            table {
                thead { tr { th { "Where the jaw met the bottle" } th.n { "Catches" } th.n { "Mean, mm" } th.n { "RMS, mm" } th.n { "Largest, mm" } } }
                tbody {
                    (row("Places along the belt (this job)", &r.centring))
                    @if let Some(c) = &r.comparison {
                        (row("Fixed delays in seconds, for comparison", &c.fixed))
                        (row("Places along the belt, every stroke at its nominal time", &c.even))
                        (row("Fixed delays in seconds, every stroke at its nominal time", &c.even_fixed))
                    }
                }
            }
            p {
                "Mean: + is downstream, late. RMS is about the aim."
                @if let Some(c) = &r.comparison {
                    " The plan reckons with at most " b { (format!("{:.2} mm", c.predicted_mm)) } " with the strokes' spread; "
                    "the judge found " b { (c.failed) } " bottles caught further off than that, or missed, and "
                    b { (c.fixed_failed) } " with fixed delays."
                    @if let Some(ratio) = ratio(c) {
                        " With every stroke at its nominal time, fixed delays are " b { (format!("{ratio:.0}")) }
                        " times as far off centre (ratio of the RMS)."
                    }
                }
            }
        }
    }
}

/// How many times as far off centre fixed delays are (RMS), strokes without spread; `None` where there is nothing to divide by.
fn ratio(c: &Comparison) -> Option<f64> {
    (c.even.n > 0 && c.even_fixed.n > 0 && c.even.rms_mm > 0.0).then(|| c.even_fixed.rms_mm / c.even.rms_mm)
}

fn breaches(r: &RunResult) -> Markup {
    html! {
        h2 { "Rules of the interlocks" }
        @if r.breaches.is_empty() {
            p { "None was broken." }
        } @else {
            table {
                thead { tr { th { "Rule" } th.n { "Time, s" } th { "What happened" } } }
                tbody {
                    @for b in r.breaches.iter().take(BREACHES) {
                        tr { td { "R" (b.rule) } td.n { (seconds(b.t_us, 6)) } td { (b.text) } }
                    }
                }
            }
            @if r.breaches.len() > BREACHES { p { "… and " (r.breaches.len() - BREACHES) " more." } }
        }
    }
}

fn charts(r: &RunResult, title: &str) -> Markup {
    let view = View { title: title.to_owned(), span: None };
    html! {
        @if r.trace.moments.is_empty() {
            h2 { "Charts" }
            p { "This rehearsal was run without recording, so there is nothing to draw." }
        } @else {
            h2 { "Distance–time chart" }
            figure {
                figcaption {
                    "Follow one band from lower left to upper right: it waits in the pocket, is let go, rides at belt speed (slope), stands in the "
                    "bracket while it is closed, and rides on. Two bands that touch are two bottles that touch. A band may pass a "
                    "blade only where its line is broken; beside a shut blade a round body reaches past it by a few millimetres."
                }
                (PreEscaped(travel(&r.trace, &view)))
            }
            h2 { "Timing chart" }
            figure {
                figcaption {
                    "Read it from the head's steps in the middle: above stands the unit's state, below what the eyes saw, what was ordered, and "
                    "what the contacts answered. The gap between an order and its contact is the stroke."
                }
                (PreEscaped(timing(&r.trace, &view)))
            }
        }
    }
}

fn events(trace: &Trace) -> Markup {
    let faults: Vec<(u64, &Event)> =
        trace.events.iter().filter(|(_, e)| e.kind == EventKind::Fault).map(|(t, e)| (*t, e)).collect();
    html! {
        h2 { "Events" }
        @if faults.is_empty() {
            p { "No fault was told. Changes of the unit's state:" }
            (list(trace.events.iter().filter(|(_, e)| e.kind == EventKind::State).take(EVENTS)))
        } @else {
            p { "What was told from two seconds before each fault to one second after it; all events are in events.csv." }
            @for (t, e, listed) in groups(trace, &faults) {
                h3 { "Around " (words::fault(e.detail)) " at " (seconds(t, 3)) " s" }
                (list(listed.iter()))
            }
            @if faults.len() > 1 { p { "Faults in all: " (faults.len()) "." } }
        }
    }
}

/// A fault, its time in µs, and the events listed around it.
type Around<'a> = (u64, &'a Event, &'a [(u64, Event)]);

/// The first faults with the events around each, from two seconds before to one after; faults that are already in the list
/// before share it, and no event is listed twice. If they are too many, those nearest before the fault are kept.
fn groups<'a>(trace: &'a Trace, faults: &[(u64, &'a Event)]) -> Vec<Around<'a>> {
    let mut out: Vec<Around<'_>> = Vec::new();
    let mut listed = 0;
    for &(t, e) in faults {
        let at = trace.events.partition_point(|(u, _)| *u < t);
        if at < listed || out.len() == FAULTS {
            continue;
        }
        let from = trace
            .events
            .partition_point(|(u, _)| *u + 2_000_000 < t)
            .max(at.saturating_sub(EVENTS * 2 / 3))
            .max(listed);
        let to = trace.events.partition_point(|(u, _)| *u <= t + 1_000_000).min(from + EVENTS);
        out.push((t, e, trace.events.get(from..to).unwrap_or(&[])));
        listed = to;
    }
    out
}

fn list<'a>(events: impl Iterator<Item = &'a (u64, Event)>) -> Markup {
    html! {
        table {
            thead { tr { th.n { "Time, s" } th { "What happened" } } }
            tbody {
                @for (t, e) in events {
                    tr class=(if e.kind == EventKind::Fault { "fault" } else { "event" }) { td.n { (seconds(*t, 3)) } td { (words::sentence(e)) } }
                }
            }
        }
    }
}

fn provenance(r: &RunResult) -> Markup {
    html! {
        h2 { "To repeat it" }
        p {
            "Seed " b { (r.seed) } ", " (r.ticks) " ticks of the controller. Digest of its orders and events: "
            span.digest { (format!("{:016x}", r.digest)) } "; of every tick: " span.digest { (format!("{:016x}", r.trace_digest)) }
            ". The same job and seed give the same digest on every machine."
        }
    }
}
